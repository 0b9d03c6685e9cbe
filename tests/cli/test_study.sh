# rimglow study gauge and rimglow study detect.

STUDY=$ROOT/samples/study

# table FILE LINE...: writes a CSV.
table() {
    file=$1
    shift
    printf '%s\n' "$@" >"$file"
}

# near FILE FILTER EXPECTED SHARE: the number that jq finds agrees within the share.
near() {
    jq -e --argjson x "$3" --argjson share "$4" "$2 | (. - \$x | fabs) <= \$share * (\$x | fabs)" \
        "$1" >/dev/null || fail "in $1: $2 is $(jq -c "$2" "$1"), not $3"
}

whole() {
    for picture in "$@"; do
        there "$picture"
        case $picture in
        *.png) spoil whole "$picture" || fail "$picture is a whole PNG" ;;
        *.svg) rsvg-convert -o drawn.png "$picture" || fail "$picture is an SVG that can be drawn" ;;
        esac
    done
}

# The data of MIL-HDBK-1823A, example 3, as a workshop would write them.
cracks() {
    awk -F, 'NR == 1 { print "size_mm,hit" } NR > 1 { print $2 "," $4 }' \
        "$ROOT/tests/data/pod/example3.csv" | tr -d '\r' >"$1"
}

# Example 2: four signals of each target, limits 50 and 1300.
signals() {
    awk -F, 'NR == 1 { print "size_mm,signal" }
        NR > 1 { for (i = 3; i <= 6; i++) { y = $i + 0
                 print $2 "," (y <= 50 ? "<50" : y >= 1300 ? ">1300" : y) } }' \
        "$ROOT/tests/data/pod/example2.csv" >"$1"
}

# The gaskets of tests/data/gauge; PERSON chooses rows by a regular expression.
gaskets() {
    awk -F, 'NR == 1 { print "part,person,repeat,value_mm" }
        NR > 1 { print $3 "," $2 "," ++n[$3 $2] "," $1 }' "$ROOT/tests/data/gauge/gasket.csv" |
        tr -d '\r"' >"$1"
}

test_study_help_lists_verbs_and_each_teaches_by_example() {
    rg study -h
    exits 0
    shows "rimglow study VERB" "gauge" "detect" "samples/study"
    for verb in gauge detect; do
        rg study $verb -h
        exits 0
        silent err
        shows "rimglow study $verb [options]" "Examples:" "Exit codes" "--settings" "calib/study.ini"
        [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    done
}

test_study_needs_a_verb_and_a_table() {
    rg study
    refused 64 "needs a verb"
    rg study measure
    refused 64 "measure"
    rg study gauge
    refused 64 "one table" "rimglow study gauge -h"
    rg study detect a.csv b.csv
    refused 64 "one table"
    rg study gauge missing.csv
    refused 66 "missing.csv"
}

test_study_gauge_gives_the_published_figures() {
    gaskets g.csv
    rg study gauge -o o g.csv
    exits 1
    silent err
    shows "10 parts, 3 persons, 2 repeats" "32.66 %" "distinct categories: 4" "the gauge will not do" \
        "= o/g"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    # R 4.2.2 and the documentation of SAS/QC (tests/data/gauge/README).
    holds o/g/gauge.json '.format == "rimglow gauge study" and .verdict == "failed" and .pooled == false'
    near o/g/gauge.json .components.gauge.sd 0.06661456 1e-6
    near o/g/gauge.json .components.gauge.study_percent 32.65975 1e-6
    near o/g/gauge.json .components.interaction.variance 0.0022337963 1e-6
    near o/g/gauge.json .anova.interaction.p 0.00015631 1e-4
    whole o/g/gauge.png o/g/gauge.svg
    no_parts o
}

test_study_gauge_exit_code_follows_the_limits() {
    gaskets g.csv
    for limits in "10 30 1" "10 33 2" "33 40 0"; do
        set -- $limits
        sed "s/^accept_percent.*/accept_percent = $1/; s/^refuse_percent.*/refuse_percent = $2/" \
            "$CALIB/study.ini" >s.ini
        rg study gauge -o o --settings s.ini --pictures none g.csv
        exits "$3"
    done
    rg study gauge -o o --settings missing.ini g.csv
    refused 66 missing.ini
    echo 'accept = 3' >s.ini
    rg study gauge -o o --settings s.ini g.csv
    refused 65 s.ini calib/study.ini
}

test_study_gauge_of_the_sample_table_is_accepted() {
    rg study gauge -o o "$STUDY/gauge.csv"
    exits 0
    shows "5 parts, 3 persons, 3 repeats" "bias against known widths" "linearity" "= o/gauge"
    holds o/gauge/gauge.json '(.parts | length) == 5 and .persons == ["Ada", "Ben", "Cleo"]'
    holds o/gauge/gauge.json '.bias.n == 18 and .settings.accept_percent == 10'
    grep -q INVENTED "$STUDY/gauge.csv" || fail "invented values say so"
}

test_study_gauge_of_seal_maps_finds_their_quantities() {
    mkdir maps
    rg inspect -q -o maps --pictures none "$SAMPLES/08-G" "$SAMPLES/05-B"
    G=maps/PE-A-0147/08-G/seal-map.json
    # The same pad again, a little narrower and turned by two degrees over bearing 0.
    jq '.arcs[0].centre_deg = 359 | .arcs[0].mean_width_mm = 0.08' $G >g1.json
    jq '.arcs[0].centre_deg = 1 | .arcs[0].mean_width_mm = 0.09' $G >g2.json
    table t.csv part,person,repeat,sweep G,Ada,1,g1.json G,Ada,2,g2.json \
        B,Ada,1,maps/PE-A-0147/05-B B,Ada,2,maps/PE-A-0147/05-B
    rg study gauge -o o --quantity mean t.csv
    silent err
    near o/t/gauge.json '.values[0][0][0]' 0.08 1e-9
    near o/t/gauge.json '.values[0][0][1]' 0.09 1e-9
    rg study gauge -o o --quantity centre t.csv
    shows "bearing of the widest arc's centre" deg
    holds o/t/gauge.json '.unit == "deg" and (.components.repeatability.sd < 2)'
    holds o/t/gauge.json '.values[0][0] | (.[0] - .[1] | fabs) == 2'
    rg study gauge -o o --quantity at --bearing 200 t.csv
    near o/t/gauge.json '.values[0][0][0]' "$(jq '.bins[200].width_mm' $G)" 1e-9
    rg study gauge -o o t.csv
    near o/t/gauge.json '.values[0][0][0]' "$(jq '[.bins[] | select(.state == "gap") | .width_mm] | max' $G)" 1e-9
    rg study gauge --quantity at t.csv
    refused 64 "--bearing"
    rg study gauge --bearing 5 t.csv
    refused 64 "--quantity at"
    sealed='.arcs = [] | .bins |= map(.state = "sealed" | .width_mm = 0 | .u_mm = 0)'
    jq "$sealed" $G >g1.json
    rg study gauge -o o --quantity centre t.csv
    refused 65 "t.csv, line 2" "no open arc"
    rg study gauge -o o t.csv
    near o/t/gauge.json '.values[0][0][0]' 0 0
    jq '.bins[200].state = "unseen" | .bins[200].width_mm = null' $G >g1.json
    rg study gauge --quantity at --bearing 200 -o o t.csv
    refused 65 "t.csv, line 2" "bearing 200 was not seen"
}

test_study_gauge_measures_sweep_folders_beside_the_table() {
    mkdir w
    leaking w/a
    table w/t.csv part,person,repeat,sweep "P,Ada,1,a" "P,Ada,2,$ROOT/samples/PE-A-0147/07-G-sharp" \
        "Q,Ada,1,a" "Q,Ada,2,./a"
    rg study gauge -o o --pictures none w/t.csv
    silent err
    # The same frames give the same width, wherever they lie.
    holds o/t/gauge.json '[.values[][][]] | (max - min) < 1e-12 and max > 0.12'
    table w/t.csv part,person,repeat,sweep P,Ada,1,a P,Ada,2,b Q,Ada,1,a Q,Ada,2,a
    rg study gauge -o o w/t.csv
    refused 66 "w/t.csv, line 3" "w/b" "sweep.ini"
    mkdir w/b
    rg study gauge -o o w/t.csv
    refused 66 "w/t.csv, line 3" "seal-map.json"
    echo '{}' >w/b/seal-map.json
    rg study gauge -o o w/t.csv
    refused 65 "w/t.csv, line 3" "w/b/seal-map.json" "format"
}

test_study_gauge_refuses_tables_by_line_and_column() {
    table t.csv part,person,repeat,value_mm a,x,1,0.1 a,x,2,wide
    rg study gauge -o o t.csv
    refused 65 "t.csv, line 3" "value_mm = wide"
    table t.csv part,person,repeat,value_mm a,x,1,0.1 a,x,2,0.2 b,x,1,0.3
    rg study gauge -o o t.csv
    refused 65 "part b by person x has 1 of 2 repeats"
    table t.csv part,person,repeat,value_mm a,x,1,0.1 a,x,2,0.2
    rg study gauge -o o t.csv
    refused 65 "t.csv" "at least two parts"
    gone o
}

test_study_detect_gives_the_handbook_s_figures() {
    cracks c.csv
    rg study detect -o o --axis linear c.csv
    exits 0
    silent err
    shows "92 of 134 found" "a50 0.1156" "a90 0.1709" "a90/95 0.1974" "likelihood ratio"
    [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    near o/c/detect.json .hit_miss.a90_95_mm 0.1973540503 1e-6
    near o/c/detect.json .hit_miss.intercept -4.597366566 1e-6
    rg study detect -o o c.csv
    near o/c/detect.json .hit_miss.a90_95_mm 0.2105862819 1e-6
    rg study detect -o o --link probit --axis linear c.csv
    near o/c/detect.json .hit_miss.a90_95_mm 0.1972880759 1e-6
    whole o/c/pod.png o/c/pod.svg
    gone o/c/signal.png
    no_parts o
}

test_study_detect_of_signals_gives_the_handbook_s_figures() {
    signals s.csv
    rg study detect -o o --signal-axes log-size --decision 200 s.csv
    exits 0
    shows "368 signals, 12 below and 22 above" "a90/95 13.13"
    near o/s/detect.json .signal.intercept -1113.54481 1e-6
    near o/s/detect.json .signal.a90_95_mm 13.1344576 1e-6
    whole o/s/pod.png o/s/signal.png o/s/signal.svg
    rg study detect -o o s.csv
    refused 64 "--decision"
    rg study detect -o o --decision high s.csv
    refused 64 "--decision high"
}

test_study_detect_exit_code_follows_what_is_required() {
    cracks c.csv
    rg study detect -o o --pictures none --axis linear --require 0.198 c.csv
    exits 0
    shows "at most 0.198 mm: passed"
    rg study detect -o o --pictures none --axis linear --require 0.197 c.csv
    exits 1
    shows failed
    table few.csv size_mm,hit 0.1,1 0.05,0 0.2,1 0.02,0
    rg study detect -o o --require 1 few.csv
    exits 2
    shows "no curve" "do not overlap"
    holds o/few/detect.json '.verdict == "undecided" and .hit_miss.a90_95_mm == null'
    whole o/few/pod.png
    rg study detect --require -1 few.csv
    refused 64 "--require -1"
}

# samples/README.md: what is there. Seven sweeps, thirty opportunities each.
test_study_detect_of_the_sample_sweeps() {
    rg study detect -o o "$STUDY/detect.csv"
    [ "$status" = 0 ] || [ "$status" = 2 ] || fail "a study, not an error: $status"
    silent err
    shows "7 sweeps, 210 opportunities, one every 12 degrees" "not seen and left out" "false calls: 0 of"
    D=o/detect/detect.json
    holds $D '.input == "sweeps" and .sweeps == 7 and .opportunities == 210'
    # F sharp has no proven lamp: none of its 30 is an opportunity.
    holds $D '.unseen.closed >= 30 and .unseen.open + .unseen.closed + .targets.n + .false_calls.n == 210'
    holds $D '.false_calls.calls == 0 and .false_calls.sweeps == 1'
    # No gap above the tolerance was missed.
    holds $D '.targets.largest_missed_mm < 0.025 and .targets.found > 40'
    holds $D '.signal.decision == 0.025 and (.signal.slope - 1 | fabs) < 0.1'
    whole o/detect/pod.png o/detect/signal.png o/detect/pod.svg o/detect/signal.svg
}

# What was rendered and found (tests/tools/prove.c); the aim of a properly rocked sweep is 0.013 mm.
test_study_detect_of_the_rendered_gaps_meets_the_aim() {
    rg study detect --out o --require 0.013 --pictures none "$ROOT/samples/study/rendered.csv"
    exits 0
    holds o/rendered/detect.json '.hit_miss.a90_95_mm > 0.008 and .hit_miss.a90_95_mm < 0.0095'
    rg study detect --out o --require 0.008 --pictures none "$ROOT/samples/study/rendered.csv"
    exits 1
}

test_study_detect_counts_opportunities_by_every() {
    mkdir maps
    rg inspect -q -o maps --pictures none "$SAMPLES/08-G" "$SAMPLES/04-C"
    ln -s "$ROOT/samples/truth" truth
    table t.csv sweep,truth maps/PE-A-0147/08-G,truth/08-G.json maps/PE-A-0147/04-C,0
    for every in 1 12 90 360; do
        rg study detect -o o --pictures none --every $every t.csv
        holds o/t/detect.json ".opportunities == 2 * (360 / $every)"
    done
    # A claim where the truth is stated as 0 is a false call.
    table t.csv sweep,truth maps/PE-A-0147/08-G,0
    rg study detect -o o --pictures none t.csv
    exits 2
    holds o/t/detect.json '.false_calls.calls > 5 and .false_calls.sweeps_with_calls == 1'
    holds o/t/detect.json '.targets.n == 0 and .hit_miss == null'
    table t.csv sweep,truth maps/PE-A-0147/08-G,nothing.json
    rg study detect -o o t.csv
    refused 66 "t.csv, line 2" nothing.json
    echo '{"w_mm": [1]}' >bad.json
    table t.csv sweep,truth maps/PE-A-0147/08-G,bad.json
    rg study detect -o o t.csv
    refused 65 "t.csv, line 2" bad.json "w_mm must be a list of 360"
}

test_study_json_is_the_file() {
    cracks c.csv
    rg study detect --json -o o c.csv
    silent err
    cmp out o/c/detect.json || { jq -S . out >a && jq -S . o/c/detect.json >b && cmp a b; } ||
        fail "the document is the file"
    gaskets g.csv
    rg study gauge --json -o o g.csv
    jq -S . out >a && jq -S . o/g/gauge.json >b && cmp a b || fail "the document is the file"
    rg study gauge -q -o o g.csv
    silent out
    silent err
}

test_study_without_pictures_takes_earlier_ones_away() {
    signals s.csv
    rg study detect -q -o o --decision 200 s.csv
    there o/s/pod.png o/s/signal.svg
    rg study detect -q -o o --decision 200 --pictures none s.csv
    [ "$(ls o/s)" = detect.json ] || fail "one file: $(ls o/s)"
}

test_study_that_cannot_write_says_so() {
    gaskets g.csv
    echo file >o
    rg study gauge -o o g.csv
    refused 73 "o"
}
