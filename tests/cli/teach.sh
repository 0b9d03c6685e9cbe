# Words for cases about rimglow teach; to be read by ". $ROOT/tests/cli/teach.sh".

. "$ROOT/tests/cli/bench.sh"

# teach OPTION...: starts it on a free port; $port, $url, $pid. It ends with the case.
teach() { serve "$RIMGLOW" teach --port 0 "$@"; }

# look VALUES: one view of page p, in body.
look() { answers 200 "$url/api/look?page=p&$1"; }
