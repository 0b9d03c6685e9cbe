# Words for cases on a failing disk (tests/shim/faults.c); to be read by ". $ROOT/tests/cli/faults.sh".
SHIM=$(dirname "$TOOLS")/shim/faults.so

# Ends the case as skipped where the library cannot be preloaded.
needs_faults() {
    if grep -q __asan_init "$RIMGLOW"; then
        echo "ASan has to be the first library, faults.so cannot be preloaded; the release build runs it"
        exit 77
    fi
    there "$SHIM"
}

# faulty "AT=3 KIND=power ..." PROGRAM ARGUMENT...: as rg, any program, with FAULT_AT=3 ... set.
faulty() {
    settings=
    for setting in $1; do settings="$settings FAULT_$setting"; done
    shift
    status=0
    # shellcheck disable=SC2086 # words on purpose
    env LD_PRELOAD="$SHIM" FAULT_FAST=1 $settings "$@" >out 2>err </dev/null || status=$?
}

# steps_of PROGRAM ARGUMENT...: how many calls it makes that change the disk; they stand in the file steps.
steps_of() {
    rm -f steps
    faulty "LOG=$PWD/steps" "$@"
    [ "$status" = 0 ] || fail "an honest run of $* ends with 0, not $status"
    wc -l <steps
}
