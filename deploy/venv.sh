# shellcheck shell=sh
# Finding Python and making a virtual environment with it; sourced by try.sh, install.sh and
# tests/run.sh. Each failure is one sentence on stderr that says what to do, and ends the script.

fail() {
    printf '%s\n' "$*" >&2
    exit 1
}

# find_python: sets $python to a Python that can make a virtual environment.
# PYTHON=/path/to/python chooses one.
find_python() {
    python=''
    too_old=''
    for candidate in ${PYTHON:-python3 python3.13 python3.12 python3.11}; do
        command -v "$candidate" >/dev/null 2>&1 || continue
        version=$("$candidate" -c 'import sys; print("%d.%d" % sys.version_info[:2])' 2>/dev/null) ||
            continue
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            python=$candidate
            break
        fi
        too_old="$candidate is $version"
    done
    if [ -z "$python" ] && [ -n "$too_old" ]; then
        fail "brineward needs Python 3.11 or newer, and here $too_old: on Ubuntu 22.04 run" \
            "\"apt install python3.11 python3.11-venv\" as root; Debian 12, Ubuntu 24.04 and later" \
            "have it as python3."
    fi
    if [ -z "$python" ]; then
        fail "brineward needs Python 3.11 or newer, and there is ${PYTHON:-no python3} here that" \
            "runs: on Debian or Ubuntu run \"apt install python3 python3-venv\" as root."
    fi
    if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        package=python3-venv
        [ "$python" = python3 ] || package=python$version-venv
        fail "The part of Python that makes virtual environments is missing ($python, version" \
            "$version): run \"apt install $package\" as root, then this again."
    fi
}

# is_sound FOLDER: is there a virtual environment that pip can install into?
is_sound() {
    # pip is the last thing that is put there: without it, an earlier try was broken off.
    "$1/bin/python" -c 'import pip, sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null
}

# nothing_else_in FOLDER: ends the script where FOLDER holds something that is no environment.
nothing_else_in() {
    if [ -d "$1" ] && [ -n "$(ls -A "$1")" ] && ! [ -e "$1/pyvenv.cfg" ]; then
        fail "There is something else in $1 already: move it away first."
    fi
}

# make_venv FOLDER: a virtual environment in FOLDER, made with $python unless a sound one is there.
make_venv() {
    if is_sound "$1"; then return 0; fi
    nothing_else_in "$1"
    find_python
    need_writable "$1"
    "$python" -m venv --clear "$1" >"$1.log" 2>&1 ||
        fail "Python could not make a virtual environment in $1; its own words are in $1.log."
    rm -f "$1.log"
}

# swap_in NEW FOLDER NAME...: the environment NEW takes FOLDER's place, with what FOLDER has by these
# names. Broken off, it leaves one of them whole: put_back, then all of it again.
swap_in() {
    new=$1 folder=$2
    shift 2
    for kept in "$@"; do
        if [ -e "$folder/$kept" ]; then cp -Rp "$folder/$kept" "$new/"; fi
    done
    # Each program names the Python that it runs with by its whole path.
    for file in "$new/pyvenv.cfg" "$new"/bin/*; do
        if [ -f "$file" ] && ! [ -L "$file" ]; then sed -i "s|$new|$folder|g" "$file"; fi
    done
    rm -rf "$folder.old"
    if [ -e "$folder" ]; then mv "$folder" "$folder.old"; fi
    mv "$new" "$folder"
    rm -rf "$folder.old"
}

# put_back FOLDER: the environment that a swap was broken off with.
put_back() {
    if ! [ -e "$1" ] && [ -d "$1.old" ]; then mv "$1.old" "$1"; fi
}

need_writable() {
    if ! mkdir -p "$1" 2>/dev/null || ! [ -w "$1" ]; then
        fail "Can't write to $1: run this as the user that the folder belongs to, or from a copy" \
            "of your own."
    fi
}

# install_into FOLDER WHAT...: pip install with FOLDER's pip; quiet unless it fails.
install_into() {
    folder=$1
    shift
    need_writable "$folder"
    if "$folder/bin/python" -m pip install --quiet --no-input --disable-pip-version-check "$@" \
        >"$folder/pip.log" 2>&1; then
        return 0
    fi
    said=$(sed -n 's/^ *\(ERROR: .*\)/\1/p' "$folder/pip.log" | tail -n 1)
    [ -n "$said" ] || said=$(tail -n 1 "$folder/pip.log")
    if grep -qiE 'connection|resolution|timed out|network|no matching distribution' \
        "$folder/pip.log"; then
        fail "pip could not fetch what brineward needs: is this machine online, and can it reach" \
            "the package index? (${said:-it said nothing}; all of it is in $folder/pip.log)"
    fi
    fail "pip could not install brineward: ${said:-it said nothing} (all of it is in" \
        "$folder/pip.log)."
}

# has_installed FOLDER NAME CHECKOUT: was NAME installed from CHECKOUT as pyproject.toml stands now?
has_installed() {
    [ "$(cat "$1/installed-$2" 2>/dev/null)" = "$(installed_mark "$3")" ]
}

# note_installed FOLDER NAME CHECKOUT: what has_installed looks for.
note_installed() {
    installed_mark "$3" >"$1/installed-$2"
}

installed_mark() {
    printf '%s %s\n' "$1" "$(cksum <"$1/pyproject.toml")"
}
