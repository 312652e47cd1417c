#!/bin/sh
# Tries install.sh without touching this machine: in a root of its own (in a mount namespace of its own) it runs install,
# first start, a page over TLS, a second install, upgrade and removal, and prints the seconds. Root only.
#
#   deploy/test-install.sh [--clean] [OPTIONS OF install.sh install]
#
# The root is a copy-on-write one over the machine's own (overlayfs). With --clean it is a new minimal Debian, made by
# debootstrap, so that the distribution's packages are fetched too; it takes this machine's pip settings.
# systemd does not run in either, so the script starts broker, service and proxy as their units would.
set -eu
[ "$(id -u)" = 0 ] || { echo "run this as root" >&2; exit 2; }
source=$(cd "$(dirname "$0")/.." && pwd)
if [ -z "${FIELDFARE_SCRATCH:-}" ]; then
    scratch=$(mktemp -d)
    status=0
    FIELDFARE_SCRATCH=$scratch unshare --mount --pid --fork --kill-child --mount-proc "$0" "$@" || status=$?
    rm -rf "$scratch" # here, where nothing is mounted in it
    exit "$status"
fi
clean=no
[ "${1:-}" != --clean ] || { clean=yes; shift; }
scratch=$FIELDFARE_SCRATCH root=$FIELDFARE_SCRATCH/root
if [ "$clean" = yes ]; then
    # shellcheck source=/dev/null
    suite=$(. /etc/os-release && echo "$VERSION_CODENAME")
    debootstrap --variant=minbase --include=ca-certificates,curl,procps "$suite" "$root" >"$scratch/debootstrap.log" 2>&1 ||
        { tail -5 "$scratch/debootstrap.log" >&2; exit 1; }
    for file in /etc/resolv.conf /etc/hosts /etc/pip.conf /etc/xdg/pip /usr/local/share/ca-certificates; do
        [ ! -e "$file" ] || { mkdir -p "$root$(dirname "$file")" && cp -rL "$file" "$root$(dirname "$file")/"; }
    done
    cp -L /etc/ssl/certs/ca-certificates.crt "$root/etc/ssl/certs/"
    pip_folders=$(python3 -m pip config list 2>/dev/null | grep -oE "(file://)?/[^' ]*" | sed 's|^file://||' || true)
    for folder in $pip_folders; do # packages that lie on this machine
        [ -d "$folder" ] || continue
        mkdir -p "$root$folder"
        mount --bind "$folder" "$root$folder"
        mount -o remount,ro,bind "$root$folder"
    done
else
    mount -t tmpfs -o size=4g none "$scratch"
    mkdir "$scratch/upper" "$scratch/work" "$root"
    mount -t overlay overlay -o "lowerdir=/,upperdir=$scratch/upper,workdir=$scratch/work" "$root"
fi
mount -t proc none "$root/proc"
mount --rbind /dev "$root/dev"
mkdir -p "$root/src"
mount --bind "$source" "$root/src"
rm -rf "$root/opt/fieldfare" "$root/etc/fieldfare" "$root/var/lib/fieldfare"
cat > "$root/inside.sh" <<'INSIDE'
set -eu
began=$(date +%s)
step() { echo "[$(($(date +%s) - began)) s] $*"; }
start() {
    mosquitto -c /etc/fieldfare/mosquitto/mosquitto.conf >/var/log/broker.log 2>&1 & broker=$!
    nginx -g 'daemon off;' >/var/log/proxy.log 2>&1 & proxy=$!
    runuser -u fieldfare -- sh -c 'set -a; . /etc/fieldfare/environment; exec /opt/fieldfare/bin/fieldfare --data /var/lib/fieldfare serve' \
        >/var/log/service.log 2>&1 & service=$!
    for _ in $(seq 120); do
        page https://127.0.0.1/healthz >/dev/null 2>&1 && return
        sleep 0.5
    done
    cat /var/log/service.log /var/log/proxy.log /var/log/broker.log; exit 1
}
stop() { kill "$service" "$proxy" "$broker"; wait "$service" "$proxy" "$broker" 2>/dev/null || true; }
page() { curl --silent --show-error --fail --insecure --header 'Host: heat.example.net' "$@"; }

/src/deploy/install.sh install --name heat.example.net --firm 'Example Heating' "$@"
step "installed"
start
page https://127.0.0.1/sign-in | grep -q '<h1>Sign in</h1>'
step "a page over TLS"
first=$(grep -o 'https://heat.example.net/first/[A-Za-z0-9_-]*' /var/log/service.log)
page --data-urlencode 'email=kim@heating.example' --data-urlencode 'name=Kim' \
    --data-urlencode 'password=four odd words together' --cookie-jar /tmp/jar -o /dev/null \
    "https://127.0.0.1/first/${first##*/}"
grep -q '__Host-fieldfare' /tmp/jar
step "the first user is in, with a secure cookie"
for _ in $(seq 20); do grep -q 'fieldfare' /var/log/broker.log && break; sleep 0.5; done
tail -2 /var/log/broker.log
stop
before=$(cat /etc/fieldfare/environment /etc/fieldfare/mosquitto/passwords /etc/fieldfare/nginx/fieldfare.crt | sha256sum)
/src/deploy/install.sh install --name heat.example.net "$@"
[ "$before" = "$(cat /etc/fieldfare/environment /etc/fieldfare/mosquitto/passwords /etc/fieldfare/nginx/fieldfare.crt | sha256sum)" ]
step "a second install changed no setting"
/src/deploy/install.sh upgrade
ls /var/backups/fieldfare/fieldfare-*.tar.gz >/dev/null
step "upgraded, with a backup"
start
page https://127.0.0.1/sign-in >/dev/null
runuser -u fieldfare -- /opt/fieldfare/bin/fieldfare --data /var/lib/fieldfare user list | grep -q kim@heating.example
[ "$(stat -c %a /var/lib/fieldfare /var/backups/fieldfare /etc/fieldfare/environment | tr '\n' ' ')" = '700 700 640 ' ]
step "still there after the upgrade; folders are the service's alone"
stop
/src/deploy/install.sh remove
[ -d /var/lib/fieldfare ] && [ ! -e /opt/fieldfare ]
/src/deploy/install.sh remove --purge
[ ! -e /var/lib/fieldfare ] && [ ! -e /etc/fieldfare ] && ! getent passwd fieldfare >/dev/null
step "removed"
INSIDE
chroot "$root" sh /inside.sh "$@"
