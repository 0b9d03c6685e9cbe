# rimglow teach: its server, and what it says of pads whose truth is known. Status codes: RFC 9110.
#
# release only, all: test_lab, test_server and test_options run the lab and the server under the sanitizers

. "$ROOT/tests/cli/teach.sh"

test_teach_works_without_any_option_and_serves_its_pages() {
    teach
    answers 200 "$url/"
    for line in "content-security-policy: default-src 'none'; script-src 'self'; style-src 'self';" \
        "x-content-type-options: nosniff" "referrer-policy: no-referrer" "cache-control: no-store" \
        "cross-origin-resource-policy: same-origin"; do
        tr 'A-Z' 'a-z' <head | grep -qF "$line" || fail "header $line"
    done
    for page in / /try /sizes /vanish; do
        answers 200 "$url$page"
        grep -q '<html lang="en">' body || fail "$page is a page"
        ! grep -qE ' (on[a-z]+|style)=|<style|<script>' body || fail "$page has nothing inline"
    done
    asks_nobody_else / /try /sizes /vanish /teach.css /teach.js /try.js /sizes.js /vanish.js /common.js /icon.svg
    # Every page says that its pictures are no photographs.
    for file in / /try /sizes /vanish /teach.js; do
        answers 200 "$url$file"
        tr '\n' ' ' <body | grep -qE 'rendered( pictures)?, no photograph'  || fail "$file says that pictures are rendered"
    done
    answers 200 "$url/api/lab"
    holds body '.pad == "G" and .tolerance_mm == 0.025 and .sizes_mm == [0.01, 0.02, 0.05, 0.1, 0.2] and
        (.sliders | length) == 15 and .sliders.gap_mm.start == 0.05'
}

test_teach_measures_what_it_draws() {
    teach
    look "gap_mm=0.1"
    holds body '.map.verdict == "leaking" and .used and .views == 1 and .true_mm[90] == 0.1 and .true_mm[270] == 0'
    holds body '(.map.width_mm[90] - 0.1 | fabs) <= 2 * .map.u_mm[90] and .seen[85:96] == "lllllllllll"'
    jq -r .jpeg body | base64 -d >view.jpg
    jq -r .strip.jpeg body | base64 -d >strip.jpg
    for picture in view strip; do
        [ "$(head -c 2 $picture.jpg | od -An -tx1 | tr -d ' ')" = ffd8 ] || fail "$picture is a JPEG"
    done
    # The same case gives the same picture.
    cp view.jpg first.jpg
    look "gap_mm=0.1"
    jq -r .jpeg body | base64 -d | cmp - first.jpg || fail "the same bytes"
    # Views of one pad add up; those of another do not.
    look "gap_mm=0.1&elevation_deg=0.4"
    holds body '.views == 2'
    look "gap_mm=0.1&elevation_deg=0.4&fresh=yes"
    holds body '.views == 1'
    look "gap_mm=0.1&elevation_deg=0.8&alone=yes"
    holds body '.views == 1'
    look "gap_mm=0"
    holds body '.views == 1 and .map.verdict == "undecided" and (.map.reasons | length) > 0'
    # Raised, dark, and no evidence.
    look "gap_mm=0.05&elevation_deg=4"
    holds body '.map.verdict == "undecided" and (.seen | contains("l") | not)'
    look "gap_mm=0.1&lamp=0"
    holds body '.map.verdict == "undecided" and (.seen | contains("l") | not)'
    look "gap_mm=0&witness=no"
    holds body '.map.verdict == "undecided" and (.map.reasons | tostring | test("light|lamp|witness"))'
}

# sweep QUERY FILTER: asks about the sweep until the filter holds, two minutes at most.
sweep() {
    for try in $(seq 480); do
        answers 200 "$url/api/sweep?$1"
        ! jq -e "$2" body >/dev/null || return 0
        sleep 0.25
    done
    fail "the sweep of $1 becomes $2: $(head -c 300 body)"
}

# release only: test_lab draws and measures under the sanitizers, the other cases of this file ask the server
test_teach_sweeps_until_the_pad_is_another() {
    teach
    sweep "page=p&gap_mm=0.1" '.running and .total > 40 and .done > 0'
    look "gap_mm=0.1&elevation_deg=0.4" # the same pad: the sweep goes on
    answers 200 "$url/api/sweep?page=p&gap_mm=0.1&elevation_deg=0.4"
    holds body '(.running | not) or .done > 0'
    look "gap_mm=0.2" # another pad: it is over, and would begin anew
    answers 200 "$url/api/sweep?page=p&gap_mm=0.1"
    holds body '.running and .done == 0'
    sweep "page=p&gap_mm=0.2" '.running | not'
    holds body '.map.verdict == "leaking" and .frames == 50 and .used > 40 and
        (.map.width_mm[90] - 0.2 | fabs) <= 2 * .map.u_mm[90]'
    answers 200 "$url/api/sweep?page=p&gap_mm=0.2" # it is not swept twice
    holds body '.running | not'
    answers 200 "$url/api/sweep?page=p&gap_mm=0.2&witness=no"
    holds body '.running'
    # Ended in the middle of a sweep: end_bench looks whether that is in order.
}

# Three pages, a quiz for two and a lesson sheet at once (make check-threads watches).
test_teach_answers_many_at_once() {
    teach --trainees "$PWD/kept"
    token=$(csrf)
    for page in a b c; do
        keeps_asking look_$page 200 "$url/api/look?page=$page&gap_mm=0.1"
        keeps_asking sweep_$page 200 "$url/api/sweep?page=$page&gap_mm=0.1"
    done
    keeps_asking lessons 200 "$url/api/lessons"
    keeps_asking pairs 404 "$url/api/pairs"
    keeps_asking progress 200 "$url/api/quiz/progress?name=A.%20Bell"
    post 202 lessons/make '{"lesson": 1, "paper": "a4", "seed": 1}'
    for name in "A. Bell" "B. Carter"; do
        post 200 quiz/begin "{\"name\":\"$name\",\"exam\":false,\"seed\":\"7\"}"
        cp body case.json
        sitting=$(jq -r .sitting case.json)
        keeps_asking "picture$sitting" 200 "$url/api/quiz/picture?sitting=$sitting&view=0"
        post 200 quiz/answer "{\"sitting\":\"$sitting\",\"number\":$(jq .number case.json),\"where\":\"at\",
            \"bearing_deg\":10,\"width_class\":1,\"cause\":\"uniform\"}"
    done
    # Another pad ends a page's sweep while others look at theirs.
    for gap in 0 0.05; do answers 200 "$url/api/look?page=a&gap_mm=$gap"; done
    asked_enough
    answers 200 "$url/api/look?page=b&gap_mm=0.1"
    holds body '.map.verdict == "leaking"'
}

test_teach_refuses_requests_that_cannot_be() {
    teach
    for query in '' 'page=' 'page=../x' 'page=a%20b' 'page=aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa' 'page=p&gap_mm=x' \
        'page=p&gap_mm=-0.1' 'page=p&gap_mm=0.31' 'page=p&gap_mm=nan' 'page=p&gap_mm=inf' 'page=p&gap_mm=' 'page=p&grams=0' \
        'page=p&elevation_deg=90' 'page=p&lamp=1e300'; do
        for call in look sweep; do
            answers 400 "$url/api/$call?$query"
            holds body '.error | length > 10'
        done
    done
    for path in /quizz /try/ /teach.css/../../etc/passwd /api/ /calib/teach.ini; do answers 404 --path-as-is "$url$path"; done
    for call in lab look sweep session; do
        answers 405 -X POST -d '{}' "$url/api/$call?page=p"
        answers 403 -H 'Sec-Fetch-Site: cross-site' "$url/api/$call?page=p"
    done
    answers 421 -H 'Host: evil.example' "$url/api/lab"
    # More pages than are remembered: each is answered, the oldest is forgotten.
    for i in $(seq 20); do answers 200 "$url/api/sweep?page=n$i"; done
    answers 200 "$url/"
}

test_teach_takes_other_files_and_says_which_it_cannot_use() {
    rg teach --pad H
    refused 64 "no pad H"
    rg teach --settings none.ini
    refused 66 "none.ini"
    rg teach words
    refused 64 "options only"
    sed 's/^gap_mm = .*/gap_mm = 0 9 1 0/' "$CALIB/teach.ini" >teach.ini
    cp "$CALIB/teach-pad.ini" .
    rg teach --settings teach.ini
    refused 65 "teach.ini, line" "gap_mm"
    sed 's/^gap_mm = .*/gap_mm = 0 0.4 0.1 0.1/' "$CALIB/teach.ini" >teach.ini
    sed 's/^lamp = 1/lamp = 0/' "$CALIB/teach-pad.ini" >teach-pad.ini
    rg teach --settings teach.ini
    refused 65 "teach-pad.ini" "lamp"
    cp "$CALIB/teach-pad.ini" .
    rg teach --settings teach.ini --pad "G'"
    refused 64 "no pad"
    teach --settings teach.ini --instrument "$CALIB/tenor-loan.ini" --pad F --station "$CALIB/bench.ini"
    answers 200 "$url/api/lab"
    holds body '.pad == "F" and .sliders.gap_mm.high == 0.4'
    look "gap_mm=0.2"
    holds body '.used and .map.verdict == "leaking"'
    rg teach --port "$port"
    refused 74 "another program may hold it"
}

test_teach_asks_for_its_token() {
    teach --token
    key=$(sed -n 's|^= http://[^ ]*token=\([0-9a-f]*\)$|\1|p' bench.out)
    [ ${#key} = 64 ] || fail "a token of 32 bytes is printed"
    answers 401 "$url/"
    answers 401 "$url/api/look?page=p"
    answers 303 -c jar "$url/?token=$key"
    answers 200 -b jar "$url/api/lab"
}

test_teach_help_teaches_with_cautions() {
    rg teach -h
    exits 0
    shows "rimglow teach" "one view proves no seal" "--instrument" "--trainees" "--archive" "Exit codes" "Caution"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
}

# What teach draws is what rimglow render draws of the same plan: its pad is inspected as sealed.
# release only: test_lab draws and measures under the sanitizers, the other cases of this file ask the server
test_teach_pad_is_a_plan_for_render() {
    rg render -q -o rendered "$CALIB/teach-pad.ini"
    exits 0
    rg inspect --json --pictures none rendered/PE-A-0199/pad
    exits 0
    holds out '.verdict == "sealed"'
}
