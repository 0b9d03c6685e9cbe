#!/bin/sh
# Every test, in the order in which a failure is cheapest to find.
set -u
cd "$(dirname "$0")/.."
jobs=$(nproc 2>/dev/null || echo 2)
passed=0; failed=0
step() {
    name=$1; shift
    echo "== $name"
    if "$@"; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: $name"; fi
}
mk() { make --no-print-directory -s -j "$jobs" "$@"; }
step "headers compile alone" mk check-headers
step "layers" mk check-layers
step "format" mk check-format
step "gcc and clang without a warning" mk check-compilers
step "build" mk build tests
step "unit tests" mk run-tests
step "fuzz corpora" mk check-fuzz
step "command line" mk check-cli
step "accuracy" mk accuracy
step "real kernel" mk check-kernel
step "proof by sampling" mk check-prove
step "sanitizer build" mk build tests VARIANT=asan
step "unit tests under ASan and UBSan" mk run-tests VARIANT=asan
step "fuzz corpora under ASan and UBSan" mk check-fuzz VARIANT=asan
step "command line under ASan and UBSan" mk check-cli VARIANT=asan
echo "check: $passed passed, $failed failed"
[ "$failed" = 0 ]
