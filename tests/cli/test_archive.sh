# The archive: what is stored, found, compared, certified and handed over.
#
# release only, all: test_bag, test_catalogue and test_archive_report do it under the sanitizers, test_archive_names.sh the commands

# Two quick sweeps of one serial with results beside them, so that adding does not measure.
bench_day() { made bench-day swept_and_inspected; }
swept_and_inspected() {
    leaking "G sharp"
    sweep C C
    add C witness "$SAMPLES/04-C/witness.jpg"
    for frame in "$SAMPLES"/04-C/view_*.jpg; do add C closed "$frame"; done
    rg inspect --pictures map C "G sharp"
    exits 1
}

stored() { rg archive add --technician "A. Bell" "$@"; exits 0; }
bags() { ls archive/bags/PE-A-0147; }

test_a_bag_holds_frames_files_results_and_who() {
    bench_day
    stored --occasion "as received" --note "case wet" --setup "$ROOT/samples/setup.ini" C "G sharp"
    shows "( / ) leaking" "PE-A-0147/0001-" "2 sweeps (0 measured now)"
    bag=archive/bags/PE-A-0147/$(bags)
    there "$bag/bagit.txt" "$bag/manifest-sha256.txt" "$bag/tagmanifest-sha256.txt" \
        "$bag/data/calib/alto-loan.ini" "$bag/data/calib/bench.ini" "$bag/data/setup/setup.ini" \
        "$bag/data/results/C/ring.png" "$bag/data/results/C/strip.png"
    for frame in "$SAMPLES"/07-G-sharp/*.jpg; do
        cmp -s "$frame" "$bag/data/sweeps/G_sharp/$(basename "$frame")" || fail "$frame is untouched"
    done
    cmp -s "G sharp/sweep.ini" "$bag/data/sweeps/G_sharp/sweep.ini" || fail "sweep.ini is untouched"
    cmp -s inspection/PE-A-0147/C/seal-map.json "$bag/data/results/C/seal-map.json" ||
        fail "the seal map is the one that was inspected"
    (cd "$bag" && sha256sum --quiet --strict -c manifest-sha256.txt tagmanifest-sha256.txt) ||
        fail "sha256sum agrees"
    for line in "External-Identifier: PE-A-0147" "Inspection-Verdict: leaking" "Inspection-Pad-Count: 2" \
        "Inspection-Technician: A. Bell" "Bag-Software-Agent: rimglow "; do
        grep -qF "$line" "$bag/bag-info.txt" || fail "bag-info.txt says $line"
    done
    grep -qE '^Inspection-Time: 20[0-9]{2}-[0-9]{2}-[0-9]{2}T[0-9:]{8}Z$' "$bag/bag-info.txt" || fail "time in UTC"
    holds "$bag/data/inspection.json" '.previous == null and .sequence == 1 and .note == "case wet"'
    holds "$bag/data/inspection.json" '[.sweeps[].pad] == ["C", "G sharp"] and (.setup | length) == 4 and (.checks | length) == 3'
    no_parts archive
}

test_the_second_bag_names_the_first_by_its_digests() {
    bench_day
    stored C
    stored "G sharp"
    set -- archive/bags/PE-A-0147/*
    [ $# = 2 ] || fail "two bags: $*"
    manifest=$(sha256sum <"$1/manifest-sha256.txt" | cut -d' ' -f1)
    tags=$(sha256sum <"$1/tagmanifest-sha256.txt" | cut -d' ' -f1)
    holds "$2/data/inspection.json" ".previous.manifest_sha256 == \"$manifest\""
    holds "$2/data/inspection.json" ".previous.tagmanifest_sha256 == \"$tags\""
    holds "$2/data/inspection.json" ".previous.bag == \"$(basename "$1")\""
    grep -qF "Previous-Manifest-SHA256: $manifest" "$2/bag-info.txt" || fail "bag-info.txt links too"
}

test_results_of_other_frames_are_not_taken() {
    bench_day
    rm C/view_00.jpg
    cp "$SAMPLES/04-C/view_01.jpg" C/view_00.jpg
    stored C
    shows "1 sweep (1 measured now)"
    rg archive verify --measure
    exits 0
}

test_results_of_other_settings_are_not_taken() {
    bench_day
    cp "$CALIB/bench.ini" "$CALIB/alto-loan.ini" .
    change C "s|^station.*|station = ../bench.ini|"
    change C "s|^instrument.*|instrument = ../alto-loan.ini|"
    stored C
    shows "(1 measured now)"
    stored C
    shows "(0 measured now)"
    echo '; a word more' >>C/sweep.ini
    stored C
    shows "(1 measured now)"
    for file in bench.ini alto-loan.ini; do
        echo '; a word more' >>$file
        stored C
        shows "(1 measured now)"
    done
    map=inspection/PE-A-0147/C/seal-map.json
    sed 's/"software": "rimglow [^"]*"/"software": "rimglow 0.0.1"/' $map >older
    ! cmp -s older $map || fail "the version is changed"
    mv older $map
    stored C
    shows "(1 measured now)"
    rg archive verify --measure
    exits 0
}

test_a_frame_that_hides_its_change_stops_the_storing() {
    bench_day
    rm C/view_00.jpg
    cp "$SAMPLES/04-C/view_01.jpg" C/view_00.jpg
    touch -d 2001-01-01 C/view_00.jpg
    rg archive add --technician x C
    refused 65 "C/view_00.jpg" "not what was measured" "--measure"
    [ -z "$(find archive/bags archive/incoming -type f)" ] || fail "nothing was stored"
    stored --measure C
    rg archive verify --measure
    exits 0
}

test_a_missing_technician_or_mixed_serials_are_refused() {
    bench_day
    rg archive add C
    refused 64 "technician"
    cp -r C D
    change D 's/PE-A-0147/PE-A-0148/'
    rg archive add --technician x --results r C D
    refused 64 "PE-A-0148" "one instrument"
    gone archive/bags
}

test_a_folder_with_other_files_is_no_archive() {
    bench_day
    mkdir -p home && echo mine >home/letter.txt
    rg archive add -a home --technician x C
    refused 64 "home" "other files"
    [ "$(ls home)" = letter.txt ] || fail "nothing was written there"
    rg archive list -a nowhere
    refused 66 "nowhere" "no archive"
    gone nowhere
    rg archive reindex -a nowhere
    refused 66 "nowhere"
    gone nowhere
}

test_an_instrument_is_sealed_only_with_every_pad_swept() {
    bench_day
    rg archive add --technician x C --json
    exits 0
    holds out '.verdict == "undecided" and .indexed and .sweeps == 1'
    rg archive show PE-A-0147
    shows "( ? ) undecided" "not swept: high F" "( O ) sealed"
    sed '/^\[pad /,$d' "$CALIB/alto-loan.ini" >one.ini
    sed -n '/^\[pad C\]/,/^$/p' "$CALIB/alto-loan.ini" >>one.ini
    change C "s|^instrument.*|instrument = ../one.ini|"
    rg archive add --technician x C --json
    exits 0
    holds out '.verdict == "sealed"'
}

# Common practice, no source: firm force closes gaps that playing leaves open.
test_a_firm_finger_alone_releases_no_pad() {
    bench_day
    { sed '/^\[pad /,$d' "$CALIB/alto-loan.ini"; sed -n '/^\[pad C\]/,/^$/p' "$CALIB/alto-loan.ini"; } >one.ini
    change C "s|^instrument.*|instrument = ../one.ini|"
    cp -r C C-firm
    change C-firm "s|^finger = light|finger = firm|"
    rg archive add --technician x C-firm --json
    exits 0
    holds out '.verdict == "undecided"'
    rg archive show PE-A-0147
    shows "( ? ) undecided" "only a firm finger was tried: C"
    rg archive add --technician x C C-firm --json
    holds out '.verdict == "sealed"'
    rg archive show PE-A-0147 --json
    holds out '[.sweeps[].finger] == ["light", "firm"] and .reasons == []'
    change C-firm "s|^finger = firm|finger = 200 g|"
    rg archive add --technician x C-firm --json
    holds out '.verdict == "sealed"' # a stated force is what it says
    cp -r "G sharp" "G sharp-firm"
    change "G sharp-firm" "s|^finger = light|finger = firm|"
    rg archive add --technician x "G sharp" "G sharp-firm" --json
    rg archive show PE-A-0147 --json
    holds out '[.reasons[] | select(startswith("leaking"))] == ["leaking: G sharp"]' # named once
}

test_lists_are_searched_by_serial_model_date_verdict_and_pad() {
    bench_day
    stored C
    stored "G sharp"
    rg archive list
    shows "2 inspections" "PE-A-0147"
    for choice in "--serial PE-A-*" "--verdict leaking" "--model Port*" "--since 2026-01-01" "--pad C" \
        "--technician A.*"; do
        # shellcheck disable=SC2086
        rg archive list $choice
        exits 0
        hides "0 inspections"
    done
    rg archive list --verdict leaking
    shows "1 inspection"
    rg archive list --pad C --pad-verdict leaking
    shows "0 inspections"
    rg archive list --until 2001-01-01
    shows "0 inspections"
    rg archive list --serial "' OR 1=1 --"
    shows "0 inspections"
    rg archive list --since yesterday
    refused 64 "--since yesterday"
    rg archive list --limit 1 --json
    holds out '.format == "rimglow archive export" and (.inspections | length) == 1'
    holds out '.inspections[0].sequence == 2'
}

test_two_visits_are_compared_pad_by_pad() {
    bench_day
    stored C "G sharp"
    # The same key on another day: the gap of pad G stands where G sharp's stood.
    sweep "later" "G sharp"
    add later witness "$SAMPLES/04-C/witness.jpg"
    for frame in "$SAMPLES"/04-C/view_*.jpg; do add later closed "$frame"; done
    stored C later
    rg archive compare PE-A-0147/1 PE-A-0147/2 -o o
    exits 0
    shows "C  " "no change shown" "G sharp" "narrower at bearings"
    there o/PE-A-0147/0001-0002/C.png o/PE-A-0147/0001-0002/G_sharp.svg
    rg archive compare PE-A-0147/2 PE-A-0147/1 -o o --json
    exits 1
    holds out '.overall == "wider" and (.pads | length) == 2 and (.pads[0].bins | length) == 360'
    holds out '[.pads[] | select(.pad == "G sharp")][0].arcs[0].most_mm > 0.1'
    rg archive compare PE-A-0147 -o o
    exits 0
    there o/PE-A-0147/history-C.png
    rg archive compare PE-A-0147/1 PE-A-0147/1
    refused 64 "itself"
    rg archive compare PE-A-0147/1 PE-A-0147/9
    refused 66 "PE-A-0147/9"
}

test_the_certificate_is_a_sound_pdf_and_a_page_that_asks_for_nothing() {
    bench_day
    stored --note '<script>alert(1)</script>' C "G sharp"
    rg archive report PE-A-0147 -o o
    exits 0
    qpdf --check o/PE-A-0147-0001.pdf >check 2>&1 || fail "qpdf agrees: $(cat check)"
    pdftotext -layout o/PE-A-0147-0001.pdf text
    manifest=$(sha256sum <"archive/bags/PE-A-0147/$(bags)/manifest-sha256.txt" | cut -d' ' -f1)
    for words in PE-A-0147 LEAKING "A. Bell" "$manifest" "2026"; do
        grep -qF "$words" text || fail "the PDF says $words"
    done
    page=o/PE-A-0147-0001.html
    there "$page"
    ! grep -qi '<script' "$page" || fail "the note is escaped"
    grep -qF '&lt;script' "$page" || fail "the note is there"
    ! grep -qE '(src|href)="?(https?:)?//' "$page" || fail "nothing is asked from outside"
    rg archive verify --digest "$manifest"
    exits 0
    shows "the digest is that of PE-A-0147/0001"
}

test_a_certificate_of_spoilt_evidence_says_so() {
    bench_day
    stored C
    printf x >>"archive/bags/PE-A-0147/$(bags)/data/sweeps/C/view_00.jpg"
    rg archive report PE-A-0147 -o o
    exits 1
    pdftotext -layout o/PE-A-0147-0001.pdf text
    grep -qi 'not check' text || fail "the PDF warns"
    ! grep -qF "SEALED" text && ! grep -qF "( O )" text || fail "no pad is called sealed"
}

test_exports_are_tables_and_one_checked_bag() {
    bench_day
    stored --note '=1+1' C "G sharp"
    rg archive export -o e
    exits 0
    there e/inspections.csv e/pads.csv e/arcs.csv e/setup-values.csv e/archive.json
    [ "$(wc -l <e/pads.csv)" = 3 ] || fail "a header and two pads"
    grep -q "'=1+1" e/inspections.csv || fail "a spreadsheet does not run the note"
    holds e/archive.json '.inspections[0].note == "=1+1" and (.inspections[0].pads | length) == 2'
    rg archive export --bag PE-A-0147 -o e
    exits 0
    rg archive verify --bag e/PE-A-0147-0001-*
    exits 0
    (cd e/PE-A-0147-0001-* && sha256sum --quiet -c manifest-sha256.txt) || fail "sha256sum agrees"
    rg archive export --bag PE-A-0147 -o e
    refused 73 "is there already"
    printf x >>"$(echo e/PE-A-0147-0001-*)/data/sweeps/C/sweep.ini"
    rg archive verify --bag e/PE-A-0147-0001-*
    exits 1
    shows "altered" "data/sweeps/C/sweep.ini"
}

test_a_signed_bag_is_checked_against_the_right_key() {
    bench_day
    rg archive key shop.key
    exits 0
    rg archive key other.key
    [ "$(stat -c %a shop.key)" = 600 ] || fail "the secret key is its owner's alone"
    stored --key shop.key C
    rg archive verify --public shop.key.pub
    exits 0
    shows "good, key"
    rg archive verify --public other.key.pub
    exits 1
    shows "signature" "none of the trusted"
    stored "G sharp"
    rg archive verify
    exits 1
    shows "is not signed"
    rm -r archive
    stored C
    rg archive verify --public shop.key.pub
    exits 0
    shows ". signature" "the key says nothing about it"
    chmod 644 shop.key
    rg archive add --technician x --key shop.key C
    refused 65 "shop.key"
    rg archive key shop.key
    refused 73 "shop.key"
}

test_batch_counts_first_inspections_and_leaks() {
    bench_day
    stored C "G sharp"
    stored C
    rg archive batch --json -o b
    exits 0
    there b/batch.png b/batch.svg
    holds out '.inspections == 2 and .serials == 1 and .sweeps == 3'
    # Clopper and Pearson (1934): 1 of 2 at 95 % is 1.26 to 98.74 %, by R's binom.test(1, 2).
    holds out '.models[0].pads | .of == 2 and .count == 1 and (.low - 0.0125791 | fabs) < 1e-6'
    holds out '[.pads[] | select(.leaking > 0)] | length == 1 and .[0].pad == "G sharp"'
    rg archive batch --since 2001-01-01 --until 2001-02-01 --pictures none
    exits 0
    shows "0 inspections"
}

test_reindex_makes_the_same_index_and_names_what_is_lost() {
    bench_day
    stored C
    stored "G sharp"
    rg archive list --json
    mv out before
    rm archive/index.sqlite*
    rg archive list
    refused 66 "reindex"
    rg archive reindex
    exits 0
    rg archive list --json
    cmp -s out before || fail "the same index"
    rm -r archive/bags/PE-A-0147/0002-*
    rg archive add --technician x C
    refused 65 "inspection 2" "reindex"
    rg archive reindex
    exits 1
    shows "given up" "0002-"
    stored "G sharp"
}
