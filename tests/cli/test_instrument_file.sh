# Instrument files: shown, measured, and those of old archives.

# told LINES ARGUMENT...: as rg, with LINES (as of printf) typed in.
told() {
    typed=$1
    shift
    status=0
    printf "$typed" | "$RIMGLOW" "$@" >out 2>err || status=$?
}

# value FILE PAD KEY: what stands there, without its comment.
value() {
    awk -v pad="[pad $2]" -v key="$3" '$0 == pad { on = 1; next } /^\[/ { on = 0 }
        on && $1 == key { sub(/^[^=]*= */, ""); sub(/ ;.*/, ""); print }' "$1"
}
is() { [ "$(value "$1" "$2" "$3")" = "$4" ] || fail "[pad $2] $3 = $4 in $1, it is $(value "$1" "$2" "$3")"; }

test_show_names_pads_links_notes_and_holes() {
    rg instrument show "$CALIB/alto-loan.ini"
    exits 0
    silent err
    shows "16 pads, 7 links" "Bb3..E4, F#4, D5..E5, F#5" "screw on the arm of F sharp" "invented"
    grep -qE '^F4 +2  E, D$' out || fail "F speaks through two"
    grep -qE '^E4 +1  D$' out || fail "E speaks through one"
    grep -qE '^Bb3 +0  bell or foot$' out || fail "the lowest note speaks through the bell"
    for kind in tenor baritone soprano clarinet flute; do
        rg instrument show "$CALIB/$kind-loan.ini"
        exits 0
        shows "memory" "loan bench"
    done
}

test_show_as_json_has_both_directions() {
    rg instrument show --json "$CALIB/alto-loan.ini"
    exits 0
    holds out '.format == "rimglow instrument" and .lowest == "Bb3" and .highest == "F6"'
    holds out '.pads[11] | .pad == "D" and .rest == "open" and .notes == "Bb3..Eb4, D5, Eb5" and .opening_tolerance_mm == 0.3'
    holds out '.notes[] | select(.note == "F4") | .speaks_through == ["E", "D"] and (.closed | index("F"))'
    holds out '.links[] | select(.driver == "F" and .driven == "G sharp") | .kind == "screw" and .thread_mm == 0.4'
    # closed for the note is the same as a note of the pad
    holds out '[.pads[] | select(.rest == "open" and (.notes | test("^Bb3"))).pad] - .notes[0].closed == []'
    rg instrument show --json "$CALIB/soprano-loan.ini"
    holds out '.pads[0] | .crown == null and .role == "vent"'
}

test_faults_of_notes_are_named_when_shown() {
    sed 's/^notes = Bb3 ;/notes = H3 ;/' "$CALIB/alto-loan.ini" >a.ini
    rg instrument show a.ini
    refused 65 "a.ini: [pad low B flat] notes" "H3"
    sed 's/^rest = closed/rest = open/' "$CALIB/alto-loan.ini" >a.ini
    rg instrument show a.ini
    refused 65 "a.ini" "[pad high F]" "opens"
    rg instrument show nowhere.ini
    refused 66 "nowhere.ini"
    rg instrument show
    refused 64 "one instrument file"
}

# The keys of issue 6 taken out of the demo's file: as it was in archives before.
old_instrument() {
    sed -E '/^\[link /,$d; /^(rest|role|dimensions|opening_tolerance_mm|opens|vents) =/d; s/^notes = Bb3\.\.E6.*/notes = C4, F#4/; s/^notes = Bb3.*/notes = C4/' \
        "$CALIB/alto-loan.ini"
}

test_evidence_with_an_older_instrument_file_stays_valid() {
    leaking s
    old_instrument >alto-loan.ini
    change s "s|^instrument = .*|instrument = ../alto-loan.ini|"
    rg archive add --technician "A. Bell" s
    exits 0
    bag=$(echo archive/bags/PE-A-0147/*)
    cmp alto-loan.ini "$bag/data/calib/alto-loan.ini" || fail "the older file is in the bag"
    rg archive verify --measure
    exits 0
    rg archive report PE-A-0147
    exits 0
    rg instrument show alto-loan.ini
    exits 0
    shows "not stated" "links: none stated" "not known: a pad does not state its rest"
}

test_a_pad_without_crown_is_swept_otherwise() {
    leaking s
    awk '/^\[pad /{on = ($0 == "[pad G sharp]")} {print} on && /^pad_mm/ {print "crown = none"}' "$CALIB/alto-loan.ini" >a.ini
    change s "s|^instrument = .*|instrument = ../a.ini|"
    rg inspect s
    refused 65 "crown = none" "[pad G sharp]" "jig or marks"
    rg crown --instrument a.ini --pad "G sharp"
    refused 65 "crown = none" "G sharp"
    rg crown --instrument "$CALIB/soprano-loan.ini"
    exits 0
    hides "neck vent"
}

test_the_crowns_of_every_instrument_can_be_printed() {
    for kind in tenor baritone soprano clarinet flute; do
        rg crown --instrument "$CALIB/$kind-loan.ini" --json
        exits 0
        holds out '[.crowns[].module_px] | min >= 5'
    done
}

test_measure_begins_a_file_and_writes_each_pad() {
    told 'my tenor\n7.1\n8.4\n11\n4.2\n2.6\nq\n' instrument measure --from "$CALIB/tenor-loan.ini" t.ini
    exits 0
    shows "rim, inner diameter, mm [6.3]" "written" "stopped" "1 pad measured now, 23 of 24 not yet"
    grep -q '^name = my tenor ; shown in reports' t.ini || fail "name and comment"
    is t.ini "neck vent" rim_inner_mm 7.1
    is t.ini "neck vent" rim_outer_mm 8.4
    is t.ini "neck vent" pad_mm 11
    is t.ini "neck vent" cup_height_mm 4.2
    is t.ini "neck vent" opening_mm 2.6
    is t.ini "neck vent" dimensions measured
    grep -q '^rim_inner_mm = 7.1 ; mm, 1 to 200' t.ini || fail "the comment behind the value stays"
    [ "$(grep -c '^; ' t.ini)" = "$(grep -c '^; ' "$CALIB/tenor-loan.ini")" ] || fail "every comment stays"
    [ "$(diff "$CALIB/tenor-loan.ini" t.ini | grep -c '^>')" = 7 ] || fail "six values and one key changed"
    rg instrument show t.ini
    exits 0
    no_parts .
}

test_measure_goes_on_with_what_is_not_measured() {
    told '\n7.1\n8.4\n11\n4.2\n2.6\nq\n' instrument measure --from "$CALIB/tenor-loan.ini" t.ini
    exits 0
    told 's\nq\n' instrument measure t.ini
    exits 0
    hides "pad neck vent"
    shows "pad body vent, 2 of 24" "pad high F sharp, 3 of 24"
    cp t.ini before.ini
    told '\n\n\n\n2.8\n' instrument measure --pad "neck vent" t.ini
    exits 0
    is t.ini "neck vent" opening_mm 2.8
    [ "$(diff before.ini t.ini | grep -c '^>')" = 1 ] || fail "one line changed"
    told 'q\n' instrument measure --all t.ini
    shows "pad neck vent, 1 of 24; dimensions: measured"
}

test_kept_sizes_are_not_called_measured_unless_said() {
    cp "$CALIB/tenor-loan.ini" t.ini
    told '\n\n\n\n\nn\nq\n' instrument measure t.ini
    exits 0
    shows "not marked as measured"
    cmp t.ini "$CALIB/tenor-loan.ini" || fail "nothing changed"
    told '\n\n\n\n\ny\nq\n' instrument measure t.ini
    is t.ini "neck vent" dimensions measured
    is t.ini "neck vent" pad_mm 10.0
    # the end of the input is no yes
    cp "$CALIB/tenor-loan.ini" t.ini
    told '6.4\n\n\n\n\n' instrument measure t.ini
    is t.ini "neck vent" rim_inner_mm 6.4
    is t.ini "neck vent" dimensions ""
}

test_impossible_and_unusual_sizes_are_asked_again() {
    cp "$CALIB/tenor-loan.ini" t.ini
    # comma; word; out of range; outer below inner; a land of 2.6 mm twice; pad in the rim; pad; cup; opening
    told '6,4\nabc\n300\n6.4\n6.0\n11.6\n11.6\n11.0\n14\n4.5\n2.5\nq\n' instrument measure t.ini
    exits 0
    shows "use a point" '"abc" is no number' "300 mm is outside 1 to 200" "must be above the inner, 6.4 mm" \
        "the land would be 2.60 mm wide" "the pad must be wider than the rim, 11.6 mm" "written"
    is t.ini "neck vent" rim_outer_mm 11.6
    is t.ini "neck vent" dimensions measured
    told '?\nq\n' instrument measure t.ini
    shows "at right angles"
}

test_an_interrupted_pad_is_unchanged() {
    cp "$CALIB/tenor-loan.ini" t.ini
    told '6.4\n7.6\n' instrument measure t.ini
    exits 0
    shows "stopped: a pad that was begun is unchanged"
    cmp t.ini "$CALIB/tenor-loan.ini" || fail "the file is as it was"
    told 'mine\n7.6\nq\n' instrument measure --from "$CALIB/tenor-loan.ini" new.ini
    grep -q '^name = mine ;' new.ini || fail "the new file has its name"
    is new.ini "neck vent" rim_inner_mm 6.3
}

test_measure_refuses_what_it_cannot_do() {
    cp "$CALIB/tenor-loan.ini" t.ini
    told '' instrument measure --from "$CALIB/alto-loan.ini" t.ini
    refused 64 "t.ini is there already" "--from"
    cmp t.ini "$CALIB/tenor-loan.ini" || fail "not written over"
    told '' instrument measure nowhere.ini
    refused 66 "nowhere.ini"
    told '' instrument measure --pad X t.ini
    refused 65 "no [pad X]"
    told '' instrument measure
    refused 64 "one instrument file"
    mkdir d
    told 'x\n' instrument measure --from "$CALIB/alto-loan.ini" d/none/t.ini
    refused 73 "d/none/t.ini"
    told 'caf\303\251\n' instrument measure --from "$CALIB/alto-loan.ini" c.ini
    refused 65 "c.ini" "name"
    gone c.ini
}

test_help_of_instrument_teaches() {
    rg instrument -h
    exits 0
    shows "show" "measure" "tenor"
    for verb in show measure; do
        rg instrument $verb -h
        exits 0
        shows "Examples" "Exit codes"
        [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    done
}
