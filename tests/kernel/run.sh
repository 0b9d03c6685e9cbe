#!/bin/sh
# capture.h against a real kernel: Debian's own, in qemu without acceleration, with a USB camera in user
# space behind uvcvideo and with vivid. Nothing is installed and nothing needs root: packages are
# fetched and unpacked into build/kernel. Argument: folder of the programs probe and usb_camera.
# Skips, loudly, where qemu or the packages cannot be had.
set -eu
cd "$(dirname "$0")/../.."
programs=$1
work=build/kernel
frames=samples/PE-A-0147/04-C
seconds=${KERNEL_SECONDS:-300}
mkdir -p "$work/debs"

skip() {
    echo "check-kernel: SKIPPED, NOTHING WAS TESTED AGAINST A KERNEL: $1"
    exit 0
}
[ "$(dpkg --print-architecture 2>/dev/null)" = amd64 ] || skip "this needs Debian on amd64"

# ---------------------------------------------------------------- packages
kernel_package() {
    apt-cache depends linux-image-amd64 2>/dev/null | sed -n 's/.*Depends: \(linux-image-6[^ ]*\)/\1/p' | head -n 1
}
fetch() { (cd "$work/debs" && apt-get -qq download "$@"); }
fetch_all() {
    kernel=$(kernel_package)
    [ -n "$kernel" ] || { apt-get -qq update; kernel=$(kernel_package); }
    [ -n "$kernel" ] || return 1
    for old in "$work"/debs/linux-image-*; do
        case $old in */"$kernel"_*) ;; *) rm -f "$old" ;; esac
    done
    fetch "$kernel" busybox-static || return 1
    # shellcheck disable=SC2046
    fetch $(apt-get -s install --no-install-recommends qemu-system-x86 | sed -n 's/^Inst \([^ ]*\).*/\1/p')
}
unpack() {
    for deb in "$work"/debs/*.deb; do
        case $deb in
        */linux-image-*)
            dpkg-deb --fsys-tarfile "$deb" | tar -C "$work/root" -x --wildcards './boot/vmlinuz-*' \
                './lib/modules/*/kernel/drivers/usb/*' './lib/modules/*/kernel/drivers/media/*' \
                './lib/modules/*/kernel/lib/*' './lib/modules/*/kernel/drivers/video/*' ;;
        *) dpkg-deb -x "$deb" "$work/root" ;;
        esac
    done
}
# A list that names packages which the server has replaced is brought up to date once, where that is allowed.
fetch_twice() { fetch_all || { apt-get -qq update && fetch_all; }; }
if [ ! -e "$work/unpacked" ]; then
    fetch_twice >"$work/fetch.log" 2>&1 || skip "packages cannot be fetched ($(tail -n 1 "$work/fetch.log"))"
    rm -rf "$work/root"
    mkdir -p "$work/root"
    unpack
    : >"$work/unpacked"
fi
root=$PWD/$work/root
qemu=$root/usr/bin/qemu-system-x86_64
export LD_LIBRARY_PATH="$root/usr/lib/x86_64-linux-gnu:$root/lib/x86_64-linux-gnu"
[ -x "$qemu" ] || qemu=$(command -v qemu-system-x86_64) || skip "there is no qemu"
"$qemu" --version >/dev/null 2>"$work/qemu.log" || skip "qemu does not start ($(head -n 1 "$work/qemu.log"))"
LIBS_OF_QEMU=$LD_LIBRARY_PATH
unset LD_LIBRARY_PATH

# ---------------------------------------------------------------- the guest
# The decompressed kernel starts twice as fast: the xz stream inside the image.
vmlinux() {
    image=$(ls "$root"/boot/vmlinuz-*)
    LC_ALL=C grep -abo "$(printf '\3757zXZ')" "$image" | cut -d: -f1 | while read -r at; do
        tail -c "+$((at + 1))" "$image" | xz -dc 2>/dev/null >"$work/vmlinux.part" || :
        [ "$(head -c 4 "$work/vmlinux.part" | tail -c 3)" = ELF ] && mv "$work/vmlinux.part" "$work/vmlinux"
        break
    done
    [ -s "$work/vmlinux" ] || cp "$image" "$work/vmlinux"
}
[ -s "$work/vmlinux" ] || vmlinux

guest=$work/guest
rm -rf "$guest"
mkdir -p "$guest/bin" "$guest/modules" "$guest/frames"
find_module() { find "$root/lib/modules" -name "$(echo "$1" | sed 's/[-_]/[-_]/g').ko" | head -n 1; }
# A module's needs, from its own .modinfo, in front of itself.
add_module() {
    file=$(find_module "$1")
    [ -n "$file" ] || { echo "check-kernel: the kernel package has no module $1"; exit 1; }
    for need in $(tr '\0' '\n' <"$file" | sed -n 's/^depends=//p' | tr ',' ' '); do
        grep -qx "$need" "$guest/modules/$2.order" 2>/dev/null || add_module "$need" "$2"
    done
    cp "$(find_module "$1")" "$guest/modules/$1.ko"
    echo "$1" >>"$guest/modules/$2.order"
}
add_module vhci_hcd uvc
add_module uvcvideo uvc
add_module vivid vivid
grep -vxFf "$guest/modules/uvc.order" "$guest/modules/vivid.order" >"$work/vivid.order"
mv "$work/vivid.order" "$guest/modules/vivid.order"
cp "$root/bin/busybox" "$guest/bin/busybox"
cp "$programs/probe" "$programs/usb_camera" "$guest/bin/"
ldd "$programs/probe" | grep -o '/[^ ]*' | while read -r library; do
    mkdir -p "$guest$(dirname "$library")"
    cp -L "$library" "$guest$library"
done
cp "$frames"/*.jpg "$guest/frames/"
cp tests/kernel/init.sh "$guest/init"
chmod 755 "$guest/init"
ln -s busybox "$guest/bin/sh"
(cd "$guest" && find . | "$root/bin/busybox" cpio -o -H newc 2>/dev/null) >"$work/initramfs"

: >"$work/serial.log"
began=$(date +%s)
LD_LIBRARY_PATH=$LIBS_OF_QEMU timeout "$seconds" "$qemu" -L "$root/usr/share/qemu" -L "$root/usr/share/seabios" \
    -accel tcg -M q35 -cpu qemu64 -m 512 -smp 1 -nodefaults -no-user-config -display none -nic none \
    -serial "file:$work/serial.log" -no-reboot -kernel "$work/vmlinux" -initrd "$work/initramfs" \
    -append "console=ttyS0 quiet panic=-1" >"$work/qemu.log" 2>&1 || :
log=$work/report.log
tr -d '\r' <"$work/serial.log" >"$log"

# ---------------------------------------------------------------- the verdict
sha256sum "$frames"/*.jpg | cut -d' ' -f1 >"$work/sent"
grep '^FRAME ' "$log" >"$work/got" || :
# Each frame is the file that its number says; numbers jumped over are among those counted as missed.
awk 'NR == FNR { place[$1] = FNR - 1; files = FNR; next }
    !($5 in place) { print "FAIL frame " $2 " is none of the files that were sent"; bad = 1; exit }
    {
        if (!seen) first_missed = $4
        else {
            jump = $3 - number
            if ((before + jump) % files != place[$5]) { print "FAIL frame " $2 " is not the file that its number says"; bad = 1; exit }
            jumped += jump - 1
        }
        before = place[$5]; number = $3; missed = $4 - first_missed; seen++
        if (jumped > missed) { print "FAIL " jumped " frames never came, " missed " were counted as missed"; bad = 1; exit }
    }
    END { if (!bad) print (seen == 200 ? "PASS " : "FAIL ") seen " of 200 frames byte-identical to their files, " jumped + 0 " not received, " missed + 0 " counted as missed" }' \
    "$work/sent" "$work/got" >>"$log"
grep -E '^(PASS|FAIL|NOTE|GUEST|usb camera)' "$log" || :
passed=$(grep -c '^PASS ' "$log" || :)
failed=$(grep -c '^FAIL ' "$log" || :)
exits=$(grep -c '^PROBE-EXIT 0$' "$log" || :)
echo "check-kernel: $passed claims held, $failed did not, in $(($(date +%s) - began)) s"
if [ "$failed" != 0 ] || [ "$exits" != 2 ] || ! grep -q '^TEST-EXIT 0$' "$log"; then
    echo "check-kernel: FAILED; the guest's console is in $work/serial.log"
    tail -n 5 "$log"
    exit 1
fi
