#!/bin/sh
# Installs brineward on a depot box (Debian, Ubuntu), as root:  sh deploy/install.sh
#
#   --yes                don't ask
#   --example NAME       start from config/NAME.toml: tern-hollow (the default), smallest or pump-by-level
#   --unlocked           the newest packages that fit, unchecked, not those of requirements.lock: for a
#                        machine for which those have no build, such as one of 32 bits
#   --without-mosquitto  the broker is on another machine, or is set up separately
#   --root DIR           a rehearsal: everything goes under DIR, no user is made, nothing is started
#
# It looks first, says what it will do, and asks. Run again, it upgrades, and changes nothing that
# was changed by hand. Where the program's environment must be made anew, the old one stays until all
# of the new one is there. deploy/uninstall.sh is its undo.
set -eu

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
# shellcheck source=deploy/venv.sh
. "$checkout/deploy/venv.sh"
# shellcheck source=deploy/places.sh
. "$checkout/deploy/places.sh"

yes=no example=tern-hollow with_mosquitto=yes locked=yes root=''
while [ $# -gt 0 ]; do
    case $1 in
    --yes) yes=yes ;;
    --without-mosquitto) with_mosquitto=no ;;
    --unlocked) locked=no ;;
    --example)
        [ $# -ge 2 ] || fail "--example needs a name: tern-hollow, smallest or pump-by-level."
        example=$2
        shift
        ;;
    --root)
        root=$(CDPATH='' cd -- "${2:-}" 2>/dev/null && pwd) || fail "--root wants a folder that exists."
        shift
        ;;
    *) fail "install.sh knows no $1; it knows --yes, --example, --unlocked, --without-mosquitto and --root." ;;
    esac
    shift
done
set_places "$root"

# ---- Look first -------------------------------------------------------------------------------

[ "$(id -u)" = 0 ] || fail "install.sh makes a user and a service: run it as root, with sudo."
[ -f "$checkout/config/$example.toml" ] || fail "There is no config/$example.toml to start from."
if [ -z "$root" ]; then
    command -v systemctl >/dev/null 2>&1 || fail "There is no systemd here, and the service needs it."
    command -v useradd >/dev/null 2>&1 || fail "There is no useradd here: apt install passwd"
fi
find_python
if [ -z "$root" ] && [ "$with_mosquitto" = yes ] && ! [ -x /usr/sbin/mosquitto ]; then
    fail "The broker mosquitto is missing: run \"apt install mosquitto\" first, or give" \
        "--without-mosquitto where the broker is another machine."
fi

broker=$(other_broker_settings)
broker_is=''
# The broker's settings let nobody in without a login. Under a config that has none, or one that the
# broker would not know, nothing is changed: the service would be locked out.
logs_in() {
    name=$(sed -n 's/^[[:space:]]*username[[:space:]]*=[[:space:]]*"\([^"]*\)".*/\1/p' "$config" | head -n 1)
    [ -n "$name" ] && grep -qs "^$name:" "$broker_logins"
}
if [ "$with_mosquitto" = no ]; then
    broker_is='left alone, as you asked'
elif [ -n "$broker" ]; then
    broker_is="left alone: $broker already sets up mosquitto here; compare it with deploy/mosquitto/brineward.conf yourself"
elif [ -e "$config" ] && ! logs_in; then
    broker_is="left alone: [link] in $config has no username that $broker_logins knows, and the new settings let nobody else in; deploy/THREATS.md says how to change over"
fi

has_login() { [ -s "$broker_password" ] && grep -qs '^brineward:' "$broker_logins"; }

# ---- Say what will be done, and ask -----------------------------------------------------------

say() { printf '  %-12s %s\n' "$1" "$2"; }
echo "This will do, on this machine:"
[ -z "$root" ] || say rehearsal "everything under $root, no user, nothing started"
if [ -n "$root" ]; then
    say user "$user: not made in a rehearsal"
elif id "$user" >/dev/null 2>&1; then
    say user "$user: nothing to do"
else
    say user "$user is made: a system user without login"
fi
say program "$program, an environment of its own ($python, version $version); $command points to it"
if [ "$locked" = yes ]; then say packages "those of deploy/requirements.lock, each checked by its hash"; else
    say packages "the newest that fit, unchecked, as you asked"
fi
if [ -e "$config" ]; then say config "$config is kept as it is"; else
    say config "$config is made from config/$example.toml"
fi
say journal "$state, of user $user"
say broker "${broker_is:-$broker_conf $(fate "$checkout/deploy/mosquitto/brineward.conf" "$broker_conf"); mosquitto is restarted where it has not read it yet}"
if [ -z "$broker_is" ]; then
    say logins "$broker_acl $(fate "$checkout/deploy/mosquitto/brineward.acl" "$broker_acl"); $(if has_login; then echo "brineward's own is there"; else echo "brineward's own is made, its password in $broker_password"; fi)"
fi
say service "$unit $(fate "$checkout/deploy/systemd/brineward.service" "$unit")"
say "page's unit" "$page_unit $(fate "$checkout/deploy/systemd/brineward-page.service" "$page_unit"); $(page_unit_is)"
say start "only when the config is your own and brineward check finds no mistake in it"
if [ "$yes" = no ]; then
    printf 'Go on? [y/N] '
    read -r answer || answer=''
    case $answer in y | Y | yes) ;; *) fail "Nothing was done." ;; esac
fi

# ---- Do it ------------------------------------------------------------------------------------

owner=root
if [ -z "$root" ]; then
    id "$user" >/dev/null 2>&1 ||
        useradd --system --user-group --home-dir "$state" --no-create-home \
            --shell /usr/sbin/nologin "$user"
    owner=$user
fi

umask 022
put_back "$program"
into=$program
if ! is_sound "$program"; then
    nothing_else_in "$program"
    into=$program.new
    is_sound "$into" || rm -rf "$into"
fi
make_venv "$into"
if [ "$locked" = yes ]; then
    # Nothing but the files of the lock, whatever an index offers; then brineward, with these alone.
    install_into "$into" --require-hashes --requirement "$checkout/deploy/requirements.lock"
    install_into "$into" --upgrade --no-index --no-deps --no-build-isolation "$checkout"
else
    install_into "$into" --upgrade "$checkout"
fi
[ "$into" = "$program" ] || swap_in "$into" "$program" placed example.toml
mkdir -p "$(dirname "$command")"
if [ -L "$command" ] || ! [ -e "$command" ]; then
    ln -sfn "${program#"$root"}/bin/brineward" "$command"
else
    echo "Kept: $command is not ours; the program is $program/bin/brineward." >&2
fi

install -d -m 755 "$(dirname "$config")"
install -d -m 750 -o "$owner" -g "$owner" "$state"
if ! [ -e "$config" ]; then
    login=''
    [ -n "$broker_is" ] || login='s|^\[link\]$|&\nusername = "brineward"\npassword_file = "mqtt.password"|'
    sed -e "s|^path = \".*\"|path = \"${state#"$root"}/brineward.journal\"|" -e "$login" \
        "$checkout/config/$example.toml" >"$program/example.toml"
    install -m 640 -o root -g "$owner" "$program/example.toml" "$config"
fi
[ -e "$secrets" ] || (
    umask 077
    printf '%s\n' "# NAME=value, one a line; in the config: { env = \"NAME\" }. Read by systemd, as root." \
        >"$secrets"
)

# make_login: a password that nobody has seen, for the service in a file and for mosquitto as a hash.
make_login() {
    (
        umask 077
        od -An -N16 -tx1 /dev/urandom | tr -d ' \n' >"$broker_password"
        echo "brineward:$(cat "$broker_password")" >"$program/login"
        mosquitto_passwd -U "$program/login"
        mkdir -p "$mosquitto"
        touch "$broker_logins"
        grep -v '^brineward:' "$broker_logins" >>"$program/login" || true
        cat "$program/login" >"$broker_logins"
        rm -f "$program/login"
    )
    chgrp "$owner" "$broker_password"
    chmod 640 "$broker_password"
    for_mosquitto "$broker_logins"
}

# for_mosquitto FILE: to be read by root and the broker alone.
for_mosquitto() {
    if getent group mosquitto >/dev/null 2>&1; then chgrp mosquitto "$1"; fi
    chmod 640 "$1"
}

if [ -z "$broker_is" ]; then
    if ! has_login; then
        note_for_broker
        make_login
    fi
    place_for_broker "$checkout/deploy/mosquitto/brineward.acl" "$broker_acl"
    place_for_broker "$checkout/deploy/mosquitto/brineward.conf" "$broker_conf"
    for_mosquitto "$broker_acl"
fi
place "$checkout/deploy/systemd/brineward.service" "$unit" || true
place "$checkout/deploy/systemd/brineward-page.service" "$page_unit" || true

# ---- Check, then start ------------------------------------------------------------------------

running=no
[ -z "$root" ] && [ -d /run/systemd/system ] && running=yes
as_user() { if [ -z "$root" ]; then runuser -u "$user" -- "$@"; else "$@"; fi; }
if ! as_user "$program/bin/brineward" check "$config" >"$program/check.log" 2>&1; then
    cat "$program/check.log" >&2
    fail "$(not_started "$running")" "mend what stands above in $config, then run this again."
fi
if [ "$running" = yes ]; then
    systemctl daemon-reload
    if [ -z "$broker_is" ]; then
        restart_broker ||
            fail "mosquitto does not start with $broker_conf; its own words: journalctl -u mosquitto"
    fi
fi
if cmp -s "$config" "$program/example.toml"; then
    echo "Installed, and not started: $config is still the made-up depot."
    echo "Describe yours in it, then:  brineward check ${config#"$root"}"
    echo "and start it:                systemctl enable --now brineward"
    [ -n "$broker_is" ] ||
        echo "Each gateway needs a login:  mosquitto_passwd ${broker_logins#"$root"} NAME  (see ${broker_acl#"$root"})"
elif [ "$running" = yes ]; then
    systemctl enable --quiet brineward.service
    systemctl restart brineward.service ||
        fail "brineward does not start; its own words: journalctl -u brineward"
    case $(page_unit_is) in
    started*)
        systemctl enable --quiet brineward-page.service
        systemctl restart brineward-page.service ||
            fail "The page does not start; its own words: journalctl -u brineward-page"
        ;;
    *itself)
        # A second one would find its port taken.
        systemctl --quiet disable --now brineward-page.service >/dev/null 2>&1 || true
        ;;
    *)
        # Somebody may have started it by hand.
        systemctl try-restart brineward-page.service || true
        ;;
    esac
    echo "Installed and started; look: brineward status ${config#"$root"}"
else
    echo "Installed, and not started: systemd does not run here."
fi
