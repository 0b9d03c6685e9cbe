#!/bin/sh
# A worked instrument: the invented loan horn PE-A-0163 from the first sweep to its release, and one return.
#
#   sh samples/workshop.sh PROGRAM FOLDER
#
# From the repository root. The sweeps are rendered from samples/workshop/*.ini (a minute or two); what comes
# of them is archived in FOLDER and judged by rimglow setup. Ends with 0 although the horn is held at first
# and on its return (that is what it shows), and with the program's own code when something failed.
set -u
program=${1:?the path of the program} folder=${2:?the folder that gets everything}
here=samples/workshop
run() {
    "$program" "$@"
    code=$?
    [ "$code" -lt 64 ] || { echo "the worked instrument failed with code $code: $*" >&2; exit "$code"; }
}
visit() { # visit PLAN OCCASION [OPTIONS OF add]
    plan=$1 occasion=$2; shift 2
    run render -o "$folder/$plan" "$here/$plan.ini"
    run archive add -a "$folder/archive" --results "$folder/results-$plan" --technician "A. Bell" \
        --occasion "$occasion" --rules calib/release.ini "$@" "$folder/$plan/PE-A-0163"/*
}
mkdir -p "$folder" || exit 73

echo "== 1. The horn as it came in"
visit 1-received "as received" --setup "$here/1-values.ini"
echo
run setup -a "$folder/archive" -o "$folder/sheets" PE-A-0163
first=$code

echo
echo "== 2. After the work: every pad swept again"
visit 2-release release --setup "$here/2-values.ini"
echo
run setup -a "$folder/archive" -o "$folder/sheets" PE-A-0163
second=$code

echo
echo "== 3. A season later F sharp leaks again"
visit 3-return return
echo
run archive compare -a "$folder/archive" -o "$folder/comparison" PE-A-0163/2 PE-A-0163/3
run archive verify -a "$folder/archive" PE-A-0163
echo
echo "first visit: exit code $first (1: hold), release: $second (0: release)"
