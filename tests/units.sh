#!/bin/sh
# Runs unit test programs side by side (tests/pool.sh).
#
#   sh tests/units.sh "OPTIONS" PROGRAM...
#
# OPTIONS are Criterion's, of every program. From the repository root.
set -u
TEST_ARGS=$1
export TEST_ARGS
shift
. tests/jobs.sh
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' INT TERM
unit_jobs unit-tests "$@" | sh tests/pool.sh "$work"
