"""The image's recipe, its bill of materials and the installer's texts: what can be checked without building
the image."""

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
    assert "--require-hashes -r deploy/requirements.lock" in recipe
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
