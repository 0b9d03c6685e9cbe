# What make demo shows.

# The program without the pictures of the frames, which take their time.
quick_program() {
    cat >quick <<END
#!/bin/sh
[ "\$1" = inspect ] || exec "$RIMGLOW" "\$@"
shift
exec "$RIMGLOW" inspect --pictures map "\$@"
END
    chmod +x quick
    ln -s "$ROOT/samples" samples
    ln -s "$ROOT/calib" calib
}

# release only: a shell script over commands that have cases of their own
test_the_demonstration_shows_the_table_and_names_the_pictures() {
    quick_program
    unset DISPLAY WAYLAND_DISPLAY || :
    sh samples/demo.sh ./quick >out 2>err || fail "exit code 0 although pads leak"
    silent err
    shows "6 sweeps:" "How to read it" "inspection/PE-A-0147/08-G/ring.png" "picture viewer"
    [ "$(grep -c 'ring.png$' out)" = 6 ] || fail "six pictures are named"
    for picture in $(grep -o 'inspection/.*/ring.png' out); do there "$picture"; done
    shows "2 inspections" "0 faults" "narrower at bearings"
    there build/demo/comparison/PE-A-0147/0001-0002/G.png build/demo/reports/PE-A-0147-0001.pdf
}

# release only: a shell script over commands that have cases of their own
test_the_demonstration_opens_pictures_only_where_there_is_a_screen() {
    quick_program
    mkdir bin
    printf '#!/bin/sh\necho "$1" >>%s/opened\n' "$PWD" >bin/xdg-open
    chmod +x bin/xdg-open
    PATH=$PWD/bin:$PATH
    unset DISPLAY WAYLAND_DISPLAY || :
    sh samples/demo.sh ./quick >out 2>err
    gone opened
    DISPLAY=:77 sh samples/demo.sh ./quick >out 2>err
    n=0
    until [ "$(cat opened 2>/dev/null | wc -l)" = 6 ] || [ $n = 100 ]; do
        n=$((n + 1))
        sleep 0.1
    done
    [ "$(sort -u opened | grep -c '/ring.png$')" = 6 ] || fail "six ring maps are opened"
}

test_the_demonstration_fails_with_the_program() {
    ln -s "$ROOT/samples" samples
    ln -s "$ROOT/calib" calib
    echo here >inspection
    status=0
    sh samples/demo.sh "$RIMGLOW" >out 2>err || status=$?
    exits 73
    grep -q "failed with code 73" err || fail "the code is named"
}
