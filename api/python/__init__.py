"""fieldfare from Python, for a notebook or a script.

In five lines::

    import fieldfare

    site = fieldfare.load_site("home.toml")
    readings = fieldfare.read_csv("export.csv", site)
    result = fieldfare.analyse(site, readings)
    result.performance.H2            # the figure with its 95 % interval
    result.days                      # pandas DataFrame, one row a local day
    result.plot("heat_loss").show()  # plotly figure
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldfare.analysis.errors import FieldfareError, InputError, SiteError
    from fieldfare.analysis.figures.estimate import Estimate
    from fieldfare.analysis.findings.model import Finding
    from fieldfare.analysis.plant.site import Site
    from fieldfare.notebook import PLOTS, Analysis, Performance, analyse, load_site, read_csv, read_frame

_FROM = {
    "FieldfareError": "fieldfare.analysis.errors",
    "InputError": "fieldfare.analysis.errors",
    "SiteError": "fieldfare.analysis.errors",
    "Estimate": "fieldfare.analysis.figures.estimate",
    "Finding": "fieldfare.analysis.findings.model",
    "Site": "fieldfare.analysis.plant.site",
    "PLOTS": "fieldfare.notebook",
    "Analysis": "fieldfare.notebook",
    "Performance": "fieldfare.notebook",
    "analyse": "fieldfare.notebook",
    "load_site": "fieldfare.notebook",
    "read_csv": "fieldfare.notebook",
    "read_frame": "fieldfare.notebook",
}
__all__ = [
    "PLOTS",
    "Analysis",
    "Estimate",
    "FieldfareError",
    "Finding",
    "InputError",
    "Performance",
    "Site",
    "SiteError",
    "analyse",
    "load_site",
    "read_csv",
    "read_frame",
]


def __getattr__(name: str) -> Any:
    """Import a name on first use: the command line imports this package too and must start fast."""
    if name not in _FROM:
        raise AttributeError(f"module 'fieldfare' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_FROM[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
