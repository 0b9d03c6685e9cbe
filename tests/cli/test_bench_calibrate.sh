# rimglow bench: lens and light calibrated by its calls; what is kept gives the same values to the commands.
#
# release only, all: test_bench_lens and test_wedge do it under the sanitizers

. "$ROOT/tests/cli/bench.sh"

# The board of the tool's photographs is larger than the demo bench's. board NAME SED...: a variant of it.
board() {
    name=$1
    shift
    sed -e 's/^columns = 9/columns = 7/' -e 's/^rows = 7/rows = 5/' -e 's/^tag_mm = .*/tag_mm = 28/' \
        -e 's/^pitch_mm = .*/pitch_mm = 36/' -e 's/^still_s = [^ ]*/still_s = 0.1/' "$@" "$CALIB/board.ini" >"$name"
}

# calib_bench REPLAY...: on a station file of its own, mine.ini; $token.
calib_bench() {
    station=mine.ini
    cp "$CALIB/bench.ini" $station
    board board.ini
    start_bench --board board.ini --technician "A. Bell" --rate 40 --replay "$@"
    token=$(csrf)
}

photographs() { mkdir photos && "$TOOLS/boardphotos" photos 10 >truth.json; }

# release only: test_bench_lens and test_wedge run under the sanitizers, and the other walk-throughs of this file
test_bench_calibrates_the_lens_by_itself_as_the_command_does() {
    photographs
    calib_bench photos
    state
    holds state.json '.calibration.kind == null and .calibration.recorded == {"photographs": true, "wedge": null}'
    post 409 calibrate '{"do":"take"}'
    post 409 calibrate '{"do":"write","station":"mine.ini"}'
    post 200 calibrate '{"do":"lens"}'
    post 409 calibrate '{"do":"write","station":"mine.ini"}'
    cmp mine.ini "$CALIB/bench.ini" || fail "nothing is written before there is a result"
    # The pads wait.
    for call in pad redo finish finger; do
        post 409 $call '{"pad":"next","finger":"firm"}'
    done
    post 409 role '{"role":"closed"}'
    becomes '.calibration.lens | (.fitting | not) and .result.good'
    holds state.json '.calibration.lens | .advice == [] and .result_of >= 8 and ([.photographs[].used] | all)'
    holds state.json '.calibration.lens | ([.fields[].views] | min) >= 2 and .tipped_up_down >= 2 and (.corners | all)'
    # The lens is known: every value within four of its standard deviations, as the tool's truth has it.
    jq -s '.[0] as $t | .[1].calibration.lens.result as $r | $t | keys | all(. as $k |
        ($r.lens[$k] - $t[$k] | fabs) < 4 * $r.standard_deviation[$k])' truth.json state.json | grep -q true ||
        fail "the result is the photographs' lens"
    becomes '.source.state == "end"'
    folder=$(jq -r .calibration.lens.folder state.json)
    for f in "$folder"/photo_*.png; do
        found=no
        for p in photos/*.png; do ! cmp -s "$f" "$p" || found=yes; done
        [ $found = yes ] || fail "$f is a photograph as it came"
    done
    cp mine.ini again.ini
    rg calibrate lens --json --board board.ini --write again.ini -o again "$folder"/photo_*
    exits 0
    cmp again/lens.json "$folder/result/lens.json" || fail "the command gives the same values"
    there "$folder/result/lens.png" "$folder/result/lens.svg"
    post 409 calibrate '{"do":"write"}'
    post 409 calibrate '{"do":"write","station":"other.ini"}'
    cmp mine.ini "$CALIB/bench.ini" || fail "nothing is written without the file's name"
    post 200 calibrate '{"do":"write","station":"mine.ini"}'
    cmp mine.ini again.ini || fail "and writes the same station"
    state
    holds state.json '.calibration.written and (.calibration.remarks | any(test("scale_u = 0.002 stays")))'
    post 200 calibrate '{"do":"leave"}'
    state
    holds state.json '.calibration.kind == null'
    post 200 pad '{"pad":"next"}'
}

test_bench_takes_board_photographs_by_hand_and_says_why_not() {
    photographs
    cp "$SAMPLES/08-G/witness.jpg" photos/00-none.jpg
    board blurred.ini -e 's/^max_blur_px = [^ ]*/max_blur_px = 0.3/'
    board half.ini -e 's/^min_tags = [^ ]*/min_tags = 35/'
    calib_bench photos
    post 409 calibrate '{"do":"lens","board":"nowhere.ini"}'
    grep -q nowhere.ini body || fail "the missing board is named"
    post 200 calibrate '{"do":"lens","automatic":false}'
    becomes '.calibration.lens.why != ""'
    post 200 calibrate '{"do":"take"}'
    becomes '.calibration.lens.told | test("^not taken: no tag of the board was read")'
    holds state.json '.calibration.lens | .photographs == [] and (.automatic | not)'
    post 200 calibrate '{"do":"skip"}'
    becomes '.calibration.lens.usable'
    post 200 calibrate '{"do":"take"}'
    becomes '(.calibration.lens.photographs | length) == 1'
    holds state.json '.calibration.lens.told | test("^taken as photo_000.png: most of the picture")'
    sleep 0.5 # not taken by itself, however still
    state
    holds state.json '(.calibration.lens.photographs | length) == 1'
    holds state.json '.calibration.lens.picture | (.tags | length) >= 6 and (.outline | length) == 32 and .width == 640'
    folder=$(jq -r .calibration.lens.folder state.json)
    post 200 calibrate '{"do":"back"}'
    becomes '.calibration.lens.photographs == []'
    there "$folder/back/photo_000.png"
    gone "$folder/photo_000.png"
    post 409 calibrate '{"do":"back"}'
    for case in 'blurred blurred: borders are 0' 'half show more of the board'; do
        post 200 calibrate "{\"do\":\"lens\",\"automatic\":false,\"board\":\"${case%% *}.ini\"}"
        for i in 1 2 3 4 5 6; do post 200 calibrate '{"do":"skip"}'; done # the board moved into a corner
        becomes ".calibration.lens.why | test(\"${case#* }\")"
        post 200 calibrate '{"do":"take"}'
        becomes ".calibration.lens.told | test(\"not taken: .*${case#* }\")"
        holds state.json '.calibration.lens.photographs == []'
    done
    ls -d sweeps/calibration/* >folders
    [ "$(wc -l <folders)" = 1 ] || fail "no folder without a photograph"
}

test_bench_calibrates_the_light_as_the_command_does() {
    calib_bench "$ROOT/samples/wedge"
    answers 404 "$url/calibrate/response.svg"
    post 409 calibrate '{"do":"light","feeler_mm":0.1,"feeler_u_mm":0.001,"bearing_deg":180}'
    grep -q width_mm body || fail "the missing number is named"
    post 409 calibrate '{"do":"light","feeler_mm":5,"feeler_u_mm":0.001,"bearing_deg":180,"width_mm":3}'
    grep -q feeler_mm body || fail "the impossible number is named"
    post 409 calibrate '{"do":"light","pad":"high G","feeler_mm":0.1,"feeler_u_mm":0.001,"bearing_deg":180,"width_mm":3}'
    state
    holds state.json '.calibration.kind == null and .calibration.recorded.wedge.feeler_mm == 0.1'
    post 200 calibrate '{"do":"light","feeler_mm":0.1,"feeler_u_mm":0.001,"bearing_deg":180,"width_mm":3}'
    post 409 calibrate '{"do":"fit"}'
    post 409 calibrate '{"do":"take"}'
    post 409 pad '{"pad":"next"}'
    post 200 role '{"role":"witness"}'
    becomes '.live.coverage.witness and .role == "none"'
    post 200 role '{"role":"closed"}'
    # A pad on a feeler leaks, of course: the sweep goes on all the same.
    becomes '.source.state == "end" and .live.decided and .live.closed == null and .live.kept == 31'
    holds state.json '.role == "closed" and .calibration.light.stage == "sweep" and .calibration.light.pad == "G"'
    post 409 calibrate '{"do":"write","station":"mine.ini"}'
    post 200 calibrate '{"do":"fit"}'
    answers 200 "$url/api/state" # nobody waits for the fit
    becomes '.calibration.light.stage == "done"'
    holds state.json '.calibration.light | .fault == null and .error == null and .result.residual.rms_mm < 0.0035'
    folder=$(jq -r .calibration.light.folder state.json)
    rg calibrate light --json -o again "$folder"
    exits 0
    cmp again/light.json "$folder/result/light.json" || fail "the command gives the same values"
    answers 200 "$url/calibrate/response.svg"
    cmp body again/response.svg || fail "and draws the same picture"
    grep -q '^feeler_mm = 0.1' "$folder/sweep.ini" || fail "the sweep says its feeler"
    cp mine.ini again.ini
    rg calibrate light -q -o again --write again.ini "$folder"
    post 200 calibrate '{"do":"write","station":"mine.ini"}'
    cmp mine.ini again.ini || fail "and writes the same station"
    ! cmp -s mine.ini "$CALIB/bench.ini" || fail "the station has changed"
    post 200 calibrate '{"do":"again"}'
    state
    holds state.json '.calibration.light.stage == "sweep" and .live.kept == 0 and (.calibration.written | not)'
    post 200 calibrate '{"do":"leave"}'
    [ "$(ls sweeps/calibration/PE-A-0147)" = "$(basename "$folder")" ] || fail "a sweep without frames goes away"
}

# release only: test_bench_lens and test_wedge run under the sanitizers, and the other walk-throughs of this file
test_bench_does_not_write_a_light_that_is_not_good() {
    calib_bench "$ROOT/samples/wedge"
    # A strip of the double thickness: no set of values makes the readings follow.
    post 200 calibrate '{"do":"light","feeler_mm":0.2,"feeler_u_mm":0.001,"bearing_deg":180,"width_mm":3}'
    post 200 role '{"role":"witness"}'
    becomes '.live.coverage.witness'
    post 200 role '{"role":"closed"}'
    becomes '.source.state == "end"'
    post 200 calibrate '{"do":"fit"}'
    becomes '.calibration.light.stage == "done"'
    holds state.json '.calibration.light.fault != null'
    post 409 calibrate '{"do":"write","station":"mine.ini"}'
    cmp mine.ini "$CALIB/bench.ini" || fail "the station file is as it was"
}

test_bench_refuses_calibrations_that_are_none() {
    photographs
    calib_bench photos
    answers 405 "$url/api/calibrate?do=lens"
    for body in '' '[]' '{}' '{"do":1}' '{"do":"lens","do":"light"}'; do post 400 calibrate "$body"; done
    post 409 calibrate '{"do":"dance"}'
    post 409 calibrate '{"do":"light","feeler_mm":0.1,"feeler_u_mm":0.001,"bearing_deg":180,"width_mm":3}'
    grep -q 'no recorded sweep over a feeler' body || fail "why there are no frames"
    asks_nobody_else /calibrate /calibrate.css /calibrate.js
    cp -r "$ROOT/samples/wedge" one
    set -- --instrument "$CALIB/alto-loan.ini" --station "$CALIB/bench.ini" --serial PE-A-0147
    rg bench "$@" --replay photos photos
    refused 64 "both hold photographs"
    sed -i -e "s|^station = .*|station = $CALIB/bench.ini|" -e "s|^instrument = .*|instrument = $CALIB/alto-loan.ini|" one/sweep.ini
    rg bench "$@" --replay "$ROOT/samples/wedge" one
    refused 64 "both over a feeler"
    mkdir empty
    rg bench "$@" --replay empty
    refused 66 "no sweep.ini" "no photographs"
}
