# What the runs in a browser share; to be read by ". tests/browser/browser.sh" from the repository root: $work, $pictures,
# node with playwright-core and axe-core from npm, Debian's chromium. Where one of them is missing the run is skipped,
# and that is said.
#
# MODULES: a folder that holds node_modules with both (default build/browser; filled by npm from package.json).
root=$(pwd)
skip() { echo "check-browser ($(basename "$0" .sh)): SKIPPED: $1"; exit 0; }
command -v node >/dev/null || skip "no node"
CHROMIUM=${CHROMIUM:-$(command -v chromium)} || skip "no chromium (apt-get install chromium)"
modules=${MODULES:-$root/build/browser}
pictures=$root/build/browser/pictures
mkdir -p "$modules" "$pictures"
if [ ! -d "$modules/node_modules/playwright-core" ] || [ ! -d "$modules/node_modules/axe-core" ]; then
    command -v npm >/dev/null || skip "no npm"
    cp tests/browser/package.json "$modules/" && (cd "$modules" && npm install --silent --no-audit --no-fund) \
        || skip "npm could not fetch playwright-core and axe-core"
fi
NODE_PATH=$modules/node_modules
export CHROMIUM NODE_PATH
case $RIMGLOW in /*) ;; *) RIMGLOW=$root/$RIMGLOW ;; esac
work=$(mktemp -d) || exit 1
bench=
trap '[ -z "$bench" ] || ended; rm -rf "$work"' EXIT

# bench OPTION...: a bench of PE-A-0147 on a free port; $url. teach OPTION...: the lessons. ended: by Ctrl-C, and in order.
bench() { serve bench --instrument calib/alto-loan.ini --serial PE-A-0147 "$@"; }
teach() { serve teach "$@"; }
serve() {
    : >"$work/log"
    "$RIMGLOW" "$@" --port 0 >"$work/log" 2>"$work/err" &
    bench=$!
    for i in 1 2 3 4 5 6 7 8 9 10; do grep -q http "$work/log" && break; sleep 0.5; done
    url=$(sed -n 's/^= \(http.*\)/\1/p' "$work/log")
    [ -n "$url" ] || { cat "$work/err"; exit 1; }
}
ended() {
    kill -INT "$bench" 2>/dev/null
    wait "$bench"
    code=$?
    bench=
    [ $code = 0 ] || { echo "the server does not end in order"; return 1; }
}
