# One case: case.sh FILE FUNCTION, in its own empty folder. The words below are
# the language the cases are written in; any that is not true ends the case.
set -eu
SAMPLES=$ROOT/samples/PE-A-0147
CALIB=$ROOT/calib

fail() {
    echo "not so: $*"
    [ ! -f err ] || sed 's/^/stderr: /' err
    [ ! -f out ] || head -40 out | sed 's/^/stdout: /'
    exit 1
}

# rg ARGUMENT...: runs the program; its output is then in out and err, its exit code in $status.
rg() {
    status=0
    "$RIMGLOW" "$@" >out 2>err </dev/null || status=$?
}

exits() { [ "$status" = "$1" ] || fail "exit code $1, it was $status"; }
shows() { for text in "$@"; do grep -qF -e "$text" out || fail "stdout says: $text"; done; }
hides() { for text in "$@"; do ! grep -qF -e "$text" out || fail "stdout does not say: $text"; done; }
silent() { [ ! -s "$1" ] || fail "$1 is empty"; }

# says TEXT...: one line on stderr, from us, with all of these in it.
says() {
    [ "$(wc -l <err)" = 1 ] || fail "one line on stderr"
    case $(cat err) in "rimglow: "*) ;; *) fail "the message begins with rimglow:" ;; esac
    for text in "$@"; do grep -qF -e "$text" err || fail "the message says: $text"; done
}

# refused CODE TEXT...: no crash, no result, one message.
refused() {
    exits "$1"
    shift
    says "$@"
}

there() { for file in "$@"; do [ -s "$file" ] || fail "$file is there and not empty"; done; }
gone() { for file in "$@"; do [ ! -e "$file" ] || fail "$file is not there"; done; }

# holds FILE FILTER: the jq filter is true of the JSON file.
holds() { jq -e "$2" "$1" >/dev/null || fail "in $1: $2 ($(jq -c '[.verdict, .reasons]' "$1"))"; }

# no_parts FOLDER: nothing half-written was left there.
no_parts() { [ -z "$(find "$1" -name '*.part-*')" ] || fail "no half-written file in $1"; }

# sweep FOLDER PAD [CROWN]: a new sweep folder without frames; frames go to the end of sweep.ini.
sweep() {
    mkdir -p "$1"
    cat >"$1/sweep.ini" <<END
[sweep]
serial = PE-A-0147
instrument = $CALIB/alto-loan.ini
station = $CALIB/bench.ini
pad = $2
crown = ${3:-2}
finger = light
[frames]
END
}

# add FOLDER ROLE FILE [NAME]: links a frame into a sweep folder and lists it.
add() {
    name=${4:-$(basename "$3")}
    ln -s "$3" "$1/$name"
    list "$1" "$2" "$name"
}

# list FOLDER ROLE NAME: lists a frame that is there already (or should be).
list() {
    case $2 in
    witness) echo "$3 = witness, exposure 0.2" >>"$1/sweep.ini" ;;
    *) echo "$3 = $2, exposure 1.0" >>"$1/sweep.ini" ;;
    esac
}

# change FOLDER SED-COMMAND: edits its sweep.ini.
change() {
    sed "$2" "$1/sweep.ini" >edited
    ! cmp -s edited "$1/sweep.ini" || fail "the edit $2 changes $1/sweep.ini"
    mv edited "$1/sweep.ini"
}

# leaking FOLDER: six closed frames and a witness of a pad with a wide gap.
leaking() {
    sweep "$1" "G sharp"
    add "$1" witness "$SAMPLES/07-G-sharp/witness.jpg"
    for frame in "$SAMPLES"/07-G-sharp/view_*.jpg; do add "$1" closed "$frame"; done
}

# whole FOLDER SAMPLE PAD: every closed frame of a sample, without its witness.
whole() {
    sweep "$1" "$3"
    for frame in "$SAMPLES/$2"/view_*.jpg; do add "$1" closed "$frame"; done
}

# made NAME COMMAND...: what COMMAND makes in an empty folder, copied into this one. It runs once for each run of the
# cases, so only for what a case begins with, never for what it is about.
made() {
    (
        flock 9
        [ -d "$MADE/$1" ] || make_once "$MADE/$1" "$@"
    ) 9>"$MADE/$1.lock"
    cp -a "$MADE/$1/." .
}
make_once() {
    rm -rf "$1.new"
    mkdir "$1.new"
    cd "$1.new"
    (shift 2 && "$@")
    rm -f out err edited
    mv "$1.new" "$1"
}

spoil() { "$TOOLS/spoil" "$@"; }

. "$1"
"$2"
