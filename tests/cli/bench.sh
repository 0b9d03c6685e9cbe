# Words for cases about rimglow bench; to be read by ". $ROOT/tests/cli/bench.sh".

# serve COMMAND...: runs a server that prints its address; $port, $url, $pid. It ends with the case.
serve() {
    : >bench.out
    "$@" >bench.out 2>bench.err </dev/null &
    pid=$!
    trap 'end_bench' EXIT
    for try in $(seq 80); do
        ! grep -q 'http://' bench.out || break
        kill -0 $pid 2>/dev/null || { cat bench.err; fail "the server starts"; }
        sleep 0.25
    done
    url=$(sed -n 's|^= \(http://[^ ]*\)/.*|\1|p' bench.out)
    port=${url##*:}
    [ -n "$port" ] || fail "an address is printed"
}

# bench OPTION...: starts it on a free port with recorded sweeps; $port, $url, $pid. It ends with the case.
bench() { start_bench --technician "A. Bell" --replay "$SAMPLES" "$@"; }

# start_bench OPTION...: without --replay, with the station file $station where the case names one.
start_bench() {
    serve "$RIMGLOW" bench --instrument "$CALIB/alto-loan.ini" --station "${station:-$CALIB/bench.ini}" \
        --serial PE-A-0147 --port 0 "$@"
}

# It is still there, and ends in order: exit code 0 and nothing said by a sanitizer.
end_bench() {
    ended=$?
    code=0
    kill -INT $pid || ended=1
    wait $pid || code=$?
    [ "$code" = 0 ] && ! grep -q Sanitizer bench.err || { echo "not so: the bench ends in order ($code)"; cat bench.err; ended=1; }
    exit $ended
}

# answers CODE CURL-ARGUMENT...: what the server says to it.
answers() {
    want=$1
    shift
    got=$(curl -s -o body -D head --max-time "$((${PATIENCE:-360} / 4))" -w '%{http_code}' "$@") || true
    [ "$got" = "$want" ] || { cat head; head -c 300 body; fail "$want to: $* (it was $got)"; }
}

csrf() { curl -s "$url/api/session" | jq -r .csrf; }
# post CODE CALL JSON: as the page does.
post() { answers "$1" -H 'Content-Type: application/json' -H "X-Csrf-Token: $token" -H "Origin: $url" -d "$3" "$url/api/$2"; }
state() { curl -s "$url/api/state" >state.json; }
# becomes FILTER: the state does within a minute; PATIENCE quarters of a second for a slower program.
becomes() {
    for try in $(seq "${PATIENCE:-240}"); do
        state
        ! jq -e "$1" state.json >/dev/null || return 0
        sleep 0.25
    done
    fail "the state becomes $1: $(jq -c '{role, source, message, busy, live: (.live | if . then {kept, verdict, decided} else . end),
        calibration: (.calibration | del(.lens.result, .lens.picture, .light.result))}' state.json)"
}
# keeps_asking NAME CODES CURL-ARGUMENT...: asks again and again, in the background, until asked_enough; ends early when an
# answer is not one of CODES ("200 409"). What it got last is in NAME.asked.
keeps_asking() {
    name=$1 codes=$2
    shift 2
    (
        trap - EXIT # the server is ended by the case alone
        while [ ! -e enough ]; do
            got=$(curl -s -o "$name.body" -w '%{http_code}' --max-time "$((${PATIENCE:-360} / 4))" "$@") || true
            echo "$got" >"$name.asked"
            case " $codes " in *" $got "*) ;; *) cat "$name.body" 2>/dev/null; exit 1 ;; esac
        done
    ) &
    askers="${askers:-} $!"
}
asked_enough() {
    : >enough
    for asker in $askers; do
        wait "$asker" || fail "everybody is answered meanwhile: $(grep . ./*.asked | tr '\n' ' ')"
    done
}
# raw TEXT...: printf of them to the socket; the answer is then in raw.out.
raw() { printf "$@" | "$TOOLS/httpraw" "$port" say >raw.out 2>raw.err; }
raw_answers() { head -1 raw.out | grep -q "^HTTP/1.1 $1 " || fail "the answer is $1, it was: $(head -1 raw.out)"; }

# asks_nobody_else PATH...: files of the page that point to no other place.
asks_nobody_else() {
    for path in "$@"; do
        answers 200 "$url$path"
        ! grep -oE '(https?:)?//[a-z0-9.-]+\.[a-z]{2,}' body | grep -v 'www\.w3\.org' || fail "$path asks nobody else"
    done
}
