# rimglow budget: what the uncertainty of a measured gap is made of.

# near FILE A B TOLERANCE: two jq expressions of a file agree.
near() { holds "$1" "(($2) - ($3) | fabs) < $4"; }

test_budget_of_the_widest_place_of_each_arc() {
    leaking s
    rg inspect -q -o o --pictures none s
    rg budget -o o s
    exits 0
    silent err
    map=o/PE-A-0147/s/seal-map.json
    json=o/PE-A-0147/s/budget.json
    shows "pad G sharp, bearing" "radiance of the slot" "combined" "in the seal map"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    holds $json '.format == "rimglow uncertainty budget" and .version == 1'
    [ "$(jq -c '[.arcs[].max_bearing_deg | floor]' $map)" = "$(jq -c '[.budgets[].bearing_deg]' $json)" ] ||
        fail "one budget for each arc, at its widest bearing"
    b=$(jq '.budgets[0].bearing_deg' $json)
    jq -s --argjson b "$b" '{bin: .[0].bins[$b], budget: .[1].budgets[0]}' $map $json >both
    near both .budget.width_mm .bin.width_mm 1e-6
    near both .budget.u_mm .bin.u_mm 1e-6
    # The sum of squares is u squared; so are the shares one.
    near both '[.budget.contributions[].u_mm | . * .] | add | sqrt' .budget.u_mm 1e-8
    near both '[.budget.contributions[].share] | add' 1 1e-6
    near both '[.budget.contributions[] | .u * .sensitivity_mm - .u_mm | fabs] | max' 0 1e-8
    # U = k u; k for 95 % lies between the normal's and 3 degrees of freedom's.
    near both .budget.expanded_mm '.budget.coverage * .budget.u_mm' 1e-8
    holds both '.budget.coverage > 1.9599 and .budget.coverage < 3.19'
    # Parts that the seal map lists are found again.
    near both '.budget.contributions[] | select(.name | startswith("radiance")) | .u_mm' \
        .bin.u_parts_mm.radiance 1e-6
    near both '[.budget.contributions[] | select(.name == "slot model" or .name == "frames against the fit"
        or .name == "bulge of the pad") | .u_mm | . * .] | add | sqrt' .bin.u_parts_mm.model 1e-6
}

test_budget_pages_are_whole() {
    leaking s
    rg budget -q -o o --bearing 201 s
    exits 0
    silent out
    place=o/PE-A-0147/s
    there $place/budget-201.pdf $place/budget-201.svg $place/budget-201.png $place/budget.json
    spoil whole $place/budget-201.png
    rsvg-convert $place/budget-201.svg -o page.png
    head -c 5 $place/budget-201.pdf | grep -q '%PDF-' || fail "a PDF"
    tail -c 8 $place/budget-201.pdf | grep -q '%%EOF' || fail "a whole PDF"
    no_parts o
}

test_budget_of_a_chosen_bearing() {
    leaking s
    for option in "--bearing 190" --bearing=190 "-b 190" -b190; do
        rg budget $option --json --pictures none -o o s
        exits 0
        holds out '[.budgets[].bearing_deg] == [190]'
    done
    cmp out o/PE-A-0147/s/budget.json ||
        [ "$(jq -S . out)" = "$(jq -S . o/PE-A-0147/s/budget.json)" ] || fail "the document is the file"
    gone o/PE-A-0147/s/budget-190.pdf
}

# A larger uncertainty of the lamp's radiance makes its part larger in proportion and nothing else.
test_budget_follows_the_station() {
    leaking s
    cp "$CALIB/bench.ini" s/station.ini
    change s 's/^station = .*/station = station.ini/'
    rg budget -b 201 --json --pictures none -o o s
    cp out before
    sed 's/^scale_u = 0.002/scale_u = 0.02/; s/^scale_unsure = .*/scale_unsure = 0.5/' \
        "$CALIB/bench.ini" >s/station.ini
    rg budget -b 201 --json --pictures none -o o s
    jq -s '{a: .[0].budgets[0], b: .[1].budgets[0]}' before out >both
    near both '.b.contributions[] | select(.name == "scale") | .u_mm' \
        '10 * (.a.contributions[] | select(.name == "scale") | .u_mm)' 1e-7
    near both '.b.contributions[] | select(.name == "scale") | .dof' 2 1e-9
    near both '.b.contributions[] | select(.name == "noise") | .u_mm' \
        '.a.contributions[] | select(.name == "noise") | .u_mm' 1e-9
    holds both '.b.u_mm > .a.u_mm'
}

test_budget_without_a_gap_says_so() {
    rg budget -o o "$SAMPLES/04-C"
    refused 2 "no open arc" "--bearing"
    gone o
}

test_budget_of_an_unseen_bearing_says_so() {
    leaking s
    rg inspect -q -o o --pictures none s
    unseen=$(jq '[.bins[] | select(.state == "unseen")][0].bearing_deg | floor' o/PE-A-0147/s/seal-map.json)
    rg budget -b "$unseen" -o p s
    refused 2 "bearing $unseen has no width"
    gone p
}

test_budget_of_a_dark_bearing_names_the_detection_limit() {
    rg budget -b 100 --json --pictures none -o o "$SAMPLES/04-C"
    exits 0
    holds out '.budgets[0].width_mm == 0'
    holds out '[.budgets[0].contributions[] | select(.u_mm > 0) | .name] == ["hidden below the detection limit"]'
}

test_budget_is_taught_and_refused_like_every_command() {
    rg budget -h
    exits 0
    shows "rimglow budget samples" "Reading the table"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    rg budget
    refused 64 "one sweep folder, 0"
    rg budget a b
    refused 64 "one sweep folder, 2"
    for bearing in -1 360 12.5 north ""; do
        rg budget --bearing "$bearing" s
        refused 64 "--bearing" "from 0 to 359"
    done
    rg budget missing
    refused 66 missing
    rg budget --pictures all s
    refused 64 "--pictures all" "none, page"
}
