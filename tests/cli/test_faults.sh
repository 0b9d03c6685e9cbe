# The failing disk (tests/shim/faults.c) itself: what it counts, and that it can tell a careful
# writer from a careless one. Expected content follows from POSIX (fsync, rename) and the head of disk.h.
. "$ROOT/tests/cli/faults.sh"

steps="$TOOLS/steps"

# old_or_new FILE: one of the two, whole.
old_or_new() { case $(cat "$1" 2>&1) in OLD | NEWER) ;; *) return 1 ;; esac; }

# each_point KIND STEPS CHECK PROGRAM ARGUMENT...: runs the program once for each step, in a fresh folder
# d with d/f holding OLD, with the fault there; prints the steps at which CHECK fails.
each_point() {
    kind=$1 count=$2 check=$3
    shift 3
    for n in $(seq "$count") ${with_exit:+exit}; do
        rm -rf d
        mkdir d
        printf OLD >d/f
        faulty "AT=$n KIND=$kind SEED=$n" "$@" 2>/dev/null
        $check || printf '%s ' "$n"
    done
}

never() { [ -z "$1" ] || fail "$2 holds at every point, not at: $1"; }
sometimes() { [ -n "$1" ] || fail "the model sees that $2"; }

test_the_shim_counts_what_changes_the_disk() {
    needs_faults
    mkdir d
    [ "$(steps_of "$steps" save d/f NEWER)" = 5 ] || fail "five steps: $(cat steps)"
    cut -d' ' -f2 steps | tr '\n' ' ' >names
    [ "$(cat names)" = "open write fsync rename fsync " ] || fail "their names: $(cat names)"
    grep -q "^2 write $PWD/d/f.part$" steps || fail "paths are whole: $(cat steps)"
    faulty "LOG=$PWD/steps2 MATCH=.part" "$steps" save d/f NEWER
    [ "$(wc -l <steps2)" = 4 ] || fail "MATCH chooses by path: $(cat steps2)"
    # What SQLite does to its file is seen, too.
    steps_of "$steps" rows d/db 3 >/dev/null
    for call in "pwrite $PWD/d/db-wal" "f[a-z]*sync $PWD/d/db" "unlink $PWD/d/db-wal"; do
        grep -q "$call" steps || fail "SQLite's calls are counted: $call ($(cat steps))"
    done
}

test_the_shim_kills_before_after_and_amid_a_call() {
    needs_faults
    mkdir d
    for case in "kill-before 1 absent" "kill-after 1 0" "kill-torn 2 2" "kill-after 2 5"; do
        # shellcheck disable=SC2086 # words on purpose
        set -- $case
        rm -f d/*
        faulty "AT=$2 KIND=$1" "$steps" save d/f NEWER 2>/dev/null
        exits 137
        size=$(cat d/f.part 2>/dev/null | wc -c)
        [ -e d/f.part ] || size=absent
        [ "$size" = "$3" ] || fail "$1 at $2 leaves $3 bytes, not $size"
    done
}

test_the_shim_refuses_calls_with_the_named_error() {
    needs_faults
    mkdir d
    for case in "1 erofs Read-only" "2 enospc No_space" "3 eio Input/output" "4 exdev cross-device" \
        "5 estale Stale"; do
        # shellcheck disable=SC2086 # words on purpose
        set -- $case
        faulty "AT=$1 KIND=$2" "$steps" save d/f NEWER
        exits 74
        grep -qF "$(echo "$3" | tr _ ' ')" err || fail "the error is $2: $(cat err)"
    done
    # exdev is an error of links and renames only; a short write is no error.
    faulty "AT=1 KIND=exdev" "$steps" save d/f NEWER
    exits 0
    faulty "AT=2 KIND=short" "$steps" save d/f NEWEST
    exits 0
    [ "$(cat d/f)" = NEWEST ] || fail "a short write is written on"
    # From N on: every later one fails, too (a rename after the failed fsync would have gone through).
    faulty "AT=3 KIND=enospc FROM=1 LOG=$PWD/log" "$steps" save d/f LOST
    exits 74
    [ "$(cat d/f)" = NEWEST ] || fail "nothing lost"
}

test_a_careful_writer_survives_every_power_cut() {
    needs_faults
    with_exit=1
    for kind in kill-before kill-after kill-torn power power-content power-names power-some; do
        never "$(each_point $kind 5 "old_or_new d/f" "$steps" save d/f NEWER)" "$kind: old or new"
    done
    [ "$(cat d/f)" = NEWER ] || fail "what was reported as done is there after the power cut"
}

test_each_missing_step_shows_in_a_power_cut() {
    needs_faults
    # Renamed without its content on the disk: an empty file under the good name.
    sometimes "$(each_point power-content 4 "old_or_new d/f" "$steps" save d/f NEWER no-sync)" \
        "a rename without fsync leaves neither old nor new"
    sometimes "$(each_point power 4 "old_or_new d/f" "$steps" save d/f NEWER no-sync)" \
        "the same after the folder's fsync"
    # Without the folder's fsync nothing is torn, but what was reported as done is not there.
    with_exit=1
    never "$(each_point power 4 "old_or_new d/f" "$steps" save d/f NEWER no-folder-sync)" "old or new"
    [ "$(cat d/f)" = OLD ] || fail "the rename of an unsynced folder is lost, not $(cat d/f)"
    # Written in place: a torn file, without any power cut.
    with_exit=
    sometimes "$(each_point kill-torn 4 "old_or_new d/f" "$steps" save d/f NEWER in-place)" \
        "writing in place tears the file"
}

# A folder that is filled, synced and carried from one folder to another.
test_a_folder_is_carried_whole_or_stays() {
    needs_faults
    for kind in power power-names power-some kill-after; do
        for n in 1 2 3 exit; do
            rm -rf d
            mkdir -p d/a/x d/b
            echo whole >d/a/x/f
            faulty "AT=$n KIND=$kind SEED=$n" "$steps" carry d/a/x d/b/x 2>/dev/null
            [ "$(cat d/[ab]/x/f)" = whole ] || fail "$kind at $n: once, whole: $(find d)"
        done
    done
    there d/b/x/f
    rm -rf d
    mkdir -p d/a/x d/b
    faulty "AT=exit KIND=power" "$steps" carry d/a/x d/b/x no-folder-sync
    exits 0
    [ -d d/a/x ] || fail "without fsync of the folders the rename is lost"
}

# A removal that was not synced comes back with its content; SQLite deletes its WAL file so.
test_sqlite_keeps_what_it_called_committed() {
    needs_faults
    mkdir d
    count=$(steps_of "$steps" rows d/db 6)
    for kind in kill-before kill-torn power power-content power-some; do
        for n in $(seq 12 "$count") exit; do
            rm -rf d
            mkdir d
            sqlite3 d/db "pragma journal_mode=WAL; create table t (n integer primary key, filler blob)" >/dev/null
            faulty "AT=$n KIND=$kind SEED=$n" "$steps" rows d/db 6 2>/dev/null
            [ "$(sqlite3 d/db 'pragma integrity_check')" = ok ] || fail "$kind at $n: intact"
            kept=$(sqlite3 d/db 'select count(*) from t') said=$(wc -l <out)
            [ "$kept" -ge "$said" ] || fail "$kind at $n: $said committed, $kept kept"
        done
    done
    # And without SQLite's syncs something is lost.
    faulty "AT=exit KIND=power" "$steps" rows d/db2 6 no-sync
    exits 0
    kept=$(sqlite3 d/db2 'select count(*) from t' 2>/dev/null || echo 0)
    [ "${kept:-0}" -lt 6 ] || fail "synchronous=OFF loses rows"
}

test_the_clock_begins_where_it_is_told() {
    needs_faults
    # 1785000000 is 2026-07-25T17:20:00Z (date -u -d @1785000000).
    faulty "TIME=1785000000" date -u +%Y-%m-%dT%H:%M
    [ "$(cat out)" = 2026-07-25T17:20 ] || fail "the clock says $(cat out)"
}

# The results of an inspection go through the same kind of writer.
test_an_inspection_writes_its_result_whole_or_not_at_all() {
    needs_faults
    sweep s "G sharp"
    add s witness "$SAMPLES/07-G-sharp/witness.jpg"
    add s closed "$SAMPLES/07-G-sharp/view_00.jpg"
    rg inspect -q -o o --pictures none s
    map=o/PE-A-0147/s/seal-map.json
    there $map
    cp $map good
    faulty "LOG=$PWD/log" "$RIMGLOW" inspect -q -o o --pictures none s
    for kind in power power-content kill-torn; do
        for n in $(seq "$(wc -l <log)") exit; do
            faulty "AT=$n KIND=$kind" "$RIMGLOW" inspect -q -o o --pictures none s 2>/dev/null
            cmp $map good || fail "$kind at $n: the old or the new map, which are the same"
        done
    done
    for kind in enospc eio erofs; do
        for n in $(seq "$(wc -l <log)"); do
            faulty "AT=$n KIND=$kind FROM=1" "$RIMGLOW" inspect -q -o o --pictures none s
            case $status in 73 | 74) says "o/PE-A-0147/s" ;; 2) ;; *) fail "$kind at $n: $status" ;; esac
            cmp $map good || fail "$kind at $n: nothing lost"
        done
    done
}

test_results_in_new_folders_outlive_a_power_cut() {
    needs_faults
    sweep s "G sharp"
    add s closed "$SAMPLES/07-G-sharp/view_00.jpg"
    faulty "AT=exit KIND=power" "$RIMGLOW" inspect -q -o new/place --pictures none s
    exits 2
    there new/place/PE-A-0147/s/seal-map.json
}
