# Crashes, power cuts and failing disks in the midst of archiving: nothing that was committed is lost, nothing
# half-made is ever in its place, and the next command goes on from there.
#
# Every step that changes the disk (tests/shim/faults.c) is a point. RIMGLOW_POINTS=all tries all; by default
# POINTS of each kind of power cut and FEW of each other kind, evenly spread (make check-crash tries all). An fsync that is missing shows
# only in few cuts; what a kill or an error leaves differs from one kind of step to the next, not from one step to the next.
. "$ROOT/tests/cli/archive.sh"

POINTS=${RIMGLOW_POINTS:-36}
FEW=${RIMGLOW_POINTS:-16}
SETUP="--setup $ROOT/samples/setup.ini" # with a set-up sheet, so that its files are among the points

# spread: of the lines on standard input at most $POINTS, evenly, with the first and the last.
spread() {
    awk -v most="$POINTS" '{ line[NR] = $0 }
        END { if (most == "all" || NR <= most) most = NR
              for (i = 0; i < most; i++) {
                  at = most == 1 ? 1 : 1 + int(i * (NR - 1) / (most - 1) + 0.5)
                  print line[at]
              } }'
}

# points KIND...: "KIND NUMBER" lines for the steps in the file steps.
points() {
    count=$(wc -l <steps)
    for kind in "$@"; do
        case $kind in
        kill-torn | short) awk -v kind="$kind" '$2 ~ /write|copy|sendfile/ { print kind, $1 }' steps ;;
        exdev) awk '$2 ~ /rename|link/ { print "exdev", $1 }' steps ;;
        power*) seq "$count" | sed "s/^/$kind /"; echo "$kind exit" ;;
        *) seq "$count" | sed "s/^/$kind /" ;;
        esac | spread
    done
}

# wrong TEXT: notes what is not so at this point; goes on with the next one.
wrong() {
    echo "$point: $*"
    sed 's/^/    stderr: /' err 2>/dev/null | head -5
    sed 's/^/    stdout: /' out 2>/dev/null | head -12
    return 1
}

# try_points CHECK: CHECK KIND NUMBER at each line of the file points, by two workers; each in a folder of its
# own beside base/ and sweeps/. Fails the case when any is wrong; says how many there were.
try_points() {
    total=$(wc -l <points)
    [ "$total" -gt 0 ] || fail "there are points"
    for worker in 0 1; do
        (
            set +e
            mkdir -p "worker-$worker"
            cd "worker-$worker" || exit
            ln -sfn ../sweeps ../inspection .
            awk -v w=$worker 'NR % 2 == w' ../points | while read -r kind number; do
                point="$kind at $number"
                chmod -R u+w a 2>/dev/null
                rm -rf a b out err
                "$1" "$kind" "$number" >>../wrong-$worker
                echo "$point" >>../tried-$worker
            done
        ) &
    done
    wait
    tried=$(cat tried-0 tried-1 2>/dev/null | wc -l)
    cat wrong-0 wrong-1 >wrong
    rm -f wrong-0 wrong-1 tried-0 tried-1
    [ "$tried" = "$total" ] || fail "all $total points were tried, not $tried"
    if [ -s wrong ]; then
        grep -c '^[a-z]' wrong
        head -60 wrong
        fail "of $total points some are wrong"
    fi
    echo "note: $(find . -maxdepth 1 -name 'good-*' | wc -l) different archives at $total points: $(cut -d' ' -f1 points | sort | uniq -c | awk '{ printf "%s%s %s", sep, $1, $2; sep = ", " }')"
}

# once CHECK: CHECK, which asks of nothing but the archive a, unless it held at another point for an archive of the same names,
# kinds, modes, links and bytes. Many points leave the same one: an fsync changes no file, and what was never made durable is
# gone after every power cut.
once() {
    state=$({ cd a 2>/dev/null && find . -printf '%y %m %p %l\n' | sort && find . -type f -exec sha256sum {} + | sort; } |
        sha256sum | cut -d' ' -f1)
    [ ! -e "../good-$1-$state" ] || return 0
    "$1" && : >"../good-$1-$state"
}

# What must hold after any interruption of adding the third bag of PE-A-0147 to base/: the archive is a.
sound_after_a_crash() {
    for old in $(bags ../base); do
        diff -r "../base/bags/$old" "a/bags/$old" >/dev/null || { wrong "$old is untouched"; return; }
    done
    new=$(bags a | grep -vxF "$(bags ../base)")
    for one in $new; do
        [ "$(contents "a/bags/$one")" = "$(contents ../honest-bag)" ] || { wrong "$one is whole"; return; }
        standard_tools_agree "a/bags/$one" >/dev/null 2>&1 || { wrong "$one agrees with sha256sum"; return; }
    done
    rg archive verify -a a
    [ "$status" = 0 ] || { wrong "verify is clean"; return; }
    rg archive list -a a --json
    [ "$status" = 0 ] || { wrong "list works"; return; }
    jq -e '[.inspections[].bag] | length >= 3' out >/dev/null || { wrong "list has the three bags"; return; }
    cp -a a b
    rg archive reindex -a b
    [ "$status" = 0 ] || { wrong "reindex works"; return; }
    rg archive verify -a b
    [ "$status" = 0 ] || { wrong "verify is clean after reindex"; return; }
    on_day 9 archive add -a a --technician "A. Tester" sweeps/PE-A-0147/*
    [ "$status" = 0 ] || { wrong "the next add works"; return; }
    [ "$(bags a PE-A-0147 | wc -l)" = $((3 + $(echo "$new" | grep -c .))) ] ||
        { wrong "one bag more: $(bags a)"; return; }
    rg archive verify -a a
    [ "$status" = 0 ] || { wrong "verify is clean after the next add"; return; }
    [ -z "$(ls a/incoming)" ] || { wrong "nothing is left in incoming/: $(ls a/incoming)"; return; }
    dump a >healed || { wrong "the index is whole"; return; }
    rg archive reindex -a a
    dump a | cmp -s healed - || { wrong "healed and made anew, the index is the same"; return; }
}

add_with_fault() {
    cp -a ../base a
    faulty "TIME=$((FIRST_DAY + 4 * DAY)) AT=$2 KIND=$1 SEED=${2%exit}1 ${3:-}" \
        "$RIMGLOW" archive add -a a --technician "A. Tester" $SETUP sweeps/PE-A-0147/* 2>/dev/null
}

crash_while_adding() {
    add_with_fault "$1" "$2"
    if [ "$2" = exit ]; then
        [ "$status" = 0 ] || { wrong "the add ends well"; return; }
        [ "$(bags a PE-A-0147 | wc -l)" = 3 ] || { wrong "what was reported as archived is there"; return; }
    fi
    once sound_after_a_crash
}

# base/ with three bags, sweeps and results, honest-bag, and the steps of an honest add.
prepare() {
    needs_faults
    instrument PE-A-0147 none
    instrument PE-A-0151 none
    three base
    cp -a base a
    faulty "TIME=$((FIRST_DAY + 4 * DAY)) LOG=$PWD/steps" \
        "$RIMGLOW" archive add -a a --technician "A. Tester" $SETUP sweeps/PE-A-0147/*
    exits 0
    cp -a "$(bag a PE-A-0147 3)" honest-bag
    there honest-bag/data/setup/setup-sheet.pdf
    rm -rf a
}

test_a_crash_while_archiving_loses_nothing() {
    prepare
    (POINTS=$FEW; points kill-before kill-after kill-torn) >points
    try_points crash_while_adding
}

test_a_power_cut_while_archiving_loses_nothing() {
    prepare
    points power power-content power-names power-some >points
    try_points crash_while_adding
}

# ---- the very first bag, where there was no archive

crash_at_the_beginning() {
    faulty "TIME=$FIRST_DAY AT=$2 KIND=$1 SEED=$2" \
        "$RIMGLOW" archive add -a a --technician "A. Tester" sweeps/PE-A-0147/* 2>/dev/null
    case $2 in exit) [ -d a/bags ] || { wrong "the new archive is there"; return; } ;; esac
    once sound_after_a_beginning
}

sound_after_a_beginning() {
    kept=0
    if [ -d a/bags ]; then
        kept=$(bags a | wc -l)
        if [ "$kept" != 0 ]; then
            rg archive verify -a a
            [ "$status" = 0 ] || { wrong "verify is clean"; return; }
        fi
    fi
    rg archive add -a a --technician "A. Tester" sweeps/PE-A-0147/*
    [ "$status" = 0 ] || { wrong "the next add works"; return; }
    [ "$(bags a | wc -l)" = $((kept + 1)) ] || { wrong "one bag more than $kept: $(bags a)"; return; }
    rg archive verify -a a
    [ "$status" = 0 ] || { wrong "verify is clean after the next add"; return; }
}

test_a_crash_while_an_archive_is_begun() {
    needs_faults
    instrument PE-A-0147 none
    steps_of "$RIMGLOW" archive add -a begun --technician "A. Tester" sweeps/PE-A-0147/* >/dev/null
    POINTS=${RIMGLOW_POINTS:-12}
    points kill-before kill-torn power power-content power-some >points
    try_points crash_at_the_beginning
}

# ---- the index made anew

crash_while_reindexing() {
    cp -a ../base a
    faulty "AT=$2 KIND=$1 SEED=$2" "$RIMGLOW" archive reindex -a a 2>/dev/null
    once sound_after_reindexing
}

sound_after_reindexing() {
    diff -r ../base/bags a/bags >/dev/null || { wrong "the bags are untouched"; return; }
    rg archive verify -a a
    [ "$status" = 0 ] || { wrong "verify is clean"; return; }
    rg archive list -a a --json
    [ "$status" = 0 ] && [ "$(jq '.inspections | length' out)" = 3 ] || { wrong "list has three bags"; return; }
    dump a | cmp -s ../index-text - || { wrong "the index is the old or the new one"; return; }
    rg archive reindex -a a
    [ "$status" = 0 ] || { wrong "reindex works"; return; }
    dump a | cmp -s ../index-text - || { wrong "the index is the same again"; return; }
    [ "$(find a -maxdepth 1 -name '*part*' -o -maxdepth 1 -name '*new*' | wc -l)" = 0 ] ||
        { wrong "no half-made index is left: $(ls a)"; return; }
}

test_a_crash_while_reindexing() {
    prepare
    dump base >index-text
    cp -a base a
    steps_of "$RIMGLOW" archive reindex -a a >/dev/null
    POINTS=${RIMGLOW_POINTS:-12}
    points kill-before kill-torn power power-content power-names power-some >points
    try_points crash_while_reindexing
}

error_while_reindexing() {
    case $1 in *-on) from="FROM=1" ;; *) from= ;; esac
    cp -a ../base a
    faulty "AT=$2 KIND=${1%-on} $from" "$RIMGLOW" archive reindex -a a
    case $status in
    0) ;;
    73 | 74)
        [ "$(wc -l <err)" = 1 ] && grep -q '^rimglow: a/.*; ' err ||
            { wrong "one line names a file and a remedy"; return; }
        ;;
    *) wrong "exit code 73 or 74, not $status"; return ;;
    esac
    once index_after_an_error
}

index_after_an_error() {
    dump a | cmp -s ../index-text - || { wrong "the index is the old or the new one"; return; }
    rg archive reindex -a a
    [ "$status" = 0 ] || { wrong "a repeat works"; return; }
    rg archive verify -a a
    [ "$status" = 0 ] || { wrong "verify is clean"; return; }
}

test_a_failing_disk_while_reindexing() {
    prepare
    dump base >index-text
    cp -a base a
    steps_of "$RIMGLOW" archive reindex -a a >/dev/null
    POINTS=${RIMGLOW_POINTS:-8}
    (POINTS=$FEW; points enospc eio erofs estale short) >points
    (POINTS=$FEW; points enospc erofs eio) | sed 's/ /-on /' >>points
    try_points error_while_reindexing
}

# ---- an index that the crash took away altogether

crash_while_healing() {
    cp -a ../base a
    rm a/index.sqlite*
    faulty "TIME=$((FIRST_DAY + 4 * DAY)) AT=$2 KIND=$1 SEED=$2" \
        "$RIMGLOW" archive add -a a --technician "A. Tester" $SETUP sweeps/PE-A-0147/* 2>/dev/null
    once sound_after_healing
}

sound_after_healing() {
    rg archive reindex -a a
    [ "$status" = 0 ] || { wrong "reindex works"; return; }
    sound_after_a_crash
}

test_a_crash_while_a_lost_index_is_made_again() {
    prepare
    cp -a base a
    rm a/index.sqlite*
    steps_of "$RIMGLOW" archive add -a a --technician "A. Tester" $SETUP sweeps/PE-A-0147/* >/dev/null
    POINTS=${RIMGLOW_POINTS:-8}
    points kill-before power power-some >points
    try_points crash_while_healing
}

# ---- a disk that says no

error_while_adding() {
    case $1 in *-on) from="FROM=1" ;; *) from= ;; esac
    add_with_fault "${1%-on}" "$2" "$from"
    count=$(bags a PE-A-0147 | wc -l)
    case $status in
    0) [ "$count" = 3 ] || { wrong "a visit reported as archived is there"; return; } ;;
    73 | 74)
        [ "$(wc -l <err)" = 1 ] || { wrong "one line on stderr"; return; }
        grep -q '^rimglow: .*a/.*; ' err || { wrong "the message names a file and a remedy"; return; }
        # It says so when the bag is stored all the same, or where it lies.
        told=$(grep -c 'the bag stands there\|the bag is stored' err)
        [ "$count" = $((2 + told)) ] || { wrong "the message says whether the bag is stored ($count bags)"; return; }
        whole=$(sed -n 's/.*it is whole in \([^ ;]*\).*/\1/p; s/.*the bag is whole in \([^ ;]*\).*/\1/p' err)
        [ -z "$whole" ] || standard_tools_agree "$whole" || { wrong "the bag is whole in $whole"; return; }
        ;;
    *) wrong "exit code 73 or 74, not $status"; return ;;
    esac
    once sound_after_a_crash
}

test_a_failing_disk_while_archiving_loses_nothing() {
    prepare
    POINTS=${RIMGLOW_POINTS:-12}
    (POINTS=$FEW; points enospc eio erofs exdev estale short) >points
    (POINTS=$FEW; points enospc erofs eio) | sed 's/ /-on /' >>points
    try_points error_while_adding
}
