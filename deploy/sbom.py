#!/usr/bin/env python3
"""Write the software bill of materials (CycloneDX 1.5, JSON) of a lock of hashed requirements to standard
output.

    sbom.py requirements.lock pyproject.toml > sbom.json

Only Python's standard library is needed. The same lock gives the same document.
Source: CycloneDX 1.5 (ECMA-424); package URLs by the purl specification, type pypi.
"""

from __future__ import annotations

import json
import re
import sys
import tomllib
import uuid
from pathlib import Path
from typing import Any

_PINNED = re.compile(r"^([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)")
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")


def components(lock: str) -> list[dict[str, Any]]:
    """One component a pinned requirement. Raises ValueError for one without a hash."""
    found: list[dict[str, Any]] = []
    for entry in lock.replace("\\\n", " ").splitlines():
        if not (pinned := _PINNED.match(entry)):
            continue
        name, version = re.sub(r"[-_.]+", "-", pinned[1]).lower(), pinned[2]
        hashes = sorted(set(_HASH.findall(entry)))
        if not hashes:
            raise ValueError(f"{name}=={version} has no hash")
        purl = f"pkg:pypi/{name}@{version}"
        found.append(
            {
                "type": "library",
                "bom-ref": purl,
                "name": name,
                "version": version,
                "purl": purl,
                "externalReferences": [
                    {
                        "type": "distribution",
                        "url": purl,
                        "hashes": [{"alg": "SHA-256", "content": content} for content in hashes],
                    }
                ],
            }
        )
    return sorted(found, key=lambda c: c["purl"])


def document(lock: str, project: str) -> dict[str, Any]:
    """lock, project : texts of requirements.lock and pyproject.toml"""
    about = tomllib.loads(project)["project"]
    ref = f"pkg:pypi/{about['name']}@{about['version']}"
    parts = components(lock)
    serial = uuid.uuid5(uuid.NAMESPACE_URL, ref + json.dumps(parts))
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "serialNumber": f"urn:uuid:{serial}",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "bom-ref": ref,
                "name": about["name"],
                "version": about["version"],
                "purl": ref,
            }
        },
        "components": parts,
        "dependencies": [{"ref": ref, "dependsOn": [part["bom-ref"] for part in parts]}],
    }


def main(argv: list[str]) -> int:
    if len(argv) != 2:
        print("usage: sbom.py requirements.lock pyproject.toml", file=sys.stderr)
        return 2
    try:
        lock, project = (Path(name).read_text(encoding="utf-8") for name in argv)
        print(json.dumps(document(lock, project), indent=1, sort_keys=True))
    except (OSError, ValueError, KeyError) as error:
        print(f"sbom.py: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
