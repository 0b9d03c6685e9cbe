# Help, version and wrong command lines.

test_help_names_commands_exit_codes_and_cautions() {
    for option in -h --help; do
        rg $option
        exits 0
        silent err
        shows "inspect" "First steps" "0 sealed, 1 leaking, 2 undecided" "64" "73/74" "Caution"
    done
}

test_help_of_inspect_teaches_by_example() {
    for option in -h --help; do
        rg inspect $option
        exits 0
        silent err
        shows "rimglow inspect samples/PE-A-0147/*" "--json" "--pictures" "--inch" "--out" "--jobs" \
            "--quiet" "Reading the table" "Exit codes"
    done
}

# A help text that names an option must not lie: each is accepted.
test_every_option_of_the_help_is_accepted() {
    leaking s
    rg inspect -h
    for option in $(grep -oE '^  (-[a-z],|   ) --[a-z]+' out | grep -oE -e '--[a-z]+'); do
        case $option in
        --out) value=o ;;
        --pictures) value=none ;;
        --jobs) value=1 ;;
        --help) continue ;;
        *) value= ;;
        esac
        rg inspect --pictures=none $option $value s
        exits 1
    done
}

test_help_lines_fit_a_terminal_of_80_columns() {
    for command in "" inspect; do
        rg $command -h
        [ -z "$(grep -E '.{81,}' out)" ] || fail "no line beyond 80 columns"
    done
}

test_version_is_printed() {
    rg --version
    exits 0
    grep -qE '^rimglow [0-9]+\.[0-9]+' out || fail "a version number"
    # What a report of a fault needs, and what changes without the source being changed: nothing.
    shows "built with" "libjpeg-turbo" "SQLite $(sqlite3 --version | cut -d' ' -f1)"
    if grep -qE "$(date +%Y)|$PWD|/home|/tmp" out; then fail "a date or a path"; fi
}

test_no_command_is_a_usage_error() {
    rg
    refused 64 "no command" "rimglow -h"
}

test_unknown_command_is_named() {
    rg inspekt
    refused 64 "inspekt" "rimglow -h"
}

test_unknown_option_is_named() {
    for option in --picture -x --jsonn --; do
        [ $option = -- ] && continue
        rg inspect $option "$SAMPLES/08-G"
        refused 64 "$option" "rimglow inspect -h"
    done
}

test_no_sweep_is_a_usage_error() {
    rg inspect
    refused 64 "at least one sweep folder"
    rg inspect --json
    refused 64 "at least one sweep folder"
}

test_bad_option_values_are_named_with_what_they_should_be() {
    rg inspect --pictures some s
    refused 64 "--pictures some" "none, map, all"
    for jobs in 0 65 -1 two 1.5 ""; do
        rg inspect --jobs "$jobs" s
        refused 64 "--jobs $jobs" "from 1 to 64"
    done
    rg inspect s -j
    refused 64 "-j needs a value"
    rg inspect --json=yes s
    refused 64 "--json takes no value"
    rg inspect -o "" s
    refused 64 "--out" "not empty"
}

test_words_after_two_dashes_are_folders() {
    rg inspect -- --json
    refused 66 "--json" "cannot be opened"
}

test_help_is_given_after_other_words_too() {
    rg inspect somewhere -h
    exits 0
    shows "rimglow inspect [options] SWEEP..."
    rg inspect -- -h
    exits 66
}
