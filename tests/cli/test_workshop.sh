# A worked instrument, from its first sweep to its release and one return (samples/workshop.sh).

# release only: a shell script over commands that have cases of their own
test_worked_instrument_goes_from_five_faults_to_its_release() {
    case $RIMGLOW in */asan/*) echo "rendering takes too long under the sanitizers"; exit 77 ;; esac
    (cd "$ROOT" && sh samples/workshop.sh "$RIMGLOW" "$OLDPWD/w" >"$OLDPWD/out" 2>"$OLDPWD/err") || fail "it ends well"
    shows "first visit: exit code 1" "release: 0" "( O ) RELEASE"
    rg setup -a w/archive --json PE-A-0163/1
    exits 1
    # Each fault is named, and held for.
    for item in '"A and C"' '"finger on F sharp"' '"closings of G"' '"opening of B"'; do
        holds out ".items[] | select(.name == $item) | .state == \"out of limits\""
    done
    holds out '.work.keys[0].links[0] | .state == "driver first" and (.difference_mm - 0.07 | fabs) < 0.02'
    holds out '.work.pads[] | select(.pad == "G") | .repeat.state == "loose key" and .repeat.axis.told'
    holds out '[.work.work[] | select(.subject == "finger on F sharp") | .sentence | contains("To a player it leaks")] | any'
    holds out '.work.heights.keys[] | select(.pad == "B") | (.opening_mm - 4.1 | fabs) < 0.1 and .state == "low"'
    holds out '.work.leaks.ranking | map(.pad) == ["G", "F sharp"]'
    # The F sharp's true tilt is 0.03 mm at bearing 180.
    holds out '.work.pads[] | select(.pad == "F sharp") | .diagnosis.shape.tilt | (.bearing_deg - 180 | fabs) < 5 and (.size_mm / 0.03 - 1 | fabs) < 0.15'
    rg setup -a w/archive --json PE-A-0163/2
    exits 0
    holds out '.decision == "release" and ([.items[] | select(.state == "out of limits")] | length == 0)'
    holds out '[.changes[] | select(.name == "F sharp" and .visit == 1)][0].state == "narrower"'
    rg setup -a w/archive --json PE-A-0163/3
    exits 1
    holds out '[.changes[] | select(.name == "F sharp" and .visit == 2)][0].state == "wider"'
    # What was judged is in the bag, and still follows from it.
    for bag in w/archive/bags/PE-A-0163/000*; do
        there "$bag/data/setup/work.json" "$bag/data/setup/keys.ini" "$bag/data/setup/setup-sheet.pdf"
    done
    rg archive verify -a w/archive
    exits 0
}

# release only: a shell script over commands that have cases of their own
test_rendered_saddle_tilt_and_crease_are_told_apart() {
    case $RIMGLOW in */asan/*) echo "rendering takes too long under the sanitizers"; exit 77 ;; esac
    rg render -q -o r "$ROOT/samples/render/faults.ini"
    exits 0
    rg archive add -q -a a --technician "A. Bell" --results i --rules "$CALIB/release.ini" r/PE-A-0164/*
    exits 0
    rg setup -a a --json PE-A-0164
    exits 1
    holds out '[.work.pads[] | {(.pad): [.diagnosis.faults[].kind]}] | add == {C: ["saddle"], B: ["tilted"], A: ["crease or dent"]}'
    # Drawn: a saddle of 0.04 mm at 60, a tilt of 0.05 at 300, a crease at 75.
    holds out '.work.pads[] | select(.pad == "C") | .diagnosis.faults[0] | (.bearing_deg - 60 | fabs) < 5 and (.size_mm / 0.04 - 1 | fabs) < 0.2'
    holds out '.work.pads[] | select(.pad == "B") | .diagnosis.faults[0] | (.bearing_deg - 300 | fabs) < 3 and (.size_mm / 0.05 - 1 | fabs) < 0.1'
    holds out '.work.pads[] | select(.pad == "A") | .diagnosis.faults[0] | (.bearing_deg - 75 | fabs) < 3'
}
