# What make demo shows.

test_the_demonstration_shows_the_table_and_names_the_pictures() {
    ln -s "$ROOT/samples" samples
    unset DISPLAY WAYLAND_DISPLAY || :
    sh samples/demo.sh "$RIMGLOW" >out 2>err || fail "exit code 0 although pads leak"
    silent err
    shows "6 sweeps:" "How to read it" "inspection/PE-A-0147/08-G/ring.png" "picture viewer"
    for picture in $(grep -o 'inspection/.*/ring.png' out); do there "$picture"; done
    [ "$(grep -c 'ring.png$' out)" = 6 ] || fail "six pictures are named"
}

test_the_demonstration_fails_with_the_program() {
    ln -s "$ROOT/samples" samples
    echo here >inspection
    status=0
    sh samples/demo.sh "$RIMGLOW" >out 2>err || status=$?
    exits 73
    grep -q "failed with code 73" err || fail "the code is named"
}
