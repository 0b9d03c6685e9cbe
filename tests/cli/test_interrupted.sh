# Calls that are interrupted (EINTR) or do half of what they were asked (short reads and writes): nothing comes out
# differently. Files that cannot be read (EIO): the message names the file. A clock that goes backwards: nothing is
# lost, refused or put in a wrong order.
#
# By default POINTS of each kind, evenly spread; RIMGLOW_POINTS=all tries every call.
#
# release only, all: nothing can be preloaded under ASan
. "$ROOT/tests/cli/archive.sh"

POINTS=${RIMGLOW_POINTS:-10}

# spread: of the lines on standard input at most $POINTS, evenly, with the first and the last.
spread() {
    awk -v most="$POINTS" '{ line[NR] = $0 }
        END { if (most == "all" || NR <= most) most = NR
              for (i = 0; i < most; i++) print line[most == 1 ? 1 : 1 + int(i * (NR - 1) / (most - 1) + 0.5)] }'
}

begin() {
    sweep s "G sharp"
    cp "$SAMPLES/07-G-sharp/witness.jpg" "$SAMPLES/07-G-sharp/view_00.jpg" s
    list s witness witness.jpg
    list s closed view_00.jpg
    cp "$CALIB/alto-loan.ini" "$CALIB/bench.ini" .
    change s "s,$CALIB,$PWD,"
    inspect="inspect -q -j 1 -o o --pictures none s"
    faulty "READS=1 MATCH=$PWD LOG=$PWD/log" "$RIMGLOW" $inspect
    exits 2
    map=o/PE-A-0147/s/seal-map.json
    cp $map good
}

test_the_shim_interrupts_and_shortens_reads() {
    needs_faults
    seq 1000 >random
    faulty "READS=1 LOG=$PWD/log MATCH=random" head -c 5000 random
    exits 0
    grep -q "^1 open $PWD/random" log || fail "an open is seen: $(cat log)"
    grep -q "^2 read $PWD/random" log || fail "a read is seen: $(cat log)"
    for point in "eintr 1" "eio 1" "eio 2"; do
        # shellcheck disable=SC2086 # words on purpose
        set -- $point
        faulty "READS=1 AT=$2 KIND=$1 MATCH=random" head -c 5000 random
        exits 1
    done
    for kind in eintr short; do # head reads on after either
        rm -f log2
        faulty "READS=1 AT=2 KIND=$kind MATCH=random LOG=$PWD/log2" head -c 5000 random
        exits 0
        cmp out random || fail "the whole file"
        [ "$(grep -c read log2)" -gt "$(grep -c read log)" ] || fail "$kind: one read more"
    done
}

test_an_interrupted_inspection_gives_the_same_result() {
    needs_faults
    begin
    points=0
    for kind in eintr short; do
        for n in $(cut -d' ' -f1 log | spread); do
            rm -rf o
            faulty "READS=1 MATCH=$PWD AT=$n KIND=$kind" "$RIMGLOW" $inspect
            [ "$status" = 2 ] || fail "$kind at $(sed -n "$n"p log): exit code $status"
            cmp $map good || fail "$kind at $(sed -n "$n"p log): the same result"
            no_parts o
            points=$((points + 1))
        done
    done
    echo "note: $points of $(wc -l <log) calls, interrupted or short"
}

# EIO at each open and read. A frame that cannot be read is left out, by name; any other file ends the command.
test_an_unreadable_file_is_named() {
    needs_faults
    begin
    grep -E "^[0-9]+ (openat|read) $PWD/(s/)?[a-z0-9_-]*\.(ini|jpg)\$" log >reads
    [ "$(wc -l <reads)" = 10 ] || fail "three files and two frames are opened and read: $(cat reads)"
    while read -r n call path; do
        name=$(basename "$(printf '%s' "$path")")
        faulty "READS=1 MATCH=$PWD AT=$n KIND=eio" "$RIMGLOW" inspect -j 1 -o o --pictures none s
        case $path in
        *.ini)
            exits 66
            grep -q "^rimglow: .*$name: .*Input/output error.*; " err || fail "$call: the message names $name"
            cmp $map good || fail "$call $path: the old result stays"
            ;;
        *)
            exits 2
            shows "$name"
            jq -e --arg f "$name" '[.frames[] | select(.file == $f)] | length == 1 and
                (.[0].used | not) and (.[0].reason | test("Input/output error"))' $map >/dev/null ||
                fail "$call: $name is left out, and it says why: $(jq -c '[.frames[] | {file, used, reason}]' $map)"
            ;;
        esac
        cp good $map
    done <reads
}

# A frame that was measured, and cannot be read again for its picture.
test_a_frame_that_is_lost_before_its_picture_is_named() {
    needs_faults
    begin
    rm -r o
    faulty "READS=1 MATCH=view_00 LOG=$PWD/log3" "$RIMGLOW" inspect -q -j 1 -o o s
    last=$(grep ' read ' log3 | tail -n 1 | cut -d' ' -f1)
    rm -r o
    faulty "READS=1 MATCH=view_00 AT=$last KIND=eio" "$RIMGLOW" inspect -q -j 1 -o o s
    refused 66 "s/view_00.jpg" "Input/output error" "; "
    gone $map
}

# ---- an archive

test_an_interrupted_archive_is_the_same() {
    needs_faults
    instrument PE-A-0147 none
    visit base PE-A-0147 0
    set -- archive add -a a --technician "A. Tester" sweeps/PE-A-0147/g-sharp sweeps/PE-A-0147/c
    cp -a base a
    # SQLite looks after its own files, and gives up on an interrupted fsync.
    faulty "READS=1 LOG=$PWD/all TIME=$((FIRST_DAY + DAY))" "$RIMGLOW" "$@"
    exits 0
    grep -v 'sqlite' all >log
    honest=$(bag a PE-A-0147 2)
    (cd "$honest" && find . -type f ! -name '*manifest*' ! -name bag-info.txt ! -name '*.json' -exec sha256sum {} + | sort -k 2) >good
    points=0
    for kind in eintr short; do
        for n in $(grep "$PWD" log | cut -d' ' -f1 | spread); do
            rm -rf a
            cp -a base a
            faulty "READS=1 AT=$n KIND=$kind TIME=$((FIRST_DAY + DAY))" "$RIMGLOW" "$@"
            [ "$status" = 0 ] || fail "$kind at $(sed -n "$n"p all): exit code $status"
            (cd "$(bag a PE-A-0147 2)" && sha256sum -c --quiet "$OLDPWD/good") || fail "$kind at $n: the same files"
            rg archive verify -a a
            exits 0
            points=$((points + 1))
        done
    done
    echo "note: $points of $(wc -l <log) calls of archive add, interrupted or short"
    faulty "READS=1 LOG=$PWD/looks" "$RIMGLOW" archive verify -a a
    cp out verified
    points=0
    for kind in eintr short; do
        for n in $(grep -v sqlite looks | grep "$PWD" | cut -d' ' -f1 | spread); do
            faulty "READS=1 AT=$n KIND=$kind" "$RIMGLOW" archive verify -a a
            [ "$status" = 0 ] || fail "verify, $kind at $(sed -n "$n"p looks): exit code $status"
            cmp out verified || fail "verify says the same"
            points=$((points + 1))
        done
    done
    echo "note: $points of $(wc -l <looks) calls of archive verify"
}

# ---- a clock that goes backwards

test_a_clock_set_back_loses_no_visit_and_no_order() {
    needs_faults
    instrument PE-A-0147 none
    for day in 5 2 3 1; do
        visit a PE-A-0147 $day
        cat out err >said-$day
    done
    grep -q 'clock' said-2 || fail "the second visit is told that the clock went back: $(cat said-2)"
    ! grep -q 'clock' said-5 || fail "the first is not"
    rg archive verify -a a
    exits 0
    rg archive list -a a --json
    exits 0
    # Numbers in the order of archiving, times as the clock said.
    jq -e '[.inspections[] | {n: .sequence, t: .time[0:10]}] | sort_by(.n) ==
        [{n: 1, t: "2026-07-30"}, {n: 2, t: "2026-07-27"}, {n: 3, t: "2026-07-28"}, {n: 4, t: "2026-07-26"}]' out ||
        fail "four visits, numbered as they came"
    dump a >before
    rg archive reindex -a a
    exits 0
    dump a | cmp - before || fail "the index made anew is the same"
}
