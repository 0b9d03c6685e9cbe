# Heights of open keys. Truth of the sample: samples/truth-open/08-G.json, 6.0598 and 2.4612 mm.
OPEN=$ROOT/samples/PE-A-0147-open/08-G
MAP=o/PE-A-0147/08-G/seal-map.json

keeps_the_format() {
    faults=$(jq -c -f "$ROOT/tests/cli/seal-map.jq" "$1") || fail "$1 is JSON"
    [ "$faults" = "[]" ] || fail "$1 keeps the format: $faults"
}

test_open_key_is_measured_and_its_seal_is_not() {
    rg inspect -o o "$OPEN"
    exits 0
    silent err
    shows "open 6.0" "at the far edge, 2.4" "at the hinge;" "target 5.60 (2 of 3 frames)" "( ? ) undecided" \
        "the seal was not looked at" "view_01.jpg left out"
    hides "sealed" "view_00.jpg left out" "no witness"
    keeps_the_format $MAP
    holds $MAP '.verdict == "undecided" and (.bins | all(.state == "unseen"))'
    holds $MAP '.opening | .measured and ((.far_mm - 6.059756) | fabs) < 0.1 and ((.hinge_mm - 2.461188) | fabs) < 0.1'
    there o/PE-A-0147/08-G/frames/view_00.jpg.png o/PE-A-0147/08-G/frames/view_02.jpg.svg
    gone o/PE-A-0147/08-G/ring.png o/PE-A-0147/08-G/strip.png
}

test_open_key_in_inches_and_for_machines() {
    rg inspect --inch --pictures none -o o "$OPEN"
    exits 0
    # 6.06 and 2.46 mm.
    shows "open 239 +- 3 at the far edge, 97 +- 3 at the hinge; target 220"
    rg inspect --json --pictures none -o o "$OPEN"
    exits 0
    holds out '.verdict == "undecided" and .sweeps[0].opening.measured'
}

test_too_few_open_frames_exit_2_and_ask_for_more() {
    sweep one G
    cp "$OPEN/view_00.jpg" one/
    echo "view_00.jpg = open, exposure 0.25" >>one/sweep.ini
    rg inspect -o o --pictures none one
    exits 2
    shows "opening not measured: 1 of 1 frames" "bearings 90, 180 and 270"
    keeps_the_format o/PE-A-0147/one/seal-map.json
    holds o/PE-A-0147/one/seal-map.json '.opening.measured == false and .opening.far_mm == null'
}

test_heights_come_along_with_a_seal() {
    sweep both G
    cp "$OPEN"/view_0[02].jpg both/
    cp "$SAMPLES/08-G/witness.jpg" both/
    for view in 15 16 17; do cp "$SAMPLES/08-G/view_$view.jpg" both/; done
    {
        echo "witness.jpg = witness, exposure 0.2"
        echo "view_1*.jpg = closed"
        echo "view_0*.jpg = open, exposure 0.25"
    } >>both/sweep.ini
    rg inspect -o o both
    exits 1
    shows "( / ) leaking" "open 6.0" "3/3"
    map=o/PE-A-0147/both/seal-map.json
    keeps_the_format $map
    holds $map '.verdict == "leaking" and .opening.measured and .opening.frames_used == 2'
    there o/PE-A-0147/both/ring.png o/PE-A-0147/both/strip.png
}
