# Words for cases about archives; to be read by ". $ROOT/tests/cli/archive.sh".
. "$ROOT/tests/cli/faults.sh"

FIRST_DAY=1785000000 # 2026-07-25T17:20:00Z
DAY=86400

# on_day DAY ARGUMENT...: as rg, on a day after the first one. Without faults.so, today.
on_day() {
    day=$1
    shift
    if grep -q __asan_init "$RIMGLOW"; then
        rg "$@"
    else
        faulty "TIME=$((FIRST_DAY + day * DAY))" "$RIMGLOW" "$@"
    fi
}

# instrument SERIAL [PICTURES]: two small sweeps in sweeps/SERIAL, and their results in inspection/SERIAL.
instrument() { made "instrument-$1-${2:-map}" inspected "$@"; }
inspected() {
    for name in g-sharp c; do
        case $name in g-sharp) pad="G sharp" from=07-G-sharp ;; c) pad=C from=04-C ;; esac
        sweep "sweeps/$1/$name" "$pad"
        change "sweeps/$1/$name" "s/PE-A-0147/$1/; s/^finger.*/&\n[taken]\ndate = 2026-07-25\ngain = 0\nexposure_s = 0/"
        cp "$SAMPLES/$from/witness.jpg" "$SAMPLES/$from/view_00.jpg" "sweeps/$1/$name"
        list "sweeps/$1/$name" witness witness.jpg
        list "sweeps/$1/$name" closed view_00.jpg
        rg inspect -q --pictures "${2:-map}" "sweeps/$1/$name"
        there "inspection/$1/$name/seal-map.json"
    done
}

# visit ARCHIVE SERIAL DAY [OPTION...]: adds an inspection of the instrument; fails the case if that fails.
visit() {
    archive=$1 serial=$2 on=$3
    shift 3
    on_day "$on" archive add -a "$archive" --technician "A. Tester" "$@" "sweeps/$serial"/*
    [ "$status" = 0 ] || fail "the visit is archived, not: $status"
}

# three ARCHIVE [OPTION...]: PE-A-0147, PE-A-0151, PE-A-0147 again.
three() {
    where=$1
    shift
    visit "$where" PE-A-0147 0 "$@"
    visit "$where" PE-A-0151 1 "$@"
    visit "$where" PE-A-0147 2 "$@"
}

# bags ARCHIVE [SERIAL]: the bags, in order, a line each.
bags() { (cd "$1/bags" && find . -mindepth 2 -maxdepth 2 ${2:+-path "./$2/*"} | sed 's/^\.\///' | sort); }
# bag ARCHIVE SERIAL N: the path of the Nth.
bag() { bags "$1" "$2" | sed -n "$3{s,^,$1/bags/,;p}"; }

# dump ARCHIVE: what the index holds, in a fixed order.
dump() { "$TOOLS/dump_index" "$1/index.sqlite"; }

# standard_tools_agree BAG: sha256sum finds every file as both manifests say.
standard_tools_agree() {
    (cd "$1" && sha256sum --quiet --strict -c manifest-sha256.txt &&
        sha256sum --quiet --strict -c tagmanifest-sha256.txt)
}

# contents BAG: its files but for names that hold the time.
contents() { (cd "$1" && find . | sort); }
