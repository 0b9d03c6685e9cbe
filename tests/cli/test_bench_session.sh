# rimglow bench: what outlives the program, several fingers for one pad, set-up values, the work list.
#
# release only, all: test_live, test_bench_page and test_bench_rank do it under the sanitizers

. "$ROOT/tests/cli/bench.sh"

# begun OPTION...: a bench with recorded sweeps as fast as they are measured; $token.
begun() {
    bench --rate 0 "$@"
    token=$(csrf)
}

# swept [PAD]: the pad at the bench, or PAD, is swept until it is decided or its recording ends.
swept() {
    [ -z "${1:-}" ] || post 200 pad "{\"pad\":\"$1\"}"
    post 200 role '{"role":"witness"}'
    becomes '.live.coverage.witness'
    post 200 role '{"role":"closed"}'
    becomes '(.live.decided or .source.state == "end") and .live.offered == .live.kept + .live.left_out + .live.skipped'
    post 200 role '{"role":"none"}'
}

killed() { kill -KILL $pid; wait $pid || true; }

pads() { state; jq -c '[.pads[] | select(.verdict) | [.name, .verdict, .widest_mm, .U_widest_mm, .widest_deg, .seen, .kept, .fingers]]
    | map(.[7][].earlier = null)' state.json; }

test_bench_goes_on_where_it_was_killed() {
    begun
    swept C
    swept B
    post 200 note '{"note":"felt; worn #2"}'
    swept A
    post 200 setup '{"quantity":"mass","value":"2431","unit":"g","u":"1","with":"bench scale"}'
    post 200 remark '{"topic":"corks and felts","text":"one new"}'
    pads >before
    kill -INT $pid # ends the sweep of A in order
    wait $pid
    begun
    pads >after
    jq -e '.[0:2]' before >b
    jq -e '.[0:2]' after >a
    cmp a b || { cat before after; fail "what was finished is as it was"; }
    state
    holds state.json '.earlier.pads == 3 and [.pads[3:6][].verdict] == ["sealed", "undecided", "leaking"]'
    holds state.json '[.pads[3:6][].fingers[].earlier] == [true, true, true] and .pads[4].note == "felt; worn #2"'
    holds state.json '.setup.values == [{quantity: "mass", value: 2431, u: 1, unit: "g", with: "bench scale"}]'
    holds state.json '.setup.remarks == [{topic: "corks and felts", text: "one new"}]'
    # As rimglow inspect says of the folders.
    for sweep in 04-C 05-B 06-A; do
        rg inspect --pictures none -o inspected "sweeps/PE-A-0147/$sweep"
        cmp "inspected/PE-A-0147/$sweep/seal-map.json" "sweeps/PE-A-0147/$sweep/seal-map.json" || fail "$sweep was measured as inspect does"
    done
    # Killed within a sweep: that one is set aside when its pad is swept again.
    post 200 pad '{"pad":"G"}'
    post 200 role '{"role":"witness"}'
    becomes '.live.coverage.witness'
    post 200 role '{"role":"closed"}'
    becomes '.live.kept >= 4'
    killed
    there sweeps/PE-A-0147/08-G/.capturing sweeps/PE-A-0147/08-G/sweep.ini
    begun
    state
    holds state.json '.earlier.pads == 3 and .pads[7].verdict == null and .pads[7].unmeasured == null'
    swept G
    there sweeps/PE-A-0147/08-G.cut-1/sweep.ini
    post 202 finish '{}'
    becomes '.finished.bag != null and (.busy | not)'
    rg archive show PE-A-0147 --json
    holds out '[.sweeps[].name] == ["04-C", "05-B", "06-A", "08-G"] and .setup[0].value == 2431'
    holds out '.note == "B: felt; worn #2; corks and felts: one new"'
    rg archive verify
    exits 0
    # What is in a bag is not offered once more: a new inspection begins.
    killed
    begun
    state
    holds state.json '.earlier.pads == 0 and (.earlier.bag | startswith("PE-A-0147/0001")) and [.pads[] | select(.verdict)] == []'
    holds state.json '.setup == {values: [], checks: [], remarks: []} and ([.pads[].note] | add) == ""'
    post 409 finish '{}'
    swept G
    post 200 setup '{"quantity":"mass","value":"2431","unit":"g","u":"1","with":"bench scale"}'
    killed
    begun
    state
    # The same value was measured again, and 08-G-2 was not ended in order.
    holds state.json '.earlier.pads == 0 and .setup.values[0].value == 2431'
}

test_bench_reads_back_only_what_was_measured_from_these_frames() {
    begun
    swept C
    swept A
    post 200 pad '{"pad":"C"}'
    kill -INT $pid
    wait $pid
    # Results of other frames: measured again. A sweep of another serial: left out and said.
    frame=$(ls sweeps/PE-A-0147/06-A/view_0* | head -1)
    cp "$(ls sweeps/PE-A-0147/06-A/view_0* | tail -1)" "$frame"
    sed -i 's/^serial = .*/serial = PE-A-0148/' sweeps/PE-A-0147/04-C/sweep.ini
    begun
    grep -q '06-A: has no results of exactly these frames' bench.err || fail "it says that it measures"
    state
    holds state.json '.earlier.pads == 1 and .pads[3].verdict == null'
    holds state.json '.pads[3].unmeasured | test("04-C.*PE-A-0148")'
    rg inspect --pictures none -o inspected sweeps/PE-A-0147/06-A
    cmp inspected/PE-A-0147/06-A/seal-map.json sweeps/PE-A-0147/06-A/seal-map.json || fail "the new seal map is of the new frames"
    kill -INT $pid
    wait $pid
    begun --fresh
    state
    holds state.json '.earlier.pads == 0 and [.pads[] | select(.verdict)] == []'
    swept A
    post 200 pad '{"pad":"next"}'
    there sweeps/PE-A-0147/06-A/sweep.ini sweeps/PE-A-0147/06-A-2/sweep.ini
    post 202 finish '{}'
    becomes '.finished.bag != null and (.busy | not)'
    kill -INT $pid
    wait $pid
    # 06-A was replaced by 06-A-2, which is archived.
    begun
    state
    holds state.json '.earlier.pads == 0'
}

test_bench_sweeps_a_pad_by_light_and_by_firm_finger() {
    begun
    post 200 finger '{"finger":"firm"}'
    swept C
    becomes '.live.verdict == "sealed"'
    post 200 pad '{"pad":"A"}'
    state
    holds state.json '.pads[3].verdict == "undecided" and .pads[3].reason == "only a firm finger was tried"'
    holds state.json '.pads[3].fingers[0].verdict == "sealed" and .pads[3].fingers[0].finger == "firm"'
    post 200 finger '{"finger":"light"}'
    swept C
    post 200 finger '{"finger":"35 g"}' # ends the light sweep, which is whole
    state
    holds state.json '.live == null and .pads[3].verdict == "sealed" and .pads[3].reason == null'
    holds state.json '[.pads[3].fingers[].finger] == ["firm", "light"]'
    swept
    post 200 finger '{"finger":"light"}'
    state
    holds state.json '[.pads[3].fingers[] | [.finger, .grams]] == [["firm", null], ["light", null], ["grams", 35]]'
    post 200 finger '{"finger":"firm"}'
    post 200 redo '{}' # of the firm finger alone
    state
    holds state.json '[.pads[3].fingers[].finger] == ["light", "grams"]'
    post 202 finish '{}'
    becomes '.finished.bag != null and (.busy | not)'
    rg archive show PE-A-0147 --json
    holds out '[.sweeps[] | [.name, .finger, .grams]] == [["04-C-2", "light", null], ["04-C-3", "grams", 35]]'
}

# release only: test_bench_rank, test_workup and test_release run under the sanitizers, and the other sessions of this file
test_bench_ranks_the_pads() {
    begun
    state
    holds state.json '[.worklist[].pad] == [range(16)] and all(.worklist[]; .verdict == null and .sentence == "not swept yet")'
    for pad in C B A G; do swept $pad; done
    post 200 pad '{"pad":"C"}'
    state
    holds state.json '([.worklist[0:2][].name] | sort) == ["A", "G"] and .worklist[2].name == "B"'
    holds state.json '.worklist[0].area_mm2 >= .worklist[1].area_mm2 and .worklist[15].name == "C" and .worklist[15].sentence == "nothing to do"'
    holds state.json '.worklist_fault == null and .worklist[0].orifice_mm >= .worklist[1].orifice_mm and .worklist[1].orifice_mm > 0'
    holds state.json 'all(.worklist[0:2][]; .steps | length >= 1 and (.[0].correction | length > 0) and (.[0].afterwards | test("Afterwards the widest gap")))'
    holds state.json 'all(.worklist[2:][]; .steps == [] and .more == 0) and .worklist[15].orifice_mm == null'
    cp state.json listed.json
    # What rimglow setup makes of the same sweeps in the archive.
    post 202 finish '{}'
    becomes '.finished.bag != null and (.busy | not)'
    rg setup PE-A-0147 --json
    jq -e --slurpfile s listed.json '.work.leaks as $l | [$s[0].worklist[] | select(.verdict == "leaking")] as $list |
        [$l.ranking[].pad] as $ranked | [$ranked[] | select(IN($list[].name))] == [$list[].name] and
        all($list[]; . as $one | ($l.pads[] | select(.pad == $one.name)) as $p | ($l.ranking[] | select(.pad == $one.name)) as $r |
            ($p.orifice_mm - $one.orifice_mm | fabs) < 6e-4 and ($p.orifice_high_mm - $one.orifice_high_mm | fabs) < 6e-4 and
            $p.unseen_bearings == $one.unseen and $r.starts_at == $one.starts_at and ($r.notes | length) == $one.notes)' out >/dev/null ||
        { jq '.worklist[0:3]' listed.json; jq '.work.leaks | {ranking, pads}' out; fail "flow and notes as rimglow setup has them"; }
    jq -e --slurpfile s listed.json '[.work.work[] | select(.subject | startswith("pad ")) | .sentence] as $told |
        all($s[0].worklist[].steps[]; . as $step | all(.fault, .correction, .afterwards; IN($told[])))' out >/dev/null ||
        fail "the corrections as rimglow setup words them"
}

# Settings are read once, at the start: a file that is missing or bad ends the program with its name.
test_bench_says_at_the_start_which_settings_are_bad() {
    cp -r "$CALIB" calib
    for file in flow.ini release.ini; do
        sed 's/^\[\([a-z]*\)\]/[not \1]/' "$CALIB/$file" >calib/$file
        rg bench --instrument "$CALIB/alto-loan.ini" --station "$CALIB/bench.ini" --serial PE-A-0147 --port 0 --replay "$SAMPLES"
        refused 65 "calib/$file"
        cp "$CALIB/$file" calib/$file
    done
}

test_bench_keeps_set_up_values_as_they_are_entered() {
    begun
    answers 405 "$url/api/setup"
    answers 403 -H 'Content-Type: application/json' -d '{"quantity":"mass","value":"1","unit":"g","u":"","with":""}' "$url/api/setup"
    gone sweeps/PE-A-0147/setup.ini
    post 200 setup '{"quantity":"mass","value":"2431","unit":"g","u":"1","with":"bench scale, 5 kg"}'
    post 200 setup '{"quantity":"spring force G","value":"42.5","unit":"g","u":"","with":""}'
    post 200 setup '{"quantity":"mass","value":"2432","unit":"g","u":"1","with":"bench scale, 5 kg"}'
    state
    holds state.json '[.setup.values[] | [.quantity, .value, .u]] == [["mass", 2432, 1], ["spring force G", 42.5, null]]'
    cp sweeps/PE-A-0147/setup.ini kept.ini
    for bad in '{"quantity":"mass","value":"2,4","unit":"g","u":"","with":""}' '{"quantity":"mass","value":"2","unit":"","u":"","with":""}' \
        '{"quantity":"","value":"2","unit":"g","u":"","with":""}' '{"quantity":"mass","value":"2","unit":"g","u":"-1","with":""}' \
        '{"quantity":"mass","value":"2","unit":"g","u":"","with":"scale ; 5 kg"}' '{"quantity":"a] [b","value":"2","unit":"g","u":"","with":""}' \
        '{"quantity":"mass","value":"nan","unit":"g","u":"","with":""}' '{"quantity":"ma\u0007ss","value":"1","unit":"g","u":"","with":""}' \
        '{"quantity":"mass","value":2,"unit":"g","u":"","with":""}' '{"quantity":"mass"}'; do
        post 409 setup "$bad"
    done
    post 400 setup '[]'
    post 400 remark '{"topic":"a","topic":"b","text":"c"}'
    cmp kept.ini sweeps/PE-A-0147/setup.ini || fail "what is refused changes nothing"
    post 200 setup '{"quantity":"spring force G","value":"","unit":"","u":"","with":""}'
    post 200 remark '{"topic":"play test","text":"low B flat stuffy"}'
    post 409 remark "{\"topic\":\"play test\",\"text\":\"$(head -c 300 /dev/zero | tr '\0' a)\"}"
    # All together fit into a record's note, or are refused at once.
    long=$(head -c 190 /dev/zero | tr '\0' a)
    for i in 1 2 3 4; do post 200 remark "{\"topic\":\"remark $i\",\"text\":\"$long\"}"; done
    post 409 remark "{\"topic\":\"remark 5\",\"text\":\"$long\"}"
    post 409 note "{\"note\":\"$long\"}"
    for i in 2 3 4; do post 200 remark "{\"topic\":\"remark $i\",\"text\":\"\"}"; done
    swept C
    post 202 finish '{}'
    becomes '.finished.bag != null and (.busy | not)'
    rg archive show PE-A-0147 --json
    holds out '.setup == [{quantity: "mass", value: 2432, u: 1, unit: "g", with: "bench scale, 5 kg", remark: "", measured: null}]'
    holds out '.note == "play test: low B flat stuffy; remark 1: '"$long"'"'
    cmp sweeps/PE-A-0147/setup.ini archive/bags/PE-A-0147/*/data/setup/setup.ini || fail "the file itself is in the bag"
    answers 200 "$url/api/visits"
    holds body '.visits | length == 1 and .[0].values[0].value == 2432 and .[0].sequence == 1'
    answers 200 "$url/setup"
    answers 200 "$url/setup.js"
}

# decided FILTER: what the rules would say now.
decided() {
    answers 200 "$url/api/decision"
    cp body decision.json
    holds decision.json "$1"
}

# release only: test_bench_rank, test_workup and test_release run under the sanitizers, and the other sessions of this file
test_bench_previews_the_decision() {
    begun
    decided '.preview == true and .decision == "hold" and .archived == null and .swept == 0 and .pads == 16 and .taking == false'
    holds decision.json '[.reasons[] | select(.state == "not measured") | .name] | contains(["C", "low B flat", "lubrication", "play test"])'
    holds decision.json 'all(.reasons[]; .state != "out of limits") and .fault == null and .rules == "release.ini"'
    answers 405 -X POST "$url/api/decision"
    state
    version=$(jq .version state.json)
    decided true
    state
    holds state.json ".version == $version"
    gone archive
    # What is entered takes its reason away; what is done badly holds.
    for check in lubrication "corks and felts"; do post 200 setup "{\"quantity\":\"$check\",\"check\":\"done\"}"; done
    post 200 setup '{"quantity":"play test","check":"not done"}'
    post 200 setup '{"quantity":"play of the left-hand rod","value":"0.3","unit":"mm","u":"0.01","with":"dial indicator"}'
    post 200 setup '{"quantity":"mass","value":"2431","unit":"g","u":"1","with":"bench scale"}'
    post 409 setup '{"quantity":"lubrication","check":"perhaps"}'
    post 409 setup '{"quantity":"lubrication","check":true}'
    state
    holds state.json '.setup.checks == [{name: "lubrication", done: true}, {name: "corks and felts", done: true}, {name: "play test", done: false}]'
    holds state.json '[.setup.values[].quantity] == ["play of the left-hand rod", "mass"]'
    decided '[.reasons[] | .name] | (contains(["lubrication"]) or contains(["corks and felts"])) | not'
    holds decision.json '[.reasons[] | select(.state == "out of limits") | .name] | contains(["play test", "play of the left-hand rod"])'
    swept G
    post 200 role '{"role":"closed"}'
    decided '.swept == 0' # a sweep counts when it is finished
    swept C
    post 200 pad '{"pad":"next"}'
    decided '.swept == 2 and .decision == "hold" and any(.reasons[]; .name == "G" and .state == "out of limits")'
    holds decision.json 'all(.reasons[]; .name != "C")'
    # A unit that no rule converts is told, and nothing is decided.
    post 200 setup '{"quantity":"mass","value":"2431","unit":"mm","u":"1","with":"bench scale"}'
    decided '.decision == null and (.fault | test("mass")) and .reasons == []'
    post 200 setup '{"quantity":"mass","value":"2431","unit":"g","u":"1","with":"bench scale"}'
    # The values go through a restart, and the sheet in the bag says what was previewed.
    kill -INT $pid
    wait $pid
    begun
    state
    holds state.json '[.setup.checks[].done] == [true, true, false]'
    decided '.swept == 2'
    cp decision.json preview.json
    post 202 finish '{}'
    becomes '.finished.bag != null and (.busy | not)'
    decided '.archived != null and .swept == 2'
    jq -e --slurpfile p preview.json '.decision == $p[0].decision and .reasons == $p[0].reasons and .passed == $p[0].passed' decision.json >/dev/null ||
        fail "what is archived is judged as it was before"
    rg setup PE-A-0147 --json
    exits 1
    jq -e --slurpfile p preview.json '.decision == $p[0].decision and ([.reasons[] | .name + ": " + .text] == [$p[0].reasons[].text])' out >/dev/null ||
        { jq -c '.decision, .reasons' out preview.json; fail "the decision as rimglow setup has it"; }
    # Checks that are in a bag are not offered once more.
    killed
    begun
    state
    holds state.json '.setup == {values: [], checks: [], remarks: []}'
    # The visit before is the reference of the mass now: 15 g is what it may change by.
    post 200 setup '{"quantity":"mass","value":"2460","unit":"g","u":"1","with":"bench scale"}'
    decided 'any(.reasons[]; .name == "mass" and .state == "out of limits")'
}

# C is closed by the key of B and by that of A too (calib/alto-loan.ini); B by none.
test_bench_sweeps_a_pad_by_the_key_that_closes_it_too() {
    begun
    post 200 pad '{"pad":"B"}'
    state
    holds state.json '.keys == [] and .key == ""'
    post 409 key '{"key":"C"}'
    post 409 key '{"key":"no pad"}'
    post 400 key '{"key":1}'
    post 200 key '{"key":"B"}' # its own
    post 200 pad '{"pad":"C"}'
    state
    holds state.json '.keys == ["B", "A"] and .key == ""'
    swept
    post 200 key '{"key":"A"}' # ends the sweep by its own key
    state
    holds state.json '.live == null and .key == "A" and .pads[3].fingers[0].key == ""'
    post 200 role '{"role":"witness"}'
    becomes '.live.coverage.witness'
    post 409 key '{"key":"B"}' # in the middle of a sweep
    post 409 key '{"key":""}'
    post 200 role '{"role":"closed"}'
    becomes '(.live.decided or .source.state == "end") and .live.offered == .live.kept + .live.left_out + .live.skipped'
    post 200 role '{"role":"none"}'
    post 200 pad '{"pad":"next"}'
    state
    holds state.json '.key == "" and [.pads[3].fingers[] | [.finger, .key]] == [["light", ""], ["light", "A"]]'
    ! grep -q '^key' sweeps/PE-A-0147/04-C/sweep.ini || fail "its own key is not named"
    grep -q '^key = A$' sweeps/PE-A-0147/04-C-2/sweep.ini || fail "the key is in sweep.ini"
    swept A
    kill -INT $pid
    wait $pid
    begun
    state
    holds state.json '[.pads[3].fingers[] | [.finger, .key, .earlier]] == [["light", "", true], ["light", "A", true]]'
    # R drops the sweep by this key alone.
    post 200 pad '{"pad":"C"}'
    post 202 finish '{}'
    becomes '.finished.bag != null and (.busy | not)'
    rg setup PE-A-0147 --json
    jq -e '.work.keys | length == 1 and (.[0] | tostring | contains("\"A\"") and contains("\"C\""))' out >/dev/null ||
        { jq '.work.keys' out; fail "rimglow setup judges whether A and C close together"; }
    post 200 key '{"key":"A"}'
    post 200 redo '{}'
    state
    holds state.json '[.pads[3].fingers[].key] == [""] and .key == "A"'
}
