#!/bin/sh
# For whoever releases brineward, not for a depot's box:  sh deploy/lock.sh [audit]
#
# Without a word it makes deploy/requirements.lock anew from pyproject.toml: the newest versions that
# it allows, each with the hashes of all its files, for Linux and Python 3.11 and newer. Then run the
# tests with these versions, and commit it. With "audit" it asks the vulnerability databases whether
# any version in the lock is known to be unsafe, and ends with 1 where one is, or can't be asked
# about: do that once a month and before each release. Both tools get an environment of their own,
# which is deleted afterwards.
set -eu

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
# shellcheck source=deploy/venv.sh
. "$checkout/deploy/venv.sh"

lock=$checkout/deploy/requirements.lock
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
make_venv "$scratch/venv"

case ${1:-lock} in
lock)
    install_into "$scratch/venv" uv
    # What builds brineward is not built in isolation on a box, where nothing would check it.
    sed -n 's/^requires = \["\(.*\)"\]$/\1/p' "$checkout/pyproject.toml" >"$scratch/build.in"
    [ -s "$scratch/build.in" ] || fail "pyproject.toml names no build tool in one line."
    sed -n '/^#/p' "$lock" >"$scratch/lock"
    "$scratch/venv/bin/uv" pip compile --quiet --universal --python-version 3.11 --generate-hashes \
        --no-header --no-annotate --no-emit-package colorama \
        "$checkout/pyproject.toml" "$scratch/build.in" >"$scratch/found"
    cat "$scratch/found" >>"$scratch/lock"
    cp "$scratch/lock" "$lock"
    ;;
audit)
    install_into "$scratch/venv" pip-audit
    "$scratch/venv/bin/pip-audit" --requirement "$lock" --require-hashes --disable-pip \
        --strict
    ;;
*) fail "lock.sh knows no $1; it knows audit, or nothing." ;;
esac
