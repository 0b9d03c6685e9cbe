# One unit test program, for pool.sh: unit.sh PROGRAM. TEST_ARGS: options for Criterion. From the repository root.
# fontconfig keeps its settings until the end of the process; cairo cannot free them.
LSAN_OPTIONS=suppressions=tests/cli/leaks.supp:print_suppressions=0
export LSAN_OPTIONS
# shellcheck disable=SC2086 # words on purpose
exec "$1" --timeout 300 ${TEST_ARGS:-}
