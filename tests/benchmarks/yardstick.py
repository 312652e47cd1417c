"""How fast the machine is just now: a shared one gives the same work two to four times the processor time
when others are busy.

A benchmark that says seconds measures the yardstick beside each piece of work, and says also what the work
would have cost at the fastest pace seen in the run.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

_NUMBERS = np.random.default_rng(1).random(2000)


def pace() -> float:
    """Processor time [s] of a fixed piece of work, Python and small arrays half and half; some
    milliseconds."""
    begin = time.process_time()
    total = 0
    for n in range(20_000):
        total += n * n
    for _ in range(60):
        np.sort(_NUMBERS)
    return time.process_time() - begin


class Cost(NamedTuple):
    """Processor time of some work, and the yardstick about it [s]."""

    spent: float
    pace: float

    def at(self, fastest: float) -> float:
        """The processor time at another pace of the yardstick."""
        return self.spent * fastest / self.pace


def measured(work: Callable[[], Any]) -> tuple[Cost, Any]:
    """The cost of some work, and its answer."""
    before = pace()
    begin = time.process_time()
    answer = work()
    spent = time.process_time() - begin
    return Cost(spent, (before + pace()) / 2), answer


def peak_mb(process: int | None = None) -> float:
    """The most memory [MB] a process has had, by default this one. `getrusage` would count the one that
    spawned it, too."""
    status = Path(f"/proc/{process or 'self'}/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:", 1)[1].split(maxsplit=1)[0]) * 1024 / 1e6
