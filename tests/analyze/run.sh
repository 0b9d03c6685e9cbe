#!/bin/sh
# Static analysis of the sources: cppcheck, gcc -fanalyzer, clang-tidy. Any finding fails it.
#
#   sh tests/analyze/run.sh [FILE...]        from the repository root; without FILE: every source of src/
#
# Exceptions: a finding that is none is marked at its line (cppcheck-suppress, NOLINT) with the reason. gcc has no mark
# that clang would not stumble over; its exceptions stand in gcc.txt. Checks that are off altogether: .clang-tidy,
# cppcheck.txt. What the analysers cannot know stands in model.h.
set -u
here=tests/analyze
jobs=${JOBS:-$(nproc 2>/dev/null || echo 2)}
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' INT TERM
FLAGS="-std=c17 -D_POSIX_C_SOURCE=200809L -D_XOPEN_SOURCE=700 -Iinclude -Itests
    $(pkg-config --cflags libpng gsl libsodium cairo jansson inih sqlite3 libv4l2 libmicrohttpd)" || exit 1
export FLAGS work
if [ $# -gt 0 ]; then printf '%s\n' "$@"; else find src -name '*.c' | sort; fi >"$work/files"

# one: what is run on each file; its findings go to a log of its own, so that two at once do not mix. status.c defines
# rg_fail, which model.h replaces. clang-tidy takes one file each: it forgets its va_lists from file to file.
cat >"$work/one" <<'END'
file=$1
model="-include tests/analyze/model.h"
[ "$file" != src/base/status.c ] || model=
log=$work/$(echo "$file" | tr / _)
gcc -fanalyzer $FLAGS $model -c "$file" -o /dev/null >"$log.gcc" 2>&1 || echo "$file: error: gcc could not read it" >>"$log.gcc"
clang-tidy --quiet "$file" -- $FLAGS $model >"$log.tidy" 2>"$log.err" ||
    grep -q 'error:' "$log.tidy" || { cat "$log.err"; echo "$file: error: clang-tidy could not read it"; } >>"$log.tidy"
END
code=0
# shellcheck disable=SC2046 # file names of ours, without blanks
nice cppcheck -q -j "$jobs" --std=c11 --platform=unix64 --enable=warning,performance,portability,style --inconclusive \
    --inline-suppr --suppressions-list=$here/cppcheck.txt --error-exitcode=1 --library=$here/jansson.cfg -Iinclude -D_POSIX_C_SOURCE=200809L \
    --template='{file}:{line}: {severity}: {message} [{id}]' $(cat "$work/files") 2>&1 || code=1
nice xargs -P "$jobs" -n 1 sh "$work/one" <"$work/files" || code=1

# gcc's findings as "FILE FUNCTION WARNING", without those that gcc.txt explains.
sed 's/ *#.*//; /^$/d' $here/gcc.txt | sort -u >"$work/known"
awk '/: In function/ { gsub(/[^A-Za-z0-9_]/, "", $NF); inside = $NF }
    /(warning|error):/ { file = $1; sub(/:.*/, "", file); name = $NF; gsub(/[][]/, "", name); print file, inside, name }' \
    "$work"/*.gcc | sort -u >"$work/found"
comm -23 "$work/found" "$work/known" >"$work/new"
if [ -s "$work/new" ]; then
    code=1
    cat "$work/new"
    grep -h 'warning:\|error:' "$work"/*.gcc
fi
# An exception that is no more is taken out, or it would hide the next one.
if [ "$#" = 0 ] && comm -13 "$work/found" "$work/known" | grep .; then
    echo "gcc.txt: the above is no longer found; take it out"
    code=1
fi
cat "$work"/*.tidy | grep . && code=1
[ "$code" = 0 ] && echo "analyze: $(wc -l <"$work/files") files, nothing found"
exit $code
