#!/bin/sh
# Every check and every test: sh tests/run.sh [options of pytest]
# Makes its own environment in .venv. As root it also installs Debian's mosquitto where that is
# missing; it starts no service, the tests start brokers of their own.
set -eu

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$checkout"
# shellcheck source=deploy/venv.sh
. deploy/venv.sh

install_mosquitto() {
    # Debian's package starts its service; a policy of ours, where there is none, holds that back.
    policy=/usr/sbin/policy-rc.d
    [ -e "$policy" ] && policy=''
    [ -z "$policy" ] || { printf '#!/bin/sh\nexit 101\n' >"$policy" && chmod 755 "$policy"; }
    result=0
    { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
        --no-install-recommends mosquitto mosquitto-clients; } >"$checkout/.venv/apt.log" 2>&1 ||
        result=1
    [ -z "$policy" ] || rm -f "$policy"
    [ "$result" = 0 ] || fail "apt-get could not install mosquitto; its own words are in" \
        "$checkout/.venv/apt.log."
    if command -v systemctl >/dev/null 2>&1; then
        systemctl --quiet disable mosquitto.service >/dev/null 2>&1 || true # for tests alone
    fi
}

has_mosquitto() {
    PATH=$PATH:/usr/sbin:/usr/local/sbin command -v mosquitto >/dev/null 2>&1
}

venv=$checkout/.venv
make_venv "$venv"
if ! has_installed "$venv" test "$checkout"; then
    echo "Fetching what the tests need into .venv, a minute or two."
    install_into "$venv" --editable "${checkout}[test]"
    note_installed "$venv" test "$checkout"
    note_installed "$venv" laptop "$checkout"
fi
if ! has_mosquitto; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        echo "Installing Debian's mosquitto for the tests."
        install_mosquitto
    else
        echo "The broker mosquitto is missing, so the tests that need it are skipped; to run them" \
            "too: \"apt install mosquitto mosquitto-clients\" as root, or this as root."
    fi
fi

PATH=$venv/bin:$PATH
export PATH
failed=''
check() {
    echo "== $*"
    "$@" || failed="$failed$*; "
}
check ruff check --quiet .
check ruff format --check --quiet .
check mypy
check lint-imports --no-cache

echo "== pytest"
# A check that failed fails the run, but is no reason not to see what the tests say.
BRINEWARD_FAILED_CHECKS=$failed
PYTHONPATH=$checkout/tests${PYTHONPATH:+:$PYTHONPATH}
export BRINEWARD_FAILED_CHECKS PYTHONPATH
# By file: what a file's tests share (an installation, a wheel, a season) is made once.
exec "$venv/bin/python" -m pytest -p gate -n 2 --dist loadfile "$@"
