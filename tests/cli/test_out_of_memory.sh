# Memory that runs out at any allocation: no crash, no hang, no leak, a message; no result is lost or half written, and
# none is silently a different one.
#
# Each allocation of our own code is tried, but those for JSON documents, which are all alike (block_or_end in
# src/app/command.c): of them the first ones and a sample. RIMGLOW_POINTS=all tries all, and more of the libraries.
. "$ROOT/tests/cli/archive.sh"

OWN="OF=rimglow"
case ${RIMGLOW_POINTS:-} in
all) SOME="STRIDE=1" FEW="STRIDE=7" LIBRARIES="STRIDE=5" ;;
*) SOME="STRIDE=997 FIRST=25" FEW="STRIDE=499" LIBRARIES="STRIDE=2503" ;;
esac
# Under ASan rg_alloc is one calling address for all of our code; without optimisation it is seen as itself.
[ -z "${BRIEF:-}" ] || SOME="STRIDE=9973 FIRST=160"

# Two frames and a witness, measured before: honest/ holds what they give.
begin() {
    sweep s "G sharp"
    for frame in witness view_00 view_01; do
        case $frame in witness) role=witness ;; *) role=closed ;; esac
        add s $role "$SAMPLES/07-G-sharp/$frame.jpg"
    done
    rg inspect -q -j 1 -o o --pictures "${1:-none}" s
    exits 2
    map=o/PE-A-0147/s/seal-map.json
    there $map
    cp -a o honest
    # The old map, or the same anew; and no half-written file. A spoiled one is put right again for the next.
    after="cmp -s honest/PE-A-0147/s/seal-map.json $map && [ -z \"\$(find o -name '*.part-*' -delete -print)\" ] ||
        { cp honest/PE-A-0147/s/seal-map.json $map; exit 1; }"
}

test_an_inspection_without_memory_says_so_and_spoils_nothing() {
    begin
    walk "$OWN $SOME" inspect -q -j 1 -o o --pictures none s
    exits 2
    all_judged 2
    [ "$(wc -l <walked)" -ge 150 ] || fail "it walks through the whole inspection"
    tried "our own code"
    cmp $map honest/PE-A-0147/s/seal-map.json || fail "the walk itself disturbs nothing"
}

test_an_inspection_without_memory_from_some_moment_on() {
    begin
    walk "$OWN FROM=1 $FEW FIRST=1" inspect -q -j 1 -o o --pictures none s
    all_judged 2
    tried "from there on"
}

# Of libraries that report it, every failure must arrive: GSL, libjpeg, and the C library on our behalf.
test_what_libraries_report_is_passed_on() {
    needs_faults
    begin
    walk "OF=libgsl,libjpeg,libc.so $FEW FIRST=3" inspect -q -j 1 -o o --pictures none s
    all_judged 2
    grep -q 'libgsl.*exit 70' walked || fail "GSL's are among them"
    grep -q 'libjpeg.*exit 70' walked || fail "libjpeg's are among them"
    tried "GSL, libjpeg, libc"
}

# Our own code and libpng, while pictures are drawn: each picture is whole.
test_pictures_without_memory() {
    needs_faults
    begin map
    after="$after && ! for f in o/PE-A-0147/s/*.png; do tail -c 8 \$f | head -c 4; echo; done | grep -qvx IEND &&
        ! for f in o/PE-A-0147/s/*.svg; do tail -n 1 \$f; done | grep -qvx '</svg>'"
    walk "OF=rimglow,libpng STRIDE=997 FIRST=1" inspect -q -j 1 -o o --pictures map s
    all_judged 2
    tried "pictures"
}

# Excused, because these do not look at what they were given (libapriltag 3.3.0, cairo 1.16 where it strokes and in
# its fonts, and fontconfig 2.14 with the calls that it makes of expat, freetype and the C library): they may
# crash, and fontconfig may never end (signal 14 is the walk's time limit), which our code cannot mend. Even then the old results stay whole.
test_a_library_that_crashes_without_memory_spoils_nothing() {
    needs_faults
    begin
    walk "OF=libapriltag,libcairo,libpixman,libfontconfig,libfreetype,libexpat,libc.so $LIBRARIES" \
        inspect -q -j 1 -o o --pictures map s
    awk -F '\t' '$5 != "whole" || $4 !~ /^(exit 2|exit 70|signal 6|signal 11)$/ && !($4 == "signal 14" && $2 ~ /^libfontconfig/)' walked >misjudged
    [ ! -s misjudged ] || fail "nothing is spoiled, nothing hangs: $(head misjudged)"
    tried "libraries that may crash"
    echo "note: $(grep -c '	signal ' walked) of them crashed"
}

# ---- an archive

starve_an_add() {
    rm -rf a
    cp -a base a
    status=0
    env LD_PRELOAD="$(dirname "$TOOLS")/shim/alloc.so" ALLOC_AT="$1" ALLOC_OF=rimglow,libsqlite,libsodium \
        "$RIMGLOW" archive add -a a --technician "A. Tester" sweeps/PE-A-0147/* >out 2>err </dev/null || status=$?
    new=$(bags a | wc -l)
    case $status in
    0) [ "$new" = 2 ] || fail "at $1: a visit reported as archived is there" ;;
    70 | 74)
        [ "$(wc -l <err)" = 1 ] || fail "at $1: one line"
        grep -q 'memory.*; ' err || fail "at $1: it speaks of memory"
        told=$(grep -c 'the bag stands there\|the bag is stored' err || :)
        # A document is written after the bag is in its place, too: "look what is there already".
        grep -q 'JSON document; close other programs, see what is there already' err && told=$((new - 1))
        [ "$new" = $((1 + told)) ] || fail "at $1: the message says whether the bag is stored ($new bags)"
        ;;
    *) fail "at $1: exit code 70 or 74, not $status" ;;
    esac
    rg archive verify -a a
    exits 0
}

test_archiving_without_memory_leaves_the_archive_whole() {
    needs_faults
    instrument PE-A-0147 none
    visit base PE-A-0147 0
    cp -a base a
    env LD_PRELOAD="$(dirname "$TOOLS")/shim/alloc.so" ALLOC_LOG="$PWD/log" \
        "$RIMGLOW" archive add -a a --technician "A. Tester" sweeps/PE-A-0147/* >out 2>err </dev/null
    count=$(awk -F '\t' '$2 ~ /^(rimglow|libsqlite|libsodium)/ { n += $3 } END { print n }' log)
    case ${RIMGLOW_POINTS:-} in all) step=$((count / 400 + 1)) ;; *) step=$((count / 12 + 1)) ;; esac
    points=0
    for n in $(seq 7 "$step" "$count"); do
        starve_an_add "$n"
        points=$((points + 1))
    done
    echo "note: $points of $count allocations of archive add failed"
}
