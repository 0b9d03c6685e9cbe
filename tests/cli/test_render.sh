# rimglow render: sweeps with known gaps.
#
# release only, all: test_render, test_synth and test_pipeline draw and measure small pictures under the sanitizers

# plan SED-COMMAND...: the sample plan in p.ini, with absolute paths and quick sweeps.
plan() {
    sed -e "s|\.\./\.\./calib|$CALIB|" -e 's/^bearings = 10/bearings = 6/' "$@" \
        "$ROOT/samples/render/PE-A-0152.ini" >p.ini
}

# release only: test_render, test_synth and test_pipeline draw and measure small pictures under the sanitizers
test_rendered_gap_is_measured_within_its_uncertainty() {
    plan
    rg render -o r p.ini 08-G-light
    exits 0
    shows "= r"
    there r/calib/alto-loan.ini r/calib/bench.ini
    gone r/PE-A-0152/08-G-firm
    holds r/truth/PE-A-0152-08-G-light.json '(.w_mm | length) == 360 and .max_gap_bearing_deg == 175
        and (.max_gap_mm - 0.06 | fabs) < 1e-9 and (.views | length) == 31 and (.sealed | not)'
    rg inspect -o i --pictures none r/PE-A-0152/08-G-light
    exits 1
    jq -s -e '.[0].w_mm as $w | .[1] | (.arcs | length) >= 1
        and ([.bins[] | select(.state == "gap") | ((.width_mm - $w[.bearing_deg]) | fabs) <= 2 * .u_mm] | (map(select(.)) | length) / length > 0.9)' \
        r/truth/PE-A-0152-08-G-light.json i/PE-A-0152/08-G-light/seal-map.json || fail "widths within U of the truth"
}

# Straight through a gap that is open all round the camera looks out: parts of it are dark, and light in it begins above the rim.
# release only: test_rocking, test_sealmap and test_rimline hold the same code to rays and marks of their own
test_a_gap_open_all_round_swept_sparsely_near_level_is_measured_within_its_uncertainty() {
    plan -e 's/^elevations_deg = .*/elevations_deg = -0.4, 0, 0.4/' -e 's/^posts = yes/posts = no/' \
        -e '/^\[sweep 08-G-light\]/,/^$/{s/^level_mm = .*/level_mm = 0.27/;s/^tilt_mm = .*/tilt_mm = 0/}'
    rg render -o r p.ini 08-G-light
    exits 0
    rg inspect -o i --pictures none r/PE-A-0152/08-G-light
    exits 1
    holds i/PE-A-0152/08-G-light/seal-map.json '(.bins | map(select(.state == "gap")) | length > 300
        and all(.width_mm - 2 * .u_mm <= 0.27 and .width_mm + 2 * .u_mm >= 0.27 and 2 * .u_mm < 0.07))'
}

# release only: test_render, test_synth and test_pipeline draw and measure small pictures under the sanitizers
test_the_same_plan_gives_the_same_bytes_on_any_number_of_workers() {
    plan -e 's/^bearings = 6/bearings = 2/' -e 's/^elevations_deg = -0.8, -0.4, 0, 0.4, 0.8/elevations_deg = 0.2/'
    rg render -j 1 -o one p.ini
    exits 0
    rg render -j 2 -q -o two p.ini 08-G-firm
    exits 0
    silent out
    diff -r one/PE-A-0152/08-G-firm two/PE-A-0152/08-G-firm || fail "the same bytes"
    sed 's/^seed = 152/seed = 153/' p.ini >q.ini
    rg render -q -o three q.ini 08-G-firm
    ! cmp -s one/PE-A-0152/08-G-firm/view_00.jpg three/PE-A-0152/08-G-firm/view_00.jpg || fail "another seed, other noise"
}

test_a_single_frame_has_its_truth_beside_it() {
    plan -e 's/^format = jpeg/format = png/'
    rg render -q -o r p.ini 08-G-near
    exits 0
    there r/PE-A-0152/08-G-near.png
    gone r/PE-A-0152/08-G-light
    holds r/PE-A-0152/08-G-near.json '(.w_mm | length) == 360 and (.max_gap_mm - 0.06 | fabs) < 1e-9 and .pad == "G"
        and (.views | length) == 1 and .views[0].file == "08-G-near.png" and .views[0].bearing_deg == 175'
    rg render -q -o r p.ini 08-G-near
    refused 73 "r/PE-A-0152/08-G-near.png" "there already"
}

# release only: test_render, test_synth and test_pipeline draw and measure small pictures under the sanitizers
test_a_whole_instrument_is_sealed_but_for_what_sweeps_say() {
    plan -e 's/^bearings = 6/bearings = 1/' -e 's/^elevations_deg = -0.8, -0.4, 0, 0.4, 0.8/elevations_deg = 0.2/' \
        -e 's/^witness = yes/witness = no/' -e 's/^\[sweep 08-G-firm\]/[sweep whole]\npad = */'
    sed -i '/^pad = \*/{n;d;}' p.ini
    rg render -q -o r p.ini
    exits 0
    gone r/PE-A-0152/whole-G
    there r/PE-A-0152/whole-C/sweep.ini r/PE-A-0152/whole-F-sharp/view_00.jpg r/PE-A-0152/08-G-light/view_00.jpg
    crowned=$(awk '/^\[pad /{n++} /^crown = none/{n--} END{print n}' "$CALIB/alto-loan.ini")
    [ "$(ls -d r/PE-A-0152/whole-* | wc -l)" = $((crowned - 1)) ] || fail "a sweep for each pad with a crown but G"
    jq -s -e 'all(.[]; .sealed)' r/truth/PE-A-0152-whole-*.json >/dev/null || fail "all of them sealed"
    holds r/truth/PE-A-0152-08-G-light.json '.sealed | not'
}

# Another camera: three quarters of the size, a barrel lens with its centre off the middle, dark corners.
# release only: test_render, test_synth and test_pipeline draw and measure small pictures under the sanitizers
test_any_camera_of_a_station_file() {
    plan -e "s|^station = .*|station = other.ini|" -e 's/^vignetting = 0/vignetting = 0.3/'
    sed -e 's/^width_px = 1280/width_px = 960/' -e 's/^height_px = 720/height_px = 540/' \
        -e 's/^f\([xy]\)_px = 3300/f\1_px = 2475/' -e 's/^cx_px = 639.5/cx_px = 470/' -e 's/^cy_px = 359.5/cy_px = 275/' \
        -e 's/^k1 = 0 /k1 = -0.25 /' -e 's/^p1 = 0 /p1 = 0.001 /' "$CALIB/bench.ini" >other.ini
    rg render -q -o r p.ini 08-G-light
    exits 0
    rg inspect -q -o i --pictures none r/PE-A-0152/08-G-light
    exits 1
    jq -s -e '.[0].w_mm as $w | .[1] | (.frames | map(select(.used)) | length) >= 25
        and ([.bins[] | select(.state == "gap") | ((.width_mm - $w[.bearing_deg]) | fabs) <= 2 * .u_mm] | (map(select(.)) | length) / length > 0.9)' \
        r/truth/PE-A-0152-08-G-light.json i/PE-A-0152/08-G-light/seal-map.json || fail "widths within U of the truth"
}

test_what_cannot_be_rendered_is_refused_before_anything_is_made() {
    rg render
    refused 64 plan
    rg render missing.ini
    refused 66 missing.ini
    plan
    rg render -o r p.ini 99-no
    refused 64 p.ini 99-no
    plan -e 's/^pad = C/pad = Z/'
    rg render -o r p.ini
    refused 65 "04-C-open" "pad = Z"
    gone r/PE-A-0152
    plan
    mkdir -p r/PE-A-0152/08-G-firm
    rg render -o r p.ini
    refused 73 "r/PE-A-0152/08-G-firm" "there already"
    gone r/PE-A-0152/08-G-light
}
