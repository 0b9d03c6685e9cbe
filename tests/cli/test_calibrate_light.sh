# rimglow calibrate light: a station that knows nothing, the sample wedge, and what the other
# sample sweeps then say.

# A station file whose light was never calibrated and whose values are all wrong.
ignorant() {
    sed -e 's/^slot_gain = .*/slot_gain = 0.7/' -e 's/^psf_factor = .*/psf_factor = 1/' \
        -e 's/^overhang_factor = .*/overhang_factor = 1/' \
        -e 's/^land_reflectance = .*/land_reflectance = 0.6/' -e 's/^pad_glow = .*/pad_glow = 0.2/' \
        -e 's/^light_date = [^ ]*/light_date = none/' "$CALIB/bench.ini" >"$1"
}

# wedge_of FOLDER STATION: the sample wedge, measured at that station.
wedge_of() {
    cp -r "$ROOT/samples/wedge" "$1"
    sed -i -e "s|^station = .*|station = $2|" -e "s|^instrument = .*|instrument = $CALIB/alto-loan.ini|" \
        "$1/sweep.ini"
}

sample_of() {
    cp -r "$SAMPLES/$1" "$1"
    sed -i -e "s|^station = .*|station = $2|" -e "s|^instrument = .*|instrument = $CALIB/alto-loan.ini|" \
        "$1/sweep.ini"
}

# widest SWEEP TRUTH: within 0.008 mm or 8 %, whichever is larger.
widest() {
    holds "o/PE-A-0147/$1/seal-map.json" \
        "([.arcs[].max_width_mm] | max) as \$w | (\$w - $2 | fabs) <= ([0.008, 0.08 * $2] | max)"
}

# release only: test_wedge calibrates under the sanitizers, the other cases of this file run the command
test_calibrated_on_the_wedge_alone_the_other_sweeps_come_out_right() {
    ignorant station.ini
    wedge_of wedge "$PWD/station.ini"
    rg calibrate light --out light --write station.ini wedge
    exits 0
    silent err
    shows "good" "slot_gain" "= station.ini has the new values" "calibrated"
    there light/response.png light/response.svg light/response.pdf light/light.json
    spoil whole light/response.png || fail "a whole PNG"
    holds light/light.json '.format == "rimglow light calibration" and .response.monotone'
    holds light/light.json '.residual.rms_mm < 0.0035 and .residual.rms_mm < .residual.rms_before_mm'
    # Truth: samples/README.md.
    for sweep in 08-G 05-B 06-A 04-C; do sample_of $sweep "$PWD/station.ini"; done
    rg inspect -o o --pictures none 08-G 05-B 06-A 04-C
    widest 08-G 0.15
    widest 05-B 0.03
    widest 06-A 0.06
    holds o/PE-A-0147/04-C/seal-map.json '.verdict == "sealed"'
}

test_station_file_keeps_its_comments_and_all_other_values() {
    ignorant station.ini
    cp station.ini before.ini
    wedge_of wedge "$PWD/station.ini"
    rg calibrate light --quiet --out light --write station.ini wedge
    exits 0
    silent out
    diff before.ini station.ini | grep '^[<>]' >changes || :
    for key in slot_gain psf_factor overhang_factor land_reflectance pad_glow light_date; do
        grep -q "^> $key = " changes || fail "$key has changed"
        sed -i "/^[<>] $key = /d" changes
    done
    sed -i -e '/^[<>] model_floor_mm = /d' -e '/^[<>] model_relative = /d' \
        -e '/^[<>] unproven_radiance = /d' changes
    silent changes
    grep -q '^light_date = 2026-11-18 ; day on which' station.ini || fail "the wedge's date is there"
    no_parts .
}

test_light_that_was_never_calibrated_seals_nothing() {
    ignorant station.ini
    sample_of 04-C "$PWD/station.ini"
    rg inspect -o o --pictures none 04-C
    exits 2
    shows "undecided" "never calibrated"
    holds o/PE-A-0147/04-C/seal-map.json '.reasons[0] | contains("calibrate light")'
}

test_calibration_that_has_lapsed_seals_nothing() {
    sed -e 's/^light_date = .*/light_date = 2025-11-01/' \
        -e 's/^light_valid_days = .*/light_valid_days = 365/' "$CALIB/bench.ini" >station.ini
    sample_of 04-C "$PWD/station.ini"
    rg inspect -o o --pictures none 04-C
    exits 2
    shows "2025-11-01" "lapsed"
    sed -i 's/^date = .*/date = 2026-10-31/' 04-C/sweep.ini
    rg inspect -o o --pictures none 04-C
    exits 0
    sed -i 's/^date = .*/date = 2025-10-31/' 04-C/sweep.ini
    rg inspect -o o --pictures none 04-C
    exits 2
    shows "after these frames"
}

test_frames_at_another_gain_are_refused_and_at_the_same_taken() {
    sed -e 's/^light_gain = .*/light_gain = 100/' "$CALIB/bench.ini" >station.ini
    sample_of 04-C "$PWD/station.ini"
    sed -i 's/^gain = .*/gain = 200/' 04-C/sweep.ini
    rg inspect -o o --pictures none 04-C
    exits 65
    says "04-C/sweep.ini" "gain = 200" "gain 100" "calibrate the light at this gain"
    sed -i 's/^gain = .*/gain = 100/' 04-C/sweep.ini
    rg inspect -o o --pictures none 04-C
    exits 0
}

test_wedge_without_a_witness_or_without_its_numbers_is_refused() {
    wedge_of wedge "$CALIB/bench.ini"
    sed -i '/^witness.jpg/d' wedge/sweep.ini
    rg calibrate light --out light wedge
    refused 65 "witness"
    gone light
    rg calibrate light --out light "$SAMPLES/08-G"
    refused 65 "no [wedge]" "calibrate light -h"
    rg calibrate light
    refused 64 "one sweep folder"
    rg calibrate light nowhere
    refused 66 nowhere
}

# release only: test_wedge calibrates under the sanitizers, the other cases of this file run the command
test_wrong_wedge_is_not_written_to_the_station() {
    cp "$CALIB/bench.ini" station.ini
    wedge_of wedge "$PWD/station.ini"
    # A strip of the double thickness: no set of values makes the readings follow.
    sed -i 's/^feeler_mm = .*/feeler_mm = 0.2/' wedge/sweep.ini
    rg calibrate light --out light --write station.ini wedge
    exits 1
    shows "NOT GOOD"
    cmp -s station.ini "$CALIB/bench.ini" || fail "the station file is as it was"
}

# release only: test_wedge calibrates under the sanitizers, the other cases of this file run the command
test_demo_bench_holds_what_its_wedge_says() {
    cp "$CALIB/bench.ini" station.ini
    sed -i -e 's/^psf_factor = .*/psf_factor = 1/' -e 's/^overhang_factor = .*/overhang_factor = 1/' \
        -e 's/^land_reflectance = .*/land_reflectance = 0.8/' -e 's/^pad_glow = .*/pad_glow = 0.15/' \
        -e 's/^slot_gain = .*/slot_gain = 0.92/' -e 's/^model_floor_mm = .*/model_floor_mm = 0.0012/' \
        -e 's/^model_relative = .*/model_relative = 0.04/' station.ini
    wedge_of wedge "$PWD/station.ini"
    rg calibrate light --quiet --out light --write station.ini wedge
    exits 0
    # The values in calib/bench.ini came from this very run.
    for key in slot_gain psf_factor overhang_factor land_reflectance model_floor_mm model_relative; do
        grep "^$key = " "$CALIB/bench.ini" >want
        grep "^$key = " station.ini >got
        awk -v key=$key 'NR == FNR { w = $3; next } { exit !($3 - w < 0.02 && w - $3 < 0.02) }' want got ||
            fail "$key in calib/bench.ini is what the wedge says: $(cat want got)"
    done
}

test_json_is_one_document() {
    wedge_of wedge "$CALIB/bench.ini"
    rg calibrate light --json --out light wedge
    exits 0
    silent err
    holds out '.station == "demo bench" and .date == "2026-11-18" and (.bins | length) > 200'
    holds out '.feeler.thickness_mm == 0.1 and .saturation.full_scale > 0.9'
    holds out '(.detection | length) == 5 and (.detection[0].limit_mm | length) == 7'
}
