"""The broker's own configuration, with only its paths and ports changed, at a real mosquitto."""

import shutil
import signal
import socket
import ssl
import subprocess
import time
from pathlib import Path

import pytest

from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.local import LocalStore
from tests.services import Server, binary, collecting, end, free_port, make_site, wait_for_port, wait_until

DEPLOY = Path(__file__).parents[2] / "deploy" / "mosquitto"
TOPIC = "fieldfare/alder-row/readings/flow"


class Broker:
    """The shipped files in a folder of their own, certificates and users made by the shipped scripts."""

    def __init__(self, folder):
        self.folder, self.port, self.certificate_port = folder, free_port(), free_port()
        self.certificates = folder / "certificates"
        for name in ("acl", "gateway.sh", "make-certificates.sh"):
            shutil.copy(DEPLOY / name, folder / name)
        self.script("make-certificates.sh", str(self.certificates), "broker", "localhost", "127.0.0.1")
        self.script("make-certificates.sh", str(self.certificates), "client", "alder-row")
        self.passwords = {
            "alder-row": self.user("add", "alder-row", "gateway7/#"),
            "beech-end": self.user("add", "beech-end"),
            "fieldfare_collector": self.user("collector"),
        }
        text = (DEPLOY / "mosquitto.conf").read_text()
        text = text.replace("/etc/fieldfare/mosquitto", str(folder)).replace(
            "/var/lib/mosquitto", str(folder)
        )
        text = text.replace("listener 8883", f"listener {self.port} 127.0.0.1")
        text = text.replace("listener 8884", f"listener {self.certificate_port} 127.0.0.1")
        # The tests may run as root; the broker then would change to a user who can't read the test's folder.
        (folder / "test.conf").write_text(text + "\nuser root\n")
        self.server = Server(
            self.port, folder, [binary("mosquitto"), "-c", str(folder / "test.conf")], folder / "log"
        )

    def script(self, name, *args):
        done = subprocess.run(
            ["sh", str(self.folder / name), *args],
            capture_output=True,
            text=True,
            timeout=60,
            env={"PATH": "/usr/sbin:/usr/bin:/bin", "FIELDFARE_BROKER": str(self.folder)},
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def user(self, *args):
        return self.script("gateway.sh", *args).split("password ")[1].strip()

    def publish(self, topic, payload, *, user=None, password=None, certificate=None, port=None, ca=True):
        """mosquitto_pub with QoS 1 and MQTT 5, so that a refusal comes back; the exit status and what it
        said."""
        command = [binary("mosquitto_pub"), "-h", "127.0.0.1", "-p", str(port or self.port), "-V", "5"]
        command += [
            "-q",
            "1",
            "-t",
            topic,
            "-m",
            payload,
            *(["--cafile", str(self.certificates / "ca.crt")] if ca else []),
        ]
        if user:
            command += ["-u", user, "-P", password if password is not None else self.passwords[user]]
        if certificate:
            command += [
                "--cert",
                str(self.certificates / f"{certificate}.crt"),
                "--key",
                str(self.certificates / f"{certificate}.key"),
            ]
        done = subprocess.run(command, capture_output=True, text=True, timeout=20)
        return done.returncode, done.stdout + done.stderr

    def listen(self, topic, user, count=1, seconds=2):
        command = [
            binary("mosquitto_sub"),
            "-h",
            "127.0.0.1",
            "-p",
            str(self.port),
            "-V",
            "5",
            "-t",
            topic,
            "-C",
            str(count),
        ]
        command += [
            "-W",
            str(seconds),
            "--cafile",
            str(self.certificates / "ca.crt"),
            "-u",
            user,
            "-P",
            self.passwords[user],
        ]
        return subprocess.Popen(
            [*command, "-q", "1", "-v"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )


@pytest.fixture(scope="module")
def broker(tmp_path_factory):
    made = Broker(tmp_path_factory.mktemp("broker"))
    made.server.start()
    wait_for_port(made.certificate_port)
    yield made
    made.server.stop()


def heard(broker, topic, payload, **who):
    """What the collector's user hears of a publish."""
    listener = broker.listen("#", "fieldfare_collector")
    try:
        time.sleep(0.4)
        code, said = broker.publish(topic, payload, **who)
        out, _ = listener.communicate(timeout=20)
        return code, said, out.strip()
    finally:
        end(listener)


def test_a_site_may_write_below_its_own_topic_and_the_collector_hears_it(broker):
    code, said, out = heard(broker, TOPIC, "41.5", user="alder-row")
    assert code == 0, said
    assert out == f"{TOPIC} 41.5"


def test_a_site_may_write_its_gateways_own_topics(broker):
    assert heard(broker, "gateway7/em/1", "1", user="alder-row")[2] == "gateway7/em/1 1"


@pytest.mark.parametrize(
    ("topic", "user"),
    [
        (TOPIC, "beech-end"),
        ("gateway7/em/1", "beech-end"),
        ("fieldfare/elm/readings", "alder-row"),
        ("$SYS/x", "alder-row"),
    ],
)
def test_one_sites_password_cannot_publish_for_another(broker, topic, user):
    code, said, out = heard(broker, topic, "41.5", user=user)
    assert out == ""
    assert "Not authorized" in said or code != 0 or topic.startswith("$SYS")


def test_a_site_reads_nothing_not_even_its_own(broker):
    listener = broker.listen("fieldfare/#", "alder-row")
    time.sleep(0.4)
    broker.publish(TOPIC, "41.5", user="alder-row")
    out, _ = listener.communicate(timeout=20)
    assert out == ""


def test_anonymous_is_refused(broker):
    code, said = broker.publish(TOPIC, "1")
    assert code != 0
    assert "not authori" in said.lower()


def test_a_wrong_password_is_refused(broker):
    code, said = broker.publish(TOPIC, "1", user="alder-row", password="guess")
    assert code != 0
    assert "not authori" in said.lower()


def test_plain_text_gets_no_answer_on_the_tls_port_and_the_plain_port_is_closed(broker):
    assert "listener 1883" not in (DEPLOY / "mosquitto.conf").read_text()
    with socket.create_connection(("127.0.0.1", broker.port)) as s:
        s.settimeout(5)
        s.sendall(b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x3c\x00\x00")
        try:
            answer = s.recv(64)
        except ConnectionResetError:
            answer = b""
    assert not answer.startswith(b"\x20")  # no CONNACK
    listening = Path(f"/proc/{broker.server.process.pid}/net/tcp").read_text().splitlines()
    inodes = {
        p.readlink().name if False else str(p.readlink())
        for p in Path(f"/proc/{broker.server.process.pid}/fd").iterdir()
    }
    ports = {
        int(line.split()[1].split(":")[1], 16)
        for line in listening[1:]
        if line.split()[3] == "0A" and f"socket:[{line.split()[9]}]" in inodes
    }
    assert ports == {broker.port, broker.certificate_port}


def test_a_tls_older_than_1_2_is_refused(broker):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    with pytest.warns(DeprecationWarning, match="TLSv1"):
        context.minimum_version = ssl.TLSVersion.TLSv1
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        context.maximum_version = ssl.TLSVersion.TLSv1_1
    context.set_ciphers("ALL:@SECLEVEL=0")
    with socket.create_connection(("127.0.0.1", broker.port)) as s, pytest.raises(OSError, match=r"."):
        context.wrap_socket(s)


def test_a_client_that_does_not_know_the_authority_turns_away(broker):
    context = ssl.create_default_context()
    with (
        socket.create_connection(("127.0.0.1", broker.port)) as s,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        context.wrap_socket(s, server_hostname="localhost")


def test_a_client_certificate_is_a_site_too(broker):
    code, said, out = heard(broker, TOPIC, "42", certificate="alder-row", port=broker.certificate_port)
    assert code == 0, said
    assert out == f"{TOPIC} 42"
    assert (
        heard(
            broker, "fieldfare/beech-end/readings", "1", certificate="alder-row", port=broker.certificate_port
        )[2]
        == ""
    )
    assert broker.publish(TOPIC, "1", port=broker.certificate_port)[0] != 0


def test_a_new_site_is_let_in_and_out_without_a_restart(broker):
    broker.passwords["elm-court"] = broker.user("add", "elm-court", "gw9/#")
    broker.server.process.send_signal(signal.SIGHUP)
    time.sleep(0.3)
    assert broker.publish("fieldfare/elm-court/status", "online", user="elm-court")[0] == 0
    assert heard(broker, "gw9/x", "1", user="elm-court")[2] == "gw9/x 1"
    broker.script("gateway.sh", "remove", "elm-court")
    broker.server.process.send_signal(signal.SIGHUP)
    time.sleep(0.3)
    assert broker.publish("fieldfare/elm-court/status", "online", user="elm-court")[0] != 0
    assert "elm-court" not in (broker.folder / "acl").read_text() + (broker.folder / "passwords").read_text()
    assert broker.publish(TOPIC, "41", user="alder-row")[0] == 0


def test_passwords_are_hashed_and_readable_by_the_broker_only(broker):
    text = (broker.folder / "passwords").read_text()
    assert all(p not in text for p in broker.passwords.values())
    assert text.count("$7$") == len(text.splitlines())
    assert (broker.folder / "passwords").stat().st_mode & 0o007 == 0
    assert (broker.certificates / "ca.key").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    "args",
    [
        ["add", "Alder Row"],
        ["add", "a"],
        ["add", "alder-row", "#"],
        ["add", "alder-row", "fieldfare/x/#"],
        ["add"],
        [],
    ],
)
def test_a_bad_site_or_topic_is_refused_and_changes_nothing(broker, args):
    before = (broker.folder / "passwords").read_text(), (broker.folder / "acl").read_text()
    done = subprocess.run(
        ["sh", str(broker.folder / "gateway.sh"), *args],
        capture_output=True,
        timeout=20,
        env={"PATH": "/usr/bin:/bin", "FIELDFARE_BROKER": str(broker.folder)},
    )
    assert done.returncode == 2
    assert before == ((broker.folder / "passwords").read_text(), (broker.folder / "acl").read_text())


@pytest.mark.parametrize("by", ["password", "certificate"])
def test_our_collector_gets_in_over_tls_and_collects(broker, tmp_path, by):
    store, site = LocalStore(tmp_path / "readings"), make_site()
    if by == "certificate":
        broker.script("make-certificates.sh", str(broker.certificates), "client", "fieldfare_collector")
        crt = broker.certificates / "fieldfare_collector"
        who = {"client_cert": f"{crt}.crt", "client_key": f"{crt}.key"}
    else:
        who = {"user": "fieldfare_collector", "password": broker.passwords["fieldfare_collector"]}
    port = broker.certificate_port if by == "certificate" else broker.port
    s = MqttSettings(
        f"mqtts://localhost:{port}",
        tmp_path,
        ca_file=str(broker.certificates / "ca.crt"),
        client_id=by,
        **who,
    )
    with collecting(s, lambda: [site], store) as collector:
        wait_until(lambda: len(collector._link.filters) == 3)
        for i in range(3):
            assert broker.publish(TOPIC, f'{{"t":{1_767_225_600 + i},"v":40}}', user="alder-row")[0] == 0
        wait_until(lambda: collector.totals.stored == 3)
    assert store.points("alder-row")["flow"].count == 3


def test_a_wrong_authority_keeps_our_collector_out(broker, tmp_path):
    other = tmp_path / "other"
    broker.script("make-certificates.sh", str(other), "broker", "localhost")
    s = MqttSettings(
        f"mqtts://localhost:{broker.port}",
        tmp_path,
        ca_file=str(other / "ca.crt"),
        user="fieldfare_collector",
        password="x",
        back_off_seconds=(0.05, 0.1),
    )
    with collecting(s, lambda: [make_site()], LocalStore(tmp_path / "readings")) as collector:
        time.sleep(0.6)
        assert collector.totals.connects == 0
