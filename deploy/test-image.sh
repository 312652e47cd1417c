#!/bin/sh
# Runs the program of an image where nothing can be written, without a container engine, and prints the seconds. Root only.
#
#   deploy/test-image.sh ROOT      # the image's root, such as `buildah mount` or an unpacked `docker export` gives
#
# As the recipe says: root read-only, /tmp in memory, a volume at /var/lib/fieldfare, user 10001 without any rights. Inside:
# a site, a file of readings, a paper as PDF, the service with a collector, its health check, a reading by the broker
# (mosquitto of this machine), and that a write elsewhere fails.
set -eu
[ "$(id -u)" = 0 ] || { echo "run this as root" >&2; exit 2; }
image=${1:?which root?}
[ -x "$image/opt/fieldfare/bin/fieldfare" ] || { echo "$image holds no /opt/fieldfare/bin/fieldfare" >&2; exit 2; }
if [ -z "${FIELDFARE_SCRATCH:-}" ]; then
    scratch=$(mktemp -d)
    status=0
    FIELDFARE_SCRATCH=$scratch unshare --mount --pid --fork --kill-child --mount-proc "$0" "$image" || status=$?
    rm -rf "$scratch" # here, where nothing is mounted in it
    exit "$status"
fi
scratch=$FIELDFARE_SCRATCH root=$FIELDFARE_SCRATCH/root
mkdir -p "$root" "$scratch/volume"
chown 10001:10001 "$scratch/volume"
chmod 700 "$scratch/volume"
mount --bind "$image" "$root"
mount -o remount,ro,bind "$root"
mount -t tmpfs -o mode=1777,nosuid,nodev,noexec none "$root/tmp"
mount --bind "$scratch/volume" "$root/var/lib/fieldfare"
mount -t proc none "$root/proc"
mount -t tmpfs -o mode=755 none "$root/dev"
mkdir -m 1777 "$root/dev/shm" # container engines give one of 64 MB; locks between processes lie there
mount -t tmpfs -o mode=1777,size=64m none "$root/dev/shm"
for device in null zero random urandom; do touch "$root/dev/$device"; mount --bind "/dev/$device" "$root/dev/$device"; done
broker_port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
printf 'listener %s 127.0.0.1\nallow_anonymous true\n' "$broker_port" > "$scratch/broker.conf"
mosquitto -c "$scratch/broker.conf" >/dev/null 2>&1 &
cat > "$scratch/volume/inside.sh" <<'INSIDE'
set -eu
began=$(date +%s)
step() { echo "[$(($(date +%s) - began)) s] $*"; }
port=$(python -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
[ "$(id -u)" = 10001 ]
for folder in / /etc /opt/fieldfare /var /usr; do
    if touch "$folder/written" 2>/dev/null; then echo "$folder can be written" >&2; exit 1; fi
done
step "user $(id -u), nothing but the volume and /tmp can be written"
fieldfare() { /opt/fieldfare/bin/fieldfare --data /var/lib/fieldfare/data "$@"; }
fieldfare site template > /tmp/site.toml
fieldfare site add /tmp/site.toml
python - <<'PYTHON' > /tmp/readings.csv
import math
print("time,P_el,hp_heat,flow,return,water,outdoor,living_room,mode")
for hour in range(24 * 40):
    air = 4.0 + 5.0 * math.sin(hour / 24 * 2 * math.pi)
    print(f"2026-01-{1 + hour // 24:02d}T{hour % 24:02d}:00:00Z" if hour < 744 else
          f"2026-02-{1 + (hour - 744) // 24:02d}T{hour % 24:02d}:00:00Z",
          f"{1500 - 40 * air:.0f},{5.0 - 0.15 * air:.2f},{40 - 0.5 * air:.1f},{35 - 0.5 * air:.1f},18,{air:.1f},20.5,1", sep=",")
PYTHON
fieldfare ingest my-site /tmp/readings.csv
fieldfare analyse my-site | head -3
step "a site, its readings and its result"
fieldfare report my-site --month 2026-01 --out /tmp/january.pdf
[ "$(head -c 5 /tmp/january.pdf)" = %PDF- ]
step "a paper as PDF, $(wc -c < /tmp/january.pdf) bytes"
python -c 'import psycopg' && test -s /opt/fieldfare/sbom.json
step "the driver of PostgreSQL and the bill of materials"
FIELDFARE_BROKER_URL=mqtt://127.0.0.1:$BROKER_PORT /opt/fieldfare/bin/fieldfare --data /var/lib/fieldfare/data serve --port "$port" \
    > /tmp/serve.log 2>&1 & service=$!
health() { python -c "import urllib.request as u; u.urlopen(u.Request('http://127.0.0.1:$port/healthz', headers={'Host': 'localhost'}), timeout=4)"; }
for _ in $(seq 240); do ! health 2>/dev/null || break; sleep 0.5; done
health || { cat /tmp/serve.log; exit 1; }
step "the service answers its health check"
for _ in $(seq 240); do ! grep -q 'connected to' /tmp/serve.log || break; sleep 0.5; done
sleep 2
python - <<PYTHON
import time
import paho.mqtt.client as paho
client = paho.Client(paho.CallbackAPIVersion.VERSION2)
client.connect("127.0.0.1", $BROKER_PORT)
client.loop_start()
client.publish("fieldfare/my-site/readings", '[{"bt": %d, "n": "outdoor", "v": 3.25}]' % (time.time() - 60), 1).wait_for_publish(30)
client.disconnect()
PYTHON
for _ in $(seq 60); do
    fieldfare export my-site --out /tmp/all.csv >/dev/null
    ! grep -q '3\.25' /tmp/all.csv || break
    sleep 1
done
grep -q '3\.25' /tmp/all.csv
step "a reading collected from the broker"
kill -INT "$service"
wait "$service" || [ $? = 130 ]
if grep -iE 'error|read-only' /tmp/serve.log; then exit 1; fi
step "stopped; no complaint in its log"
INSIDE
chroot "$root" /usr/bin/setpriv --reuid 10001 --regid 10001 --clear-groups --bounding-set=-all --inh-caps=-all --no-new-privs \
    env -i PATH=/opt/fieldfare/bin:/usr/local/bin:/usr/bin:/bin PYTHONDONTWRITEBYTECODE=1 HOME=/tmp FIELDFARE_HOST=127.0.0.1 \
    BROKER_PORT="$broker_port" sh /var/lib/fieldfare/inside.sh
