"""Time of `make docs` from a clean tree, and whether its pages load only local files.

    python -m tests.benchmarks.bench_docs [--json FILE]

Exit status 1 where the build fails or a page loads a file from another host.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
OUTSIDE = re.compile(r"<(?:script|link|img)\b[^>]*\b(?:src|href)=\"(?:https?:)?//[^\"]*\"")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "html"
        began = time.perf_counter()
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                "sphinx",
                "-W",
                "--keep-going",
                "-q",
                "-E",
                "-b",
                "html",
                "docs",
                str(out),
            ],
            cwd=ROOT,
            check=False,
        )
        seconds = time.perf_counter() - began
        pages = sorted(out.rglob("*.html"))
        outside = [page.name for page in pages if OUTSIDE.search(page.read_text(encoding="utf-8"))]
        size = sum(p.stat().st_size for p in out.rglob("*") if p.is_file())
    figures = {"seconds": round(seconds, 1), "pages": len(pages), "megabytes": round(size / 1e6, 1)}
    print(", ".join(f"{name} {value}" for name, value in figures.items()))
    for page in outside:
        print(f"{page} loads a file from another host", file=sys.stderr)
    if asked.json:
        asked.json.write_text(json.dumps(figures))
    return 1 if done.returncode or outside or not pages else 0


if __name__ == "__main__":
    sys.exit(main())
