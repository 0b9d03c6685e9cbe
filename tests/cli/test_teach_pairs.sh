# rimglow teach: photographs of the archive as files and as pages, without what is private.
#
# release only, all: test_pairs does it under the sanitizers

. "$ROOT/tests/cli/pairs.sh"
. "$ROOT/tests/cli/teach.sh"

# release only: test_pairs runs under the sanitizers, and the other cases of this file
test_pairs_as_files_name_nobody_and_leave_the_archive_alone() {
    two_visits
    grep -qaF OWNER-BELL a/bags/PE-A-0151/*/data/sweeps/*/view_00.jpg || fail "the archived frames name their owner"
    sums >before
    rg teach --archive a --pairs handed
    exits 0
    shows "4 cases" "Look at every picture before you hand it out"
    silent err
    sums >after
    cmp before after || fail "the archive is as it was"
    there handed/look-at-these-first.txt
    [ "$(find handed -name pair.json | wc -l)" = 4 ] || fail "four cases"
    for folder in handed/*-*/; do
        there "$folder/in-view.jpg" "$folder/in-view-marked.png" "$folder/ring.pdf" "$folder/ring.svg" "$folder/strip.pdf"
        name=$(basename "$folder")
        echo "$name" | grep -qE '^[A-Z2-7]{4}-[A-Z2-7]{4}$' || fail "the name $name tells nothing"
        holds "$folder/pair.json" ".case == \"$name\" and (.bins | length) == 360 and (.truth | contains(\"own seal map\"))"
        for pdf in "$folder"/*.pdf; do
            pdftotext "$pdf" words
            grep -qF "case $name" words || fail "$pdf names its case"
            nobody words
        done
    done
    find handed -type f ! -name look-at-these-first.txt >list
    while read -r file; do nobody "$file"; done <list
    find handed >names
    nobody names
}

# The archived widths are what the JSON says.
test_pairs_tell_the_archived_map() {
    two_visits
    rg teach --archive a --pairs handed
    exits 0
    for map in a/bags/PE-A-0147/*/data/results/*/seal-map.json; do
        jq -c '[.pad, .verdict, (.bins | map(.width_mm))]' "$map" >wanted
        cat handed/*/pair.json | jq -c '[.pad, .verdict, (.bins | map(.width_mm))]' | grep -qxF -f wanted ||
            fail "a case has the widths of $map"
    done
}

test_pairs_of_a_damaged_bag_are_left_out_and_told() {
    two_visits
    frame=$(ls a/bags/PE-A-0151/*/data/sweeps/c/view_00.jpg)
    chmod u+w "$frame" && printf x >>"$frame"
    rg teach --archive a --pairs handed
    exits 0
    shows "2 cases"
    says "2 sweeps of 1 bags are left out" "view_00.jpg" "rimglow archive verify"
}

test_pairs_go_into_a_new_folder_outside_the_archive() {
    two_visits
    ln -s a link
    mkdir full && echo x >full/y
    rg teach --archive a --pairs a/handed; refused 64 "lies in the archive"
    rg teach --archive a --pairs link/bags/handed; refused 64 "lies in the archive"
    rg teach --archive a --pairs new/../a/handed; refused 64 ".."
    rg teach --archive a --pairs full; refused 64 "is not empty"
    rg teach --pairs handed; refused 64 "--archive"
    rg teach --archive none --pairs handed; refused 66 "no archive"
    gone a/handed a/bags/handed new handed
    [ "$(ls full)" = y ] || fail "nothing was written"
}

test_pairs_page_without_an_archive_says_how_to_get_one() {
    teach
    answers 200 "$url/pairs"
    grep -q 'rimglow teach --archive DIR' body || fail "the page says how"
    asks_nobody_else /pairs /pairs.js /pairs.css
    answers 200 "$url/api/pairs/choices"
    holds body '.archive == false and (.verdicts | length) == 3'
    answers 404 "$url/api/pairs"
    answers 404 "$url/api/pair?case=AAAA-AAAA"
    answers 404 "$url/pairs/ring.svg?case=AAAA-AAAA"
}

test_pairs_page_lists_shows_and_names_nobody() {
    two_visits
    sums >before
    teach --archive a
    answers 200 "$url/api/pairs"
    cp body cases.json
    nobody cases.json
    holds cases.json '(.cases | length) == 4 and .next == null and .left_out == {"sweeps": 0, "bags": 0}'
    answers 200 "$url/api/pairs?verdict=leaking"
    holds body '[.cases[].verdict] | unique == ["leaking"]'
    answers 400 "$url/api/pairs?verdict=open"
    answers 400 "$url/api/pairs?size=x"
    answers 400 "$url/api/pairs?from=-1"
    name=$(jq -r '[.cases[] | select(.verdict == "leaking")][0].case' cases.json)
    answers 200 "$url/api/pair?case=$name"
    holds body ".case == \"$name\" and .views[0].kind == \"lit\""
    nobody body
    for part in photo.jpg marked.png; do
        answers 200 "$url/pairs/$part?case=$name&view=in"
        nobody body
        answers 404 "$url/pairs/$part?case=$name&view=both"
        answers 404 "$url/pairs/$part?view=in"
    done
    for part in ring.svg strip.png; do
        answers 200 "$url/pairs/$part?case=$name"
        nobody body
    done
    answers 404 "$url/pairs/ring.svg?case=../../index.sqlite"
    answers 404 "$url/api/pair?case=PE-A-0147"
    sums >after
    cmp before after || fail "the archive is as it was"
}

# Found whole by the list, changed afterwards: the answer says so and names neither bag nor file.
test_pairs_page_tells_of_damage_without_names() {
    two_visits
    teach --archive a
    answers 200 "$url/api/pairs"
    cp body cases.json
    for frame in a/bags/PE-A-0151/*/data/sweeps/*/view_00.jpg; do chmod u+w "$frame" && printf x >>"$frame"; done
    refused=0
    for name in $(jq -r '.cases[].case' cases.json); do
        got=$(curl -s -o body -w '%{http_code}' "$url/api/pair?case=$name")
        nobody body
        [ "$got" = 200 ] || { [ "$got" = 409 ] && refused=$((refused + 1)) && grep -q 'does not check' body; } || fail "$name: $got"
    done
    [ "$refused" = 2 ] || fail "two cases of the damaged bag are refused, not $refused"
}

# With a folder for results the names hold, and the key lies there; without one they change.
# release only: test_pairs runs under the sanitizers, and the other cases of this file
test_pairs_keep_their_names_by_a_key_beside_the_results() {
    two_visits
    mkdir kept
    for run in 1 2; do
        rg teach --archive a --trainees kept --pairs "handed$run"
        exits 0
        ls "handed$run" >"names$run"
    done
    cmp names1 names2 || fail "the same names"
    [ "$(stat -c %a kept/pairs-*.key)" = 600 ] || fail "the key is its owner's"
    rg teach --archive a --pairs handed3
    exits 0
    ls handed3 >names3
    ! cmp -s names1 names3 || fail "other names without the key"
}
