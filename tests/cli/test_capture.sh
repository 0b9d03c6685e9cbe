# rimglow capture: recorded sweeps stand in for the camera.

# capture NAME SAMPLE PAD OPTION...: into w/PE-A-0147/NAME.
capture() {
    name=$1 sample=$2 pad=$3
    shift 3
    rg capture --replay "$sample" --serial PE-A-0147 --pad "$pad" --name "$name" --finger light \
        --instrument "$CALIB/alto-loan.ini" --station "$CALIB/bench.ini" -o w "$@"
}

# same_as_inspect NAME: inspect says of the folder, byte for byte, what capture said (in out).
same_as_inspect() {
    mv out captured
    rg inspect --json --pictures none -o o "w/PE-A-0147/$1"
    cmp captured out || fail "inspect gives what capture gave"
}

test_capture_gives_the_seal_map_that_inspect_gives_of_its_folder() {
    for sample in 08-G:G:1 04-C:C:0 06-A:A:1; do
        folder=${sample%%:*} rest=${sample#*:}
        capture "$folder" "$SAMPLES/$folder" "${rest%:*}" --whole --json
        exits "${rest#*:}"
        silent err
        same_as_inspect "$folder"
        exits "${rest#*:}"
        holds out '.sweeps | length == 1'
        gone "w/PE-A-0147/$folder/.capturing"
        no_parts w
    done
}

test_capture_stops_by_itself_when_the_pad_is_decided() {
    # Ten a second, so that a measurement ends between two frames.
    capture early "$SAMPLES/08-G" G --rate 10 --json
    exits 1
    silent err
    holds out '.sweeps[0].verdict == "leaking"'
    holds out '.sweeps[0].frames | length < 31'
    same_as_inspect early
}

test_capture_measures_as_the_recorded_sweep_does_when_every_frame_is_kept() {
    capture all "$SAMPLES/08-G" G --whole --json
    mv out captured
    rg inspect --json --pictures none -o o "$SAMPLES/08-G"
    for key in verdict bins arcs reasons tolerance_mm; do
        [ "$(jq -c ".sweeps[0].$key" captured)" = "$(jq -c ".sweeps[0].$key" out)" ] ||
            fail "$key is that of the recorded sweep"
    done
    for n in 00 07 29; do
        cmp "$SAMPLES/08-G/view_$n.jpg" "w/PE-A-0147/all/view_0$n.jpg" || fail "frames are untouched"
    done
}

test_capture_says_on_its_lines_what_is_missing_and_ends_with_the_table() {
    capture said "$SAMPLES/08-G" G --whole
    exits 1
    silent err
    shows "missing: a witness" "from every height" "leaking" "w/PE-A-0147/said" "30/30"
    ! grep -q "$(printf '\033')" out || fail "no control codes without a terminal"
}

test_a_capture_that_is_killed_leaves_a_sweep_that_inspect_can_read() {
    "$RIMGLOW" capture --replay "$SAMPLES/08-G" --rate 10 --serial PE-A-0147 --pad G --name cut \
        --instrument "$CALIB/alto-loan.ini" --station "$CALIB/bench.ini" -o w --whole \
        >killed 2>&1 </dev/null &
    pid=$!
    for try in $(seq 300); do
        [ ! -e w/PE-A-0147/cut/view_005.jpg ] || break
        sleep 0.1
    done
    kill -KILL $pid
    wait $pid 2>/dev/null || true
    there w/PE-A-0147/cut/.capturing w/PE-A-0147/cut/sweep.ini
    rg inspect --json --pictures none -o o w/PE-A-0147/cut
    silent err
    holds out '.sweeps[0].frames | map(select(.used)) | length >= 5'
    # Once more: the frames of the cut-off run are set aside, not mixed with new ones.
    capture cut "$SAMPLES/08-G" G --whole --json
    exits 1
    there w/PE-A-0147/cut.cut-1/view_004.jpg
    holds out '.sweeps[0].frames | length == 31'
}

test_a_capture_that_is_interrupted_ends_in_order() {
    "$RIMGLOW" capture --replay "$SAMPLES/08-G" --rate 10 --serial PE-A-0147 --pad G --name int \
        --instrument "$CALIB/alto-loan.ini" --station "$CALIB/bench.ini" -o w --whole --json \
        >out 2>err </dev/null &
    pid=$!
    for try in $(seq 300); do
        [ ! -e w/PE-A-0147/int/view_003.jpg ] || break
        sleep 0.1
    done
    kill -TERM $pid
    status=0
    wait $pid || status=$?
    case $status in 1 | 2) ;; *) fail "a verdict, not $status" ;; esac
    silent err
    gone w/PE-A-0147/int/.capturing
    same_as_inspect int
}

test_a_capture_without_a_witness_is_undecided() {
    whole s 04-C C
    capture none s C --whole --json
    exits 2
    holds out '.sweeps[0].reasons | any(contains("no witness frame"))'
    same_as_inspect none
}

test_a_capture_without_closed_frames_leaves_no_folder() {
    sweep s G
    : >s/a.jpg
    list s closed a.jpg
    capture none s G
    exits 2
    says "no closed frame was kept"
    gone w/PE-A-0147/none
}

test_damaged_frames_of_a_replay_are_left_out_not_kept() {
    leaking s
    head -c 60000 "$SAMPLES/08-G/view_16.jpg" >s/bad.jpg
    list s closed bad.jpg
    capture bad s "G sharp" --whole --json
    exits 1
    holds out '.sweeps[0].frames | length == 7'
    same_as_inspect bad
}

test_capture_refuses_wrong_names_and_files() {
    capture x "$SAMPLES/08-G" H
    refused 65 "no [pad H]" "G sharp"
    capture ../x "$SAMPLES/08-G" G
    refused 64 "../x"
    capture x none/such G
    refused 66 "none/such"
    capture x "$SAMPLES/08-G" G --settings "$CALIB/bench.ini"
    refused 65 "bench.ini"
    capture x "$SAMPLES/08-G" G --finger 9000g
    refused 64 "9000g"
    gone w/PE-A-0147/x
    capture x "$SAMPLES/08-G" G --json
    capture x "$SAMPLES/08-G" G
    refused 73 "w/PE-A-0147/x" "another name"
}

test_capture_refuses_options_that_do_not_go_together() {
    rg capture
    refused 64 "--serial"
    capture x "$SAMPLES/08-G" G --camera /dev/video0
    refused 64 "--camera and --replay"
    rg capture --serial S --pad G --instrument a --station b --rate 3
    refused 64 "--rate"
    rg capture --list extra
    refused 64 "options only"
}

test_capture_without_a_camera_is_69() {
    rg capture --camera /dev/null --serial PE-A-0147 --pad G --instrument "$CALIB/alto-loan.ini" \
        --station "$CALIB/bench.ini" -o w
    refused 69 "/dev/null"
    gone w
}

test_help_of_capture_teaches_and_fits() {
    rg capture -h
    exits 0
    shows "--replay samples/PE-A-0147/08-G" "--list" "Enter" "69 camera unavailable" "Caution"
    awk 'length > 80 { exit 1 }' out || fail "80 columns"
}

test_a_jig_sweep_cannot_be_replayed_and_says_what_to_do() {
    sweep s G
    sed -i 's/^\[frames\]/[place]\nsource = jig\nbearing_u_deg = 0.1\nelevation_u_deg = 0.03\ndistance_mm = 110\noutline_u_px = 0.5\nclick_u_px = 0.5\nseat_tilt_deg = 0.5\n[frames]/' s/sweep.ini
    ln -s "$SAMPLES/08-G/view_00.jpg" s/
    echo "view_00.jpg = closed, bearing 23, elevation -0.75" >>s/sweep.ini
    capture jig s G
    refused 65 "source = jig" "rimglow inspect"
}

# ---------------------------------------------------------------- a camera that does not exist

# camera COMMAND: tests/shim/fake_camera.h; also while the program runs.
camera() { echo "$*" >>camera; }

# from_camera NAME OPTION...: in the background, into $pid; its keys come through the pipe keys (descriptor 3).
from_camera() {
    name=$1
    shift
    mkfifo keys
    RG_FAKE_CAMERA=$PWD/camera LD_PRELOAD=$(dirname "$TOOLS")/shim/v4l2.so ASAN_OPTIONS=verify_asan_link_order=0 \
        "$RIMGLOW" capture --serial PE-A-0147 --pad G --name "$name" --instrument "$CALIB/alto-loan.ini" \
        --station "$CALIB/bench.ini" -o w "$@" <keys >out 2>err &
    pid=$!
    exec 3>keys
}

# until FILE: it is there, within a minute.
until_there() {
    for try in $(seq 600); do
        [ ! -e "$1" ] || return 0
        kill -0 $pid 2>/dev/null || break
        sleep 0.1
    done
    fail "$1 appears"
}

ended() {
    status=0
    wait $pid || status=$?
    exec 3>&-
}

test_a_pad_is_taken_from_a_camera_from_witness_to_verdict() {
    mkdir witness closed
    cp "$SAMPLES/08-G/witness.jpg" witness/
    cp "$SAMPLES"/08-G/view_1*.jpg closed/
    camera frames witness
    from_camera live
    until_there w/PE-A-0147/live/witness_000.jpg
    camera frames closed
    camera unplug
    sleep 0.5
    camera plug
    camera frames closed
    echo >&3
    ended
    exits 1
    silent err
    shows "leaking" "w/PE-A-0147/live"
    cmp w/PE-A-0147/live/witness_000.jpg "$SAMPLES/08-G/witness.jpg" || fail "the witness is untouched"
    rg inspect --json --pictures none -o o w/PE-A-0147/live
    exits 1
    # 250 units of 100 us are the camera's own exposure, a fifth of them the witness's.
    grep -q "witness_000.jpg = witness, exposure 0.2$" w/PE-A-0147/live/sweep.ini || fail "exposure"
    grep -q "exposure_s = 0.025" w/PE-A-0147/live/sweep.ini || fail "exposure_s"
}

test_keys_that_end_before_the_pad_is_closed_are_a_wrong_use() {
    camera frames "$SAMPLES/08-G"
    from_camera early
    exec 3>&-
    status=0
    wait $pid || status=$?
    refused 64 "needs a keyboard"
    gone w/PE-A-0147/early
}

test_q_ends_a_capture_from_a_camera() {
    camera frames "$SAMPLES/08-G"
    from_camera quit
    printf q >&3
    ended
    exits 2
    says "no closed frame was kept"
    gone w/PE-A-0147/quit
}
