# The set-up sheet: release, or hold for each reason; what it stores in a bag, and that verify knows it.
# Every date is given, so that the day on which the cases run does not matter.
#
# release only, all: test_workup, test_release and test_draw_setup do it under the sanitizers
. "$ROOT/tests/cli/archive.sh"

ON="--on 2026-11-25"

# horn PAD...: my-horn.ini with these pads of the demo's alto alone.
horn() {
    awk -v pads="$(printf '[pad %s]\n' "$@")" '
        BEGIN { n = split(pads, p, "\n"); for (i = 1; i <= n; i++) keep[p[i]] = 1; on = 1 }
        /^closed_with = [A-Za-z]/ { next }
        /^\[/ { on = !/^\[(pad|link)/ || $0 in keep } on' "$CALIB/alto-loan.ini" >my-horn.ini
}

# take NAME PAD SAMPLE [FINGER]: a sweep folder of the sample's frames, of my-horn.ini, taken 2026-11-20.
take() {
    sweep "$1" "$2"
    change "$1" "s|^instrument.*|instrument = ../my-horn.ini|; s/^finger.*/finger = ${4:-light}/
        /^\[frames\]/i [taken]\ndate = 2026-11-20\ngain = 0\nexposure_s = 0"
    add "$1" witness "$SAMPLES/$3/witness.jpg"
    for frame in "$SAMPLES/$3"/view_*.jpg; do add "$1" closed "$frame"; done
}

# values [SED-COMMAND...]: setup.ini, in which everything is right, changed.
values() {
    cat >setup.ini <<END
[mass]
value = 2431
unit = g
u = 1
with = bench scale
date = 2026-11-21
[spring force C]
value = 42
unit = gf
u = 2
with = spring gauge
date = 2026-11-21
[lubrication]
check = done
remark = rods and pivots
date = 2026-11-21
[corks and felts]
check = done
date = 2026-11-21
[play test]
check = done
date = 2026-11-21
END
    for edit in "$@"; do
        sed -i "$edit" setup.ini
    done
}

stored() { rg archive add --technician "A. Bell" "$@"; exits 0; }

# One pad, sealed: its sweep c, inspected.
sealed_pad() { made sealed-pad swept_and_inspected; }
swept_and_inspected() {
    horn C
    take c C 04-C
    rg inspect -q c
    exits 0
}

# The same, archived without set-up values.
sealed_horn() { made sealed-horn archived; }
archived() {
    sealed_pad
    stored --occasion release c
}

# judged CODE TEXT...: by setup.ini.
judged() {
    code=$1
    shift
    rg setup PE-A-0147 --values setup.ini $ON
    exits "$code"
    silent err
    shows "$@"
}

test_an_instrument_that_is_shown_to_be_right_is_released() {
    sealed_horn
    values
    judged 0 "( O ) RELEASE" "( O ) C " "light finger" "2431 +- 2 g" "with bench scale" "rods and pivots"
    hides "HOLD" "    - "
    rg setup PE-A-0147/1 --values setup.ini $ON -o sheets --json
    exits 0
    holds out '.format == "rimglow set-up sheet" and .decision == "release" and .reasons == []'
    holds out '[.items[] | select(.required) | .state] | length > 0 and all(. == "passed")'
    holds out '.items[] | select(.name == "C") | .verdict == "sealed" and .finger == "light" and .value == null'
    there sheets/PE-A-0147/0001/setup-sheet.pdf sheets/PE-A-0147/0001/setup-sheet-1.png \
        sheets/PE-A-0147/0001/setup-sheet-1.svg
    jq -s -e '(.[0] | del(.work)) == .[1] and .[0].work == .[2]' out sheets/PE-A-0147/0001/setup.json \
        sheets/PE-A-0147/0001/work.json >/dev/null || fail "the files are the answer"
    qpdf --check sheets/PE-A-0147/0001/setup-sheet.pdf >/dev/null || fail "the PDF is sound"
    pdftotext sheets/PE-A-0147/0001/setup-sheet.pdf - | grep -q RELEASE || fail "the PDF says RELEASE"
    no_parts sheets
}

test_each_thing_that_is_not_right_holds() {
    sealed_horn
    # out of limits: 1
    values 's/= 42/= 90/'
    judged 1 "( / ) HOLD" "- spring force C: 90 +- 4 gf, limit 20 to 80"
    values '/lubrication/,/date/s/= done/= not done/'
    judged 1 "- lubrication: not done"
    # not measured or not decided: 2
    values 's/= 42/= 79/'
    judged 0 "( ? ) spring force C" "RELEASE" # not required: told, and no hold
    sed '/^\[value spring/,/^\[/s/required = no/required = yes/' "$CALIB/release.ini" >springs.ini
    rg setup PE-A-0147 --values setup.ini $ON --rules springs.ini
    exits 2
    shows "- spring force C: 79 +- 4 gf, limit 20 to 80; too close"
    values '/spring/,/date/s/^u = .*/u = 0/'
    rg setup PE-A-0147 --values setup.ini $ON --rules springs.ini
    exits 2
    shows "no uncertainty is stated"
    values '/spring/,/date/d'
    rg setup PE-A-0147 --values setup.ini $ON --rules springs.ini
    exits 2
    shows "- spring force *: not measured"
    values '/lubrication/,/date/d'
    judged 2 "( ? ) HOLD" "- lubrication: not measured: no check"
    values '/lubrication/,/date/s/^check.*//'
    judged 2 "- lubrication: not measured: only a remark"
    values '/lubrication/,/date/s/11-21/09-21/'
    judged 2 "- lubrication: 65 days old, the most is 30"
    values '/lubrication/,/date/s/2026-11-21/2026-12-21/'
    judged 2 "- lubrication: dated 26 days after"
    values
    rg setup PE-A-0147 --values setup.ini --on 2026-12-24
    exits 2
    shows "- C: 34 days old, the most is 30: measure again"
    hides "( O ) C "
}

test_a_pad_that_was_not_swept_or_only_with_a_firm_finger_holds() {
    horn C G
    take c C 04-C firm
    stored c
    values
    judged 2 "- C: sealed under a firm finger only, which cannot release a pad" "- G: not swept" "(   ) G "
    hides "( O ) C "
    take light C 04-C "40 g"
    stored c light
    judged 2 "( O ) C " "40 g" "- G: not swept"
    sed 's/^light_grams.*/light_grams = 39/' "$CALIB/release.ini" >rules.ini
    rg setup PE-A-0147 --values setup.ini $ON --rules rules.ini
    exits 2
    shows "- C: sealed under 40 g only"
}

# at_rest NAME: a sweep folder of the open key of G, taken when those of `take` were.
at_rest() {
    sweep "$1" G
    change "$1" "s|^instrument.*|instrument = ../my-horn.ini|
        /^\[frames\]/i [taken]\ndate = 2026-11-20\ngain = 0\nexposure_s = 0"
    ln -s "$ROOT/samples/PE-A-0147-open/08-G"/view_*.jpg "$1"
    echo "view_*.jpg = open, exposure 0.25" >>"$1/sweep.ini"
}

test_frames_of_the_open_key_alone_say_nothing_of_the_seal() {
    horn G
    at_rest open
    rg archive add --technician "A. Bell" open
    exits 0
    shows "( ? ) undecided"
    hides "sealed"
    bag=$(bag archive PE-A-0147 1)
    holds "$bag/data/inspection.json" '.verdict == "undecided" and .reasons == ["not swept: G"]'
    values
    judged 1 "- G: not swept" "(   ) G "
    # Beside a sweep of the seal they neither count nor stand in its way, also not as the last of a visit.
    take g G 08-G
    stored g
    timeless
    rg archive add --technician "A. Bell" --setup setup.ini --rules rules.ini g open
    exits 0
    shows "( / ) leaking"
    holds "$(bag archive PE-A-0147 3)/data/inspection.json" '.reasons == ["leaking: G"]'
    rg setup PE-A-0147 --rules rules.ini --json
    exits 1
    holds out '[.items[] | select(.name == "G") | .verdict] == ["leaking"]'
    holds out '[.changes[] | select(.name == "G") | [.visit, .state]] == [[2, "no change shown"]]'
}

test_a_leaking_pad_holds_first_of_all() {
    horn C "G sharp"
    take c C 04-C
    take g "G sharp" 07-G-sharp
    stored c g
    values 's/= 42/= 90/'
    judged 1 "- G sharp: leaking under a light finger; 0.151 +- 0.028 mm at bearing 195"
    [ "$(grep -n '    - ' out | head -1 | grep -c 'G sharp')" = 1 ] || fail "the leak is the first reason"
}

test_what_nobody_measured_is_never_passed() {
    sealed_horn
    rg setup PE-A-0147 $ON # archived without any values or checks, as bags were before there were set-up sheets
    exits 2
    shows "- lubrication: not measured" "- corks and felts: not measured" "- play test: not measured"
    rg setup PE-A-0147 $ON --json
    exits 2
    holds out '[.items[] | select(.kind == "check") | .state] == ["not measured", "not measured", "not measured"]'
    holds out '.decision == "hold" and .shown_out == false'
    gone archive/bags/PE-A-0147/*/data/setup
    rg archive verify
    exits 0
}

test_wrong_units_and_rules_are_refused_by_name() {
    sealed_horn
    values 's/^unit = g$/unit = lb/'
    rg setup PE-A-0147 --values setup.ini $ON
    refused 65 'mass = 2431 lb' '"lb"' '"g"'
    values 's/^check = done/check = perhaps/'
    rg setup PE-A-0147 --values setup.ini $ON
    refused 65 "setup.ini" "done or not done"
    values 's/^unit = g$/unit = kg/; s/2431/2.431/; s/^u = 1/u = 0.001/'
    judged 0 "2431 +- 2 g"
    for edit in 's/^light_grams.*//' 's/= each pad/= yes/; s/^required = .*/required = no/' 's/^\[release\]/[freedom]/' \
        's/^guard = yes/guard = maybe/' 's/^high = 80/high = 10/'; do
        sed "$edit" "$CALIB/release.ini" >bad.ini
        rg setup PE-A-0147 --values setup.ini $ON --rules bad.ini
        refused 65 "bad.ini"
    done
    rg setup PE-A-0147 --rules none.ini
    refused 66 none.ini
    rg setup PE-A-0148
    refused 66 PE-A-0148
    rg setup
    refused 64 "rimglow setup -h"
    rg setup PE-A-0147 --on yesterday
    refused 64 yesterday
    rg setup PE-A-0147 -a nowhere
    refused 66 nowhere
}

test_what_cannot_be_judged_is_not_archived() {
    sealed_pad
    values 's/^unit = gf/unit = oz/'
    rg archive add --technician "A. Bell" --setup setup.ini c
    refused 65 "spring force C" oz
    gone archive
    values
    sed 's/^\[release\]/[freedom]/' "$CALIB/release.ini" >bad.ini
    rg archive add --technician "A. Bell" --setup setup.ini --rules bad.ini c
    refused 65 bad.ini
    gone archive
}

# Rules by which a sheet is the same on every day.
timeless() { sed 's/^max_age_days.*/max_age_days = 0/' "$CALIB/release.ini" >rules.ini; }

test_the_bag_holds_the_sheet_and_verify_knows_it() {
    sealed_pad
    values
    timeless
    stored --setup setup.ini --rules rules.ini c
    shows "set-up sheet: release"
    bag=$(bag archive PE-A-0147 1)
    there "$bag/data/setup/setup-sheet.pdf" "$bag/data/setup/setup.json"
    cmp -s setup.ini "$bag/data/setup/setup.ini" && cmp -s rules.ini "$bag/data/setup/release.ini" ||
        fail "values and rules are kept as they were"
    holds "$bag/data/setup/setup.json" '.decision == "release" and .values == "setup.ini"'
    holds "$bag/data/inspection.json" '.checks[0] == {"name": "lubrication", "done": true, "remark": "rods and pivots",
        "checked": "2026-11-21"} and .setup[0].measured == "2026-11-21"'
    standard_tools_agree "$bag" || fail "sha256sum agrees"
    rg archive verify
    exits 0
    rg setup PE-A-0147 --rules rules.ini
    exits 0
    shows RELEASE
    # Remarks and checks are in the record; numbers are in the index too.
    rg archive show PE-A-0147
    shows "spring force C"
}

# As remanifest of test_archive_tamper.sh.
manifests_of() {
    (
        cd "$1"
        find data -type f | LC_ALL=C sort | xargs sha256sum >manifest-sha256.txt
        oxum=$(find data -type f -printf '%s\n' | awk '{ n++; s += $1 } END { print s "." n }')
        sed -i "s/^Payload-Oxum: .*/Payload-Oxum: $oxum/" bag-info.txt
        sha256sum bag-info.txt bagit.txt manifest-sha256.txt >tagmanifest-sha256.txt
    )
}

test_a_sheet_that_does_not_follow_from_its_bag_is_found() {
    sealed_pad
    values '/lubrication/,/date/s/= done/= not done/'
    timeless
    stored --setup setup.ini --rules rules.ini c
    shows "set-up sheet: hold"
    bag=$(bag archive PE-A-0147 1)
    chmod -R u+w archive
    sed -i 's/"decision": "hold"/"decision": "release"/' "$bag/data/setup/setup.json"
    rg archive verify
    exits 1
    shows altered setup.json
    manifests_of "$bag"
    rg archive reindex
    rg archive verify --json
    exits 1
    holds out '[.findings[] | select(.kind == "record")] | length == 1 and (.[0].file == "data/setup/setup.json") and
        (.[0].text | test("says release.*say hold"))'
    rm "$bag/data/setup/release.ini"
    manifests_of "$bag"
    rg archive reindex
    rg archive verify --json
    exits 1
    holds out '[.findings[] | select(.kind == "record")] | .[0].text | test("release.ini")'
}

test_the_bag_keeps_the_settings_of_its_work_up_and_is_judged_by_them() {
    sealed_pad
    values
    timeless
    stored --setup setup.ini --rules rules.ini c
    bag=$(bag archive PE-A-0147 1)
    for file in diagnosis keys heights flow; do
        cmp -s "$CALIB/$file.ini" "$bag/data/setup/$file.ini" || fail "$file.ini is kept as it was"
    done
    chmod -R u+w archive
    for file in diagnosis keys heights flow; do
        cp "$bag/data/setup/$file.ini" kept.ini
        sed -i '0,/^\[/s/^\[/[my /' "$bag/data/setup/$file.ini"
        manifests_of "$bag"
        rg archive reindex
        rg archive verify --json
        exits 1
        holds out "[.findings[] | select(.kind == \"record\")] | .[0].text | test(\"$file.ini\")"
        cp kept.ini "$bag/data/setup/$file.ini"
    done
}

test_a_yearly_service_shows_what_changed() {
    sealed_pad
    timeless
    sed -i 's/^change_low.*= -15/&/' rules.ini
    for mass in 2431 2433 2452; do
        values "s/2431/$mass/"
        stored --setup setup.ini --rules rules.ini c
    done
    rg setup PE-A-0147/2 --rules rules.ini
    exits 0
    shows "( = ) mass" "+2.0 +- 2.8 g" "no change shown"
    rg setup PE-A-0147 --rules rules.ini
    exits 1
    shows "- mass: change since visit 1 21.0 +- 2.8 g, limit -15 to 15" "( + ) mass" "+19.0 +- 2.8 g" "+21.0 +- 2.8 g" \
        "( = ) C" "( = ) spring force C"
    rg setup PE-A-0147 --rules rules.ini --json
    holds out '[.changes[] | select(.name == "mass") | [.visit, .state]] == [[2, "more"], [1, "more"]]'
    holds out '[.changes[] | select(.name == "C") | .state] == ["no change shown", "no change shown"]'
    rg archive verify
    exits 0
}

test_help_of_setup_teaches_and_fits() {
    rg setup -h
    exits 0
    shows "rimglow setup PE-A-0147" "--values" "--rules" "Exit codes" "gravest reason first"
    awk 'length > 80 { exit 1 }' out || fail "lines fit 80 columns"
    for option in --archive --values --rules --settings --on --out --json; do shows "$option"; done
}
