# Several processes at one archive, and an archive that cannot be written.
. "$ROOT/tests/cli/archive.sh"

test_six_writers_and_readers_at_once() {
    instrument PE-A-0147
    instrument PE-A-0151
    visit a PE-A-0147 0
    for n in 1 2 3 4 5 6; do
        serial=PE-A-0147
        [ $((n % 2)) = 0 ] || serial=PE-A-0151
        (
            code=0
            "$RIMGLOW" archive add -a a --technician "Person $n" sweeps/$serial/* >add-$n 2>&1 || code=$?
            echo $code >ended-$n
        ) &
    done
    # Readers meanwhile: what they see is whole at any time.
    : >reads
    while [ "$(find . -maxdepth 1 -name 'ended-*' | wc -l)" -lt 6 ]; do
        for verb in verify list; do
            rg archive $verb -a a
            [ "$status" = 0 ] || fail "$verb works while others write"
            echo $verb >>reads
        done
    done
    wait
    for n in 1 2 3 4 5 6; do
        [ "$(cat ended-$n)" = 0 ] || fail "writer $n: $(cat add-$n)"
    done
    [ -s reads ] || fail "something was read meanwhile"
    # PE-A-0147: one and three more; PE-A-0151: three. Sequences without a gap.
    [ "$(bags a PE-A-0147 | sed 's,.*/,,; s/-.*//' | tr '\n' ' ')" = "0001 0002 0003 0004 " ] || fail "$(bags a)"
    [ "$(bags a PE-A-0151 | sed 's,.*/,,; s/-.*//' | tr '\n' ' ')" = "0001 0002 0003 " ] || fail "$(bags a)"
    for one in $(bags a); do
        standard_tools_agree "a/bags/$one" || fail "$one is whole"
    done
    rg archive verify -a a --json
    exits 0
    holds out '.faults == 0 and (.bags | length) == 7'
    dump a >one
    rg archive reindex -a a
    exits 0
    dump a >two
    cmp one two || fail "the index is what reindex makes"
    [ -z "$(ls a/incoming)" ] || fail "incoming/ is empty"
    echo "note: $(wc -l <reads) readings during 6 writers"
}

# reindex while others add: the lock keeps them apart.
test_reindexing_while_others_write() {
    instrument PE-A-0147
    visit a PE-A-0147 0
    for n in 1 2 3; do
        "$RIMGLOW" archive add -a a --technician "Person $n" sweeps/PE-A-0147/* >add-$n 2>&1 &
        eval "writer_$n=$!"
        "$RIMGLOW" archive reindex -a a >reindex-$n 2>&1 &
        eval "maker_$n=$!"
    done
    for n in 1 2 3; do
        eval "wait \$writer_$n" || fail "writer $n: $(cat add-$n)"
        eval "wait \$maker_$n" || fail "reindex $n: $(cat reindex-$n)"
    done
    [ "$(bags a | wc -l)" = 4 ] || fail "$(bags a)"
    rg archive verify -a a
    exits 0
    dump a >one
    rg archive reindex -a a
    dump a | cmp one - || fail "the index is what reindex makes"
}

# A writer that is killed gives the lock up.
test_a_killed_writer_blocks_nobody() {
    needs_faults
    instrument PE-A-0147
    visit a PE-A-0147 0
    faulty "AT=20 KIND=kill-after" "$RIMGLOW" archive add -a a --technician X sweeps/PE-A-0147/* 2>/dev/null
    exits 137
    began=$(date +%s)
    visit a PE-A-0147 1
    [ $(($(date +%s) - began)) -lt 20 ] || fail "nobody waits for the dead"
}

test_a_read_only_archive_can_be_read() {
    instrument PE-A-0147
    visit a PE-A-0147 0
    visit a PE-A-0147 1
    chmod -R a-w a
    # For root, modes are no obstacle: each change of the disk is refused instead.
    readonly_rg() {
        if grep -q __asan_init "$RIMGLOW"; then
            rg "$@"
        else
            faulty "AT=1 FROM=1 KIND=erofs LOG=$PWD/log" "$RIMGLOW" "$@"
        fi
    }
    for what in "verify -a a" "list -a a" "list -a a --json" "show -a a PE-A-0147"; do
        # shellcheck disable=SC2086 # words on purpose
        readonly_rg archive $what
        exits 0
    done
    readonly_rg archive list -a a --json
    holds out '.inspections | length == 2'
    readonly_rg archive add -a a --technician X sweeps/PE-A-0147/*
    case $status in 73 | 74) says "a/" ;; 0) [ "$(id -u)" = 0 ] || fail "it cannot be written" ;; *) exits 73 ;; esac
    chmod -R u+w a
    rg archive verify -a a
    exits 0
}
