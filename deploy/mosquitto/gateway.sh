#!/bin/sh
# Lets a site's gateway in, or shuts it out. Reload the broker afterwards: systemctl reload mosquitto
#
#   gateway.sh add SITE [TOPIC...]   a user named like the site with a new password, printed once;
#                                    TOPICs are topics of the gateway's own that it may write as well
#   gateway.sh remove SITE
#   gateway.sh collector             the collector's own user, with a new password
#
# FIELDFARE_BROKER names the folder of `passwords` and `acl`; default /etc/fieldfare/mosquitto.
set -eu
umask 027

usage() { sed -n '2,10s/^# \{0,1\}//p' "$0" >&2; exit 2; }
[ $# -ge 1 ] || usage
dir=${FIELDFARE_BROKER:-/etc/fieldfare/mosquitto}
what=$1
shift

named() {
    case $1 in
    *[!a-z0-9-]* | "" | ?) echo "a site's id holds a-z, 0-9 and hyphen, 2 to 40 characters" >&2; exit 2 ;;
    esac
    [ ${#1} -le 40 ] || { echo "a site's id holds at most 40 characters" >&2; exit 2; }
}

drop() { # user: out of both files
    touch "$dir/passwords"
    grep -v "^$1:" "$dir/passwords" > "$dir/passwords.new" || true
    mv "$dir/passwords.new" "$dir/passwords"
    awk -v user="$1" '
        $0 == "# begin " user { skip = 1 }
        !skip { print }
        $0 == "# end " user { skip = 0 }' "$dir/acl" > "$dir/acl.new"
    mv "$dir/acl.new" "$dir/acl"
}

grant() { # user: a password, hashed before it reaches the file, never on a command line
    password=$(openssl rand -base64 24 | tr -d '/+=\n')
    printf '%s:%s\n' "$1" "$password" > "$dir/one.new"
    mosquitto_passwd -U "$dir/one.new"
    cat "$dir/one.new" >> "$dir/passwords"
    rm -f "$dir/one.new"
    echo "user $1"
    echo "password $password"
}

readable() { # by the broker, and nobody else
    chmod 640 "$dir/passwords" "$dir/acl"
    if [ "$(id -u)" = 0 ] && getent group mosquitto > /dev/null; then
        chgrp mosquitto "$dir/passwords" "$dir/acl"
    fi
}

case $what in
add)
    [ $# -ge 1 ] || usage
    site=$1
    shift
    named "$site"
    for topic in "$@"; do
        case $topic in
        '#' | '+'* | fieldfare/* | '$'* | *'
'*) echo "$topic: a gateway's own topic starts with a name of its own, not with fieldfare, + or #" >&2; exit 2 ;;
        esac
    done
    drop "$site"
    grant "$site"
    if [ $# -gt 0 ]; then
        {
            echo "# begin $site"
            echo "user $site"
            for topic in "$@"; do echo "topic write $topic"; done
            echo "# end $site"
        } >> "$dir/acl"
    fi
    ;;
remove)
    [ $# -eq 1 ] || usage
    named "$1"
    drop "$1"
    ;;
collector)
    touch "$dir/passwords"
    grep -v '^fieldfare_collector:' "$dir/passwords" > "$dir/passwords.new" || true
    mv "$dir/passwords.new" "$dir/passwords"
    grant fieldfare_collector
    ;;
*) usage ;;
esac
readable
