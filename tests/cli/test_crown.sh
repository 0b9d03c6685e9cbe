# Printing: index crowns and the calibration board.

test_help_of_crown_teaches_by_example() {
    rg crown -h
    exits 0
    silent err
    shows "rimglow crown --cup-diameter 23" "calliper" "Glue the sheet on" "EVERY gap width" \
        "100 %" "Exit codes"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    rg board -h
    exits 0
    shows "rimglow board" "calliper" "Glue the sheet" "MEASURED" "Exit codes"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
}

# Every example of the help must run as it stands.
test_examples_of_the_help_work() {
    ln -s "$CALIB" calib
    for command in crown board; do
        rg $command -h
        grep -E "^  rimglow $command" out | sed 's/^  rimglow //' >examples
        [ "$(wc -l <examples)" -ge 3 ] || fail "three examples at least"
        while read -r words; do
            # shellcheck disable=SC2086
            rg $words
            exits 0
            silent err
        done <examples
    done
}

# A help text that names an option must not lie: each is accepted.
test_every_option_of_the_help_is_accepted() {
    rg crown -h
    for option in $(grep -oE '^  (-[a-z],|   ) --[a-z-]+' out | grep -oE -e '--[a-z-]+'); do
        from="--cup-diameter 23"
        case $option in
        --cup-diameter | --help) continue ;;
        --apothem) from= value=9.5 ;;
        --instrument) from= value=$CALIB/alto-loan.ini ;;
        --pad) from="--instrument $CALIB/alto-loan.ini" value=G ;;
        --number) value=96 ;;
        --tag) value=8 ;;
        --foot | --cup-top) value=4.5 ;;
        --copies) value=2 ;;
        --paper) value=letter ;;
        --out) value=o.svg ;;
        --scale) value=20 ;;
        --station) value="$CALIB/bench.ini --distance 110" ;;
        --distance) value="110 --station $CALIB/bench.ini" ;;
        --sheet) value=$CALIB/sheet.ini ;;
        *) value= ;;
        esac
        # shellcheck disable=SC2086
        rg crown $from $option $value
        exits 0
    done
    rg board -h
    for option in $(grep -oE '^  (-[a-z],|   ) --[a-z-]+' out | grep -oE -e '--[a-z-]+'); do
        case $option in
        --help) continue ;;
        --board) value=$CALIB/board.ini ;;
        --columns | --rows) value=5 ;;
        --tag-mm) value=4 ;;
        --pitch-mm) value=7 ;;
        --first-id) value=0 ;;
        --paper) value=letter ;;
        --out) value=o.svg ;;
        --scale) value=20 ;;
        --station) value="$CALIB/bench.ini --distance 110" ;;
        --distance) value="110 --station $CALIB/bench.ini" ;;
        --sheet) value=$CALIB/sheet.ini ;;
        *) value= ;;
        esac
        # shellcheck disable=SC2086
        rg board $option $value
        exits 0
    done
}

test_a_crown_is_a_sound_pdf_with_the_lines_for_the_instrument_file() {
    rg crown --cup-diameter 23 --number 2 --tag 8 --cup-top 5.2
    exits 0
    silent err
    there crowns.pdf
    qpdf --check crowns.pdf >/dev/null || fail "qpdf finds nothing wrong"
    shows "crowns.pdf: A4" "tags 12 to 17" "19.00 mm across flats" \
        "modules of 1.000 mm: 30.0 px at 30 px per mm" "largest that fits"
    # The lines pasted into an instrument file give a file that is read.
    {
        sed '/^crown/d' "$CALIB/alto-loan.ini" | sed '/^\[every pad\]/q'
        grep '^crown' out | grep ' = '
        sed '/^crown/d' "$CALIB/alto-loan.ini" | sed '1,/^\[every pad\]/d'
    } >mine.ini
    [ "$(grep -c '^crown' mine.ini)" = 4 ] || fail "four lines"
    rg crown --instrument mine.ini --json
    exits 0
    holds out '.crowns | length == 1'
    holds out '.crowns[0] | .crown == 2 and .apothem_mm == 9.5 and .crown_tag_mm == 8 and
        .crown_centre_height_mm == 10.3'
}

test_without_the_cup_s_height_the_line_for_it_is_refused_until_it_is_filled_in() {
    rg crown --cup-diameter 23 --tag 8
    exits 0
    shows "crown_centre_height_mm = ? ; 5.10 + height of the cup's top above the rim"
    sed 's/^crown_centre_height_mm = 10.3/crown_centre_height_mm = ?/' "$CALIB/alto-loan.ini" >mine.ini
    rg crown --instrument mine.ini
    refused 65 "mine.ini" "crown_centre_height_mm = ?"
}

test_json_says_everything_about_a_crown() {
    rg crown --cup-diameter 15.5,23 --number 4 --copies 2 --paper letter --out s.svg --json
    exits 0
    silent err
    there s.svg
    holds out '.format == "rimglow crowns" and .version == 1 and .paper == "Letter"'
    holds out '.files == ["s.svg"] and .pages == 1 and .copies == 2 and .px_per_mm == 30'
    holds out '[.crowns[].crown] == [4, 5] and .crowns[1].ids == [30, 31, 32, 33, 34, 35]'
    holds out '.crowns[1] | .apothem_mm == 9.5 and .crown_centre_height_mm == null and
        .module_mm * 8 == .crown_tag_mm and .largest_module_mm >= .module_mm and
        .module_px >= 5 and (.instrument_lines | length == 4)'
}

test_an_instrument_file_prints_each_crown_once_with_its_pads() {
    rg crown --instrument "$CALIB/alto-loan.ini" --json
    exits 0
    holds out '[.crowns[].crown] == [1, 2, 3]'
    holds out '.crowns[0].title | endswith(": high F, high E, high D")'
    rg crown --instrument "$CALIB/alto-loan.ini" --pad "low B flat" --json
    exits 0
    holds out '[.crowns[] | [.crown, .apothem_mm, .crown_tag_mm]] == [[3, 14, 11]]'
    rg crown --instrument "$CALIB/alto-loan.ini" --pad "low A"
    refused 65 "alto-loan.ini" "[pad low A]"
}

test_pads_at_different_heights_share_a_print_without_a_height() {
    sed '/^\[pad G\]/a crown_centre_height_mm = 10.8' "$CALIB/alto-loan.ini" >mine.ini
    rg crown --instrument mine.ini --json
    exits 0
    holds out '.crowns | length == 3'
    holds out '.crowns[1] | .crown == 2 and .crown_centre_height_mm == null and
        (.instrument_lines[3] | contains("by pad"))'
    holds out '.crowns[0].crown_centre_height_mm == 8.5'
}

test_many_pads_end_in_dots() {
    {
        sed '/^\[pad /,$d' "$CALIB/alto-loan.ini"
        for i in $(seq 1 60); do
            printf '[pad number %d]\nrim_inner_mm = 18\nrim_outer_mm = 20\npad_mm = 23\n' "$i"
            printf 'opening_mm = 5\nnotes =\n'
        done
    } >mine.ini
    rg crown --instrument mine.ini --json
    exits 0
    holds out '.crowns[0].title | endswith(", ...") and (endswith(", ..., ...") | not)'
}

test_a_foot_lifts_the_tags() {
    rg crown --cup-diameter 23 --tag 8 --foot 4 --cup-top 5 --json
    exits 0
    holds out '.crowns[0] | .centre_above_lower_edge_mm == 9.1 and .crown_centre_height_mm == 14.1'
}

test_two_sizes_under_one_number_are_refused() {
    sed '/^\[pad G\]/a crown_tag_mm = 7.5' "$CALIB/alto-loan.ini" >mine.ini
    rg crown --instrument mine.ini
    refused 65 "mine.ini" "[pad G]" "7.5" "different numbers"
    gone crowns.pdf
}

test_a_height_that_sinks_the_ring_below_the_rim_is_refused() {
    sed 's/^crown_centre_height_mm = 10.3/crown_centre_height_mm = 3/' "$CALIB/alto-loan.ini" >mine.ini
    rg crown --instrument mine.ini
    refused 65 "mine.ini: [pad C]" "under the rim plane"
}

test_modules_too_small_for_the_camera_are_refused_with_the_remedy() {
    rg crown --cup-diameter 12 --scale 9
    refused 65 "crown 0" "px at 9 px per mm" "5 px are needed" "px per mm or more" "mm or more"
    gone crowns.pdf
    # fx 3300 px at 400 mm: 8.25 px per mm
    rg crown --cup-diameter 12 --station "$CALIB/bench.ini" --distance 400
    refused 65 "8.25 px per mm"
    rg crown --cup-diameter 12 --station "$CALIB/bench.ini" --distance 110
    exits 0
    shows "at 30 px per mm"
    rg board --scale 8
    refused 65 "board" "4.8 px at 8 px per mm"
    sed 's/^min_module_px = 5/min_module_px = 4/' "$CALIB/sheet.ini" >s.ini
    rg board --scale 8 --sheet s.ini
    exits 0
}

# The advice of the refusal is enough.
test_the_scale_that_the_refusal_asks_for_is_enough() {
    rg crown --cup-diameter 12 --scale 9
    scale=$(sed 's/.*nearer (\([0-9.]*\) px per mm or more.*/\1/' err)
    rg crown --cup-diameter 12 --scale "$scale"
    exits 0
}

test_wrong_sizes_are_refused() {
    for cup in 0 -23 x "" 23,, ,23 23,x 1e9 nan; do
        rg crown --cup-diameter "$cup"
        refused 64 "--cup-diameter"
    done
    rg crown --cup-diameter 2
    exits 65
    rg crown --cup-diameter 23 --tag 9
    refused 65 "largest tag there is"
    rg crown --apothem 300
    refused 64 "--apothem 300"
    rg crown --cup-diameter 390 --scale 30
    refused 65 "do not fit on A4"
    for option in "--tag x" "--foot 31" "--cup-top -1" "--scale 0" "--number 97" "--copies 25" \
        "--paper a3"; do
        # shellcheck disable=SC2086
        rg crown --cup-diameter 23 $option
        refused 64 "$option"
    done
    rg crown --cup-diameter 23,24 --number 96
    refused 64 "begin lower"
    gone crowns.pdf
}

test_one_source_of_crowns_is_needed() {
    rg crown
    refused 64 "one of --cup-diameter, --apothem and --instrument"
    rg crown --cup-diameter 23 --apothem 9
    refused 64 "one of"
    rg crown 23
    refused 64 "23" "--cup-diameter 23"
    rg crown --cup-diameter 23 --pad G
    refused 64 "--pad G" "--instrument"
    for option in "--number 3" "--tag 8" "--cup-top 5"; do
        # shellcheck disable=SC2086
        rg crown --instrument "$CALIB/alto-loan.ini" $option
        refused 64 "${option% *}" "instrument file says that already"
    done
    rg crown --cup-diameter 23 --station "$CALIB/bench.ini"
    refused 64 "--distance MM"
    rg crown --cup-diameter 23 --distance 110
    refused 64 "--station FILE"
    rg crown --cup-diameter 23 --scale 30 --station "$CALIB/bench.ini" --distance 110
    refused 64 "give one of them"
}

test_several_pages_of_svg_are_several_files() {
    rg crown --cup-diameter 23 --copies 12 --out many.svg --json
    exits 0
    holds out '.files == ["many-1.svg", "many-2.svg", "many-3.svg"] and .pages == 3'
    there many-1.svg many-2.svg many-3.svg
    gone many.svg many-4.svg
    for page in many-?.svg; do
        rsvg-convert "$page" -o page.png || fail "$page is an SVG"
    done
    rg crown --cup-diameter 23 --copies 12
    exits 0
    [ "$(qpdf --show-npages crowns.pdf)" = 3 ] || fail "three pages"
}

test_output_goes_where_it_can_or_is_refused() {
    rg crown --cup-diameter 23 --out crowns.png
    refused 64 "crowns.png" ".pdf or .svg"
    rg crown --cup-diameter 23 --out missing/crowns.pdf
    refused 73 "missing"
    mkdir folder.pdf
    rg board --out folder.pdf
    refused 73 "folder.pdf"
    no_parts .
    status=0
    "$RIMGLOW" crown --cup-diameter 23 >/dev/full 2>err || status=$?
    refused 74 "standard output"
}

test_missing_and_broken_files_are_named() {
    rg crown --cup-diameter 23 --sheet none.ini
    refused 66 "none.ini"
    echo "[crown]" >broken.ini
    rg crown --cup-diameter 23 --sheet broken.ini
    refused 65 "broken.ini" "edge_mm"
    rg crown --instrument none.ini
    refused 66 "none.ini"
    rg crown --cup-diameter 23 --station broken.ini --distance 100
    refused 65 "broken.ini"
    rg board --board broken.ini
    refused 65 "broken.ini"
}

# The folder one works in comes before the program's own files.
test_calibration_files_are_found_here_before_those_of_the_program() {
    rg crown --cup-diameter 23 --json
    holds out '.crowns[0].apothem_mm == 9.5'
    mkdir calib
    sed 's/^edge_mm = 0.5/edge_mm = 2/' "$CALIB/sheet.ini" >calib/sheet.ini
    rg crown --cup-diameter 23 --json
    holds out '.crowns[0].apothem_mm == 8.2'
    mkdir -p apart/usr/bin apart/usr/share/rimglow apart/work
    cp "$RIMGLOW" apart/usr/bin/rimglow
    (cd apart/work && ../usr/bin/rimglow crown --cup-diameter 23) >out 2>err && fail "no file there"
    says "sheet.ini" "--sheet FILE"
    cp -R "$CALIB" apart/usr/share/rimglow/calib
    (cd apart/work && ../usr/bin/rimglow board && ../usr/bin/rimglow crown --cup-diameter 23) \
        >out 2>err || fail "found as installed"
}

test_the_board_is_what_its_file_says() {
    rg board --json
    exits 0
    silent err
    qpdf --check board.pdf >/dev/null || fail "qpdf finds nothing wrong"
    holds out '.format == "rimglow board" and .columns == 9 and .rows == 7 and .tag_mm == 4.8 and
        .pitch_mm == 6.4 and .first_id == 400 and .last_id == 462 and .files == ["board.pdf"]'
    holds out '.width_mm == 56 and .height_mm == 43.2 and .module_mm == 0.6 and .module_px == 18'
    # What it prints for the board's file is read as such.
    rg board --columns 5 --rows 4 --tag-mm 8 --pitch-mm 11 --first-id 10
    exits 0
    sed -n '/^\[board\]/,$p' out >mine.ini
    sed -n '/^\[search\]/,$p' "$CALIB/board.ini" >>mine.ini
    rg board --board mine.ini --json
    exits 0
    holds out '[.columns, .rows, .tag_mm, .pitch_mm, .first_id] == [5, 4, 8, 11, 10]'
}

test_boards_that_cannot_be_are_refused() {
    rg board --columns 10
    refused 65 "10 columns by 7 rows" "64"
    rg board --pitch-mm 5
    refused 65 "a pitch of 5 mm"
    rg board --first-id 580
    refused 65 "ids from 580"
    rg board --tag-mm 24 --pitch-mm 32
    refused 65 "A4 has room for"
    rg board --columns 1
    refused 64 "--columns 1"
    rg board --tag-mm big
    refused 64 "--tag-mm big"
    rg board here
    refused 64 "here"
}
