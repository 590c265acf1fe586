#!/bin/sh
# Every check and every test: sh tests/run.sh [options of pytest]
# Makes its own environment in .venv. As root it also installs Debian's mosquitto where that is
# missing; it starts no service, the tests start brokers of their own.
set -eu

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$checkout"
# shellcheck source=deploy/venv.sh
. deploy/venv.sh

# What the tests need beside Python: the broker, openssl for certificates of their own, a real browser
# and a font for it, two real time-series servers, and a C compiler.
packages='gcc libc6-dev mosquitto mosquitto-clients openssl chromium fonts-dejavu-core libpangoft2-1.0-0 influxdb victoria-metrics'

install_packages() {
    # Debian's servers start their services; a policy of ours, where there is none, holds that back.
    policy=/usr/sbin/policy-rc.d
    if ! [ -e "$policy" ]; then
        trap 'rm -f "$policy"' EXIT
        trap 'exit 130' INT TERM
        printf '#!/bin/sh\nexit 101\n' >"$policy"
        chmod 755 "$policy"
    fi
    # shellcheck disable=SC2086 # a list of words
    { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
        --no-install-recommends $packages; } >"$venv/apt.log" 2>&1 ||
        fail "apt-get could not install $packages; its own words are in $venv/apt.log."
    for service in $services; do
        # It came for the tests alone. Where there is no systemd there is nothing to disable.
        systemctl --quiet disable "$service.service" >/dev/null 2>&1 || true
    done
}

missing_programs() {
    for program in cc mosquitto mosquitto_passwd openssl chromium influxd victoria-metrics; do
        PATH=$PATH:/usr/sbin:/usr/local/sbin command -v "$program" >/dev/null 2>&1 || echo "$program"
    done
}

venv=$checkout/.venv
make_venv "$venv"
if ! has_installed "$venv" test "$checkout"; then
    echo "Fetching what the tests need into .venv, a minute or two."
    install_into "$venv" --editable "${checkout}[test]"
    note_installed "$venv" test "$checkout"
    note_installed "$venv" laptop "$checkout"
fi
missing=$(missing_programs | tr '\n' ' ')
if [ -n "$missing" ]; then
    # Those that are here already were somebody's wish.
    services=''
    case $missing in *"mosquitto "*) services="$services mosquitto" ;; esac
    case $missing in *"influxd "*) services="$services influxdb" ;; esac
    case $missing in *"victoria-metrics "*) services="$services victoria-metrics" ;; esac
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        echo "Installing for the tests, with apt-get: $packages."
        (install_packages) || exit 1
    else
        echo "Not here: ${missing}- the tests that need that are skipped. To run them too:" \
            "\"apt install $packages\" as root, or this as root."
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
# In the order of the folders: files of one long test, left for the end, would have it to themselves.
# Three at once: a third of the time many of them wait for a real program, not for a processor.
exec "$venv/bin/python" -m pytest -p gate -n 3 --dist loadfile --no-loadscope-reorder "$@"
