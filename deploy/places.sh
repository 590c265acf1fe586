# shellcheck shell=sh
# shellcheck disable=SC2034 # the places are used by the scripts that source this
# Where things are on a depot box; sourced by install.sh and uninstall.sh.

# set_places ROOT: the places, under ROOT where it is not empty.
set_places() {
    user=brineward
    program=$1/opt/brineward
    placed=$program/placed
    broker_waits=$placed/restart-mosquitto
    command=$1/usr/local/bin/brineward
    config=$1/etc/brineward/brineward.toml
    secrets=$1/etc/brineward/secrets.env
    state=$1/var/lib/brineward
    mosquitto=$1/etc/mosquitto
    broker_conf=$mosquitto/conf.d/brineward.conf
    broker_acl=$mosquitto/brineward.acl
    broker_logins=$mosquitto/brineward.passwd
    broker_password=$1/etc/brineward/mqtt.password
    unit=$1/etc/systemd/system/brineward.service
    page_unit=$1/etc/systemd/system/brineward-page.service
}

# is_ours FILE: is FILE as install.sh placed it?
is_ours() {
    cmp -s "$1" "$placed/$(basename "$1")"
}

# fate NEW FILE: what place will do, in words.
fate() {
    if ! [ -e "$2" ]; then
        echo "is made"
    elif cmp -s "$1" "$2"; then
        echo "is as it should be"
    elif is_ours "$2"; then
        echo "is brought up to date"
    else
        echo "was changed by hand and is kept"
    fi
}

# place NEW FILE: puts NEW at FILE unless FILE was changed by hand; true where FILE changed.
place() {
    if [ -e "$2" ] && ! is_ours "$2" && ! cmp -s "$1" "$2"; then
        echo "Kept: $2 was changed by hand; compare it with $1" >&2
        return 1
    fi
    changed=1
    cmp -s "$1" "$2" || changed=0
    mkdir -p "$placed" "$(dirname "$2")"
    # In this order: broken off between the two, the next run does not take it for a change by hand.
    [ "$changed" = 1 ] || install -m 644 "$1" "$2"
    install -m 644 "$1" "$placed/$(basename "$2")"
    return "$changed"
}

# place_for_broker NEW FILE: place, and a note that mosquitto must be restarted to read FILE.
place_for_broker() {
    case $(fate "$1" "$2") in
    "is made" | "is brought up to date") note_for_broker ;;
    esac
    place "$1" "$2" || true
}

# note_for_broker: mosquitto must be restarted; this stays true, whatever happens, until it was.
note_for_broker() {
    mkdir -p "$placed"
    : >"$broker_waits"
}

# restart_broker: mosquitto reads what this run or an earlier one placed; false where it can't start.
restart_broker() {
    if ! [ -e "$broker_waits" ] && systemctl is-active --quiet mosquitto.service; then return 0; fi
    systemctl enable --quiet mosquitto.service &&
        systemctl restart mosquitto.service &&
        rm -f "$broker_waits"
}

# not_started: what is said where the config has mistakes; $1 tells whether systemd runs here.
not_started() {
    if [ "$1" = yes ] && systemctl is-active --quiet brineward.service; then
        echo "Installed, but the service was not restarted: it still runs as it was before;"
    else
        echo "Installed, but not started:"
    fi
}

# page_unit_is: what the config wants of the page's own unit.
page_unit_is() {
    if ! grep -qsE '^[[:space:]]*\[page\]' "$config"; then
        echo "not started: the config has no [page]"
    elif grep -qE '^[[:space:]]*served_by[[:space:]]*=[[:space:]]*"unit"' "$config"; then
        echo "started, as [page] in the config says"
    else
        echo "not started: the service serves the page itself"
    fi
}

# other_broker_settings: the first file, not ours, that opens a listener for mosquitto here.
other_broker_settings() {
    for file in "$mosquitto/mosquitto.conf" "$mosquitto"/conf.d/*.conf; do
        if [ "$file" = "$broker_conf" ] || ! [ -f "$file" ]; then continue; fi
        if grep -qE '^[[:space:]]*(listener|port)[[:space:]]' "$file"; then
            echo "$file"
            return
        fi
    done
}
