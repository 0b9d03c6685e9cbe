# Folders and frames that cannot be used, or not fully.

# left_out FOLDER FRAME TEXT...: the run went on without that frame and says why.
left_out() {
    map=o/PE-A-0147/$1/seal-map.json frame=$2
    shift 2
    holds "$map" ".frames[] | select(.file == \"$frame\") | .used == false"
    for text in "$@"; do
        holds "$map" ".frames[] | select(.file == \"$frame\") | .reason | contains(\"$text\")"
    done
    tr '\n' ' ' <out | tr -s ' ' | grep -qF "$frame left out: " || fail "the table names $frame"
}

# one_bad NAME ...: the leaking sweep with one more closed frame NAME, made before.
one_bad() {
    list s closed "$1"
    rg inspect -o o --pictures all s
    exits 1
    silent err
    holds o/PE-A-0147/s/seal-map.json '[.frames[] | select(.used)] | length == 7'
    left_out s "$@"
}

# ---------------------------------------------------------------- folders

test_missing_folder_is_66() {
    rg inspect none/such
    refused 66 "none/such" "No such file" "check its name"
}

test_the_table_has_its_heading_though_the_first_sweep_fails() {
    rg inspect -o o --pictures none none/such "$SAMPLES/08-G"
    exits 66
    head -1 out | grep -q "^pad  *verdict  *seen " || fail "the heading comes first"
}

test_empty_folder_is_66() {
    mkdir e
    rg inspect e
    refused 66 "e: the folder is empty" "sweep.ini"
}

test_folder_without_sweep_ini_is_66() {
    mkdir s
    ln -s "$SAMPLES/08-G/view_00.jpg" s/
    rg inspect s
    refused 66 "s/sweep.ini" "No such file" "check the name"
}

test_a_file_in_place_of_a_folder_is_66() {
    rg inspect "$SAMPLES/08-G/view_00.jpg"
    refused 66 "view_00.jpg" "Not a directory"
}

test_an_empty_name_is_66() {
    rg inspect ""
    refused 66 "empty"
}

test_a_folder_in_place_of_sweep_ini_is_66() {
    mkdir -p s/sweep.ini
    : >s/a.jpg
    rg inspect s
    refused 66 "s/sweep.ini" "not a regular file"
}

test_a_pipe_in_place_of_a_frame_does_not_hang() {
    leaking s
    mkfifo s/pipe.jpg
    one_bad pipe.jpg "not a regular file"
}

test_a_path_too_long_is_66() {
    rg inspect "$(printf '%01500d' 0)"
    refused 66 "1500 bytes"
}

test_names_with_blanks_and_umlauts_work() {
    mkdir "Größe 8"
    leaking "Größe 8/Klappe G♯ – links"
    rg inspect -o "Aus gabe/ü" "Größe 8/Klappe G♯ – links"
    exits 1
    silent err
    there "Aus gabe/ü/PE-A-0147/Klappe_G♯_–_links/seal-map.json"
    holds "Aus gabe/ü/PE-A-0147/Klappe_G♯_–_links/seal-map.json" '.folder == "Klappe_G♯_–_links"'
}

test_two_folders_with_blanks_keep_apart() {
    leaking "pad 1"
    leaking "pad 2"
    rg inspect -o o --pictures none "pad 1" "pad 2"
    exits 1
    there o/PE-A-0147/pad_1/seal-map.json o/PE-A-0147/pad_2/seal-map.json
}

# ---------------------------------------------------------------- picture files

test_a_missing_frame_is_left_out() {
    leaking s
    one_bad gone.jpg "gone.jpg" "No such file"
}

test_a_pattern_without_files_is_66() {
    leaking s
    echo "open_*.jpg = closed" >>s/sweep.ini
    rg inspect s
    refused 66 "s/sweep.ini" "open_*.jpg" "copy the frames here"
}

test_a_truncated_jpeg_is_no_evidence() {
    leaking s
    head -c 60000 "$SAMPLES/08-G/view_16.jpg" >s/bad.jpg
    one_bad bad.jpg "not evidence" "take the frame again"
}

test_a_jpeg_cut_in_its_header_is_left_out() {
    leaking s
    head -c 300 "$SAMPLES/08-G/view_16.jpg" >s/bad.jpg
    one_bad bad.jpg
}

test_flipped_bytes_in_a_jpeg_are_no_evidence() {
    leaking s
    for from in 30000 60000 90000; do
        leaking t$from
        spoil flip $from 300 "$SAMPLES/08-G/view_16.jpg" t$from/bad.jpg
        list t$from closed bad.jpg
        rg inspect -o o --pictures none t$from
        exits 1
        left_out t$from bad.jpg
    done
}

test_a_frame_of_zero_bytes_is_left_out() {
    leaking s
    : >s/bad.jpg
    one_bad bad.jpg "empty" "copy it again"
}

test_a_jpeg_that_claims_65500_px_is_refused_before_memory_is_taken() {
    leaking s
    spoil claim 65500 65500 "$SAMPLES/08-G/view_16.jpg" s/bad.jpg
    one_bad bad.jpg "65500 x 65500" "16384"
}

test_a_jpeg_of_too_many_pixels_is_refused() {
    leaking s
    spoil claim 16000 16000 "$SAMPLES/08-G/view_16.jpg" s/bad.jpg
    one_bad bad.jpg "256000000 pixels" "64000000"
}

test_a_png_frame_counts_like_a_jpeg() {
    leaking s
    spoil png "$SAMPLES/08-G/view_16.jpg" s/more.png
    list s closed more.png
    rg inspect -o o --pictures none s
    exits 1
    holds o/PE-A-0147/s/seal-map.json '.frames[] | select(.file == "more.png") | .used'
}

test_a_png_with_a_crc_error_is_left_out() {
    leaking s
    spoil png "$SAMPLES/08-G/view_16.jpg" good.png
    # The four bytes before a chunk's length and type are the checksum of the chunk before it.
    fifth=$(LC_ALL=C grep -abo IDAT good.png | sed -n '5s/:.*//p')
    spoil flip $((fifth - 8)) 1 good.png s/bad.png
    one_bad bad.png "CRC error"
}

test_flipped_bytes_in_a_png_are_no_evidence() {
    leaking s
    spoil png "$SAMPLES/08-G/view_16.jpg" good.png
    spoil flip 200000 1 good.png s/bad.png
    one_bad bad.png "cannot be decoded"
}

test_a_truncated_png_is_left_out() {
    leaking s
    spoil png "$SAMPLES/08-G/view_16.jpg" good.png
    head -c 200000 good.png >s/bad.png
    one_bad bad.png
}

test_a_text_file_named_jpg_is_left_out() {
    leaking s
    echo "Sorry, the camera was not there." >s/bad.jpg
    one_bad bad.jpg "neither JPEG nor PNG"
}

test_frames_that_all_fail_are_undecided_not_sealed() {
    sweep s G
    for n in 1 2 3; do
        : >s/view_$n.jpg
        list s closed view_$n.jpg
    done
    add s witness "$SAMPLES/08-G/witness.jpg"
    rg inspect -o o s
    exits 2
    shows "none of 3 closed frames could be used"
    holds o/PE-A-0147/s/seal-map.json '.bins | all(.state == "unseen")'
    there o/PE-A-0147/s/ring.png o/PE-A-0147/s/ring.svg o/PE-A-0147/s/strip.png
}

test_a_frame_of_another_size_is_left_out() {
    leaking s
    spoil halve "$SAMPLES/08-G/view_16.jpg" s/bad.jpg
    one_bad bad.jpg "640 x 360" "1280 x 720" "calibrat"
}

# ---------------------------------------------------------------- what frames show

test_a_frame_too_dark_for_the_crown_says_so() {
    for gain in 0.0001 0.02 0.05; do
        rm -rf s
        leaking s
        spoil light $gain "$SAMPLES/08-G/view_16.jpg" s/bad.jpg
        one_bad bad.jpg "no crown, too dark" "expose longer"
    done
}

test_a_frame_too_dark_to_measure_is_left_out() {
    leaking s
    spoil light 0.09 "$SAMPLES/08-G/view_16.jpg" s/bad.jpg
    one_bad bad.jpg "too dark: the crown's paper reads" "expose longer"
}

test_a_frame_without_a_crown_asks_for_one() {
    leaking s
    # Paper over the crown.
    spoil paste -1 280 0 300 "$SAMPLES/08-G/view_16.jpg" a.jpg
    spoil paste -1 500 0 300 a.jpg b.jpg
    spoil paste -1 720 0 300 b.jpg s/bad.jpg
    one_bad bad.jpg "no tag of the crown" "bring the whole of one tag into the picture"
}

test_an_overexposed_frame_is_left_out() {
    leaking s
    spoil light 15 "$SAMPLES/08-G/view_16.jpg" s/bad.jpg
    one_bad bad.jpg "overexposed" "of full scale" "shorten the exposure"
}

test_a_white_frame_is_left_out() {
    leaking s
    spoil light 100000 "$SAMPLES/08-G/view_16.jpg" s/bad.jpg
    one_bad bad.jpg "no crown, overexposed" "shorten the exposure"
}

test_a_second_crown_in_view_is_refused() {
    leaking s
    # Tag 30 is face 0 of crown 5.
    spoil paste 30 20 20 200 "$SAMPLES/08-G/view_02.jpg" s/bad.jpg
    one_bad bad.jpg "crown 2 and of crown 5" "tag 30" "cover the other crown"
}

test_the_same_tag_twice_is_refused() {
    leaking s
    spoil paste 12 20 20 200 "$SAMPLES/08-G/view_02.jpg" one.jpg
    spoil paste 12 20 300 200 one.jpg s/bad.jpg
    one_bad bad.jpg "tag 12" "twice"
}

test_frames_with_another_crown_are_refused_frame_by_frame() {
    sed 's/^crown = 2/crown = 3/' "$CALIB/alto-loan.ini" >alto.ini
    leaking s
    change s 's/^crown = 2/crown = 3/'
    change s "s|^instrument = .*|instrument = ../alto.ini|"
    rg inspect -o o s
    exits 2
    shows "none of 6 closed frames could be used"
    left_out s view_00.jpg "belongs to crown 2, not to crown 3" "put on the right crown"
    holds o/PE-A-0147/s/seal-map.json '.frames | all(.used == false)'
}

# ---------------------------------------------------------------- coverage and light

# some_views FIRST LAST: a sweep s of these views of the sealed pad, with its witness.
some_views() {
    rm -rf s
    sweep s C
    add s witness "$SAMPLES/04-C/witness.jpg"
    for n in $(seq -w "$1" "$2"); do add s closed "$SAMPLES/04-C/view_$n.jpg"; done
    rg inspect -o o --pictures none s
}

test_one_side_alone_is_never_sealed() {
    some_views 15 19
    exits 2
    map=o/PE-A-0147/s/seal-map.json
    holds $map '.light.proven and ([.frames[] | select(.used)] | length) == 6'
    holds $map '[.bins[] | select(.state == "unseen")] | length > 180'
    shows "sweep again"
}

# Five of six bearings: what is missing is named, and nothing else is missing.
test_a_side_left_out_is_named_by_its_bearings() {
    some_views 00 24
    exits 2
    map=o/PE-A-0147/s/seal-map.json
    holds $map '[.bins[] | select(.state == "unseen")] | length | . > 5 and . < 180'
    holds $map '[.reasons[] | capture("bearings (?<a>[0-9]+)\\.\\.(?<b>[0-9]+)") | .a, .b | tonumber] as $named
        | ($named | length) >= 2 and
          (.bins as $bins | $named | all($bins[.].state == "unseen" or $bins[.].detection_limit_mm > 0.0125))'
    holds $map '.reasons | all(contains("sweep again"))'
}

test_a_witness_without_light_never_seals() {
    whole s 04-C C
    add s witness "$SAMPLES/04-C/view_12.jpg" witness.jpg
    rg inspect -o o --pictures none s
    exits 2
    shows "the light was not proven on"
    left_out s witness.jpg "switch the leak light on"
    holds o/PE-A-0147/s/seal-map.json '.light.proven == false'
}

# A closed frame with the lamp's streaks on the chimney shows light, but no open gap.
test_streaks_in_a_witness_never_seal() {
    whole s 04-C C
    for n in 00 20; do add s witness "$SAMPLES/04-C/view_$n.jpg" witness_$n.jpg; done
    rg inspect -o o --pictures none s
    exits 2
    left_out s witness_00.jpg "no open gap" "crack the pad open"
    left_out s witness_20.jpg "no open gap"
    holds o/PE-A-0147/s/seal-map.json '.light.proven == false'
}

test_a_broken_witness_never_seals() {
    whole s 04-C C
    head -c 60000 "$SAMPLES/04-C/witness.jpg" >s/witness.jpg
    list s witness witness.jpg
    rg inspect -o o --pictures none s
    exits 2
    left_out s witness.jpg "not evidence"
    holds o/PE-A-0147/s/seal-map.json '.reasons[0] | contains("not proven on")'
}

test_a_missing_witness_never_seals() {
    whole s 04-C C
    list s witness witness.jpg
    rg inspect -o o --pictures none s
    exits 2
    left_out s witness.jpg "No such file"
}

test_light_that_stays_with_the_lamp_off_is_no_leak() {
    whole s 08-G G
    add s witness "$SAMPLES/08-G/witness.jpg"
    rg inspect -o before --pictures none s
    exits 1
    # Frames in which the gap is lit, declared as taken with the lamp off.
    for n in 15 16 17 18 19; do add s dark "$SAMPLES/08-G/view_$n.jpg" dark_$n.jpg; done
    rg inspect -o o --pictures none s
    map=o/PE-A-0147/s/seal-map.json
    holds $map '[.bins[] | select(.why == "light there with the lamp off")] | length > 20'
    holds $map '.bins | all(.why != "light there with the lamp off" or .state == "unseen")'
    holds $map '.frames[] | select(.file == "dark_16.jpg") | .used'
    # Bearings without light in the dark frames stay as they were.
    jq -e -n --slurpfile a before/PE-A-0147/s/seal-map.json --slurpfile b $map \
        'all(range(360); $b[0].bins[.].why != null or $b[0].bins[.].state == $a[0].bins[.].state)' \
        >/dev/null || fail "the other bearings are as before"
    [ "$status" = 1 ] || shows "with the lamp off: shade the bench"
}

test_dark_frames_without_light_change_nothing() {
    whole s 04-C C
    add s witness "$SAMPLES/04-C/witness.jpg"
    for n in 15 16; do add s dark "$SAMPLES/04-C/view_$n.jpg" dark_$n.jpg; done
    rg inspect -o o --pictures none s
    exits 0
}
