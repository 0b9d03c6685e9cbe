# rimglow teach --sheets: lesson sheets to print, and the page that makes them.
#
# release only, all: test_draw_lesson and test_render do it under the sanitizers
. "$ROOT/tests/cli/teach.sh"

# The lessons' own plan as quick.ini: a camera of half the pixels, a few frames, no noise of the hand. sed words may follow.
quick() {
    sed -e 's/^width_px = 1280/width_px = 640/' -e 's/^height_px = 720/height_px = 360/' -e 's/^f\([xy]\)_px = 3300/f\1_px = 1650/' \
        -e 's/^cx_px = 639.5/cx_px = 319.5/' -e 's/^cy_px = 359.5/cy_px = 179.5/' "$CALIB/bench.ini" >half.ini
    sed -e "s|^instrument = .*|instrument = $CALIB/alto-loan.ini|" -e 's|^station = .*|station = half.ini|' \
        -e 's/^bearings = .*/bearings = 1/' -e 's/^first_bearing_deg = .*/first_bearing_deg = 180/' \
        -e 's/^elevations_deg = .*/elevations_deg = 0/' -e 's/_spread_\([a-z]*\) = .*/_spread_\1 = 0/' "$@" \
        "$CALIB/lessons.ini" >quick.ini
}

sound() { for pdf in "$@"; do qpdf --check "$pdf" >/dev/null || fail "$pdf is a sound PDF"; done; }

# tells FILE TEXT...: the sheet does, whatever its line breaks.
tells() {
    pdftotext "$1" - | tr -s '[:space:]' ' ' >words
    shift
    for text in "$@"; do grep -qF -e "$text" words || fail "the sheet says: $text ($(head -c 600 words))"; done
}

# release only: test_draw_lesson runs under the sanitizers, and another sheet of this file
test_six_sheets_are_made_and_say_their_cautions() {
    quick
    mkdir s
    echo mine >s/notes.txt
    echo old >s/lesson-5-care.pdf
    rg teach --sheets s --plan quick.ini
    exits 0
    silent err
    shows "= s/lesson-1-partial-leak.pdf: What a partial leak looks like" "= s/lesson-6-exercises.pdf: Exercises"
    sound s/lesson-*.pdf
    [ "$(ls s | wc -l)" = 7 ] || fail "six sheets and what was there: $(ls s)"
    [ "$(cat s/notes.txt)" = mine ] || fail "other files are left alone"
    no_parts s
    for sheet in s/lesson-*.pdf; do
        tells "$sheet" "drawn by the program, no photographs" "The maker's instructions, local rules and an experienced technician come first"
        [ "$(pdfinfo "$sheet" | sed -n 's/.*(\(A4\)).*/\1/p')" = A4 ] || fail "$sheet is A4"
    done
    tells s/lesson-3-finger.pdf "is common practice, no source"
    tells s/lesson-5-care.pdf "Never look into it" "A lamp that gets hot does not belong near pads and lacquer" \
        "hot irons are for the experienced" "a licensed or experienced technician"
    tells s/lesson-4-causes.pdf "The program says of this map"
    tells s/lesson-6-exercises.pdf "The answers are on the last page" "The program measured"
}

# Numbers follow the plan's pads, and what the sheet says of the program is measured: within U of what was drawn.
test_a_sheet_says_what_was_measured() {
    quick -e 's/^creases = 180 40 0.21/creases = 180 40 0.17/'
    rg teach -q --sheets s --plan quick.ini --lesson 1
    exits 0
    silent out
    [ "$(ls s)" = lesson-1-partial-leak.pdf ] || fail "that sheet alone"
    tells s/lesson-1-partial-leak.pdf "0.16 mm"
    pdftotext -layout s/lesson-1-partial-leak.pdf - | grep -A1 'program says' | grep -o '[0-9.]* ± [0-9.]*' >said
    [ "$(wc -l <said)" -ge 3 ] || fail "three widths or more: $(cat said)"
    tail -3 said | paste - - - | awk '{ split("0.05 0.10 0.16", w); bad = 0
        for (i = 0; i < 3; i++) { d = $(3 * i + 1) - w[i + 1]; if (d < 0) d = -d; if (d > $(3 * i + 3)) bad = 1 } exit bad }' ||
        fail "within U of 0.05, 0.10 and 0.16: $(cat said)"
}

# release only: another sheet of this file runs under the sanitizers
test_the_lens_of_the_plan_darkens_the_pictures_of_a_sheet() {
    for vignetting in 0 0.9; do
        quick -e "s/^vignetting = [0-9.]*/vignetting = $vignetting/"
        rg teach -q --sheets "by-$vignetting" --plan quick.ini --lesson 3
        exits 0
        pdftoppm -gray -r 50 "by-$vignetting/lesson-3-finger.pdf" "page-$vignetting"
    done
    ! cmp -s page-0-1.pgm page-0.9-1.pgm || fail "another lens gives another picture"
}

# release only: test_draw_lesson runs under the sanitizers, and another sheet of this file
test_the_same_seed_gives_the_same_bytes_on_any_number_of_workers() {
    quick
    rg teach -q -j 1 --sheets one --plan quick.ini --lesson 6 --seed 3 --paper letter
    exits 0
    rg teach -q -j 2 --sheets two --plan quick.ini --lesson 6 --seed 3 --paper letter
    exits 0
    cmp one/lesson-6-exercises.pdf two/lesson-6-exercises.pdf || fail "the same bytes"
    [ "$(pdfinfo one/lesson-6-exercises.pdf | sed -n 's/.*(\(letter\)).*/\1/p')" = letter ] || fail "Letter"
    tells one/lesson-6-exercises.pdf "(seed 3)"
    rg teach -q --sheets three --plan quick.ini --lesson 6 --seed 4 --paper letter
    exits 0
    for i in one three; do pdftotext "$i/lesson-6-exercises.pdf" - | sed 's/(seed [0-9]*)//' >"$i.txt"; done
    ! cmp -s one.txt three.txt || fail "another seed, other exercises"
}

test_what_cannot_be_made_is_refused() {
    quick
    rg teach --sheets s --plan quick.ini --lesson 7
    refused 64 lesson 7
    rg teach --sheets s --plan quick.ini --seed -1
    refused 64 seed
    rg teach --sheets s --plan quick.ini --paper a5
    refused 64 paper a5
    rg teach --sheets s --plan missing.ini
    refused 66 missing.ini
    sed 's/^\[sweep saddle\]/[sweep sattle]/' quick.ini >p.ini
    rg teach -q --sheets s --plan p.ini --lesson 4
    refused 65 p.ini "[sweep saddle]"
    quick -e 's/^pad = G/pad = Z/'
    rg teach -q --sheets s --plan quick.ini --lesson 5
    refused 65 quick.ini "pad = Z"
    quick -e 's/^witness = yes/witness = no/'
    rg teach -q --sheets s --plan quick.ini --lesson 3
    refused 65 quick.ini "witness = yes"
    gone s/lesson-3-finger.pdf s/lesson-4-causes.pdf s/lesson-5-care.pdf
}

test_places_that_cannot_be_written() {
    quick
    echo here >file
    rg teach -q --sheets file --plan quick.ini --lesson 5
    refused 73 file "Not a directory"
    [ "$(cat file)" = here ] || fail "the file is untouched"
    mkdir s
    echo old >s/lesson-5-care.pdf
    status=0
    (
        trap '' XFSZ
        ulimit -f 4
        exec "$RIMGLOW" teach -q --sheets s --plan quick.ini --lesson 5
    ) >out 2>err </dev/null || status=$?
    refused 74 lesson-5-care.pdf
    [ "$(cat s/lesson-5-care.pdf)" = old ] || fail "the sheet that was there stays"
    no_parts s
}

test_the_page_makes_a_sheet_when_asked() {
    quick
    mkdir calib
    cp "$CALIB"/*.ini calib
    sed 's|half.ini|../half.ini|' quick.ini >calib/lessons.ini
    teach
    token=$(csrf)
    answers 200 "$url/lessons"
    grep -q 'lessons.js' body || fail "the page"
    answers 200 "$url/lessons.js"
    answers 200 "$url/api/lessons"
    jq -e '(.lessons | length) == 6 and .making == 0 and ([.lessons[] | .ready] | any | not)' body >/dev/null || fail "six, none ready"
    answers 404 "$url/lesson.pdf?lesson=5"
    answers 404 "$url/lesson.pdf?lesson=7"
    post 400 lessons/make '{"lesson": 7, "paper": "a4", "seed": 1}'
    post 400 lessons/make '{"lesson": 5, "paper": "a5", "seed": 1}'
    post 400 lessons/make '{"lesson": 5, "paper": "a4", "seed": -1}'
    post 400 lessons/make '{"lesson": 5, "paper": "a4"}'
    post 202 lessons/make '{"lesson": 6, "paper": "letter", "seed": 12}'
    post 409 lessons/make '{"lesson": 5, "paper": "a4", "seed": 1}'
    for try in $(seq 240); do
        answers 200 "$url/api/lessons"
        ! jq -e '.making == 0' body >/dev/null || break
        sleep 0.25
    done
    jq -e '.trouble == "" and (.lessons[5] | .ready and .paper == "letter" and .seed == 12)' body >/dev/null || fail "ready: $(cat body)"
    answers 200 "$url/lesson.pdf?lesson=6"
    grep -qi '^content-type: application/pdf' head || fail "a PDF"
    mv body six.pdf
    sound six.pdf
    tells six.pdf "(seed 12)" "Answers"
}

# What goes wrong is told on the page, and the end does not wait for a sheet that is being made.
test_the_page_tells_what_went_wrong_and_ends_at_once() {
    quick
    mkdir calib
    cp "$CALIB"/*.ini calib
    sed -e 's|half.ini|../half.ini|' -e 's/^\[sweep dirt\]/[sweep dust]/' quick.ini >calib/lessons.ini
    teach
    token=$(csrf)
    post 202 lessons/make '{"lesson": 4, "paper": "a4", "seed": 1}'
    for try in $(seq 80); do
        answers 200 "$url/api/lessons"
        ! jq -e '.making == 0' body >/dev/null || break
        sleep 0.25
    done
    jq -e '(.trouble | contains("[sweep dirt]")) and ([.lessons[] | .ready] | any | not)' body >/dev/null || fail "trouble: $(cat body)"
    post 202 lessons/make '{"lesson": 2, "paper": "a4", "seed": 1}'
}
