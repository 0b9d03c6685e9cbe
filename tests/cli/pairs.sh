# An archive for teaching, and what must not come out of it; to be read by ". $ROOT/tests/cli/pairs.sh".
. "$ROOT/tests/cli/archive.sh"

# whole_pad SERIAL: the instrument of archive.sh, with all six views of G sharp, which leaks; whatever reasons its maps
# give quote the dates of its frames and of the calibration.
whole_pad() {
    instrument "$1" none
    for view in 01 02 03 04 05; do
        cp "$SAMPLES/07-G-sharp/view_$view.jpg" "sweeps/$1/g-sharp"
        list "sweeps/$1/g-sharp" closed "view_$view.jpg"
    done
    grep -q '2026-07-25' "inspection/$1/c/seal-map.json" || fail "reasons quote dates"
}

# Two inspections of two sweeps each; the frames of the second one name their owner.
two_visits() {
    whole_pad PE-A-0147
    whole_pad PE-A-0151
    for frame in sweeps/PE-A-0151/*/*.jpg; do
        # A comment segment (ITU-T T.81) behind the first marker.
        { head -c 2 "$frame"; printf '\377\376\000\016OWNER-BELL-1'; tail -c +3 "$frame"; } >with && mv with "$frame"
    done
    rg archive add -q -a a --technician "Quill Feather" --occasion "yearly-check" --note "left-by-owner" sweeps/PE-A-0147/*
    exits 0
    rg archive add -q -a a --technician "Quill Feather" sweeps/PE-A-0151/*
    exits 0
}

sums() { (cd a && find . -type f ! -name 'index.sqlite-*' -exec sha256sum {} + | sort; find . | sort); }

# nobody FILE...: no word of the archive, nor of what the frames brought.
nobody() {
    for word in PE-A-0147 PE-A-0151 Quill Feather yearly-check left-by-owner OWNER-BELL 'Port Ellery' 2026- view_0 witness.jpg g-sharp; do
        ! grep -qaF -e "$word" "$@" || fail "$word is in none of $*"
    done
}
