"""Compare what the product said with the truth, and print the report.

A demand (`must` entry) is met by a finding with one of its codes and at least its severity. A finding of
`watch` or above is true where its code is in a demand or in `may`, otherwise false. Confidence is judged on
these findings.
"""

from collections import defaultdict
from itertools import pairwise

import numpy as np

RANK = {"note": 0, "watch": 1, "act": 2, "urgent": 3}
BINS = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0001)


def rank(severity: str | None) -> int:
    """Return the order of a severity; unknown words rank as `note`."""
    return RANK.get(severity or "note", 0)


def meets(finding: dict, demand: dict) -> bool:
    """Return whether a finding meets a demand."""
    return finding["code"] in demand["any_of"] and rank(finding["severity"]) >= rank(
        demand["severity_at_least"]
    )


def judge_plant(truth: dict, said: dict) -> dict:
    """Return demands met and missed, findings, first cause, figure errors and verdict of one plant."""
    demands = truth.get("must") or []
    allowed = {c for d in demands for c in d["any_of"]} | set(truth.get("may") or [])
    loud = [f for f in said["findings"] if rank(f["severity"]) >= 1]
    met = [d for d in demands if any(meets(f, d) for f in said["findings"])]
    missed = [d for d in demands if d not in met]
    cause = None
    wanted = set(truth.get("first_cause") or [])
    answers = [f for f in said["findings"] if any(meets(f, d) for d in demands) and f.get("first_cause")]
    if wanted and met:
        cause = any(f["first_cause"] in wanted for f in answers)
    figures = {}
    for name, true in (truth.get("figures") or {}).items():
        got = (said.get("figures") or {}).get(name)
        if got is None or true is None:
            continue
        error = abs(got["value"] - true) / max(abs(true), 1e-9)
        inside = (
            None if got.get("low") is None or got.get("high") is None else got["low"] <= true <= got["high"]
        )
        figures[name] = {"error": error, "inside": inside}
    verdict, allowed_verdicts = said.get("verdict"), (truth.get("verdict") or {}).get("in") or []
    word = verdict.get("verdict", verdict.get("value")) if isinstance(verdict, dict) else verdict
    return {
        "name": truth["name"],
        "healthy": not truth.get("fault") and not demands,
        "metering": truth.get("metering"),
        "met": [d["any_of"] for d in met],
        "missed": [d["any_of"] for d in missed],
        "said": [(f["code"], f["severity"], f.get("confidence")) for f in loud],
        "findings": [(f["code"], f.get("confidence"), f["code"] in allowed) for f in loud],
        "false": [(f["code"], f["severity"]) for f in loud if f["code"] not in allowed],
        "forbidden": [
            f["code"]
            for f in said["findings"]
            if f["code"] in (truth.get("must_not") or []) and rank(f["severity"]) >= 1
        ],
        "cause": cause,
        "cause_of": [d["any_of"][0] for d in met][:1],
        "cause_said": [f["first_cause"] for f in answers],
        "cause_wanted": sorted(wanted),
        "figures": figures,
        "verdict": word if isinstance(word, str) else None,
        "verdict_right": word in allowed_verdicts if isinstance(word, str) and allowed_verdicts else None,
        "verdict_wanted": allowed_verdicts,
        "error": said.get("error"),
    }


def share(part: float, whole: float) -> float | None:
    """Return part over whole, or None where the whole is zero."""
    return round(part / whole, 4) if whole else None


def by_code(plants: list[dict]) -> dict[str, dict]:
    """Return demands, met demands, findings and true findings by code; a demand counts for its first code."""
    table: dict[str, dict] = defaultdict(
        lambda: {
            "demands": 0,
            "met": 0,
            "findings": 0,
            "true": 0,
            "false_on_healthy": 0,
            "caused": 0,
            "cause_right": 0,
        }
    )
    for p in plants:
        for codes in p["met"]:
            table[codes[0]]["demands"] += 1
            table[codes[0]]["met"] += 1
        for codes in p["missed"]:
            table[codes[0]]["demands"] += 1
        for code, _confidence, true in p["findings"]:
            table[code]["findings"] += 1
            table[code]["true"] += int(true)
            table[code]["false_on_healthy"] += int(p["healthy"] and not true)
        for code in p["cause_of"] if p["cause"] is not None else ():
            table[code]["caused"] += 1
            table[code]["cause_right"] += int(p["cause"])
    for row in table.values():
        row["recall"] = share(row["met"], row["demands"])
        row["precision"] = share(row["true"], row["findings"])
    return dict(sorted(table.items()))


def reliability(plants: list[dict]) -> dict:
    """Return the reliability table of confidence, the Brier score, the mean gap and the skill.

    error : mean of |confidence - share true| over the bins, weighted by their findings (expected calibration
        error)
    skill : 1 less the Brier score over that of always telling the share that is true
    """
    pairs = [(c, t) for p in plants for _, c, t in p["findings"] if c is not None]
    if not pairs:
        return {"bins": [], "brier": None, "count": 0, "error": None, "skill": None}
    conf, true = np.array([c for c, _ in pairs]), np.array([t for _, t in pairs], float)
    rows = []
    for low, high in pairwise(BINS):
        m = (conf >= low) & (conf < high)
        if m.any():
            rows.append(
                {
                    "from": low,
                    "to": min(high, 1.0),
                    "count": int(m.sum()),
                    "mean_confidence": round(float(conf[m].mean()), 3),
                    "share_true": round(float(true[m].mean()), 3),
                }
            )
    brier = float(((conf - true) ** 2).mean())
    spread = float(true.mean() * (1.0 - true.mean()))
    gap = sum(r["count"] * abs(r["mean_confidence"] - r["share_true"]) for r in rows) / len(pairs)
    return {
        "bins": rows,
        "brier": round(brier, 4),
        "count": len(pairs),
        "error": round(gap, 4),
        "skill": round(1.0 - brier / spread, 3) if spread > 0.0 else None,
    }


def figure_table(plants: list[dict]) -> dict[str, dict]:
    """Return median and 90th percentile of the relative error and the share of intervals that hold."""
    out = {}
    for name in sorted({n for p in plants for n in p["figures"]}):
        rows = [p["figures"][name] for p in plants if name in p["figures"]]
        errors = np.array([r["error"] for r in rows])
        held = [r["inside"] for r in rows if r["inside"] is not None]
        out[name] = {
            "count": len(rows),
            "median": round(float(np.median(errors)), 4),
            "p90": round(float(np.quantile(errors, 0.9)), 4),
            "interval_holds": share(sum(held), len(held)),
        }
    return out


def summarise(pairs: list[tuple[dict, dict]]) -> dict:
    """Return all figures of the report for pairs of truth and answer."""
    plants = [judge_plant(t, s) for t, s in pairs]
    healthy = [p for p in plants if p["healthy"] and not p["error"]]
    causes = [p for p in plants if p["cause"] is not None]
    verdicts = [p for p in plants if p["verdict_right"] is not None]
    met, missed = sum(len(p["met"]) for p in plants), sum(len(p["missed"]) for p in plants)
    findings = [t for p in plants for _, _, t in p["findings"]]
    return {
        "plants": len(plants),
        "errors": [{"name": p["name"], **p["error"]} for p in plants if p["error"]],
        "recall": share(met, met + missed),
        "precision": share(sum(findings), len(findings)),
        "healthy": {
            "plants": len(healthy),
            "with_false_alarm": sum(bool(p["false"]) for p in healthy),
            "share": share(sum(bool(p["false"]) for p in healthy), len(healthy)),
        },
        "first_cause": {
            "judged": len(causes),
            "right": sum(p["cause"] for p in causes),
            "share": share(sum(p["cause"] for p in causes), len(causes)),
        },
        "verdict": {
            "judged": len(verdicts),
            "right": sum(p["verdict_right"] for p in verdicts),
            "share": share(sum(p["verdict_right"] for p in verdicts), len(verdicts)),
        },
        "by_code": by_code(plants),
        "missed": [
            {"name": p["name"], "any_of": m, "metering": p["metering"], "said": p["said"]}
            for p in plants
            for m in p["missed"]
        ],
        "false": [
            {"name": p["name"], "healthy": p["healthy"], "metering": p["metering"], "codes": p["false"]}
            for p in plants
            if p["false"]
        ],
        "forbidden": [{"name": p["name"], "codes": p["forbidden"]} for p in plants if p["forbidden"]],
        "wrong_cause": [
            {"name": p["name"], "wanted": p["cause_wanted"], "said": p["cause_said"]}
            for p in causes
            if not p["cause"]
        ],
        "wrong_verdict": [
            {"name": p["name"], "wanted": p["verdict_wanted"], "said": p["verdict"]}
            for p in verdicts
            if not p["verdict_right"]
        ],
        "figures": figure_table(plants),
        "reliability": reliability(plants),
    }


def text(value: float | None) -> str:
    """Return a share as text."""
    return "   -" if value is None else f"{value:.2f}"


def print_reliability(r: dict) -> None:
    """Print the bins of confidence against the share that is true."""
    print(
        f"\nconfidence of {r['count']} findings, Brier {r['brier']}, mean gap {r.get('error')}, skill"
        f" {r.get('skill')}"
    )
    for b in r["bins"]:
        bar = "#" * round(20 * b["share_true"])
        print(
            f"  {b['from']:.2f} to {b['to']:.2f}: {b['count']:4d}"
            f"  mean {b['mean_confidence']:.2f}  true {b['share_true']:.2f}  {bar}"
        )


def print_beside(before: dict, after: dict) -> None:
    """Print the main figures of two reports beside each other."""
    print("\n                            before    after")
    for name, pick in (
        ("plants", lambda s: s["plants"]),
        ("recall", lambda s: s["recall"]),
        ("precision", lambda s: s["precision"]),
        ("healthy with a false one", lambda s: s["healthy"]["share"]),
        ("first cause right", lambda s: s["first_cause"]["share"]),
        ("verdict right", lambda s: s["verdict"]["share"]),
        ("Brier", lambda s: s["reliability"]["brier"]),
        ("mean gap of confidence", lambda s: s["reliability"].get("error")),
    ):
        print(f"{name:26s} {pick(before)!s:>8s} {pick(after)!s:>8s}")
    print("before:", end="")
    print_reliability(before["reliability"])
    print("after:", end="")
    print_reliability(after["reliability"])


def print_report(s: dict) -> None:
    """Print the summary as tables."""
    print(f"{s['plants']} plants; recall {text(s['recall'])}, precision {text(s['precision'])}")
    h, c, v = s["healthy"], s["first_cause"], s["verdict"]
    print(f"healthy plants with a false alarm: {h['with_false_alarm']} of {h['plants']} ({text(h['share'])})")
    print(f"first cause right: {c['right']} of {c['judged']} ({text(c['share'])})")
    print(f"verdict right: {v['right']} of {v['judged']} ({text(v['share'])})")
    print("\ncode                           demands  recall  findings  precision  on healthy  first cause")
    for code, r in s["by_code"].items():
        print(
            f"{code:30s} {r['demands']:7d}    {text(r['recall'])}"
            f"  {r['findings']:8d}       {text(r['precision'])}"
            f"  {r['false_on_healthy']:10d}  {r['cause_right']:4d} of {r['caused']}"
        )
    print("\nfigure                count  median error  p90 error  intervals hold")
    for name, r in s["figures"].items():
        print(
            f"{name:20s} {r['count']:6d}      {r['median']:8.3f}"
            f"   {r['p90']:8.3f}            {text(r['interval_holds'])}"
        )
    print_reliability(s["reliability"])
    for title, key, show in (
        (
            "missed",
            "missed",
            lambda r: (
                f"{'|'.join(r['any_of'])} ({r['metering']});"
                f" said {', '.join(c for c, *_ in r['said']) or 'nothing'}"
            ),
        ),
        (
            "false",
            "false",
            lambda r: ("healthy; " if r["healthy"] else "") + ", ".join(f"{a} ({b})" for a, b in r["codes"]),
        ),
        ("forbidden", "forbidden", lambda r: ", ".join(r["codes"])),
        ("wrong first cause", "wrong_cause", lambda r: f"wanted {r['wanted']}, said {r['said']}"),
        ("wrong verdict", "wrong_verdict", lambda r: f"wanted {r['wanted']}, said {r['said']}"),
        (
            "errors",
            "errors",
            lambda r: (
                f"{r['step']}: {r['text'].strip().splitlines()[0] if r['text'].strip() else r['status']}"
            ),
        ),
    ):
        print(f"\n{title}:" + ("" if s[key] else " none"))
        for row in s[key]:
            print(f"  {row['name']}: {show(row)}")
