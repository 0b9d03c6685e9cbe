# rimglow calibrate lens: from photographs and from corners.

LEFT=$ROOT/tests/data/lens/left_corners.csv

# lens ARGUMENT...: with the default board of the repository.
# The board of the tool's photographs is larger than the demo bench's.
lens() {
    sed -e 's/^columns = 9/columns = 7/' -e 's/^rows = 7/rows = 5/' -e 's/^tag_mm = .*/tag_mm = 28/' \
        -e 's/^pitch_mm = .*/pitch_mm = 36/' "$CALIB/board.ini" >photographed.ini
    rg calibrate lens --board photographed.ini "$@"
}

test_chessboard_corners_give_the_reference_result() {
    lens --corners "$LEFT" --json
    exits 2
    silent err
    # OpenCV 4.6.0 on the same corners, k1 k2 p1 p2 (tests/geometry/test_calibration.c).
    holds out '(.all.rms_px - 0.4081947 | fabs) < 1e-6 and (.all.fx_px - 536.45272 | fabs) < 1e-3'
    holds out '[.views[] | select(.used | not) | .file] == ["left02.jpg"]'
    holds out '.rms_px < 0.25 and .points == 648 and .good == false and (.advice | length) > 0'
    there calibration/lens.json calibration/lens.png calibration/lens.svg
    cmp -s out calibration/lens.json || [ "$(cat out)" = "$(cat calibration/lens.json)" ] ||
        fail "lens.json is what --json prints"
    no_parts calibration
}

test_table_names_bad_photograph_and_what_to_do() {
    lens --corners "$LEFT"
    exits 2
    shows "left02.jpg" "left out: does not fit the others" "with all 13: rms 0.408 px" \
        "MORE PHOTOGRAPHS NEEDED" "take 2 more with the board farther into" "standard deviation"
    [ "$(grep -c 'left out' out)" = 1 ] || fail "one photograph is left out"
}

test_board_photographs_give_the_lens_back_and_write_the_station() {
    mkdir photos
    "$TOOLS/boardphotos" photos 10 >truth.json
    cp "$CALIB/bench.ini" mine.ini
    lens --json --write mine.ini photos/*.png
    exits 0
    silent err
    holds out '.good and .width_px == 640 and .height_px == 480 and (.views | length) == 10'
    jq -e -s '.[0] as $t | .[1] as $r | $t | keys | all(. as $k |
        ($r.lens[$k] - $t[$k] | fabs) < 3 * $r.standard_deviation[$k])' truth.json out >seen ||
        fail "every value lies within three standard deviations of the truth"
    holds out '.standard_deviation.fx_px < 0.1 and .rms_px < 0.05'
    # The station: eleven lines of [lens] have changed, nothing else.
    [ "$(diff "$CALIB/bench.ini" mine.ini | grep -c '^>')" -le 11 ] || fail "eleven lines at most"
    diff "$CALIB/bench.ini" mine.ini | grep '^[<>]' | grep -vE '^[<>] (width_px|height_px|fx_px|fy_px|cx_px|cy_px|k1|k2|p1|p2|k3) = ' &&
        fail "only lens values change"
    fx=$(jq '.lens.fx_px * 10000 | round / 10000' out)
    grep -q "^fx_px = $fx ; px, focal length across; demo renderer's value" mine.ini ||
        fail "fx_px = $fx and its comment stand in mine.ini"
    grep -q '^width_px = 640 ;' mine.ini || fail "width_px = 640"
    # It can be used: another run on it reads it as a station.
    lens --write mine.ini photos/*.png
    exits 0
    shows "GOOD ENOUGH" "mine.ini: [lens] written; scale_u = 0.002 stays as it was"
}

test_few_photographs_ask_for_more_and_write_nothing() {
    mkdir photos
    "$TOOLS/boardphotos" photos 5 >truth.json
    head -c 3000 photos/04.png >photos/04-cut.png
    rm photos/04.png
    echo "no picture" >photos/note.txt
    cp "$CALIB/bench.ini" mine.ini
    lens --write mine.ini --out o photos/*
    exits 2
    shows "photos/04-cut.png" "photos/note.txt" "not used:" "take 4 more: 4 of 8 good views are there" \
        "mine.ini was not written"
    cmp -s "$CALIB/bench.ini" mine.ini || fail "mine.ini is untouched"
    there o/lens.png o/lens.svg o/lens.json
    holds o/lens.json '[.not_used[].file] == ["photos/04-cut.png", "photos/note.txt"]'
    # A picture without the board, one of another size.
    lens --quiet "$SAMPLES/08-G/witness.jpg"
    refused 65 "witness.jpg: no tag of the board" "first_id"
    sed 's/first_id = 400/first_id = 100/' "$CALIB/board.ini" >other.ini
    rg calibrate lens --board other.ini photos/0*.png
    refused 65 "no tag of the board"
}

test_missing_files_are_named() {
    lens nowhere.jpg
    refused 66 "nowhere.jpg"
    lens --corners nowhere.csv
    refused 66 "nowhere.csv"
    rg calibrate lens --board nowhere.ini --corners "$LEFT"
    refused 66 "nowhere.ini"
    lens --corners "$LEFT" --write nowhere.ini
    refused 66 "nowhere.ini"
    gone calibration
}

test_bad_corners_are_refused_by_line() {
    sed '20s/,[0-9.]*$/,nan/' "$LEFT" >bad.csv
    lens --corners bad.csv
    refused 65 "bad.csv, line 20" "nan"
    head -56 "$LEFT" >one.csv
    lens --corners one.csv
    refused 65 "one.csv" "1 views" "8 or more"
    grep -v size "$LEFT" >nosize.csv
    lens --corners nosize.csv
    refused 64 "nosize.csv" "--size 640x480"
    lens --corners nosize.csv --size 640x480 --quiet
    exits 2
    silent out
    lens --corners "$LEFT" --size 640x481
    refused 64 "640x481" "640x480"
    gone calibration/lens.part
}

test_wrong_station_is_refused_before_the_work() {
    grep -v '^k3' "$CALIB/bench.ini" >mine.ini
    lens --corners "$LEFT" --write mine.ini
    refused 65 "mine.ini" "k3"
    gone calibration
}

test_unwritable_output_is_reported() {
    echo file >o
    lens --corners "$LEFT" --out o --quiet
    exits 73
    says "o"
}

test_usage_errors_of_calibrate_lens() {
    lens
    refused 64 "photographs" "--corners" "rimglow calibrate lens -h"
    lens --corners "$LEFT" a.jpg
    refused 64 "a.jpg" "not both"
    lens --size 640x480 a.jpg
    refused 64 "--size" "--corners"
    for size in 640 640x 0x0 640x480x3 -640x480 640,480; do
        lens --corners "$LEFT" --size=$size
        refused 64 "--size $size" "640x480"
    done
    lens --picture all a.jpg
    refused 64 "--picture" "rimglow calibrate lens -h"
}

test_calibrate_lens_help_teaches_and_fits_80_columns() {
    rg calibrate lens -h
    exits 0
    shows "rimglow calibrate lens --write" "--corners" "Exit codes" "How to" "--board"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    rg calibrate -h
    exits 0
    shows "lens"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    rg calibrate lens -h
    for option in $(grep -oE '^  (-[a-z],|   ) --[a-z]+' out | grep -oE -e '--[a-z]+'); do
        case $option in
        --help | --corners | --write) continue ;;
        --board) value=$CALIB/board.ini ;;
        --size) value=640x480 ;;
        --out) value=o ;;
        --pictures) value=none ;;
        --jobs) value=1 ;;
        *) value= ;;
        esac
        lens --pictures=none --corners "$LEFT" $option $value
        exits 2
    done
}
