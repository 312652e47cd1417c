#!/bin/sh
# Installs, upgrades or removes fieldfare on Debian 12 or newer: broker, service, TLS proxy and nightly backup. Run as root
# from a copy of the source: deploy/install.sh install --name heat.example.net
#
#   install --name HOST [options]   from nothing to a page over TLS; run again, it changes only what is missing
#   upgrade [options]               a backup, then the program anew from this copy of the source; settings stay
#   remove [--purge]                services and program; --purge also deletes settings, data and backups
#
# Options (upgrade takes the last two):
#   --certificate FILE --key FILE   your certificate with its chain, and its key; without them one that signs itself is
#                                   made, so that a first look is encrypted (browsers warn)
#   --firm NAME                     stands on papers and letters
#   --no-packages                   don't call apt-get: python3-venv, mosquitto, nginx, openssl and Pango are there
#   --no-pdf                        leave Pango out: papers come as pages, not as PDF
set -eu
umask 027

PYTHON=/usr/bin/python3 # of the distribution: one in a home folder is out of the reach of the service
PROGRAM=/opt/fieldfare DATA=/var/lib/fieldfare BACKUPS=/var/backups/fieldfare SETTINGS=/etc/fieldfare
BROKER=$SETTINGS/mosquitto PROXY=$SETTINGS/nginx UNITS=/etc/systemd/system
ENVIRONMENT=$SETTINGS/environment
SOURCE=$(cd "$(dirname "$0")/.." && pwd)
name="" certificate="" key="" firm="" packages=yes pdf=yes purge=no

say() { echo "fieldfare: $*"; }
fail() { echo "fieldfare: $*" >&2; exit 1; }
usage() { sed -n '2,16s/^# \{0,1\}//p' "$0" >&2; exit 2; }
running_systemd() { [ -d /run/systemd/system ]; }

check_machine() {
    [ "$(id -u)" = 0 ] || fail "run this as root"
    [ -f /etc/debian_version ] || fail "this machine is not Debian; see deploy/README.md for the steps by hand"
    [ -f "$SOURCE/deploy/requirements.lock" ] || fail "$SOURCE holds no source: run the script from its place there"
}

get_packages() {
    wanted="python3 python3-venv mosquitto nginx openssl ca-certificates"
    [ "$pdf" = no ] || wanted="$wanted libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core"
    missing=""
    for package in $wanted; do
        dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q "ok installed" || missing="$missing $package"
    done
    if [ -n "$missing" ]; then
        [ "$packages" = yes ] || fail "these packages are missing:$missing"
        say "installing$missing"
        DEBIAN_FRONTEND=noninteractive apt-get update -qq
        # shellcheck disable=SC2086
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
    fi
    "$PYTHON" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || fail "Python 3.11 or newer is needed"
}

make_user_and_folders() {
    getent passwd fieldfare >/dev/null ||
        useradd --system --home-dir "$DATA" --no-create-home --shell /usr/sbin/nologin fieldfare
    install -d -m 755 "$PROGRAM"
    install -d -m 751 -o root -g fieldfare "$SETTINGS" # the broker has its own folder in it
    install -d -m 700 -o fieldfare -g fieldfare "$DATA" "$BACKUPS"
}

renamed() { # from, to: scripts of a venv name their interpreter by its path
    grep -rlIZ "$1" "$2/bin" "$2/pyvenv.cfg" 2>/dev/null | xargs -0 -r sed -i "s|$1|$2|g"
}

put_program() { # built beside, then put in place: a failed build leaves the running program as it was
    rm -rf "$PROGRAM/next"
    lock=$(cat "$SOURCE/deploy/requirements.lock" "$SOURCE/deploy/requirements-build.lock" | sha256sum)
    if [ "$(cat "$PROGRAM/venv/requirements.sha256" 2>/dev/null)" = "$lock" ]; then
        cp -a "$PROGRAM/venv" "$PROGRAM/next"
        renamed "$PROGRAM/venv" "$PROGRAM/next"
    else
        "$PYTHON" -m venv "$PROGRAM/next"
        say "installing the locked requirements"
        "$PROGRAM/next/bin/python" -m pip install --quiet --disable-pip-version-check --no-cache-dir \
            --no-compile --require-hashes -r "$SOURCE/deploy/requirements.lock" -r "$SOURCE/deploy/requirements-build.lock"
        echo "$lock" > "$PROGRAM/next/requirements.sha256"
    fi
    # The build gets a copy, so that it leaves nothing in the source.
    copy=$(mktemp -d)
    for part in pyproject.toml README.md LICENSE analysis collector dashboards api; do
        cp -r "$SOURCE/$part" "$copy/"
    done
    "$PROGRAM/next/bin/python" -m pip install --quiet --disable-pip-version-check --no-cache-dir --no-deps \
        --no-compile --no-build-isolation --force-reinstall "$copy"
    # The service can't write here. On all cores, and without the packages' own tests; what some other Python
    # is meant for does not compile and is never read.
    "$PROGRAM/next/bin/python" -m compileall -q -j 0 -x '/tests?/' -s "$PROGRAM/next" -p "$PROGRAM/venv" \
        "$PROGRAM/next/lib" >/dev/null || true
    rm -rf "$copy" "$PROGRAM/venv.old"
    [ ! -d "$PROGRAM/venv" ] || mv "$PROGRAM/venv" "$PROGRAM/venv.old"
    mv "$PROGRAM/next" "$PROGRAM/venv"
    renamed "$PROGRAM/next" "$PROGRAM/venv"
    ln -sfn venv/bin "$PROGRAM/bin"
    install -d -m 755 "$PROGRAM/deploy"
    install -m 755 "$SOURCE/deploy/backup.py" "$PROGRAM/deploy/backup.py"
    chmod -R go+rX "$PROGRAM"
    "$PROGRAM/bin/fieldfare" --version >/dev/null || fail "the program does not start; the old one is in $PROGRAM/venv.old"
    rm -rf "$PROGRAM/venv.old"
}

set_up_broker() {
    install -d -m 750 -o root -g mosquitto "$BROKER"
    for file in mosquitto.conf acl gateway.sh make-certificates.sh; do
        [ -e "$BROKER/$file" ] || cp "$SOURCE/deploy/mosquitto/$file" "$BROKER/$file"
    done
    chmod 755 "$BROKER/gateway.sh" "$BROKER/make-certificates.sh"
    if [ ! -f "$BROKER/certificates/broker.crt" ]; then
        "$BROKER/make-certificates.sh" "$BROKER/certificates" broker "$name" localhost 127.0.0.1
    fi
    chown -R root:mosquitto "$BROKER"
    chmod 750 "$BROKER/certificates"
    chmod 640 "$BROKER/certificates/broker.key"
    chmod 600 "$BROKER/certificates/ca.key"
    install -m 644 "$BROKER/certificates/ca.crt" "$SETTINGS/broker-ca.crt"
    chgrp fieldfare "$SETTINGS/broker-ca.crt"
    install -d "$UNITS/mosquitto.service.d"
    printf '[Service]\nExecStart=\nExecStart=/usr/sbin/mosquitto -c %s/mosquitto.conf\n' "$BROKER" \
        > "$UNITS/mosquitto.service.d/fieldfare.conf"
}

set_up_service() {
    if [ ! -f "$ENVIRONMENT" ]; then
        password=$("$BROKER/gateway.sh" collector | sed -n 's/^password //p')
        [ -n "$password" ] || fail "the broker gave the collector no password"
        {
            echo "FIELDFARE_PUBLIC_URL=https://$name"
            echo "FIELDFARE_BROKER_URL=mqtts://localhost:8883"
            echo "FIELDFARE_BROKER_CA=$SETTINGS/broker-ca.crt"
            echo "FIELDFARE_BROKER_USER=fieldfare_collector"
            echo "FIELDFARE_BROKER_PASSWORD=$password"
            echo "FIELDFARE_SECOND_FACTOR=optional"
            [ -z "$firm" ] || printf 'FIELDFARE_FIRM="%s"\n' "$(printf '%s' "$firm" | tr -d '"\\\n')"
        } > "$ENVIRONMENT"
    fi
    chown root:fieldfare "$ENVIRONMENT"
    chmod 640 "$ENVIRONMENT"
    cp "$SOURCE"/deploy/systemd/fieldfare* "$UNITS/"
}

set_up_proxy() {
    install -d -m 750 "$PROXY"
    if [ -n "$certificate" ]; then
        openssl x509 -in "$certificate" -noout || fail "$certificate: no certificate in PEM form"
        openssl pkey -in "$key" -noout || fail "$key: no private key in PEM form"
        install -m 644 "$certificate" "$PROXY/fieldfare.crt"
        install -m 600 "$key" "$PROXY/fieldfare.key"
    elif [ ! -f "$PROXY/fieldfare.crt" ]; then
        say "making a certificate that signs itself; bring your own later with --certificate and --key"
        openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 397 -subj "/CN=$name" \
            -addext "subjectAltName=DNS:$name" -keyout "$PROXY/fieldfare.key" -out "$PROXY/fieldfare.crt" 2>/dev/null
        chmod 600 "$PROXY/fieldfare.key"
    fi
    sed "s/fieldfare\.example/$name/g" "$SOURCE/deploy/nginx/fieldfare.conf" > /etc/nginx/conf.d/fieldfare.conf
    nginx -t -q || fail "the proxy refuses its configuration: /etc/nginx/conf.d/fieldfare.conf"
}

start_all() {
    if ! running_systemd; then
        say "systemd does not run here: nothing was started"
        return
    fi
    systemctl daemon-reload
    systemctl enable --quiet mosquitto nginx fieldfare fieldfare-backup.timer
    systemctl restart mosquitto fieldfare
    systemctl start fieldfare-backup.timer
    systemctl reload-or-restart nginx
    for _ in $(seq 60); do
        if "$PROGRAM/bin/python" -c "$ANSWERS" "$name"; then
            say "https://$name/ answers"
            journalctl -u fieldfare -o cat --since -5min 2>/dev/null | grep -o "make the first user.*" | tail -1 || true
            return
        fi
        sleep 1
    done
    fail "the service does not answer; see: journalctl -u fieldfare"
}
ANSWERS='
import http.client, ssl, sys
line = http.client.HTTPSConnection("127.0.0.1", 443, timeout=3, context=ssl._create_unverified_context())
try:
    line.request("GET", "/healthz", headers={"Host": sys.argv[1]})
    sys.exit(line.getresponse().status != 200)
except OSError:
    sys.exit(1)
'

do_install() {
    case $name in
    "" | *[!a-zA-Z0-9.-]*) fail "--name is the host name people use, such as heat.example.net" ;;
    esac
    if [ -n "$certificate$key" ] && { [ -z "$certificate" ] || [ -z "$key" ]; }; then
        fail "--certificate and --key go together"
    fi
    get_packages
    make_user_and_folders
    [ -x "$PROGRAM/bin/fieldfare" ] || put_program
    set_up_broker
    set_up_service
    set_up_proxy
    start_all
}

do_upgrade() {
    [ -f "$ENVIRONMENT" ] || fail "nothing is installed here: use install"
    name=$(sed -n 's|^FIELDFARE_PUBLIC_URL=https://||p' "$ENVIRONMENT")
    get_packages
    if [ -n "$(ls -A "$DATA")" ]; then
        say "backing up $DATA"
        runuser -u fieldfare -- "$PROGRAM/bin/python" "$PROGRAM/deploy/backup.py" backup "$DATA" "$BACKUPS"
    fi
    put_program
    cp "$SOURCE"/deploy/systemd/fieldfare* "$UNITS/"
    start_all
    say "upgraded to $("$PROGRAM/bin/fieldfare" --version)"
}

do_remove() {
    if running_systemd; then
        systemctl disable --quiet --now fieldfare fieldfare-backup.timer 2>/dev/null || true
    fi
    rm -rf "$PROGRAM" "$UNITS"/fieldfare* "$UNITS/mosquitto.service.d/fieldfare.conf" /etc/nginx/conf.d/fieldfare.conf
    rmdir "$UNITS/mosquitto.service.d" 2>/dev/null || true
    if running_systemd; then
        systemctl daemon-reload
        systemctl try-restart mosquitto
        systemctl try-reload-or-restart nginx
    fi
    if [ "$purge" = yes ]; then
        rm -rf "$DATA" "$BACKUPS" "$SETTINGS"
        getent passwd fieldfare >/dev/null && userdel fieldfare
        say "removed, with settings, data and backups"
    else
        say "removed; settings, data and backups stay in $SETTINGS, $DATA and $BACKUPS (remove --purge deletes them)"
    fi
}

[ $# -ge 1 ] || usage
command=$1
shift
while [ $# -gt 0 ]; do
    case $1 in
    --name | --certificate | --key | --firm)
        [ $# -ge 2 ] || usage
        case $1 in
        --name) name=$2 ;;
        --certificate) certificate=$2 ;;
        --key) key=$2 ;;
        --firm) firm=$2 ;;
        esac
        shift
        ;;
    --no-packages) packages=no ;;
    --no-pdf) pdf=no ;;
    --purge) purge=yes ;;
    *) usage ;;
    esac
    shift
done
case $command in
install | upgrade | remove)
    check_machine
    "do_$command"
    ;;
*) usage ;;
esac
