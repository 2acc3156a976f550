#!/usr/bin/env bash
# Everything that CI runs:     bash tests/run.sh
# Only make the environment:   bash tests/run.sh --prepare
# Only some tests, no linters: bash tests/run.sh tests/unit/wire -k pace      (the words go to pytest)
#
# The tests themselves start what they need (a private JACK server with its dummy driver, a virtual screen, simulated
# instruments) and stop it; this script makes sure that nothing is left when it ends, whatever happens.
set -euo pipefail
source "$(dirname -- "${BASH_SOURCE[0]}")/../assets/setup.sh"
provide tests,tools jackd Xvfb xauth
[ "${1-}" != --prepare ] || exit 0
cd -- "$root"
python=$venv/bin/python

# The tests start some hundred processes of this program: what the first one compiled is there for all others.
unset PYTHONDONTWRITEBYTECODE

# Every process that comes from this run carries this mark in its environment, so what is left can be found.
export LIBRARIAN_TEST_RUN="$$-$RANDOM$RANDOM"
pytest=
end() {
    local code=$?
    trap - EXIT INT TERM HUP
    if [ -n "$pytest" ]; then kill -TERM "$pytest" 2>/dev/null || true; fi
    "$python" -m tests.leftovers || code=$((code ? code : 1))
    exit "$code"
}
trap end EXIT
trap 'exit 130' INT
trap 'exit 143' TERM HUP

failed=()
check() {
    printf '== %s\n' "$*"
    "$@" || failed+=("$(basename -- "$1")${2:+ $2}")
}
if [ $# = 0 ]; then
    check "$venv/bin/ruff" check
    check "$venv/bin/mypy"
    check "$venv/bin/lint-imports"
fi

code=0
run() {
    local ended=0
    printf '== pytest %s\n' "$*"
    "$python" -m pytest "$@" &
    pytest=$!
    wait "$pytest" || ended=$?
    pytest=
    code=$((code ? code : ended))
}
if [ $# = 0 ]; then
    # A JACK server that waits for the processor loses messages and clients, and two of them disturb each other.
    run -m jack
    # One process more than there are processors: the tests of the window wait as much as they compute.
    run -m "not jack" --numprocesses "$(($(nproc) + 1))"
else
    run "$@"
fi
if [ "${#failed[@]}" != 0 ]; then
    printf 'NOT PASSED besides the tests: %s (see above)\n' "$(IFS=,; echo "${failed[*]}")"
    exit 1
fi
exit "$code"
