# Places that cannot be written, full disks, interrupted runs.

# bounded BLOCKS ARGUMENT...: with files of at most so many blocks of 512 bytes, like a disk that
# fills up: writing fails half way.
bounded() {
    status=0
    (
        trap '' XFSZ
        ulimit -f "$1"
        shift
        exec "$RIMGLOW" "$@"
    ) >out 2>err </dev/null || status=$?
}

test_an_output_path_below_a_file_is_73() {
    leaking s
    echo here >file
    rg inspect -o file --pictures none s
    refused 73 "file: " "Not a directory" "choose a place"
    rg inspect -o file/deeper --pictures none s
    refused 73 "file" "Not a directory"
    [ "$(cat file)" = here ] || fail "the file is untouched"
}

test_an_output_folder_where_nothing_can_be_made_is_73() {
    leaking s
    rg inspect -o /proc/none --pictures none s
    refused 73 "/proc/none" "cannot be made"
}

# Root may write everywhere, whatever the permission bits say.
test_a_read_only_output_folder_is_73() {
    leaking s
    mkdir o
    chmod 555 o
    rg inspect -o o --pictures none s
    if [ "$(id -u)" != 0 ]; then
        refused 73 "o/PE-A-0147" "choose a place"
    fi
}

test_a_folder_in_place_of_the_seal_map_is_73() {
    leaking s
    mkdir -p o/PE-A-0147/s/seal-map.json
    rg inspect -o o --pictures none s
    refused 73 "o/PE-A-0147/s/seal-map.json" "move away"
    no_parts o
}

test_an_output_path_too_long_is_73() {
    leaking s
    rg inspect -o "$(printf '%01500d' 0)" --pictures none s
    refused 73 "too long"
}

test_full_standard_output_is_74() {
    leaking s
    for options in --json "" -h; do
        status=0
        "$RIMGLOW" inspect $options -o o --pictures none s >/dev/full 2>err || status=$?
        refused 74 "standard output" "disk full"
    done
}

test_a_disk_full_at_the_seal_map_leaves_none_behind() {
    leaking s
    bounded 40 inspect -o o --pictures none s
    exits 74
    says "seal-map.json" "free some space"
    gone o/PE-A-0147/s/seal-map.json
    no_parts o
}

test_a_disk_full_at_the_pictures_leaves_no_seal_map() {
    leaking s
    bounded 250 inspect -j 2 -o o s
    exits 74
    says "free some space"
    gone o/PE-A-0147/s/seal-map.json
    no_parts o
}

test_a_disk_full_keeps_the_seal_map_of_the_run_before() {
    leaking s
    rg inspect -o o --pictures none s
    cp o/PE-A-0147/s/seal-map.json before
    bounded 40 inspect -o o --pictures none s
    exits 74
    cmp before o/PE-A-0147/s/seal-map.json || fail "the old seal map is whole"
    no_parts o
}

# killed_at FILES: ends a run when so many pictures are there; never leaves half a seal map.
killed_at() {
    "$RIMGLOW" inspect -q -j 1 -o o s >/dev/null 2>&1 &
    pid=$!
    while kill -0 $pid 2>/dev/null; do
        [ "$(find o -type f 2>/dev/null | wc -l)" -lt "$1" ] || break
    done
    kill -9 $pid 2>/dev/null || :
    wait $pid 2>/dev/null || :
    for map in o/PE-A-0147/s/seal-map.json; do
        [ ! -e $map ] || holds $map '(.bins | length) == 360 and (.verdict | length) > 0'
    done
}

test_an_interrupted_run_leaves_no_half_seal_map() {
    leaking s
    for files in 0 1 4 9 14; do
        rm -rf o
        killed_at $files
    done
    # What is left does not disturb the next run.
    rg inspect -o o --pictures none s
    exits 1
    holds o/PE-A-0147/s/seal-map.json '.verdict == "leaking"'
}
