# Whatever is changed in an archive is found and named: bag, file and kind of change.
# Every case begins with honest archives of three bags in a chain (PE-A-0147) and one of another serial.
#
# release only, all: test_bag_check, test_bag_read and test_signing do it under the sanitizers; fuzz_bag holds the reader
. "$ROOT/tests/cli/archive.sh"

# honest: the archive honest/ (bags 1 to 3 of PE-A-0147 and one of PE-A-0151); honest-signed/ by shop.key.
honest() {
    instrument PE-A-0147
    instrument PE-A-0151
    three honest
    visit honest PE-A-0147 3
    rg archive verify -a honest
    exits 0
}

honest_signed() {
    honest
    mv honest unsigned
    rg archive key shop.key
    exits 0
    three honest --key shop.key
    visit honest PE-A-0147 3 --key shop.key
    rg archive verify -a honest --public shop.key.pub
    exits 0
}

# again: a fresh copy a/ of the honest archive, its bags of PE-A-0147 as $first, $middle and $newest.
again() {
    chmod -R u+w a 2>/dev/null || true
    rm -rf a
    cp -a honest a
    first=$(bag a PE-A-0147 1) middle=$(bag a PE-A-0147 2) newest=$(bag a PE-A-0147 3)
}

# caught KIND BAG FILE [OPTION...]: verify fails and has a fault of that kind, bag and file; says so in plain text,
# too. KIND and FILE may be jq patterns; BAG is a path below a/bags.
caught() {
    kind=$1 in=${2#a/bags/} file=$3
    shift 3
    rg archive verify -a a --json "$@"
    exits 1
    jq -e --arg kind "$kind" --arg bag "$in" --arg file "$file" \
        '[.findings[] | select(.remark | not) | select((.kind | test("^(" + $kind + ")$")) and .bag == $bag
           and (.file | test("^(" + $file + ")$")))] | length > 0' out >/dev/null ||
        fail "found: $kind, $in, $file; but: $(jq -c '.findings[] | [.kind, .bag, .file, .text, .remark]' out)"
    rg archive verify -a a "$@"
    exits 1
    shows "$in"
}

# flip FILE AT: turns one bit over.
flip() {
    byte=$(od -An -tu1 -j "$2" -N 1 "$1" | tr -d ' ')
    printf "\\$(printf %03o $((byte ^ 1)))" | dd of="$1" bs=1 seek="$2" conv=notrunc 2>/dev/null
}

# digit MANIFEST: where the first decimal digit of its first digest stands; another digit is one bit away.
digit() { head -c 64 "$1" | grep -abo '[0-9]' | head -1 | cut -d: -f1; }

# remanifest BAG: makes manifests and bag-info.txt fit what is there, as anyone can with standard tools.
remanifest() {
    (
        cd "$1"
        find data -type f | LC_ALL=C sort | xargs sha256sum >manifest-sha256.txt
        oxum=$(find data -type f -printf '%s\n' | awk '{ n++; s += $1 } END { print s "." n }')
        sed -i "s/^Payload-Oxum: .*/Payload-Oxum: $oxum/" bag-info.txt
        sha256sum bag-info.txt bagit.txt manifest-sha256.txt >tagmanifest-sha256.txt
    )
    standard_tools_agree "$1" || fail "the shell's manifests fit"
}

FRAME=data/sweeps/c/view_00.jpg

test_an_honest_archive_is_clean_and_standard_tools_agree() {
    honest
    rg archive verify -a honest --json
    exits 0
    holds out '.faults == 0 and (.bags | length) == 4'
    for one in $(bags honest); do
        standard_tools_agree "honest/bags/$one" || fail "sha256sum agrees about $one"
        head -1 "honest/bags/$one/bagit.txt" | grep -qx 'BagIt-Version: 1.0' || fail "it is a bag"
        # Every payload file is in the manifest and no other (RFC 8493, 2.1.3).
        (cd "honest/bags/$one" && find data -type f | LC_ALL=C sort) >files
        sed 's/^[0-9a-f]*  *//' "honest/bags/$one/manifest-sha256.txt" | LC_ALL=C sort >listed
        cmp files listed || fail "the manifest lists what is there"
    done
}

test_one_bit_is_found_in_every_kind_of_file() {
    honest
    again
    picture=$(cd "$middle" && find data/results -name '*.png' | sort | head -1)
    station=$(cd "$middle" && find data/calib -name '*bench*' | head -1)
    alto=$(cd "$middle" && find data/calib -name '*alto*' | head -1)
    for altered in $FRAME data/sweeps/c/sweep.ini data/results/c/seal-map.json data/inspection.json \
        "$picture" "$station" "$alto"; do
        again
        there "$middle/$altered"
        flip "$middle/$altered" 40
        caught altered "$middle" "$altered"
    done
    again
    flip "$middle/manifest-sha256.txt" "$(digit "$middle/manifest-sha256.txt")"
    caught "manifest rewritten" "$middle" manifest-sha256.txt
    again
    flip "$middle/tagmanifest-sha256.txt" "$(digit "$middle/tagmanifest-sha256.txt")"
    caught "tag file altered" "$middle" bag-info.txt
    caught "manifest rewritten" "$middle" tagmanifest-sha256.txt
    again
    flip "$middle/bag-info.txt" 20
    caught "tag file altered" "$middle" bag-info.txt
    again
    flip "$middle/bagit.txt" 16
    caught "tag file altered" "$middle" bagit.txt
}

test_changed_lengths_and_moved_files_are_found() {
    honest
    again
    truncate -s -1 "$first/$FRAME"
    caught altered "$first" "$FRAME"
    again
    printf x >>"$newest/$FRAME"
    caught altered "$newest" "$FRAME"
    again
    : >"$newest/data/inspection.json"
    caught altered "$newest" data/inspection.json
    again
    mv "$middle/$FRAME" "$middle/keep"
    mv "$middle/data/sweeps/c/witness.jpg" "$middle/$FRAME"
    mv "$middle/keep" "$middle/data/sweeps/c/witness.jpg"
    caught swapped "$middle" "$FRAME"
    again
    mv "$middle/$FRAME" "$middle/data/sweeps/c/view_99.jpg"
    caught moved "$middle" "$FRAME|data/sweeps/c/view_99.jpg"
    again
    rm "$first/$FRAME"
    caught missing "$first" "$FRAME"
    again
    echo x >"$first/data/sweeps/c/added.txt"
    caught extra "$first" data/sweeps/c/added.txt
    again
    echo x >"$first/added-tag.txt"
    caught extra "$first" added-tag.txt
    again
    mkdir -p "$first/data/more/and-more"
    echo x >"$first/data/more/and-more/file"
    caught extra "$first" data/more/and-more/file
    again
    mkdir "$first/data/empty"
    caught extra "$first" "data/empty/?"
}

test_links_in_place_of_files_are_found() {
    honest
    again
    mv "$middle/$FRAME" outside.jpg
    ln -s "$PWD/outside.jpg" "$middle/$FRAME"
    caught altered "$middle" "$FRAME"
    again
    mv "$middle/data/sweeps/c" outside
    ln -s "$PWD/outside" "$middle/data/sweeps/c"
    caught extra "$middle" data/sweeps/c
    caught missing "$middle" "$FRAME"
    again
    mv "$middle" outside-bag
    ln -s "$PWD/outside-bag" "$middle"
    caught "not of the archive" "$middle" ""
    again
    mv a/bags/PE-A-0147 outside-serial
    ln -s "$PWD/outside-serial" a/bags/PE-A-0147
    caught "not of the archive" a/bags/PE-A-0147 ""
    again
    rm "$middle/$FRAME"
    mkfifo "$middle/$FRAME"
    caught altered "$middle" "$FRAME"
}

test_rearranged_manifests_are_found() {
    honest
    again
    LC_ALL=C sort -r "$middle/manifest-sha256.txt" >turned
    cp turned "$middle/manifest-sha256.txt"
    standard_tools_agree "$middle" 2>/dev/null && fail "sha256sum sees the tag manifest differ"
    caught "manifest rewritten" "$middle" manifest-sha256.txt
    # One line for a changed file, nothing else.
    again
    flip "$middle/$FRAME" 40
    sum=$(sha256sum <"$middle/$FRAME" | cut -d' ' -f1)
    sed -i "s,^[0-9a-f]*\(  $FRAME\)$,$sum\1," "$middle/manifest-sha256.txt"
    (cd "$middle" && sha256sum --quiet -c manifest-sha256.txt) || fail "the payload fits"
    caught "manifest rewritten" "$middle" manifest-sha256.txt
    # A line less, with its file.
    again
    rm "$middle/$FRAME"
    sed -i "\\,$FRAME,d" "$middle/manifest-sha256.txt"
    caught "manifest rewritten" "$middle" manifest-sha256.txt
}

# Someone who knows BagIt makes everything fit again: the chain (or the index, for the newest) knows better.
test_a_bag_made_to_fit_again_is_found() {
    honest
    for which in first middle newest; do
        again
        eval "altered=\$$which"
        flip "$altered/$FRAME" 40
        remanifest "$altered"
        caught "manifest rewritten" "$altered" manifest-sha256.txt
        # Also when the index is made again to fit: the next bag of the chain still knows.
        rg archive reindex -a a
        case $which in
        newest) ;; # nothing else knows: signature, certificate and verify --digest are for that
        *) caught "manifest rewritten" "$altered" manifest-sha256.txt ;;
        esac
    done
    rg archive verify -a a --digest "$(sha256sum <"$newest/tagmanifest-sha256.txt" | cut -d' ' -f1)"
    exits 0
    rg archive verify -a a --digest "$(sha256sum <"honest${newest#a}/tagmanifest-sha256.txt" | cut -d' ' -f1)"
    exits 1
}

test_a_changed_link_to_the_bag_before_is_found() {
    honest
    again
    jq --indent 2 '.previous.manifest_sha256 |= ("0000" + .[4:])' "$middle/data/inspection.json" >edited
    cp edited "$middle/data/inspection.json"
    remanifest "$middle"
    caught "chain broken" "$middle" data/inspection.json
    caught "manifest rewritten" "$middle" manifest-sha256.txt
    # The newest bag, and the index made to fit.
    again
    jq --indent 2 '.previous.manifest_sha256 |= ("0000" + .[4:])' "$newest/data/inspection.json" >edited
    cp edited "$newest/data/inspection.json"
    remanifest "$newest"
    rg archive reindex -a a
    caught "chain broken" "$newest" data/inspection.json
    again
    jq --indent 2 '.previous = null' "$newest/data/inspection.json" >edited
    cp edited "$newest/data/inspection.json"
    remanifest "$newest"
    rg archive reindex -a a
    caught "chain broken" "$newest" data/inspection.json
}

test_bags_taken_away_copied_or_exchanged_are_found() {
    honest
    for which in first middle newest; do
        again
        eval "altered=\$$which"
        rm -rf "$altered"
        caught "bag missing" "$altered" ""
    done
    # Without the index, the gap in the chain shows by itself.
    again
    rm -rf "$middle"
    rg archive reindex -a a
    caught "bag missing" "$newest" ""
    shows "$(basename "$middle"), is not in the archive"
    again
    cp -a "$newest" "a/bags/PE-A-0147/0004-20270101T000000Z"
    caught "bag misplaced" a/bags/PE-A-0147/0004-20270101T000000Z ""
    again
    cp -a "$newest" a/bags/PE-A-0151/
    caught "bag misplaced" "a/bags/PE-A-0151/$(basename "$newest")" ""
    again
    mv "$first" keep
    mv "$middle" "$first"
    mv keep "$middle"
    caught "bag misplaced" "$first" ""
    caught "bag misplaced" "$middle" ""
    again
    mv a/bags/PE-A-0151 a/bags/PE-A-0999
    caught "bag misplaced" "a/bags/$(bags a PE-A-0999)" ""
}

test_a_changed_index_is_found() {
    honest
    index=a/index.sqlite
    # One bag without a row is what a crash leaves: a remark, and the next add makes the row. An index
    # that lacks two is an older one.
    again
    sqlite3 $index "pragma foreign_keys = on; delete from inspection where serial = 'PE-A-0147' and sequence = 3"
    rg archive verify -a a --json
    exits 0
    holds out '.remarks == 1 and .findings[0].kind == "index"'
    again
    sqlite3 $index "pragma foreign_keys = on; delete from inspection where serial = 'PE-A-0151' or sequence = 3"
    caught index "$newest" ""
    caught index "a/bags/$(bags a PE-A-0151)" ""
    again
    sqlite3 $index "pragma foreign_keys = on; delete from inspection where serial = 'PE-A-0147' and sequence > 1"
    caught index "$middle" ""
    for edit in "update pad set verdict = 'sealed'" "update inspection set technician = 'B. Other'" \
        "update pad set tolerance_mm = 0.1" "update pad set name = 'x' where name = 'c'" "update inspection set verdict = 'sealed'"; do
        again
        tables=$(sqlite3 $index .tables)
        sqlite3 $index "$edit" || fail "the edit works: $edit ($tables)"
        caught index "$first" ""
    done
    again
    sqlite3 $index "delete from inspection where sequence = 2"
    caught index "$middle" ""
    # Not an index at all, or none: verify says so, and reindex mends it.
    for edit in "echo rubbish >$index" "rm $index" ": >$index" "truncate -s 5000 $index"; do
        again
        eval "$edit"
        rg archive verify -a a
        exits 1
        shows "index.sqlite" "reindex"
        rg archive reindex -a a
        exits 0
        rg archive verify -a a
        exits 0
    done
}

test_signed_bags_cannot_be_made_to_fit_again() {
    honest_signed
    for which in first middle newest; do
        again
        eval "altered=\$$which"
        flip "$altered/signature-ed25519.txt" 120
        caught signature "$altered" "signature-ed25519.txt" --public shop.key.pub
        # Everything fits again and the index, too; the signature does not.
        again
        eval "altered=\$$which"
        flip "$altered/$FRAME" 40
        remanifest "$altered"
        rg archive reindex -a a
        caught signature "$altered" "signature-ed25519.txt" --public shop.key.pub
        # Signed by another key, or not at all any more.
        again
        eval "altered=\$$which"
        rm "$altered/signature-ed25519.txt"
        # Bags from before the shop had a key are not signed: of the first one only the index knows.
        case $which in
        first) caught index "$altered" "" --public shop.key.pub ;;
        *) caught signature "$altered" "" --public shop.key.pub ;;
        esac
    done
    rg archive key other.key
    mv a theirs
    mv honest ours
    instrument PE-A-0147
    three honest --key other.key
    visit honest PE-A-0147 3 --key other.key
    again
    for altered in "$first" "$middle" "$newest"; do
        caught signature "$altered" signature-ed25519.txt --public shop.key.pub
        shows "unknown key"
    done
}

test_strange_things_in_the_archive_are_named() {
    honest
    again
    mkdir -p "a/bags/PE-A-0147/notes"
    echo x >a/bags/stray.txt
    rg archive verify -a a
    exits 1
    shows "stray.txt" "PE-A-0147/notes" "not of the archive"
}
