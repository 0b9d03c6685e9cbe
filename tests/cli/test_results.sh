# What an inspection answers and writes.

# Every picture decodes with libpng (CRC errors and truncation are refused) or draws with librsvg.
pictures_are_whole() {
    for picture in "$@"; do
        there "$picture"
        case $picture in
        *.png) spoil whole "$picture" || fail "$picture is a whole PNG" ;;
        *.svg) rsvg-convert -o drawn.png "$picture" || fail "$picture is an SVG that can be drawn" ;;
        esac
    done
}

keeps_the_format() {
    faults=$(jq -c -f "$ROOT/tests/cli/seal-map.jq" "$1") || fail "$1 is JSON"
    [ "$faults" = "[]" ] || fail "$1 keeps the format: $faults"
}

test_leaking_pad_exits_1_and_says_where_and_how_wide() {
    rg inspect -o o --pictures none "$SAMPLES/08-G"
    exits 1
    silent err
    shows "pad  " "G  " "( / ) leaking" "30/30" "open at bearings" "= o/PE-A-0147/08-G"
    hides "sweeps:"
    map=o/PE-A-0147/08-G/seal-map.json
    keeps_the_format $map
    # The sample's truth: 0.15 mm at bearing 200 (samples/README.md).
    holds $map '.pad == "G" and .verdict == "leaking" and (.arcs | length) == 1'
    holds $map '.arcs[0].max_width_mm > 0.12 and .arcs[0].max_width_mm < 0.18'
    holds $map '(.arcs[0].centre_deg - 200 | fabs) < 10'
    holds $map '(.frames | length) == 31 and .light.proven'
}

test_sealed_pad_exits_0() {
    rg inspect -o o --pictures none "$SAMPLES/04-C"
    exits 0
    shows "( O ) sealed" "100 %"
    keeps_the_format o/PE-A-0147/04-C/seal-map.json
    holds o/PE-A-0147/04-C/seal-map.json '.verdict == "sealed" and (.arcs | length) == 0'
}

test_sweep_without_a_witness_exits_2_and_asks_for_one() {
    rg inspect -o o --pictures none "$SAMPLES/09-F-sharp"
    exits 2
    shows "( ? ) undecided" "no witness frame"
    keeps_the_format o/PE-A-0147/09-F-sharp/seal-map.json
    holds o/PE-A-0147/09-F-sharp/seal-map.json '.light.proven == false and (.frames | length) == 10'
    holds o/PE-A-0147/09-F-sharp/seal-map.json '.reasons[0] | contains("take one")'
    holds o/PE-A-0147/09-F-sharp/seal-map.json '[.bins[] | select(.state == "sealed")] == []'
}

test_all_pictures_are_drawn_for_every_frame() {
    sweep "08 G" G
    add "08 G" witness "$SAMPLES/08-G/witness.jpg"
    add "08 G" closed "$SAMPLES/08-G/view_16.jpg"
    rg inspect -o o "08 G"
    silent err
    place=$(dirname o/PE-A-0147/*/seal-map.json)
    pictures_are_whole "$place"/ring.png "$place"/ring.svg "$place"/strip.png "$place"/strip.svg
    pictures_are_whole "$place"/frames/view_16.jpg.png "$place"/frames/view_16.jpg.svg \
        "$place"/frames/witness.jpg.png "$place"/frames/witness.jpg.svg
    no_parts o
}

test_pictures_map_draws_ring_and_strip_only() {
    leaking s
    rg inspect --out=o --pictures map s
    exits 1
    pictures_are_whole o/PE-A-0147/s/ring.png o/PE-A-0147/s/ring.svg o/PE-A-0147/s/strip.png \
        o/PE-A-0147/s/strip.svg
    gone o/PE-A-0147/s/frames
}

test_pictures_none_writes_the_seal_map_only() {
    leaking s
    rg inspect --out o --pictures=none s
    exits 1
    [ "$(ls o/PE-A-0147/s)" = seal-map.json ] || fail "one file: $(ls o/PE-A-0147/s)"
}

test_a_run_without_pictures_takes_away_those_of_the_run_before() {
    leaking s
    rg inspect --out o s
    there o/PE-A-0147/s/ring.png
    rg inspect --out o --pictures none s
    exits 1
    [ "$(find o -type f)" = o/PE-A-0147/s/seal-map.json ] || fail "old pictures stayed: $(find o -type f)"
}

test_results_go_to_the_folder_inspection_by_default() {
    leaking s
    rg inspect --pictures none s
    there inspection/PE-A-0147/s/seal-map.json
}

test_json_is_one_document_that_holds_the_file() {
    leaking s
    rg inspect --json -o o --pictures none s
    exits 1
    silent err
    [ "$(jq -s length out)" = 1 ] || fail "one document"
    holds out '.format == "rimglow inspection" and .version == 1 and .verdict == "leaking"'
    holds out '(.sweeps | length) == 1 and .errors == []'
    jq -S '.sweeps[0]' out >a
    jq -S . o/PE-A-0147/s/seal-map.json >b
    cmp a b || fail "the document's seal map is that of the file"
    keeps_the_format b
}

test_json_lists_a_failed_sweep_with_its_code() {
    leaking s
    rg inspect --json -o o --pictures none s missing
    exits 66
    says missing
    holds out '(.sweeps | length) == 1 and .errors[0].folder == "missing" and .errors[0].code == 66'
    holds out '.errors[0].text | contains("cannot be opened")'
}

test_inch_shows_thousandths() {
    leaking s
    rg inspect -o o --pictures none s
    mm=$(sed -n 's/.*leaking .* % *\([0-9.]*\) +-.*/\1/p' out)
    shows "widest gap, mm"
    cp o/PE-A-0147/s/seal-map.json before
    rg inspect --inch -o o --pictures none s
    exits 1
    shows "widest, 0.001 in"
    inch=$(sed -n 's/.*leaking .* % *\([0-9.]*\) +-.*/\1/p' out)
    awk -v mm="$mm" -v inch="$inch" 'BEGIN { exit !(mm > 0 && (inch * 0.0254 - mm)^2 < 0.0006^2) }' ||
        fail "$inch thousandths of an inch are $mm mm"
    # Storage is always mm.
    cmp before o/PE-A-0147/s/seal-map.json || fail "the file does not change with the unit shown"
}

test_quiet_prints_nothing_but_writes() {
    leaking s
    rg inspect -q -o o --pictures none s
    exits 1
    silent out
    silent err
    there o/PE-A-0147/s/seal-map.json
}

# Verdicts differ by word and sign, not by colour alone; escape codes would spoil a log.
test_the_table_is_plain_text() {
    leaking s
    rg inspect -o o --pictures none s
    ! grep -q "$(printf '\033')" out || fail "no escape codes"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
}

test_a_second_run_replaces_the_first() {
    leaking s
    rg inspect -o o --pictures none s
    cp o/PE-A-0147/s/seal-map.json first
    echo stale >o/PE-A-0147/s/seal-map.json
    rg inspect -o o --pictures none s
    exits 1
    cmp first o/PE-A-0147/s/seal-map.json || fail "the same frames give the same map"
}

test_frames_in_another_order_give_the_same_widths() {
    leaking s
    leaking t
    grep -v jpg s/sweep.ini >t/sweep.ini
    grep jpg s/sweep.ini | sort -r >>t/sweep.ini
    rg inspect -q -o o --pictures none s t
    jq .bins o/PE-A-0147/s/seal-map.json >a
    jq .bins o/PE-A-0147/t/seal-map.json >b
    jq -e -n --slurpfile a a --slurpfile b b \
        '[range(360) | ($a[0][.].width_mm // 0) - ($b[0][.].width_mm // 0) | fabs] | max < 0.0005' \
        >/dev/null || fail "the order of the frames changes no width"
}
