#!/bin/sh
# A Debian source package of this tree and the binary packages from it, in build/deb, looked over by lintian; twice,
# in two folders, to see that both come out alike to the byte. From the repository root; make deb installs what is
# needed first. OPTIONS=nocheck leaves the package's own tests out.
set -eu
version=$(sed -n 's/^#define RG_VERSION "\(.*\)"/\1/p' include/rimglow/version.h)
debian=$(dpkg-parsechangelog -l src/package/debian/changelog -S Version)
case $debian in "$version"-*) ;; *) echo "version.h says $version, src/package/debian/changelog $debian"; exit 1 ;; esac
SOURCE_DATE_EPOCH=$(dpkg-parsechangelog -l src/package/debian/changelog -S Timestamp)
export SOURCE_DATE_EPOCH
rm -rf build/deb
pack() { # FOLDER: build/deb/FOLDER gets source and binary packages
    into=build/deb/$1
    mkdir -p "$into/rimglow-$version"
    tar -cf - --exclude=./build --exclude=./.git . | tar -xf - -C "$into/rimglow-$version"
    tar -C "$into" --sort=name --mtime="@$SOURCE_DATE_EPOCH" --owner=0 --group=0 --numeric-owner --mode=go-w \
        -cJf "$into/rimglow_$version.orig.tar.xz" "rimglow-$version"
    cp -r src/package/debian "$into/rimglow-$version/debian"
    (cd "$into/rimglow-$version" && DEB_BUILD_OPTIONS="${OPTIONS:-} parallel=$(nproc)" dpkg-buildpackage -us -uc -rfakeroot) \
        >"$into/build.log" 2>&1 || { tail -30 "$into/build.log"; exit 1; }
}
echo "building the package"
pack first
lintian --fail-on error --info --no-tag-display-limit build/deb/first/rimglow_*.changes
echo "building it once more, elsewhere"
OPTIONS="${OPTIONS:-} nocheck" pack second/below
for file in build/deb/first/*.deb build/deb/first/*.tar.xz; do
    cmp "$file" "build/deb/second/below/${file##*/}"
done
rm -rf build/deb/second
ls -l build/deb/first | awk 'NR > 1 { print "  " $NF, $5 }'
echo "deb: built twice, alike to the byte; lintian finds no error"
