"""The image's recipe, bill of materials and installer texts, checked without building the image."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from fieldfare.dashboards.papers.pdf import NEEDED
from tests.deploy.test_deployment import start_service
from tests.services import free_port

DEPLOY = Path(__file__).parents[2] / "deploy"
LOCK = DEPLOY / "requirements.lock"
PROJECT = DEPLOY.parent / "pyproject.toml"


@pytest.fixture(scope="module")
def bill() -> dict[str, Any]:
    made = subprocess.run(
        [sys.executable, str(DEPLOY / "sbom.py"), str(LOCK), str(PROJECT)],
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(made.stdout)


def test_every_locked_requirement_is_in_the_bill_with_its_hashes(bill: dict[str, Any]) -> None:
    """What a CycloneDX 1.5 document must hold (ECMA-424: bomFormat, specVersion, version; component: type,
    name)."""
    assert (bill["bomFormat"], bill["specVersion"], bill["version"]) == ("CycloneDX", "1.5", 1)
    assert re.fullmatch(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", bill["serialNumber"])
    pinned = re.findall(r"^([A-Za-z0-9._-]+)==", LOCK.read_text(), re.M)
    assert {c["name"] for c in bill["components"]} == {
        re.sub(r"[-_.]+", "-", name).lower() for name in pinned
    }
    for component in bill["components"]:
        assert component["type"] == "library"
        assert component["purl"] == f"pkg:pypi/{component['name']}@{component['version']}"
        (reference,) = component["externalReferences"]
        assert reference["hashes"]
    assert {"psycopg", "webauthn", "fastapi"} <= {c["name"] for c in bill["components"]}


def test_the_same_lock_gives_the_same_bill(bill: dict[str, Any]) -> None:
    again = subprocess.run(
        [sys.executable, str(DEPLOY / "sbom.py"), str(LOCK), str(PROJECT)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(again.stdout) == bill


def test_a_requirement_without_a_hash_is_refused(tmp_path: Path) -> None:
    (tmp_path / "lock").write_text("fastapi==0.1\n")
    run = subprocess.run(
        [sys.executable, str(DEPLOY / "sbom.py"), str(tmp_path / "lock"), str(PROJECT)],
        capture_output=True,
        text=True,
    )
    assert (run.returncode, "has no hash" in run.stderr) == (1, True)


def test_the_image_is_built_from_the_lock_and_runs_without_rights() -> None:
    recipe = (DEPLOY / "Dockerfile").read_text()
    assert "--require-hashes -r deploy/requirements.lock -r deploy/requirements-build.lock" in recipe
    assert re.search(r"^USER 10001$", recipe, re.M)
    assert "/healthz" in recipe
    for source in re.findall(r"^COPY (?!--from)(.+) \S+$", recipe, re.M):
        for name in source.split():
            assert (DEPLOY.parent / name).exists(), name
    service = yaml.safe_load((DEPLOY / "compose.yaml").read_text())["services"]["service"]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]


@pytest.mark.parametrize(
    "path", ["Dockerfile", "install.sh", "README.md", "../README.md", "../tests/install-services.sh"]
)
def test_what_prints_a_pdf_is_named_wherever_packages_are(path: str) -> None:
    text = (DEPLOY / path).read_text()
    assert not [package for package in NEEDED.values() if package not in text]


@pytest.mark.parametrize("path", ["Dockerfile", "install.sh"])
def test_no_browser_is_installed_for_the_service(path: str) -> None:
    assert "chromium" not in (DEPLOY / path).read_text()


@pytest.mark.parametrize("recipe", ["Dockerfile", "install.sh"])
def test_nothing_is_fetched_without_a_hash(recipe: str) -> None:
    """Each call of pip checks hashes, or installs this source alone with the locked builder."""
    text = (DEPLOY / recipe).read_text().replace("\\\n", " ")
    calls = re.findall(r"pip install[^&\n]*", text)
    assert len(calls) == 2
    for call in calls:
        alone = "--no-deps" in call and "--no-build-isolation" in call
        assert ("--require-hashes" in call) != alone, call
    build = (DEPLOY / "requirements-build.lock").read_text()
    assert re.search(r"^setuptools==(\d+)\.[\d.]+ \\\n +--hash=sha256:[0-9a-f]{64}", build, re.M)


def test_the_image_runs_where_nothing_can_be_written() -> None:
    """Each instruction is one that Dockerfiles have; the last user is none with rights; what is written lies
    in the volume or in the temporary folder."""
    recipe = (DEPLOY / "Dockerfile").read_text().replace("\\\n", " ")
    words = [line.split()[0] for line in recipe.splitlines() if line and not line.startswith("#")]
    assert set(words) <= {
        "FROM",
        "WORKDIR",
        "COPY",
        "RUN",
        "ENV",
        "USER",
        "VOLUME",
        "EXPOSE",
        "HEALTHCHECK",
        "ENTRYPOINT",
        "CMD",
    }
    last = words[len(words) - words[::-1].index("FROM") :]
    assert last.index("USER") > max(n for n, word in enumerate(last) if word in ("RUN", "COPY"))
    (environment,) = re.findall(r"^ENV (.*)$", recipe, re.M)
    given = dict(pair.split("=", 1) for pair in environment.split())
    assert given["HOME"] == "/tmp"
    assert re.search(r'^ENTRYPOINT \["fieldfare", "--data", "/var/lib/fieldfare"\]$', recipe, re.M)
    assert re.search(r"^VOLUME /var/lib/fieldfare$", recipe, re.M)
    service = yaml.safe_load((DEPLOY / "compose.yaml").read_text())["services"]["service"]
    assert service["tmpfs"] == ["/tmp"]
    assert "data:/var/lib/fieldfare" in service["volumes"]


def test_the_image_s_health_check_asks_the_running_service(tmp_path: Path) -> None:
    """The very command of the recipe, with the port of a service that is started here,
    and with none there."""
    found = re.search(
        r"^HEALTHCHECK .*CMD (\[.*\])$", (DEPLOY / "Dockerfile").read_text().replace("\\\n", " "), re.M
    )
    assert found is not None
    python, *command = json.loads(found[1])
    assert python == "python"
    port = free_port()
    ask = [sys.executable, *(part.replace("8080", str(port)) for part in command)]
    assert subprocess.run(ask, capture_output=True, timeout=30).returncode != 0
    server = start_service(tmp_path, port)
    try:
        assert subprocess.run(ask, capture_output=True, timeout=30).returncode == 0
    finally:
        server.stop()


def test_the_installer_names_what_is_wrong_and_its_files_are_here() -> None:
    script = DEPLOY / "install.sh"
    assert subprocess.run(["sh", "-n", str(script)]).returncode == 0
    usage = subprocess.run(["sh", str(script)], capture_output=True, text=True)
    assert (usage.returncode, "install --name HOST" in usage.stderr) == (2, True)
    for name in re.findall(r'\$SOURCE"?/deploy/([\w/.]+)', script.read_text()):
        assert (DEPLOY / name.rstrip("/")).exists() or list(DEPLOY.glob(f"{name}*")), name


def test_the_example_alerts_use_metrics_that_are_there() -> None:
    from fieldfare.api.http import metrics

    rules = yaml.safe_load((DEPLOY / "alerts.yml").read_text())["groups"][0]["rules"]
    source = Path(metrics.__file__).read_text()
    asked = {name for rule in rules for name in re.findall(r"fieldfare_(\w+)", rule["expr"])}
    assert asked
    for name in asked:
        assert re.sub(r"_(total|bucket|count|sum)$", "", name) in source, name
    assert all(rule["annotations"].keys() == {"summary", "do"} for rule in rules)
