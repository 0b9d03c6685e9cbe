# Words for cases about rimglow teach; to be read by ". $ROOT/tests/cli/teach.sh".

. "$ROOT/tests/cli/bench.sh"

# teach OPTION...: starts it on a free port; $port, $url, $pid. It ends with the case.
teach() {
    : >bench.out
    "$RIMGLOW" teach --port 0 "$@" >bench.out 2>bench.err </dev/null &
    pid=$!
    trap 'end_bench' EXIT
    for try in $(seq 40); do
        ! grep -q 'http://' bench.out || break
        kill -0 $pid 2>/dev/null || { cat bench.err; fail "teach starts"; }
        sleep 0.25
    done
    url=$(sed -n 's|^= \(http://[^ ]*\)/.*|\1|p' bench.out)
    port=${url##*:}
    [ -n "$port" ] || fail "an address is printed"
}

# look VALUES: one view of page p, in body.
look() { answers 200 "$url/api/look?page=p&$1"; }
