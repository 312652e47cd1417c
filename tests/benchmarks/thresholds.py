"""Counts the thresholds of the findings: limits by name, those with a source, and numbers left in function
bodies.

    python -m tests.benchmarks.thresholds [FOLDER ...] [--json FILE]

FOLDER : a checkout of the project, default this one; several are shown beside each other. A limit rests on a
source where its source names a standard, a regulation, a study or a product's own rating; "common practice"
alone is none. A number in a body is a literal that is compared with something (or an argument of `clip`,
`minimum` and `maximum`), other than 0 and 1.
"""

from __future__ import annotations

import argparse
import ast
import json
import re
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

HERE = Path(__file__).parents[2]
ROOMS = (
    "analysis/findings",
    "analysis/expectation",
    "analysis/answers",
    "analysis/advice",
    "analysis/tuning",
    "analysis/commissioned",
    "analysis/reports",
)
_SOURCE = re.compile(
    r"\b(EN|ISO|IEC|Reg\.|Regulation|MID|WHO|HSE|HSG274|Approved Document|ASHRAE|VDI|DVGW|DIN|BS|"
    r"CIBSE|MCS|SAP|RFC|reference|et al\."
    r"|Applied Energy|Building Regulations|European Commission|Directive)(?=\W|$)"
)
_PLAIN = (0, 1, -1, 0.0, 1.0, -1.0)
_BOUNDS = frozenset({"clip", "minimum", "maximum", "fmin", "fmax"})


@dataclass(frozen=True)
class Count:
    """limits : in the tables; sourced : of them on a named source; named : constants of modules that hold
    numbers;
    compared : literal numbers compared in function bodies; bounded : literal numbers that bound a value
    there"""

    limits: int
    sourced: int
    named: int
    compared: int
    bounded: int


def count(folder: Path) -> Count:
    """The counts of a checkout. Raises FileNotFoundError where it has no findings."""
    files = [p for room in ROOMS for p in sorted((folder / room).rglob("*.py"))]
    if not files:
        raise FileNotFoundError(f"{folder}: no {ROOMS[0]} there")
    limits = sourced = named = compared = bounded = 0
    for path in files:
        tree = ast.parse(path.read_text())
        texts = _texts(tree)
        for call in _limits(tree):
            limits += 1
            sourced += bool(_SOURCE.search(_text(call, texts)))
        if path.name.startswith("limit"):
            continue
        named += sum(_is_number_constant(node) for node in tree.body)
        for body in _bodies(tree):
            compared += sum(1 for _ in _compared(body))
            bounded += sum(1 for _ in _bounded(body))
    return Count(limits, sourced, named, compared, bounded)


def _limits(tree: ast.Module) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Limit":
            yield node


def _texts(tree: ast.Module) -> dict[str, str]:
    """Texts that a module gives a name, as sources shared by several limits."""
    return {
        node.targets[0].id: node.value.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    }


def _text(call: ast.Call, texts: dict[str, str]) -> str:
    """The source of a limit: its third argument, or the one named so."""
    given = [k.value for k in call.keywords if k.arg == "source"] or call.args[2:3]
    found = []
    for node in (n for g in given for n in ast.walk(g)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.append(node.value)
        elif isinstance(node, ast.Name):
            found.append(texts.get(node.id, ""))
    return " ".join(found)


def _is_number_constant(node: ast.stmt) -> bool:
    value = node.value if isinstance(node, ast.Assign | ast.AnnAssign) else None
    return value is not None and any(_number(n) is not None for n in ast.walk(value))


def _bodies(tree: ast.Module) -> Iterator[ast.AST]:
    """Outermost functions and methods."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield node
        elif isinstance(node, ast.ClassDef):
            yield from (n for n in node.body if isinstance(n, ast.FunctionDef))


def _compared(body: ast.AST) -> Iterator[float]:
    for node in ast.walk(body):
        if isinstance(node, ast.Compare) and not any(
            isinstance(op, ast.In | ast.NotIn | ast.Is | ast.IsNot) for op in node.ops
        ):
            for side in (node.left, *node.comparators):
                yield from _literals(side)


def _bounded(body: ast.AST) -> Iterator[float]:
    for node in ast.walk(body):
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in _BOUNDS or name in ("min", "max"):
                for side in node.args:
                    if isinstance(side, ast.Constant | ast.UnaryOp):
                        yield from _literals(side)


def _literals(node: ast.expr) -> Iterator[float]:
    """Literal numbers of one side, those inside calls (such as an index or an axis) left out."""
    if (value := _number(node)) is not None:
        if value not in _PLAIN:
            yield value
    elif isinstance(node, ast.BinOp):
        yield from _literals(node.left)
        yield from _literals(node.right)
    elif isinstance(node, ast.UnaryOp):
        yield from _literals(node.operand)


def _number(node: ast.AST) -> float | None:
    if (
        isinstance(node, ast.Constant)
        and isinstance(node.value, int | float)
        and not isinstance(node.value, bool)
    ):
        return float(node.value)
    return None


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", nargs="*", type=Path, default=[HERE])
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    found = {str(folder): count(folder) for folder in args.folders}
    print(f"{'':<24}{'limits':>8}{'on a source':>13}{'named constants':>17}{'compared':>10}{'bounds':>8}")
    for name, c in found.items():
        print(f"{name[-24:]:<24}{c.limits:>8}{c.sourced:>13}{c.named:>17}{c.compared:>10}{c.bounded:>8}")
    if args.json:
        args.json.write_text(json.dumps({name: asdict(c) for name, c in found.items()}, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
