#!/bin/sh
# Lists what `rimglow ... -h` knows, one command a line ("archive add"), from the help texts themselves: manual
# pages and completion follow from it, so neither can name what is not there.
#
#   sh src/package/commands.sh build/release/rimglow
set -eu
rimglow=$1
# Lines of two blanks and a word, below a line that begins with $1, up to an empty line.
listed() { awk -v head="$1" 'index($0, head) == 1 { on = 1; next } /^$/ { on = 0 } on && /^  [a-z]+ / { print $1 }'; }
for command in $("$rimglow" -h | listed Commands); do
    verbs=$("$rimglow" "$command" -h | listed Verbs)
    if [ -z "$verbs" ]; then echo "$command"; fi
    for verb in $verbs; do echo "$command $verb"; done
done
