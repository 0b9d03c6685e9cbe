# Lines for pool.sh; to be read by ". tests/jobs.sh". Each routine takes the name of a group first. The last word of a line
# names what is run. From the repository root.

# unit_jobs GROUP PROGRAM...
unit_jobs() {
    jobs_of=$1
    shift
    for program in "$@"; do echo "$jobs_of sh tests/unit.sh $program"; done
}

# unit_programs FOLDER: of all unit tests, below FOLDER. With BRIEF=1 those whose source has a line "release only: ..." are left out.
unit_programs() {
    for source in tests/*/test_*.c; do
        [ -n "${BRIEF:-}" ] && grep -q '^ \* release only: ' "$source" || echo "$1/${source%.c}"
    done
}
fuzz_programs() { for source in tests/fuzz/fuzz_*.c; do echo "$1/${source%.c}"; done; }

# fuzz_jobs GROUP PROGRAM...: each replays the corpus of its name.
fuzz_jobs() {
    jobs_of=$1
    shift
    for program in "$@"; do echo "$jobs_of $program tests/fuzz/corpus/$(basename "$program")"; done
}

# case_jobs GROUP WORK PROGRAM TOOLS [PATTERN]: every function test_... of every tests/cli/test_*.sh whose name has
# PATTERN (of grep). With BRIEF=1 a case with a line "# release only: ..." just above it is left out, and so are all of a file
# with a line "# release only, all: ...".
case_jobs() {
    for file in tests/cli/test_*.sh; do
        [ -n "${BRIEF:-}" ] && grep -q '^# release only, all: ' "$file" && continue
        awk -v brief="${BRIEF:-}" '/^# release only: / { only = 1; next }
            /^test_[a-z0-9_]*\(\) \{/ && !(brief && only) { sub(/\(.*/, ""); print } { only = 0 }' "$file" |
            grep -e "${5:-.}" | while read -r name; do echo "$1 sh tests/cli/one.sh $2 $3 $4 $file $name"; done
    done
}
