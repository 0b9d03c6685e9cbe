# rimglow teach: the quiz by its calls, from the first case to results and certificate; what a hostile page could send.
# Kappa and shares are computed again by jq from the trainee's file, with the formulas of Cohen (1960).
#
# release only, all: test_quiz, test_quiz_map, test_trainee and test_draw_quiz do it under the sanitizers

. "$ROOT/tests/cli/pairs.sh"
. "$ROOT/tests/cli/teach.sh"

in_root() { cd "$ROOT" && exec "$@"; }

# quiz OPTION...: a teaching server whose cases have one picture and whose examinations seven cases; $url, $token, $pid.
quiz() {
    [ -e quiz.ini ] || sed -e 's/^count = 3/count = 1/' -e 's/^cases = 28/cases = 7/' "$CALIB/quiz.ini" >quiz.ini
    serve in_root "$RIMGLOW" teach --port 0 --quiz "$PWD/quiz.ini" --trainees "$PWD/kept" "$@"
    token=$(csrf)
}

# begin NAME EXAM SEED: case.json, $sitting.
begin() {
    post 200 quiz/begin "{\"name\":\"$1\",\"exam\":$2,\"seed\":\"$3\"}"
    cp body case.json
    sitting=$(jq -r .sitting case.json)
}

# reply BEARING CLASS CAUSE: answers the case that waits.
reply() {
    post 200 quiz/answer "{\"sitting\":\"$sitting\",\"number\":$(jq .number case.json),\"where\":\"at\",
        \"bearing_deg\":$1,\"width_class\":$2,\"cause\":\"$3\"}"
}

next() {
    post 200 quiz/next "{\"sitting\":\"$sitting\"}"
    cp body case.json
}

picture() { answers 200 "$url/api/quiz/picture?sitting=$sitting&view=0" && cp body "$1"; }

test_teach_quiz_is_the_same_from_the_same_seed() {
    quiz -j 1
    begin "A. Bell" true 42
    picture a1.jpg
    jq -S 'del(.sitting)' case.json >a1.json
    reply 90 2 tilted
    next
    picture a2.jpg
    jq -S 'del(.sitting)' case.json >a2.json
    begin "A. Bell" false 42
    picture p1.jpg
    kill -INT $pid && wait $pid
    quiz -j 2
    begin "B. Carter" true 42
    picture b1.jpg
    jq -S 'del(.sitting)' case.json >b1.json
    reply 200 1 saddle
    next
    picture b2.jpg
    jq -S 'del(.sitting)' case.json >b2.json
    cmp a1.jpg b1.jpg && cmp a2.jpg b2.jpg && cmp a1.json b1.json && cmp a2.json b2.json || fail "the same examination"
    ! cmp -s a1.jpg a2.jpg || fail "two cases differ"
    # Practice with the number of an examination shows none of its cases.
    ! cmp -s a1.jpg p1.jpg && ! cmp -s a2.jpg p1.jpg || fail "practice has cases of its own"
    begin "B. Carter" true 43
    picture c1.jpg
    ! cmp -s a1.jpg c1.jpg || fail "another number is another examination"
    holds case.json '.exam | startswith("E-1-7-43-")'
}

test_teach_quiz_keeps_the_truth_until_the_answer() {
    quiz
    begin "A. Bell" true 7
    holds case.json '(keys | sort) == ["archived", "cases", "exam", "level", "number", "practice_level", "seed", "sitting", "views"] and .cases == 7'
    answers 409 "$url/api/quiz/result?sitting=$sitting"
    post 400 quiz/next "{\"sitting\":\"$sitting\"}"
    [ -z "$(find kept -name '*.jsonl' 2>/dev/null)" ] || fail "nothing is kept before an answer"
    picture 1.jpg
    [ "$(head -c 2 1.jpg | od -An -tx1 | tr -d ' ')" = ffd8 ] || fail "a JPEG"
    ! grep -qiaE 'tilt|saddle|crease|level|exif' 1.jpg || fail "no words in the picture"
    reply 10 1 uniform
    holds body '(keys | sort) == ["answered", "done"] and .answered == 1 and .done == false'
    answers 409 "$url/api/quiz/result?sitting=$sitting"
    # Practice tells it, and the level follows: one wrong answer makes it easier.
    begin "A. Bell" false 7
    holds case.json '.exam == null and .level == 2'
    reply 10 1 uniform
    holds body '.truth.cause and (.true_mm | length) == 360 and (.words | length) >= 3 and .next_level == 1'
    answers 200 "$url/api/quiz/progress?name=A.%20Bell"
    holds body '.cases == 2 and .level == 1 and (.exams | length) == 0'
}

# photographs CODE SEED: begins practice with the archive; case.json, $sitting.
photographs() {
    post "$1" quiz/begin "{\"name\":\"A. Bell\",\"exam\":false,\"archive\":true,\"seed\":\"$2\"}"
    cp body case.json
    sitting=$(jq -r .sitting case.json)
}

# nothing_told FILE...: nobody's name, no case's name, no word of the truth.
nothing_told() {
    nobody "$@"
    for word in tilt widest leak sealed truth says facing; do
        ! grep -qaiF -e "$word" "$@" || fail "$word is told before the answer by $*"
    done
    ! grep -qaE '[A-Z2-7]{4}-[A-Z2-7]{4}' "$@" || fail "the case is named before the answer by $*"
}

# Of each archived G sharp: the widest open bearing, and how wide, in tenths of a micrometre. The other pads are undecided.
widest_of_maps() {
    for map in a/bags/*/*/data/results/*/seal-map.json; do
        jq -c 'select(.verdict == "leaking") | .bins | map(select(.state == "gap")) | max_by(.width_mm) |
            [.bearing_deg, (.width_mm * 10000 | round)]' "$map"
    done
}

test_teach_quiz_keeps_the_truth_of_a_photograph_until_the_answer() {
    two_visits
    sums >before
    widest_of_maps >maps
    [ "$(wc -l <maps)" = 2 ] || fail "two maps to ask for"
    quiz --archive "$PWD/a"
    answers 200 "$url/api/quiz"
    holds body '.archive'
    post 400 quiz/begin '{"name":"A. Bell","exam":true,"archive":true,"seed":"7"}'
    holds body '.error | contains("drawn cases alone")'
    photographs 200 7
    holds case.json '(keys | sort) == ["archived", "cases", "exam", "level", "number", "practice_level", "seed", "sitting", "views"] and
        .archived and .level == null and .exam == null and .practice_level == 2 and (.views | length) == 1'
    nothing_told case.json
    for view in 0 1; do
        answers 200 "$url/api/quiz/picture?sitting=$sitting&view=$view"
        cp body "$view.picture"
        nothing_told head
        nobody "$view.picture"
    done
    [ "$(head -c 2 0.picture | od -An -tx1 | tr -d ' ')" = ffd8 ] || fail "a JPEG"
    [ "$(head -c 4 1.picture | tail -c 3)" = PNG ] || fail "a PNG with the bearings"
    answers 404 "$url/api/quiz/picture?sitting=$sitting&view=2"
    [ -z "$(find kept -name '*.jsonl')" ] || fail "nothing is kept before an answer"
    reply 10 1 uniform
    cp body told.json
    holds told.json '.tool == null and .true_mm == null and .next_level == 2 and .score.all == false and
        (.words | any(contains("own seal map") and contains("gauge"))) and .map.verdict == "leaking" and .truth.U_mm > 0'
    jq -c '[.truth.bearings_deg[0], (.truth.widest_mm * 10000 | round)]' told.json | grep -qxF -f maps ||
        fail "the truth is the archived map's"
    name=$(jq -r .photograph told.json)
    echo "$name" | grep -qE '^[A-Z2-7]{4}-[A-Z2-7]{4}$' || fail "the name tells nothing"
    nobody told.json
    sed 1d kept/*.jsonl >lines
    holds lines ".picture == \"$name\" and .case == null and .exam == null and .tool == null and .truth.U_mm > 0"
    nobody kept/*.jsonl
    next
    reply 10 1 uniform
    second=$(jq -r .photograph body)
    [ "$second" != "$name" ] || fail "each is asked for once"
    post 404 quiz/next "{\"sitting\":\"$sitting\"}"
    holds body '.error | contains("every photograph of the archive that can be asked for")'
    sums >after
    cmp before after || fail "the archive is as it was"
    the_same_order_again
    photographs_are_told_apart
}

# Another run, the same number: the same order by the same names.
the_same_order_again() {
    kill -INT $pid && wait $pid
    quiz --archive "$PWD/a"
    photographs 200 7
    reply 10 1 uniform
    [ "$(jq -r .photograph body)" = "$name" ] || fail "the order is the seed's"
}

# Three photographs, and one drawn case whose level alone moves.
photographs_are_told_apart() {
    begin "A. Bell" false 7
    holds case.json '.archived == false and .level == 2'
    reply 10 1 uniform
    holds body '.next_level == 1'
    rg teach --results --trainees kept --quiz quiz.ini
    exits 0
    shows "A. Bell: 1 case drawn, practice at level 1.0" "3 photographs of the archive, by rimglow's own maps: no gauge" \
        "kappa with those maps  3 cases" "kappa with the truth   1 case"
    rg teach --results --json --trainees kept --quiz quiz.ini
    holds out '.trainees[0] | .drawn == 1 and .all.of == 1 and .truth.cases == 1 and .tool.cases <= 1 and .practice.of == 1 and
        .archived.cases == 3 and .archived.all.of == 3 and .archived.map.first == "archived map" and .archived.map.cases == 3 and
        (.archived.truth_is | contains("gauge")) and (.points | map(.archived)) == [true, true, true, false] and
        .points[0].level == null'
    answers 200 "$url/quiz/progress.pdf?name=A.%20Bell"
    pdftotext -layout body progress.txt
    grep -q "Photographs of the archive: 0 of 3" progress.txt || fail "the sheet of progress counts them apart"
}

test_teach_quiz_says_why_no_photograph_can_be_asked_for() {
    quiz
    answers 200 "$url/api/quiz"
    holds body '.archive == false'
    photographs 404 7
    holds case.json '.error | contains("--archive DIR")'
    kill -INT $pid && wait $pid
    instrument PE-A-0147 none
    rg archive add -q -a a --technician "Quill Feather" sweeps/PE-A-0147/*
    exits 0
    quiz --archive "$PWD/a"
    photographs 404 7
    holds case.json '.error == "no photograph of the archive can be asked for; of 2 sweeps: 2 undecided"'
    # Damage is told without names.
    frame=$(ls a/bags/*/*/data/sweeps/c/view_00.jpg)
    kill -INT $pid && wait $pid
    chmod u+w "$frame" && printf x >>"$frame"
    quiz --archive "$PWD/a"
    photographs 404 7
    holds case.json '.error | contains("2 that do not check") and contains("rimglow archive verify")'
    nobody case.json
}

test_teach_quiz_refuses_what_is_no_answer() {
    quiz
    begin "A. Bell" true 7
    good='"where":"at","bearing_deg":90,"width_class":2,"cause":"tilted"'
    for bad in '"where":"at","bearing_deg":361,"width_class":2,"cause":"tilted"' \
        '"where":"at","bearing_deg":null,"width_class":2,"cause":"tilted"' \
        '"where":"at","bearing_deg":"90","width_class":2,"cause":"tilted"' \
        '"where":"there","bearing_deg":90,"width_class":2,"cause":"tilted"' \
        '"where":"at","bearing_deg":90,"width_class":6,"cause":"tilted"' \
        '"where":"at","bearing_deg":90,"width_class":-1,"cause":"tilted"' \
        '"where":"at","bearing_deg":90,"width_class":4294967298,"cause":"tilted"' \
        '"where":"at","bearing_deg":90,"width_class":2.5,"cause":"tilted"' \
        '"where":"at","bearing_deg":90,"width_class":2,"cause":"worn"' '"where":"nowhere"'; do
        post 400 quiz/answer "{\"sitting\":\"$sitting\",\"number\":1,$bad}"
    done
    post 409 quiz/answer "{\"sitting\":\"$sitting\",\"number\":2,$good}"
    post 409 quiz/answer "{\"sitting\":\"$sitting\",\"number\":\"1\",$good}"
    for other in "" "0" "../../etc/passwd" "$(echo "$sitting" | tr 0-9a-f 1-9a-f0)"; do
        post 404 quiz/answer "{\"sitting\":\"$other\",\"number\":1,$good}"
    done
    for body in '' '[]' '{' '{"sitting":"a","sitting":"b"}' "$(printf '{"sitting":"\\u0000"}')"; do
        post 400 quiz/answer "$body"
    done
    answers 403 -H 'Content-Type: application/json' -d "{\"sitting\":\"$sitting\",\"number\":1,$good}" "$url/api/quiz/answer"
    answers 405 "$url/api/quiz/answer"
    for view in 1 9 -1 00 ../0 %00; do answers 404 "$url/api/quiz/picture?sitting=$sitting&view=$view"; done
    answers 404 "$url/api/quiz/picture?view=0"
    [ -z "$(find kept -type f 2>/dev/null)" ] || fail "nothing was kept of it"
    reply 90 2 tilted
    post 400 quiz/answer "{\"sitting\":\"$sitting\",\"number\":1,$good}"
    [ "$(cat kept/*.jsonl | wc -l)" = 2 ] || fail "one answer is kept once"
    # Names and numbers.
    for name in '' ' ' 'a\nb' '\u001b[2J' "$(printf '%0200d' 0)" 'a\u202eb'; do
        post 400 quiz/begin "{\"name\":\"$name\",\"exam\":false,\"seed\":null}"
    done
    for seed in '-1' '1e5' '0x10' ' 1' '18446744073709551616' '007' ''; do
        post 400 quiz/begin "{\"name\":\"A. Bell\",\"exam\":true,\"seed\":\"$seed\"}"
    done
    begin "../../../tmp/evil" true 18446744073709551615
    reply 90 2 tilted
    [ "$(find kept -type f | wc -l)" = 2 ] && [ -z "$(find kept -name '*/*')" ] || fail "the name stays in its folder"
    asks_nobody_else /quiz /quiz.js /quiz.css
}

# release only: test_quiz, test_trainee and test_draw_quiz run under the sanitizers, and the other cases of this file
test_teach_quiz_goes_from_examination_to_results_and_certificate() {
    quiz
    begin "A. Bell" true 42
    reply 90 2 tilted
    next
    reply 180 3 "thick at the hinge"
    # The program ends; the examination goes on where it stopped.
    kill -INT $pid && wait $pid
    quiz
    begin "A. Bell" true 42
    holds case.json '.number == 3'
    for cause in saddle uniform "in contact" tilted "thin at the hinge"; do
        reply 0 $(jq .number case.json | tr 34567 01234) "$cause"
        [ "$(jq .done body)" = true ] || next
    done
    holds body '.done == true and .answered == 7'
    post 400 quiz/next "{\"sitting\":\"$sitting\"}"
    answers 200 "$url/api/quiz/result?sitting=$sitting"
    cp body result.json
    holds result.json '.result.complete and .result.cases == 7 and (.cases | length) == 7 and .result.seed == "42"'
    sed 1d kept/*.jsonl | jq -s . >lines.json
    jq -n --slurpfile r result.json --slurpfile l lines.json '
        $l[0] as $e | ($e | length) as $n | $r[0].result as $r |
        ($e | map(select(.score.bearing and .score.width and .score.cause)) | length) as $right |
        ([$e[] | select(.truth.cause == .answer.cause)] | length / $n) as $po |
        ([$e | map(.truth.cause, .answer.cause) | unique[] as $c |
            ([$e[] | select(.truth.cause == $c)] | length / $n) * ([$e[] | select(.answer.cause == $c)] | length / $n)] | add) as $pe |
        {right: ($r.all.right == $right and $r.all.of == $n),
         kappa: ((($po - $pe) / (1 - $pe) - $r.truth.cause.kappa) | fabs < 1e-4),
         causes: ([$e[].truth.cause] | unique | length == 7)}' >checked.json
    holds checked.json '.right and .kappa and .causes'
    # The certificate is of this sitting; no other one is made up.
    at="name=A.%20Bell&sitting_s=$(jq .result.sitting_s result.json)"
    answers 200 "$url/quiz/certificate.pdf?$at"
    pdftotext -layout body certificate.txt
    for text in "A. Bell" 42 "$("$RIMGLOW" --version | head -n 1)"; do grep -qF "$text" certificate.txt || fail "the certificate says $text"; done
    answers 404 "$url/quiz/certificate.pdf?${at}0"
    answers 404 "$url/quiz/certificate.pdf?name=A.%20Bell"
    answers 400 "$url/quiz/certificate.pdf?name="
    answers 200 "$url/quiz/progress.svg?name=A.%20Bell"
    grep -q '<svg' body || fail "a chart"
    # A new sitting begins at the first case.
    begin "A. Bell" true 42
    holds case.json '.number == 1'
    results_of_two
}

# A second trainee whose answers are the same but for one that nobody has; a line that was cut short.
results_of_two() {
    sed -e '1s/A\. Bell/B. Carter/' kept/*.jsonl | sed '$d' >other && mv other kept/B.jsonl
    printf '{"time_s":17' >>kept/B.jsonl
    rg teach --results --trainees kept --quiz quiz.ini
    exits 0
    shows "2 trainees" "A. Bell: 7 cases" "examined" "seed 42" "kappa with the truth" "A. Bell and B. Carter" \
        "12 bytes of a last line" "6 cases, cause 1.00"
    rg teach --results --json --trainees kept --quiz quiz.ini
    exits 0
    holds out '.format == "rimglow quiz results" and (.trainees | length) == 2 and (.pairs | length) == 1 and
        .pairs[0].cases == 6 and .pairs[0].width.weights == "linear" and .trainees[0].exams[0].seed == "42" and
        (.pairs[0].cause_table | flatten | add) == 6'
}

test_teach_quiz_results_are_refused_where_there_are_none() {
    rg teach --results --trainees nothing
    refused 66 "nothing" "--trainees"
    rg teach --json
    refused 64 "--results"
    mkdir kept
    printf '{"format":"rimglow trainee","version":1,"trainee":"A. Bell"}\n{"time_s":1}\n' >kept/a.jsonl
    rg teach --results --trainees kept
    refused 65 "kept/a.jsonl, line 2"
    rg teach --results --trainees kept --quiz nothing.ini
    refused 66 "nothing.ini"
}

# The program in a place of its own, without calib/ beside it or here.
test_teach_says_which_option_names_a_settings_file_that_is_nowhere() {
    mkdir -p a/b && cp "$RIMGLOW" a/b/rimglow
    RIMGLOW=$PWD/a/b/rimglow
    rg teach --results --trainees kept
    refused 66 "quiz.ini is neither in calib/ here" "with --quiz FILE"
    rg teach --sheets s --plan "$CALIB/lessons.ini"
    refused 66 "diagnosis.ini is neither in calib/ here" "copy it into calib/"
}
