"""Temperature lost by mixing at a buffer, by two balances that must agree.

Where more water goes to the emitters than comes from the heat pump, the rest is drawn in from the return. The
flow behind the buffer is cooler by as much as the difference there is narrower: (flow - flow) = (flow -
return) - (flow - return).
"""

from __future__ import annotations

from math import isfinite, sqrt

# Two sensors of one class B pair at 35 C differ by 0.3 K, as one standard deviation; sensors clamped to pipes
# by more (EN 60751, common practice).
_SENSORS_K = 0.4


def mixing_loss(drop_k: float, narrower_k: float) -> tuple[float, float]:
    """Flow temperature lost by mixing, with its standard uncertainty [K].

    drop_k : flow temperature before the buffer less that behind it
    narrower_k : flow-return difference before it less that behind; nan where not measured
    Returns the smaller of both where both are known: heat lost from pipes, or a buffer that is warming up,
        shows in one only.
    """
    if not isfinite(narrower_k):
        return drop_k, _SENSORS_K * sqrt(2.0)
    return min(drop_k, narrower_k), _SENSORS_K
