#!/bin/sh
# Tries install.sh without touching this machine: a copy-on-write root over the machine's own (overlayfs, in a mount
# namespace of its own), in which install, first start, a page over TLS, a second install, upgrade and removal are run.
# systemd does not run in it, so the script starts broker, service and proxy as their units would. Root only.
#
#   deploy/test-install.sh [OPTIONS OF install.sh install]
set -eu
[ "$(id -u)" = 0 ] || { echo "run this as root" >&2; exit 2; }
source=$(cd "$(dirname "$0")/.." && pwd)
if [ -z "${FIELDFARE_NAMESPACE:-}" ]; then
    FIELDFARE_NAMESPACE=made exec unshare --mount --pid --fork --kill-child --mount-proc "$0" "$@"
fi
scratch=$(mktemp -d)
mount -t tmpfs -o size=4g none "$scratch"
mkdir "$scratch/upper" "$scratch/work" "$scratch/root"
mount -t overlay overlay -o "lowerdir=/,upperdir=$scratch/upper,workdir=$scratch/work" "$scratch/root"
root=$scratch/root
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
