# A whole instrument for the browser: the body of calib/alto-loan.ini, each pad with the 20 mm rim and the crown of
# the path-traced frames, and for each pad a sweep that is one of the samples under its name.
#
# instrument FOLDER: makes FOLDER/instrument.ini, FOLDER/recorded/NN-PAD, FOLDER/facts.json

# The samples' geometry in place of each pad's own.
derive() {
    sed -n '/^\[pad C\]/,/^$/p' calib/alto-loan.ini | grep -E '^(rim_inner_mm|rim_outer_mm|pad_mm)' >"$1/geometry"
    awk -v geometry="$1/geometry" '
        /^\[/ { pad = /^\[pad / }
        pad && /^(rim_inner_mm|rim_outer_mm|pad_mm|crown|crown_[a-z_]*|cup_height_mm) / { next }
        { print }
        /^\[pad / { while ((getline line < geometry) > 0) print line; close(geometry) }' calib/alto-loan.ini >"$1/instrument.ini"
}

instrument() {
    into=$1
    derive "$into"
    mkdir -p "$into/recorded"
    number=0
    sed -n 's/^\[pad \(.*\)\]$/\1/p' "$into/instrument.ini" >"$into/names"
    : >"$into/verdicts"
    : >"$into/witnesses"
    while read -r pad; do
        sample=$(ls -d samples/PE-A-0147/* | sed -n "$((number % 6 + 1))p")
        number=$((number + 1))
        folder=$into/recorded/$(printf %02d $number)-$(echo "$pad" | tr ' ' -)
        cp -r "$sample" "$folder"
        sed -e "s|^pad = [^;]*|pad = $pad |" -e "s|^instrument = [^ ]*|instrument = $into/instrument.ini|" \
            -e "s|^station = [^ ]*|station = $(pwd)/calib/bench.ini|" "$sample/sweep.ini" >"$folder/sweep.ini"
        "$RIMGLOW" inspect --json --pictures none -o "$into/inspection" "$folder" | jq -r .verdict >>"$into/verdicts"
        grep -c '= witness' "$folder/sweep.ini" >>"$into/witnesses"
    done <"$into/names"
    jq -n --rawfile n "$into/names" --rawfile v "$into/verdicts" --rawfile w "$into/witnesses" \
        'def lines: rtrimstr("\n") | split("\n");
        {names: ($n | lines), verdicts: ($v | lines), witness: [$w | lines[] | . != "0"]}' >"$into/facts.json"
}
