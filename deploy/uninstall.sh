#!/bin/sh
# Takes brineward off a depot box again, as root:  sh deploy/uninstall.sh
#
#   --yes       don't ask
#   --purge     also delete the journal, the config, the secrets and the user: all records are gone
#   --root DIR  as install.sh --root DIR
#
# Without --purge the journal and the config stay, and install.sh goes on with them.
set -eu

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
# shellcheck source=deploy/venv.sh
. "$checkout/deploy/venv.sh"
# shellcheck source=deploy/places.sh
. "$checkout/deploy/places.sh"

yes=no purge=no root=''
while [ $# -gt 0 ]; do
    case $1 in
    --yes) yes=yes ;;
    --purge) purge=yes ;;
    --root)
        root=$(CDPATH='' cd -- "${2:-}" 2>/dev/null && pwd) || fail "--root wants a folder that exists."
        shift
        ;;
    *) fail "uninstall.sh knows no $1; it knows --yes, --purge and --root." ;;
    esac
    shift
done
set_places "$root"

[ "$(id -u)" = 0 ] || fail "uninstall.sh removes a service: run it as root, with sudo."

remove_broker_conf=no
if [ -e "$broker_conf" ] && is_ours "$broker_conf"; then remove_broker_conf=yes; fi

echo "This will stop brineward for good: nobody watches the depot from then on. It removes"
echo "  $unit, $page_unit, $command and $program"
if [ "$remove_broker_conf" = yes ]; then
    echo "  $broker_conf; mosquitto is restarted with Debian's settings"
    [ "$purge" = no ] || echo "  $broker_acl and $broker_logins: every login of its gateways"
elif [ -e "$broker_conf" ]; then
    echo "  not $broker_conf, which was changed by hand"
fi
if [ "$purge" = yes ]; then
    echo "  $state: THE JOURNAL, every reading and every alarm"
    echo "  $(dirname "$config"): the config and the secrets"
    for changes in "$unit.d" "$page_unit.d"; do
        [ ! -e "$changes" ] || echo "  $changes: your changes to the service"
    done
    echo "  the user $user"
else
    echo "It keeps $state (the journal), $(dirname "$config"), the broker's logins and the user $user."
fi
if [ "$yes" = no ]; then
    printf 'Go on? [y/N] '
    read -r answer || answer=''
    case $answer in y | Y | yes) ;; *) fail "Nothing was done." ;; esac
fi

running=no
[ -z "$root" ] && [ -d /run/systemd/system ] && running=yes
for placed_unit in "$page_unit" "$unit"; do
    name=$(basename "$placed_unit")
    if [ -z "$root" ] && [ -e "$placed_unit" ]; then
        if [ "$running" = yes ]; then systemctl stop "$name" || true; fi
        systemctl --quiet disable "$name" >/dev/null 2>&1 || true
    fi
    rm -f "$placed_unit"
done
if [ "$remove_broker_conf" = yes ]; then rm -f "$broker_conf"; fi
if [ "$purge" = yes ] && ! [ -e "$broker_conf" ]; then rm -f "$broker_acl" "$broker_logins"; fi
if [ "$running" = yes ]; then
    systemctl daemon-reload
    if [ "$remove_broker_conf" = yes ]; then systemctl restart mosquitto.service || true; fi
fi
if [ -L "$command" ] && [ "$(readlink "$command")" = "${program#"$root"}/bin/brineward" ]; then
    rm -f "$command"
fi
rm -rf "$program" "$program.new" "$program.old"
if [ "$purge" = yes ]; then
    rm -rf "$state" "$(dirname "$config")" "$unit.d" "$page_unit.d"
    if [ -z "$root" ] && id "$user" >/dev/null 2>&1; then userdel "$user"; fi
fi
echo "Removed."
