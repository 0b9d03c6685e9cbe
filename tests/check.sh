#!/bin/sh
# Every test. First what is cheap and what is built, in the order in which a failure is cheapest to find; then all tests
# of all kinds side by side (tests/pool.sh), so that no core waits.
set -u
cd "$(dirname "$0")/.."
jobs=$(nproc 2>/dev/null || echo 2)
passed=0; failed=0
work=$(mktemp -d) || exit 1
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT
trap 'exit 1' INT TERM
step() {
    name=$1; shift
    echo "== $name"
    if "$@"; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: $name"; false; fi
}
mk() { make --no-print-directory -s -k -j "$jobs" "$@"; }
. tests/jobs.sh

step "headers, layers, format" mk -O check-headers check-layers check-format
step "gcc and clang without a warning" mk check-compilers
if step "build" mk build tests build/release/tests/kernel/probe build/release/tests/kernel/usb_camera; then
    tools=build/release/tests/tools
    {
        echo "kernel sh tests/kernel/run.sh build/release/tests/kernel"
        echo "proof $tools/prove check"
        echo "accuracy $tools/accuracy samples/truth"
        echo "accuracy $tools/prove traced"
        echo "accuracy $tools/diagnose_population"
        case_jobs command-line "$work/cases" build/release/rimglow $tools
        # shellcheck disable=SC2046 # words on purpose
        unit_jobs unit-tests $(unit_programs build/release)
        # shellcheck disable=SC2046
        fuzz_jobs fuzz-corpora $(fuzz_programs build/release)
    } >>"$work/jobs"
fi
if step "sanitizer build" mk build tests VARIANT=asan; then
    {
        # shellcheck disable=SC2046
        unit_jobs sanitized-unit-tests $(BRIEF=1 && unit_programs build/asan)
        # shellcheck disable=SC2046
        fuzz_jobs sanitized-fuzz-corpora $(fuzz_programs build/asan)
        BRIEF=1 case_jobs sanitized-command-line "$work/sanitized" build/asan/rimglow build/asan/tests/tools
    } >>"$work/jobs"
fi
WHOLE="kernel proof accuracy"
export WHOLE
step "tests, side by side" sh tests/pool.sh "$work" <"$work/jobs"
echo "check: $passed passed, $failed failed"
[ "$failed" = 0 ]
