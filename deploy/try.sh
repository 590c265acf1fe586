#!/bin/sh
# One winter night at a made-up depot, in a minute and a half: sh deploy/try.sh
# Needs Python 3.11 or newer. Writes only to .venv in this checkout and to brineward-demo in the
# folder where it is started. Options go to `brineward demo`, such as --seconds 30.
set -eu

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
# shellcheck source=deploy/venv.sh
. "$checkout/deploy/venv.sh"

venv=$checkout/.venv
make_venv "$venv"
if ! has_installed "$venv" laptop "$checkout"; then
    echo "First time: fetching what the demo needs into .venv, about a minute." >&2
    install_into "$venv" --editable "${checkout}[laptop]"
    note_installed "$venv" laptop "$checkout"
fi
exec "$venv/bin/brineward" demo "$@"
