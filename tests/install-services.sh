#!/bin/sh
# Installs the services that the tests start by themselves, where they are missing. Debian and its relatives.
set -eu
PATH=$PATH:/usr/sbin:/sbin

missing=""
need() { # command package
    if ! command -v "$1" >/dev/null 2>&1; then missing="$missing $2"; fi
}
need_library() { # file package
    if ! ldconfig -p | grep -q "^[[:space:]]*$1 "; then missing="$missing $2"; fi
}
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need influxd influxdb
need chromium-headless-shell chromium-headless-shell
need nginx nginx-light
need systemd-analyze systemd
need_library libpango-1.0.so.0 libpango-1.0-0
need_library libpangoft2-1.0.so.0 libpangoft2-1.0-0
need_library libharfbuzz-subset.so.0 libharfbuzz-subset0
if ! command -v postgres >/dev/null 2>&1 && ! ls /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1; then
    missing="$missing postgresql"
fi
[ -n "$missing" ] || exit 0

if ! command -v apt-get >/dev/null 2>&1; then
    echo "tests need these and there is no apt-get here:$missing" >&2
    exit 1
fi
as_root=""
if [ "$(id -u)" != 0 ]; then as_root="sudo"; fi
echo "installing for the tests:$missing"
export DEBIAN_FRONTEND=noninteractive
$as_root apt-get update -qq
# shellcheck disable=SC2086
$as_root apt-get install -y -qq --no-install-recommends $missing >/dev/null
# Debian starts what it installs; the tests start their own on free ports.
for service in mosquitto influxdb nginx postgresql; do
    if command -v systemctl >/dev/null 2>&1; then
        $as_root systemctl stop "$service" >/dev/null 2>&1 || true
    fi
done
