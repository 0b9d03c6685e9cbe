# Serials and folder names that mean to break out: refused in clear words, or stored safely.
. "$ROOT/tests/cli/archive.sh"

long=$(printf '%0300d' 0)
newline='
'

# serial_is SERIAL: sweeps/s says so.
serial_is() {
    rm -rf sweeps/s
    mkdir sweeps/s
    cp sweeps/PE-A-0147/c/* sweeps/s/
    SERIAL=$1 awk '/^serial/ { print "serial = " ENVIRON["SERIAL"]; next } { print }' sweeps/PE-A-0147/c/sweep.ini >sweeps/s/sweep.ini
}

# names: what stands here and one folder above.
names() { find . .. -mindepth 1 -maxdepth 1 | sort; }

test_hostile_serials_are_refused_or_stored_inside() {
    mkdir -p x/y
    cd x/y
    instrument PE-A-0147
    visit a PE-A-0147 0
    : >now
    : >then
    names >then
    for serial in '../../PE' '..' '.' '/etc/x' '-rf' '' "$long" 'PE-Ä-0147' "PE'\"0147" '<script>alert(1)</script>' \
        'PE%0A0147' 'PE%2F..' 'PE 0147' 'a\b' '.hidden' 'CON' '$(touch pwned)' '`touch pwned`' '=1+1' 'a;b' \
        "$(printf 'PE\tA')" "$(printf 'PE\033[31mA')" "$(printf 'PE\377A')"; do
        serial_is "$serial"
        rg archive add -a a --technician "A. Tester" --results inspection sweeps/s
        case $status in
        0) ;;
        64 | 65 | 66) [ "$(wc -l <err)" = 1 ] && ! grep -q "$(printf '\033')" err || fail "one plain line for $serial" ;;
        *) fail "\"$serial\" is refused or stored, not: $status" ;;
        esac
        [ ! -e pwned ] || fail "nothing is executed"
        names >now
        cmp -s then now || fail "nothing is written beside the archive for $serial: $(diff then now)"
        rg archive verify -a a
        exits 0
    done
    # A serial on the command line, where none can be meant.
    for word in '../../etc' '..' "$long" "a${newline}b" '%0A'; do
        rg archive show -a a -- "$word"
        case $status in 64 | 66) ;; *) fail "show \"$word\" is refused, not $status" ;; esac
    done
}

test_hostile_folder_names_are_stored_safely() {
    instrument PE-A-0147
    count=0
    for name in '-rf' "it's" 'say "x"' '<script>' '%0A' '..x' 'pad Ä' "two${newline}lines" "$(printf '%0200d' 0)" \
        'a%2Fb' "$(printf 'tab\there')" "$(printf 'bad\377utf8')" '*' '$(touch pwned)' '=cmd'; do
        mkdir -p "sweeps/odd"
        rm -rf "sweeps/odd/$name"
        cp -R sweeps/PE-A-0147/c "sweeps/odd/$name"
        rg archive add -a a --technician "A. Tester" "sweeps/odd/$name"
        case $status in
        0) count=$((count + 1)) ;;
        64 | 65 | 66) [ "$(wc -l <err)" = 1 ] || fail "one line for $name" ;;
        *) fail "\"$name\" is refused or stored, not: $status" ;;
        esac
        [ ! -e pwned ] || fail "nothing is executed"
        rg archive verify -a a
        exits 0
    done
    [ "$(bags a PE-A-0147 | wc -l)" = $count ] || fail "$count bags: $(bags a)"
    [ "$count" -ge 5 ] || fail "odd but harmless names are stored ($count)"
    for one in $(bags a); do standard_tools_agree "a/bags/$one" || fail "$one agrees with sha256sum"; done
    rg archive list -a a --json
    exits 0
    jq -e . out >/dev/null || fail "JSON"
}

test_hostile_frame_names_are_refused() {
    for name in '%0A.jpg' "it's.jpg" 'a b.jpg' '100%.jpg' '../../x.jpg' '-rf.jpg'; do
        rm -rf sweeps/odd
        sweep sweeps/odd C
        cp "$SAMPLES/04-C/view_00.jpg" "sweeps/odd/$(basename -- "$name")"
        list sweeps/odd closed "$name"
        rg archive add -a a --technician "A. Tester" sweeps/odd
        refused 65 "sweeps/odd" "use letters"
    done
    gone a/bags/PE-A-0147
}

test_hostile_texts_do_not_reach_a_terminal_or_a_line() {
    instrument PE-A-0147
    rg archive add -a a --technician "$(printf 'A\nX: y\033[2J')" --note "$(printf 'one\ntwo\r\nPayload-Oxum: 1.1')" \
        --occasion visit sweeps/PE-A-0147/*
    case $status in
    0)
        [ "$(grep -c '^Payload-Oxum' "$(bag a PE-A-0147 1)/bag-info.txt")" = 1 ] || fail "one line is one line"
        rg archive list -a a
        ! grep -q "$(printf '\033')" out || fail "no escape codes"
        rg archive verify -a a
        exits 0
        ;;
    64 | 65) ;;
    *) fail "refused or stored: $status" ;;
    esac
    [ ! -d a/bags ] || for one in $(bags a); do standard_tools_agree "a/bags/$one"; done
}
