# Many sweeps at once.

test_whole_instrument_is_one_table_and_the_workers_change_nothing() {
    rg inspect -j 1 -o one --pictures none "$SAMPLES"/*
    exits 1
    silent err
    for pad in "C  " "B  " "A  " "G sharp  " "G  " "F sharp  "; do
        grep -qE "^$pad.*(sealed|leaking|undecided)" out || fail "a row for $pad"
    done
    [ "$(grep -c '^pad  ' out)" = 1 ] || fail "one heading"
    shows "6 sweeps: " " 0 not inspected: leaking"
    mv out first
    rg inspect -j 2 -o two --pictures none "$SAMPLES"/*
    exits 1
    sed 's/= two/= one/' out | cmp - first || fail "the same table"
    diff -r one two || fail "the same bytes in every seal map"
    [ "$(find one -name seal-map.json | wc -l)" = 6 ] || fail "six seal maps"
}

test_a_broken_sweep_is_reported_and_the_rest_goes_on() {
    leaking a
    leaking b
    mkdir broken
    rg inspect -o o --pictures none a broken b
    exits 66
    says broken "empty"
    there o/PE-A-0147/a/seal-map.json o/PE-A-0147/b/seal-map.json
    shows "3 sweeps: 0 sealed, 2 leaking, 0 undecided, 1 not inspected"
}

test_an_error_outranks_every_verdict() {
    leaking a
    cp -R a b
    change b 's/^crown = 2/crown = 1/'
    rg inspect -o o --pictures none a b
    exits 65
    rg inspect -o o --pictures none b a missing
    exits 65
}

test_the_same_folder_twice_is_refused() {
    leaking s
    cp -R s copy
    mkdir other
    cp -R s other/s
    for second in s ./s s/ other/s; do
        rg inspect -o o --pictures none s $second
        refused 64 "would replace those of s"
    done
    rg inspect -o o --pictures none s copy
    exits 1
}

test_a_leak_outranks_undecided_and_undecided_sealed() {
    whole open 04-C C
    leaking s
    rg inspect -o o --pictures none open
    exits 2
    rg inspect -o o --pictures none open s
    exits 1
    shows "2 sweeps: 0 sealed, 1 leaking, 1 undecided, 0 not inspected: leaking"
    rg inspect -o o --pictures none "$SAMPLES/04-C" open
    exits 2
    shows "2 sweeps: 1 sealed, 0 leaking, 1 undecided, 0 not inspected: undecided"
}
