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

# ---- memory that runs out (tests/shim/alloc.c)

# walk "SETTING=VALUE ..." ARGUMENT...: rimglow with each of its allocations failing in turn; what came of each is
# then in the file walked, and in the file allocated how many there were, by library. Under ASan, where nothing
# can be preloaded, a rimglow that sees the allocations of our own code only, and looks for leaks. Else, all but
# the settings' own.
walk() {
    settings=
    for setting in $1; do settings="$settings ALLOC_$setting"; done
    shift
    rm -f walk-log
    status=0
    program=$TOOLS/starved shim=
    if ! grep -q __asan_init "$RIMGLOW"; then
        program=$RIMGLOW shim=LD_PRELOAD=$(dirname "$TOOLS")/shim/alloc.so
    fi
    # shellcheck disable=SC2086 # words on purpose
    env $shim ALLOC_WALK=1 ALLOC_LOG="$PWD/walk-log" ALLOC_AFTER="${after:-}" $settings "$program" "$@" \
        >out 2>err </dev/null || status=$?
    grep -v '^count' walk-log >walked || fail "some allocations were tried"
    sed -n 's/^count.//p' walk-log >allocated
}

# all_judged HONEST: each failing allocation either does no harm (the exit code HONEST, and nothing is said), or it
# ends the command with 70 and one line that speaks of memory and says a remedy; and nothing is spoiled.
all_judged() {
    awk -F '\t' -v honest="$1" '
        $4 == "exit " honest && $5 == "whole" && $6 == 0 { next }
        $4 == "exit 70" && $5 == "whole" && $6 == 1 && $7 ~ /^rimglow: .*memory.*; / { next }
        { print }' walked >misjudged
    [ ! -s misjudged ] || fail "these are harmless, or say that memory is short: $(head -20 misjudged)"
}

tried() { echo "note: $1: $(wc -l <walked) allocations failed in turn, $(awk -F '\t' '$4 == "exit 70"' walked | wc -l) of them ended the command"; }
