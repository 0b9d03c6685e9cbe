# rimglow calibrate check: good sweeps are good, and each way to spoil one is found.
#
# release only, all: test_bench_check and test_crown_check do it under the sanitizers

# good FOLDER: the sealed sample with a frame for the lamp off. A closed frame of a
# sealed pad serves as one: no light comes out of its gap.
good() {
    whole "$1" 04-C C
    add "$1" witness "$SAMPLES/04-C/witness.jpg"
    ln -s "$SAMPLES/04-C/view_10.jpg" "$1/dark.jpg"
    list "$1" dark dark.jpg
}

# own_files FOLDER: copies of instrument and station that a case may edit.
own_files() {
    cp "$CALIB/alto-loan.ini" "$1/instrument.ini"
    cp "$CALIB/bench.ini" "$1/station.ini"
    change "$1" 's/^instrument = .*/instrument = instrument.ini/; s/^station = .*/station = station.ini/'
}

# edit FILE SED-COMMAND
edit() {
    sed "$2" "$1" >edited
    ! cmp -s edited "$1" || fail "the edit $2 changes $1"
    mv edited "$1"
}

# spoiled FOLDER COMMAND...: replaces every closed frame by a spoiled one.
spoiled() {
    folder=$1
    shift
    for frame in "$folder"/view_*.jpg; do
        spoil "$@" "$frame" new.jpg
        rm "$frame"
        mv new.jpg "$frame"
    done
}

place=o/PE-A-0147/s
# finding TOPIC STATE TEXT...: of place's JSON.
finding() {
    topic=$1 state=$2
    shift 2
    holds "$place/bench-check.json" \
        ".findings[] | select(.topic == \"$topic\") | .state == \"$state\""
    for text in "$@"; do
        jq -r ".findings[] | select(.topic == \"$topic\") | .text" "$place/bench-check.json" >text
        grep -qF -e "$text" text || fail "$topic says: $text; it says: $(cat text)"
    done
}

# only TOPIC...: these topics are poor and no other.
only() {
    jq -r '[.findings[] | select(.state == "poor") | .topic] | join(" ")' "$place/bench-check.json" >poor
    [ "$(cat poor)" = "$*" ] || fail "poor: $*, it was: $(cat poor)"
}

test_check_of_a_good_sweep_exits_0_with_page_and_json() {
    good s
    rg calibrate check -o o s
    exits 0
    silent err
    shows "pad C: bench good" "( O ) scale" "( - ) repeats"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    only
    holds "$place/bench-check.json" '.format == "rimglow bench check" and .version == 1'
    holds "$place/bench-check.json" '.state == "good" and (.findings | length) == 15'
    holds "$place/bench-check.json" '(.frames | length) == 32 and ([.frames[] | select(.used)] | length) == 32'
    # The demo renderer's scale is true; its rim is 20 mm wide.
    holds "$place/bench-check.json" \
        '.findings[] | select(.topic == "scale") | .u > 0 and (.value | fabs) < 0.003'
    holds "$place/bench-check.json" '.mtf.values[0] == 1 and .mtf50_cycles_per_px > 0.2'
    there "$place/bench-check.png" "$place/bench-check.svg"
    spoil whole "$place/bench-check.png"
    rsvg-convert "$place/bench-check.svg" -o page.png
    no_parts o
}

test_check_without_a_dark_frame_is_not_shown() {
    rg calibrate check -o o --pictures none "$SAMPLES/04-C"
    exits 2
    shows "bench not shown" "( ? ) ambient" "switch the"
    place=o/PE-A-0147/04-C
    finding ambient "not shown" "dark_1.jpg = dark, exposure 1"
    gone "$place/bench-check.png"
}

# Crown and file at odds by 3 %, as after "fit to page": tags and apothem together.
# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_a_crown_stated_3_percent_too_large() {
    good s
    own_files s
    edit s/instrument.ini 's/^crown_apothem_mm = 9.5/crown_apothem_mm = 9.794/
        s/^crown_tag_mm = 8.0/crown_tag_mm = 8.247/; s/^crown_centre_height_mm = 10.3/crown_centre_height_mm = 10.62/'
    rg calibrate check -o o --pictures none s
    exits 1
    finding scale poor "8.25 mm stated, 8.00 mm would fit" "fit to page"
    finding print good
    holds "$place/bench-check.json" \
        '.findings[] | select(.topic == "scale") | (.value - 0.0309 | fabs) < 0.002'
}

# The tag's edge alone: no pose fits any more, and the check says why.
# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_a_tag_edge_stated_3_percent_too_large() {
    good s
    own_files s
    edit s/instrument.ini 's/^crown_tag_mm = 8.0/crown_tag_mm = 8.247/'
    rg calibrate check -o o --pictures none s
    exits 1
    finding print poor "the tags measure 8.00 mm, not 8.25"
    finding frames poor "left out"
    finding scale good
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_blurred_frames() {
    good s
    spoiled s blur 1.6
    rg calibrate check -o o --pictures none s
    exits 1
    finding focus poor "turn the focus until the tag borders are sharpest"
    finding vibration good
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_names_the_one_frame_out_of_focus() {
    good s
    spoil blur 0.7 "$SAMPLES/04-C/view_07.jpg" new.jpg
    rm s/view_07.jpg
    mv new.jpg s/view_07.jpg
    rg calibrate check -o o --pictures none s
    exits 1
    only sharpness
    finding sharpness poor "view_07.jpg"
    holds "$place/bench-check.json" '.frames[] | select(.file == "view_07.jpg") | .flaws == ["sharpness"]'
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_names_the_frame_that_moved_and_the_direction() {
    for px in 3 -3; do
        rm -rf s
        good s
        spoil smear $px "$SAMPLES/04-C/view_12.jpg" new.jpg
        rm s/view_12.jpg
        mv new.jpg s/view_12.jpg
        rg calibrate check -o o --pictures none s
        exits 1
        case $px in 3) axis=x ;; *) axis=y ;; esac
        finding vibration poor "px along $axis in view_12.jpg" "fix camera and horn"
        # Three pixels, to the half; a Gaussian fitted to a box reads somewhat less.
        holds "$place/bench-check.json" '.findings[] | select(.topic == "vibration") | .value > 2.3 and .value < 3.5'
    done
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_overexposure_and_clipping() {
    good s
    spoiled s light 7.5
    rg calibrate check -o o --pictures none s
    exits 1
    finding exposure poor
    finding clipping poor "shorten the exposure"
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_frames_too_dark() {
    good s
    spoiled s light 0.12
    rg calibrate check -o o --pictures none s
    exits 1
    finding exposure poor "times as long"
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_light_in_the_gap_with_the_lamp_off() {
    whole s 08-G G
    add s witness "$SAMPLES/08-G/witness.jpg"
    # The leaking pad's own frame, darkened: light in the gap that is not the lamp's.
    spoil light 0.5 "$SAMPLES/08-G/view_16.jpg" s/dark.jpg
    list s dark dark.jpg
    rg calibrate check -o o --pictures none s
    exits 1
    only ambient
    finding ambient poor "shade the gap from the bench lamp"
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_a_witness_stated_at_twice_its_exposure() {
    good s
    change s 's/exposure 0.2/exposure 0.4/'
    rg calibrate check -o o --pictures none s
    exits 1
    only witness
    finding witness poor "stated 0.400" "correct its exposure in sweep.ini"
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_a_sweep_that_was_not_rocked() {
    rg calibrate check -o o --pictures none "$SAMPLES/07-G-sharp"
    exits 1
    place=o/PE-A-0147/07-G-sharp
    finding coverage poor "frames from there"
    finding rocking poor "rock slowly through the rim plane"
}

# release only: test_bench_check judges such frames under the sanitizers
test_check_finds_few_pixels() {
    good s
    own_files s
    edit s/station.ini 's/^px_per_mm = .*/px_per_mm = 60/'
    rg calibrate check -o o --pictures none s
    exits 1
    only sampling
    finding sampling poor "go nearer"
}

test_check_json_is_one_document_over_all_sweeps() {
    good s
    rg calibrate check --json -o o --pictures none s missing
    exits 66
    says missing
    [ "$(jq -s length out)" = 1 ] || fail "one document"
    holds out '.format == "rimglow bench checks" and (.sweeps | length) == 1'
    holds out '.errors[0].folder == "missing" and .errors[0].code == 66'
    jq -S '.sweeps[0]' out >a
    jq -S . "$place/bench-check.json" >b
    cmp a b || fail "the document holds the file"
}

test_check_survives_frames_that_are_no_pictures() {
    good s
    rm s/view_03.jpg s/view_04.jpg
    echo no >s/view_03.jpg
    rg calibrate check -o o --pictures none s
    exits 1
    finding frames poor "view_03.jpg, view_04.jpg"
}

test_check_refuses_limits_that_contradict_each_other() {
    good s
    own_files s
    edit s/station.ini 's/^white_low = .*/white_low = 0.9/'
    rg calibrate check -o o s
    refused 65 "white_low" "white_high"
}

test_check_is_taught_and_refused_like_every_command() {
    rg calibrate check -h
    exits 0
    shows "rimglow calibrate check samples" "( ? ) not shown"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    rg calibrate check
    refused 64 "at least one sweep folder"
    rg calibrate check --pictures all s
    refused 64 "--pictures all" "none, page"
    rg calibrate -h
    exits 0
    shows "check"
}
