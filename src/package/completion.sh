#!/bin/sh
# Completion for bash, from the help texts: commands, verbs, options; files for everything else.
#
#   sh src/package/completion.sh build/release/rimglow >rimglow.bash
set -eu
rimglow=$1
here=$(dirname "$0")
options() { # of a command's help: the options at the beginning of a line, one or two of them
    "$rimglow" "$@" -h | awk '/^Options:/ { on = 1 } /^$/ { on = 0 }
        on && /^ +-/ { for (i = 1; i <= 2; i++) if ($i ~ /^-/) { sub(/,$/, "", $i); printf " %s", $i } }
        END { print " -h --help" }' | tr ' ' '\n' | awk 'NF && !seen[$0]++' | tr '\n' ' ' | sed 's/ $//'
}
list=$(sh "$here/commands.sh" "$rimglow")
cat <<'END'
# bash completion for rimglow
_rimglow() {
    local word=${COMP_WORDS[COMP_CWORD]} words='' files=yes
    local path="${COMP_WORDS[1]-}"
    [ "$COMP_CWORD" -gt 2 ] && path="$path ${COMP_WORDS[2]}"
    [ "$COMP_CWORD" -eq 1 ] && path=''
    [ "$COMP_CWORD" -eq 2 ] && path="${COMP_WORDS[1]}"
    case $path in
END
printf "    '') words='%s -h --help --version' files=no ;;\n" "$(echo "$list" | awk '!seen[$1]++ { printf "%s%s", sep, $1; sep = " " }')"
echo "$list" | awk 'NF == 2 { verbs[$1] = verbs[$1] " " $2; if (!seen[$1]++) order[++n] = $1 }
    END { for (i = 1; i <= n; i++) printf "    %s) words=\x27%s -h --help\x27 files=no ;;\n", order[i], substr(verbs[order[i]], 2) }'
echo "$list" | while read -r command verb; do
    # shellcheck disable=SC2086
    words=$(options $command $verb)
    if [ -n "$verb" ]; then printf "    '%s %s') words='%s' ;;\n" "$command" "$verb" "$words"
    else printf "    %s | '%s '*) words='%s' ;;\n" "$command" "$command" "$words"; fi
done
cat <<'END'
    esac
    COMPREPLY=()
    if [ "$files" = no ] || [ "${word#-}" != "$word" ]; then
        mapfile -t COMPREPLY < <(compgen -W "$words" -- "$word")
    else
        compopt -o filenames
        mapfile -t COMPREPLY < <(compgen -f -- "$word")
    fi
}
complete -F _rimglow rimglow
END
