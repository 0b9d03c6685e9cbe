#!/bin/sh
# Runs tests side by side and says how each ended.
#
#   sh tests/pool.sh WORK <LIST
#
# A line of LIST is "GROUP COMMAND ARGUMENT...", without quotes or blanks within a word. WORK is a folder for logs. One command more
# runs at once than there are cores, since some wait (JOBS=N: N of them). Those of tests/longest begin first, so that the
# end waits for none. What a command says is printed when it has ended: whole where it failed, its notes and last line
# where it went well; whole, too, in the groups named in WHOLE. Exit code 77 is "cannot be run here", and the last line says why.
#
# TIMES=FILE: "processor-milliseconds wall-milliseconds GROUP COMMAND..." of each is added to FILE.
# Exit code 0 where every command of the list has ended and none has failed.
set -u
work=$1
cores=$(nproc 2>/dev/null || echo 2)
# The last word of a line is its name, without a folder; so is a line of tests/longest.
awk 'FILENAME != "-" { rank[$1] = FNR; next } { name = $NF; sub(/.*\//, "", name); print (name in rank ? rank[name] : 9999), FNR, $0 }' \
    tests/longest - |
    sort -n -k 1,1 -k 2,2 | cut -d' ' -f2- >"$work/list"
total=$(wc -l <"$work/list")

# told CODE NUMBER GROUP WORD...: prints what came of a command.
told() {
    code=$1 log=$work/$2.log group=$3
    shift 3
    for name in "$@"; do :; done
    title="$group: $(basename "$name" | sed 's/^test_//' | tr _ ' ')"
    case $code in
    0)
        echo "ok      $title$(sed -n '$s/^\[====\] Synthesis: /, /p' "$log")"
        case " ${WHOLE:-} " in
        *" $group "*) sed 's/^/        | /' "$log" ;;
        *) sed -n 's/^note: /        | /p' "$log" ;;
        esac
        ;;
    77) echo "SKIPPED $title: $(tail -n 1 "$log")" ;;
    *)
        echo "FAILED  $title ($*)"
        sed 's/^/        | /' "$log"
        ;;
    esac
    echo "$code $group" >>"$work/ended"
}

: >"$work/ended"
xargs -r -P "${JOBS:-$((cores + 1))}" -L 1 sh tests/pool_one.sh "$work" <"$work/list" |
    while read -r line; do told $line; done
awk -v total="$total" '{ group[$2]; n[$2, $1 == 0 ? "ok" : $1 == 77 ? "skipped" : "failed"]++ }
    END {
        for (g in group) {
            bad += n[g, "failed"]
            printf "%s: %d passed, %d failed%s\n", g, n[g, "ok"], n[g, "failed"],
                n[g, "skipped"] ? ", " n[g, "skipped"] " SKIPPED" : "" | "sort"
        }
        close("sort")
        if (NR < total) print "FAILED  " total - NR " of " total " did not come to an end"
        exit bad > 0 || NR != total || total == 0
    }' "$work/ended"
