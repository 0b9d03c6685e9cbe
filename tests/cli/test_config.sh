# What people write into INI files: each refusal names file, value and remedy.

# bad_sweep SED-COMMAND TEXT...: that edit of a good sweep.ini is refused as bad data.
bad_sweep() {
    rm -rf s
    leaking s
    change s "$1"
    shift
    rg inspect -o o --pictures none s
    refused 65 "s/sweep.ini" "$@"
    gone o
}

# bad_calib FILE SED-COMMAND TEXT...: the same for a private copy of a calibration file.
bad_calib() {
    rm -rf s
    leaking s
    cp "$CALIB/alto-loan.ini" "$CALIB/bench.ini" s/
    change s "s|= $CALIB/|= |"
    sed "$2" "$CALIB/$1" >"s/$1"
    ! cmp -s "$CALIB/$1" "s/$1" || fail "the edit changes $1"
    file=$1
    shift 2
    rg inspect -o o --pictures none s
    refused 65 "s/$file" "$@"
    gone o
}

test_copies_of_the_calibration_files_work() {
    leaking s
    cp "$CALIB/alto-loan.ini" "$CALIB/bench.ini" s/
    change s "s|= $CALIB/|= |"
    rg inspect -o o --pictures none s
    exits 1
}

test_wrong_crown_number_names_both_files() {
    bad_sweep 's/^crown = 2/crown = 4/' "crown = 4" "alto-loan.ini" "crown = 2" "G sharp" \
        "put the right crown"
    for crown in 97 -1 two 2.5; do
        bad_sweep "s/^crown = 2/crown = $crown/" "$crown" "crown"
    done
}

test_unknown_pad_is_named() {
    bad_sweep 's/^pad = .*/pad = H/' "pad = H" "alto-loan.ini" "[pad H]" "correct the name"
}

test_missing_instrument_and_station_are_66() {
    for key in instrument station; do
        rm -rf s
        leaking s
        change s "s|^$key = .*|$key = nowhere.ini|"
        rg inspect s
        refused 66 "s/nowhere.ini" "No such file" "check the name"
    done
}

test_a_serial_cannot_climb_out_of_the_output_folder() {
    for serial in ../../etc ../x .. . /tmp/x .hidden -rf a/b; do
        bad_sweep "s|^serial = .*|serial = $serial|" "serial" "$serial" "letters, digits"
    done
}

test_a_frame_cannot_climb_out_of_the_sweep_folder() {
    cp "$SAMPLES/08-G/view_00.jpg" secret.jpg
    for name in ../secret.jpg /etc/passwd sub/a.jpg .hidden.jpg; do
        bad_sweep "\$a $name = closed, exposure 1.0" "$name" "own folder"
    done
}

test_keys_missing_unknown_or_twice_are_named() {
    bad_sweep '/^pad = /d' "pad"
    bad_sweep 's/^pad = /padd = /' "padd"
    bad_sweep 's/^finger = .*/&\nfinger = firm/' "finger" "twice"
    bad_sweep 's/^\[frames\]/[pictures]/' "pictures"
}

test_bad_roles_and_exposures_are_named() {
    bad_sweep 's/^view_00.jpg = closed/view_00.jpg = shut/' "shut" "witness, closed, dark or open"
    bad_sweep 's/exposure 0.2/exposure 0,2/' "0,2" "point as the decimal sign"
    bad_sweep 's/exposure 0.2/exposure nan/' "nan"
    bad_sweep 's/exposure 0.2/exposure 0/' "exposure"
    bad_sweep 's/exposure 0.2/exposure -1/' "-1"
    bad_sweep '/ = closed/d' "no closed frame"
    bad_sweep 's/^finger = .*/finger = strong/' "strong" "light, firm"
}

test_an_empty_sweep_ini_is_refused() {
    mkdir s
    : >s/sweep.ini
    rg inspect s
    refused 65 "s/sweep.ini"
}

test_a_picture_named_sweep_ini_is_refused() {
    mkdir s
    cp "$SAMPLES/08-G/view_00.jpg" s/sweep.ini
    rg inspect s
    refused 65 "s/sweep.ini" "not plain text" "save it as UTF-8"
}

test_a_huge_sweep_ini_is_refused() {
    mkdir s
    yes "; a comment" | head -c 2000000 >s/sweep.ini
    rg inspect s
    refused 65 "s/sweep.ini" "2000000 bytes"
}

test_contradicting_sizes_are_both_named() {
    bad_calib alto-loan.ini 's/^rim_inner_mm = 18.0/rim_inner_mm = 21.0/' "rim_inner_mm" "21" \
        "rim_outer_mm" "20"
    bad_calib alto-loan.ini 's/^pad_mm = 23.0/pad_mm = 19.0/' "pad_mm" "19" "20"
    bad_calib alto-loan.ini 's/^crown_tag_mm = 8.0/crown_tag_mm = 12.0/' "tag size 12" "apothem 9.5"
}

test_numbers_that_are_none_are_refused() {
    bad_calib alto-loan.ini 's/^tolerance_mm = .*/tolerance_mm = nan/' "tolerance_mm = nan"
    bad_calib alto-loan.ini 's/^tolerance_mm = .*/tolerance_mm = inf/' "tolerance_mm = inf"
    bad_calib alto-loan.ini 's/^tolerance_mm = .*/tolerance_mm = 0,025/' "0,025" \
        "point as the decimal sign: 0.025"
    bad_calib alto-loan.ini 's/^tolerance_mm = .*/tolerance_mm = 0.025 mm/' "tolerance_mm"
    bad_calib alto-loan.ini 's/^tolerance_mm = .*/tolerance_mm = 0/' "tolerance_mm = 0"
    bad_calib alto-loan.ini 's/^tolerance_mm = .*/tolerance_mm =/' "tolerance_mm"
    bad_calib bench.ini 's/^fx_px = [0-9]*/fx_px = NaN/' "fx_px = NaN"
    bad_calib bench.ini 's/^fx_px = [0-9]*/fx_px = -3300/' "fx_px = -3300"
    bad_calib bench.ini 's/^fx_px = [0-9]*/fx_px = 1e999/' "fx_px = 1e999"
    bad_calib bench.ini 's/^weight_red = .*/weight_red = 0.9/' "weight"
    bad_calib bench.ini 's/^cx_px = 639.5/cx_px = 5000/' "cx 5000" "1280 x 720"
}

test_misspelt_and_missing_keys_are_refused() {
    bad_calib alto-loan.ini 's/^tolerance_mm/tolerence_mm/' "tolerence_mm"
    bad_calib bench.ini '/^k1 = /d' "k1"
    bad_calib bench.ini 's/^\[lens\]/[lense]/' "lense"
}

test_other_encodings_are_refused_and_byte_order_marks_are_not() {
    leaking s
    change s "s|^station = .*|station = bench.ini|"
    LC_ALL=C sed "s/demo bench ;/$(printf 'B\374hne') ;/" "$CALIB/bench.ini" >s/bench.ini
    rg inspect -o o --pictures none s
    refused 65 "s/bench.ini" "0xFC" "UTF-8"
    { printf '\357\273\277'; sed 's/$/\r/' "$CALIB/bench.ini"; } >s/bench.ini
    rg inspect -o o --pictures none s
    exits 1
}

test_lens_values_of_another_camera_leave_every_frame_out() {
    leaking s
    sed 's/^width_px = 1280/width_px = 1920/; s/^cx_px = 639.5/cx_px = 900/' "$CALIB/bench.ini" >s/b.ini
    change s "s|^station = .*|station = b.ini|"
    rg inspect -o o --pictures none s
    exits 2
    holds o/PE-A-0147/s/seal-map.json '.frames | all(.reason | contains("1920 x 720"))'
}
