#!/bin/sh
# Builds each fuzz target with libFuzzer, ASan and UBSan (clang) and runs it for
# SECONDS (default 60) on its corpus. New inputs and crashes stay in
# build/fuzz/<target>; a crash ends the script with the target's exit code.
# Arguments: names of targets, default all.
set -eu
cd "$(dirname "$0")/../.."
seconds=${SECONDS:-60}
# A shell that counts its own run time in SECONDS has it at 0 here.
case $seconds in '' | 0 | *[!0-9]*) seconds=60 ;; esac
out=build/fuzz
mkdir -p "$out"
[ $# -gt 0 ] || set -- $(for f in tests/fuzz/fuzz_*.c; do basename "$f" .c; done)

make --no-print-directory -s CC=clang OUT="$out/lib" \
    SAN='-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined' \
    OPT='-O1 -g -fno-omit-frame-pointer' \
    "$out/lib/librimglow-core.a" "$out/lib/librimglow-edge.a" "$out/lib/librimglow-app.a"
libs="-lapriltag -ljpeg $(pkg-config --libs libpng gsl libsodium nettle cairo jansson inih sqlite3 libv4l2 libmicrohttpd) -lpthread -lm"
for target in "$@"; do
    corpus=$out/$target
    mkdir -p "$corpus/new" "$corpus/crash"
    # shellcheck disable=SC2086
    clang -std=c17 -D_POSIX_C_SOURCE=200809L -g -O1 -Iinclude -Itests -DRG_LIBFUZZER \
        -fsanitize=fuzzer,address,undefined -fno-sanitize-recover=undefined \
        -o "$corpus/run" "tests/fuzz/$target.c" \
        "$out/lib/librimglow-app.a" "$out/lib/librimglow-edge.a" "$out/lib/librimglow-core.a" $libs
    echo "== $target for $seconds s"
    "$corpus/run" -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 -max_len=65536 \
        -print_final_stats=1 -verbosity=0 -artifact_prefix="$corpus/crash/" \
        "$corpus/new" "tests/fuzz/corpus/$target"
done
