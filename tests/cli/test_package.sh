# What is installed: manual pages, completion, and a program that finds its files without the source tree.

installed() {
    make --no-print-directory -s -C "$ROOT" install VARIANT="$(basename "$(dirname "$RIMGLOW")")" DESTDIR="$PWD/root" \
        PREFIX=/usr >make.out 2>&1 || { cat make.out; fail "make install"; }
}

# release only: shell scripts over the help texts, which test_help runs under the sanitizers
test_manual_pages_say_what_the_help_says() {
    sh "$ROOT/src/package/manual.sh" "$RIMGLOW" pages
    sh "$ROOT/src/package/commands.sh" "$RIMGLOW" >commands
    [ "$(find pages -name '*.1' | wc -l)" = "$(($(wc -l <commands) + 1))" ] || fail "a page for each command"
    there pages/rimglow.1 pages/rimglow-inspect.1 pages/rimglow-archive-add.1 pages/rimglow-calibrate-light.1
    for page in pages/*.1; do
        for section in NAME SYNOPSIS DESCRIPTION "EXIT STATUS" "SEE ALSO"; do
            grep -qx "\.SH $section" "$page" || fail "$page has a section $section"
        done
        if grep -q '^\.SH NAME$' "$page" && ! sed -n '/^\.SH NAME$/{n;p;}' "$page" | grep -q ' \\- ..'; then
            fail "$page says in a line what the command does"
        fi
    done
    # A line of the help, as the page's source has it.
    rg inspect -h
    grep -F 'proves the lamp on' out | sed 's/-/\\-/g' >line
    grep -qF -f line pages/rimglow-inspect.1 || fail "the page says when a pad is sealed"
}

# Whatever the list of commands says is there, and help is known to it.
# release only: shell scripts over the help texts, which test_help runs under the sanitizers
test_every_listed_command_has_help() {
    sh "$ROOT/src/package/commands.sh" "$RIMGLOW" | while read -r command; do
        # shellcheck disable=SC2086
        rg $command -h
        exits 0
        [ -s out ] || fail "rimglow $command -h says something"
    done
    sh "$ROOT/src/package/commands.sh" "$RIMGLOW" | grep -qx 'archive verify' || fail "verbs are listed"
}

# complete WORD...: what bash would offer for the last word.
complete() {
    bash -c '. ./rimglow.bash; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); compopt() { :; }; _rimglow; printf "%s\n" "${COMPREPLY[@]}"' \
        rimglow rimglow "$@" >out
}

# release only: shell scripts over the help texts, which test_help runs under the sanitizers
test_completion_offers_commands_verbs_options_and_files() {
    sh "$ROOT/src/package/completion.sh" "$RIMGLOW" >rimglow.bash
    complete ins
    [ "$(cat out)" = "$(printf 'inspect\ninstrument')" ] || fail "commands that begin with ins: $(cat out)"
    complete archive re
    shows report reindex
    hides verify
    complete archive add --o
    shows --occasion --overlays
    hides --json
    complete inspect --pict
    [ "$(cat out)" = --pictures ] || fail "an option of inspect"
    touch a-sweep
    complete inspect a-
    [ "$(cat out)" = a-sweep ] || fail "a file"
}

# release only: shell scripts over the help texts, which test_help runs under the sanitizers
test_an_installed_program_finds_its_settings() {
    installed
    there root/usr/bin/rimglow root/usr/share/man/man1/rimglow.1 root/usr/share/man/man1/rimglow-bench.1 \
        root/usr/share/bash-completion/completions/rimglow root/usr/share/rimglow/calib/bench.ini
    mkdir elsewhere
    cd elsewhere
    RIMGLOW=../root/usr/bin/rimglow
    rg crown --number 3 --cup-diameter 23
    exits 0
    there crowns.pdf
    cd ..
    make --no-print-directory -s -C "$ROOT" uninstall DESTDIR="$PWD/root" PREFIX=/usr
    [ -z "$(find root -type f)" ] || fail "nothing is left: $(find root -type f)"
}
