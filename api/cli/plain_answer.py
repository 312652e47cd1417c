"""Format an answer as plain text, worded as on its page."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.answers.present_answer import present_answer


def plain_answer(document: dict[str, Any], name: str) -> str:
    """Return an answer as text for a terminal, conclusion first."""
    shown = present_answer(document, name)
    lines = [f"{name}: {shown['title']}", "", *shown["lead"]]
    if document["question"] == "bill":
        lines += _bill(shown)
    else:
        lines += _complaint(shown)
    return "\n".join(lines)


def _bill(shown: dict[str, Any]) -> list[str]:
    lines = [shown["say"]] if shown["say"] else []
    if shown["rows"]:
        width = max(len(r["name"]) for r in shown["rows"])
        lines += ["", *(f"  {r['name']:<{width}}  {r['money']:<28}  {r['kwh']}" for r in shown["rows"])]
        lines += [
            f"  {'Difference':<{width}}  {shown['sum']['difference']['money']:<28}  "
            f"{shown['sum']['difference']['kwh']}"
        ]
        lines += ["", "Whose:", *(f"  {g['whose']}: {g['money']}, {g['kwh']}" for g in shown["groups"])]
    for title, key in (
        ("Efficiency, why:", "why"),
        ("To mend:", "mend"),
        ("Not trusted:", "culprits"),
        ("Ask:", "ask"),
        ("Not known:", "unknown"),
    ):
        rows = [f"{r['name']}: {r['kwh']}" if isinstance(r, dict) else r for r in shown[key]]
        lines += ["", title, *(f"  {r}" for r in rows)] if rows else []
    lines += ["", shown["billed"]] if shown["billed"] else []
    return [*lines, "", shown["next"]]


def _complaint(shown: dict[str, Any]) -> list[str]:
    lines = [f"({shown['hours']}{'; ' + shown['weight'] if shown['weight'] else ''})"]
    width = max(len(s["name"]) for s in shown["steps"])
    lines += ["", *(f"  {s['name']:<{width}}  {s['state_words']:<15}  {s['proof']}" for s in shown["steps"])]
    lines += ["", "Do:"]
    for act in shown["do"]:
        bring = f" Bring {', '.join(act['bring'])}." if act["bring"] else ""
        lines.append(f"  {act['kind']}: {act['text']}{bring}")
    lines += ["", f"Tomorrow: {shown['tomorrow']}"]
    if shown["findings"]:
        lines += [f"Open findings: {', '.join(title for _, title in shown['findings'])}"]
    return lines + [f"Take care. {c}" for c in shown["cautions"]]
