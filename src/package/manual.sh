#!/bin/sh
# Manual pages from the help texts: rimglow.1, and one for each command, such as rimglow-archive-add.1.
#
#   sh src/package/manual.sh build/release/rimglow FOLDER
#
# A help text is a line of synopsis, paragraphs, and sections: a line that ends in a colon at the left edge begins
# one, indented lines below it stay as they are laid out. man(7) of groff; dates and paths of the build do not enter.
set -eu
rimglow=$1
folder=$2
here=$(dirname "$0")
version=$("$rimglow" --version | awk 'NR == 1 { print $2 }')
mkdir -p "$folder"
list=$(sh "$here/commands.sh" "$rimglow")

# $1: title; $2: name; $3: what it does. The help text comes in.
page() {
    printf '.TH %s 1 "" "rimglow %s" "User commands"\n.SH NAME\n%s \\- %s\n' "$1" "$version" "$2" "$3"
    awk '
        function plain(s) { gsub(/\\/, "\\e", s); gsub(/-/, "\\-", s); sub(/^[.\x27]/, "\\\\\\&&", s); return s }
        function close_block() { if (block) print ".EE"; block = 0 }
        NR == 1 && !main { sub(/ - .*/, ""); print ".SH SYNOPSIS\n.nf\n.B " plain($0); usage = 1; next }
        usage && /^ / { print ".B " plain($0); next }
        usage { print ".fi\n.SH DESCRIPTION"; usage = 0; next }
        NR == 1 { print ".SH SYNOPSIS\n.B rimglow\n.I COMMAND\n[options]\n.SH DESCRIPTION"; next }
        /^$/ { fresh = 1; if (block) { blank = 1; next } print ".PP"; next }
        /^ / { if (!block) print ".EX"; else if (blank) print ""; block = 1; blank = 0; print plain($0); next }
        { close_block(); blank = 0 }
        /^[A-Z][A-Za-z ,]*(\(.*\))?:$/ { sub(/ *(\(.*\))?:$/, ""); print ".SH " toupper(plain($0)); listed = 1; next }
        fresh && /^(Exit codes|Cautions?|Reading the table): / && match($0, /: /) {
            head = substr($0, 1, RSTART - 1)
            print ".SH " (head == "Exit codes" ? "EXIT STATUS" : toupper(head))
            print plain(substr($0, RSTART + 2)); fresh = listed = 0; next
        }
        fresh && listed { print ".SH NOTES"; listed = 0 }
        { print plain($0); fresh = 0 }
        END { close_block() }' main="${4:-}"
    printf '.SH SEE ALSO\n.BR rimglow (1)'
    echo "$list" | while read -r command verb; do
        printf ',\n.BR rimglow\\-%s (1)' "$command${verb:+\\-$verb}"
    done
    printf '\n'
}

"$rimglow" -h | page RIMGLOW rimglow 'does every pad close on its rim, all the way round?' main >"$folder/rimglow.1"
echo "$list" | while read -r command verb; do
    name=rimglow-$command${verb:+-$verb}
    # shellcheck disable=SC2086
    what=$("$rimglow" ${verb:+$command} -h | awk -v word="${verb:-$command}" '
        $1 == word && /^  [a-z]/ { sub(/^ *[^ ]+ */, ""); print; exit }')
    # shellcheck disable=SC2086
    "$rimglow" $command $verb -h |
        page "$(echo "$name" | tr a-z A-Z)" "$(echo "$name" | sed 's/-/\\-/g')" "$what" >"$folder/$name.1"
done
