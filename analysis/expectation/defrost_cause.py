"""Air flow or refrigerant charge: probable cause of too frequent defrosts.

Both frost the coil sooner. Between defrosts a coil short of air works nearly as rated, while a circuit short
of refrigerant has lost efficiency and output.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from fieldfare.analysis.expectation.hypotheses import Spread, log_likelihood, shares

# Signatures: a charge low enough to frost the coil costs a tenth of efficiency and output and more; many
# defrosts take as much of an hour's output by themselves (common practice).
_SIGNATURES: Mapping[str, Mapping[str, Spread]] = MappingProxyType(
    {
        "coil_airflow": {"efficiency": Spread(0.98, 0.05), "top": Spread(0.88, 0.12)},
        "low_refrigerant_symptom": {"efficiency": Spread(0.88, 0.06), "top": Spread(0.78, 0.12)},
    }
)
_TAIL_DF = 8
# Beyond this, lack of air and lack of refrigerant look similar: neither is ever ruled out.
_LEAST, _MOST = 0.2, 0.8


def refrigerant_chance(efficiency: float, top: float) -> float:
    """Probability that a starved coil lacks refrigerant and not air [0.2 to 0.8]; 0.5 where nothing is
    measured.

    efficiency : float [-], nan where not measured. Steady heating over what is expected
    top : float [-], nan where not measured. Best hour's output over the rated one
    Source: Bayes' rule with even prior odds.
    """
    facts = {"efficiency": efficiency, "top": top}
    logs = {name: log_likelihood(facts, signature, _TAIL_DF) for name, signature in _SIGNATURES.items()}
    return float(np.clip(shares(logs)["low_refrigerant_symptom"], _LEAST, _MOST))
