"""Judge the product on made plants: run its command line on each and compare with the truth.

`python -m tests.reference.score DIR... [--jobs 2] [--json FILE] [--reuse] [--before FILE]` stores `said.json`
beside each plant. `--before` prints the figures of an earlier `--json` beside the new ones.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.reference.score_report import print_beside, print_report, summarise

TIMEOUT_S = 900
FIGURES = {
    "H2": ("performance", "H2"),
    "H4": ("performance", "H4"),
    "heat_loss_w_per_k": ("heat_loss", "coefficient_w_per_k"),
    "starts": ("cycling", "starts"),
    "defrosts": ("defrost", "count"),
    "electricity_kwh": ("energy", "electricity_kwh", "total"),
    "heat_kwh": ("energy", "heat_kwh", "total"),
}


def run(data: str, *arguments: str) -> tuple[int, str, str]:
    """Run one command of the product with the data folder `data`; return status, output and errors."""
    start = "import sys; from fieldfare.api.cli import main; sys.exit(main())"
    command = [sys.executable, "-c", start, "--data", data, *arguments]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=TIMEOUT_S, check=False)
    except subprocess.TimeoutExpired:
        return 124, "", f"no answer within {TIMEOUT_S} s"
    return done.returncode, done.stdout, done.stderr


def look_up(result: dict, path: tuple[str, ...]) -> object:
    """Return the value at `path`, or None where a key is missing."""
    value: object = result
    for key in path:
        if not isinstance(value, dict):
            return None
        value = value.get(key)
    return value


def read_figure(result: dict, path: tuple[str, ...]) -> dict | None:
    """Return a figure as value, low and high, or None where the product gives none."""
    value = look_up(result, path)
    if isinstance(value, dict):
        if value.get("value") is None:
            return None
        return {k: value.get(k) for k in ("value", "low", "high")}
    if isinstance(value, int | float):
        return {"value": value, "low": None, "high": None}
    return None


def shorten(result: dict) -> dict:
    """Return what the judge needs of an analysis result."""
    findings = []
    for f in result.get("findings", []):
        causes = f.get("causes") or []
        row = {k: f.get(k) for k in ("code", "severity", "confidence", "since", "until")}
        findings.append(row | {"first_cause": causes[0].get("cause") if causes else None})
    return {
        "findings": findings,
        "not_assessed": result.get("not_assessed", []),
        "figures": {name: read_figure(result, path) for name, path in FIGURES.items()},
        "verdict": result.get("verdict"),
    }


def ask(folder: Path) -> dict:
    """Run the product on one plant and return the shortened result; `error` names the step that failed."""
    begin = time.perf_counter()
    site = json.loads((folder / "truth.json").read_text())["name"]
    readings = sorted(str(p) for p in folder.glob("readings.csv*"))
    said: dict = {"findings": [], "not_assessed": [], "figures": {}, "verdict": None}
    with tempfile.TemporaryDirectory(prefix="plants-") as data:
        steps = [
            ("site add", (0,), ["site", "add", str(folder / "site.toml")]),
            ("ingest", (0, 3), ["ingest", site, *readings, "--format", "json"]),
            ("analyse", (0,), ["analyse", site, "--format", "json"]),
        ]
        out = ""
        for name, good, arguments in steps:
            status, out, errors = run(data, *arguments)
            if name == "ingest" and status == 3:
                said["ingest_note"] = out[-2000:]
            if status not in good:
                said["error"] = {"step": name, "status": status, "text": errors[-2000:]}
                break
        else:
            try:
                said |= shorten(json.loads(out))
            except ValueError as err:
                said["error"] = {"step": "analyse", "status": 0, "text": f"output is not JSON: {err}"}
    said["seconds"] = round(time.perf_counter() - begin, 1)
    (folder / "said.json").write_text(json.dumps(said, indent=1) + "\n")
    return said


def main() -> int:
    """Judge every plant of a folder; print the report."""
    parser = argparse.ArgumentParser(prog="python -m tests.reference.score", description=__doc__)
    parser.add_argument("folder", type=Path, nargs="+")
    parser.add_argument("--jobs", type=int, default=1, choices=[1, 2])
    parser.add_argument("--json", type=Path, help="also write the figures of the report here")
    parser.add_argument(
        "--reuse", action="store_true", help="use said.json where it exists; do not ask again"
    )
    parser.add_argument("--before", type=Path, help="an earlier --json, to print beside the new figures")
    parser.add_argument("--only", default="", help="judge only plants whose folder name contains this text")
    args = parser.parse_args()
    plants = [
        p.parent
        for folder in args.folder
        for p in sorted(folder.glob("*/truth.json"))
        if args.only in p.parent.name
    ]
    if not plants:
        print(
            f"{', '.join(map(str, args.folder))}: no plants (folders with truth.json) found", file=sys.stderr
        )
        return 2

    def judge(folder: Path) -> tuple[dict, dict]:
        old = folder / "said.json"
        said = json.loads(old.read_text()) if args.reuse and old.exists() else ask(folder)
        print(f"{folder.name}  {said.get('seconds', 0)} s", file=sys.stderr, flush=True)
        return json.loads((folder / "truth.json").read_text()), said

    with ThreadPoolExecutor(args.jobs) as pool:
        pairs = list(pool.map(judge, plants))
    summary = summarise(pairs)
    print_report(summary)
    if args.before:
        print_beside(json.loads(args.before.read_text()), summary)
    if args.json:
        args.json.write_text(json.dumps(summary, indent=1) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
