"""Units as people and gateways write them."""

from __future__ import annotations

import subprocess
import sys

import pint
import pytest

from fieldfare.analysis.plant.common_units import COMMON_UNITS
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.units import conversion

# Exact by definition of the units (SI Brochure, 9th edition; degF after ISO 80000-5).
EXACT = [
    ("kW", "W", 7.0, 7000.0),
    ("MWh", "kWh", 1.2, 1200.0),
    ("Wh", "kWh", 500.0, 0.5),
    ("GJ", "kWh", 3.6, 1000.0),
    ("degF", "degC", 212.0, 100.0),
    ("degF", "degC", 14.0, -10.0),
    ("K", "degC", 273.15, 0.0),
    ("°C", "degC", 21.5, 21.5),
    ("l/min", "m3/h", 20.0, 1.2),
    ("l/h", "m3/h", 1450.0, 1.45),
    ("m3/s", "m3/h", 0.0004, 1.44),
    ("m³/h", "m3/h", 1.45, 1.45),
    ("kPa", "bar", 150.0, 1.5),
    ("Pa", "bar", 150000.0, 1.5),
    ("kW/m²", "W/m2", 0.8, 800.0),
    ("min", "h", 90.0, 1.5),
    ("%", "%", 65.0, 65.0),
    ("0.1 kWh", "kWh", 25.0, 2.5),
    ("0.1 degC", "degC", 215.0, 21.5),
    ("0.1 °F", "degC", 2120.0, 100.0),
    ("-1 W", "W", -750.0, 750.0),
    ("0.5*kW", "W", 3.0, 1500.0),
]


@pytest.mark.parametrize(("unit", "canonical", "given", "expected"), EXACT)
def test_units_convert_exactly(unit: str, canonical: str, given: float, expected: float) -> None:
    scale, offset = conversion(unit, canonical)
    assert given * scale + offset == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("unit", "canonical"), [("kWh", "W"), ("bar", "degC"), ("furlongs", "W"), ("m3", "m3/h")]
)
def test_other_dimensions_are_refused(unit: str, canonical: str) -> None:
    with pytest.raises(ValueError, match=unit.split("/")[0]):
        conversion(unit, canonical)


@pytest.mark.parametrize(
    "unit",
    [
        "9**9**9*W",
        "W**99",
        "W*9",
        "10 10 W",
        "0 W",
        "1e9 W",
        "(W)",
        "((((W))))",
        "W**9**9",
        "W if 1 else W",
        "W.__class__",
        "W" * 1_000_000,
        "W*" * 10_000 + "W",
        "1/1/W",
        "lambda: W",
        "",
        " ",
        "W;W",
        "W\n*\0W",
        "²" * 30,
    ],
)
@pytest.mark.timeout(20)
def test_units_beyond_the_grammar_are_refused_before_they_are_evaluated(unit: str) -> None:
    with pytest.raises(ValueError, match="unknown unit") as refused:
        conversion(unit, "W")
    assert len(str(refused.value)) < 200


@pytest.mark.parametrize(("unit", "canonical"), [("dBm", "W"), ("delta_degC", "degC"), ("degC**2/K", "degC")])
def test_units_that_are_no_linear_measure_are_refused(unit: str, canonical: str) -> None:
    with pytest.raises(ValueError, match=r"linear|converted|measure"):
        conversion(unit, canonical)


# Exact by definition, as above; products, quotients and powers in the spellings that gateways use.
@pytest.mark.parametrize(
    ("unit", "canonical", "given", "expected"),
    [
        ("kW·h", "kWh", 2.0, 2.0),
        ("W h", "kWh", 500.0, 0.5),
        ("J/s", "W", 7.0, 7.0),
        ("V*A", "W", 7.0, 7.0),
        ("kg*m^2/s^3", "W", 7.0, 7.0),
        ("m**3 / h", "m3/h", 1.5, 1.5),
        ("kWh/h", "W", 1.0, 1000.0),
    ],
)
def test_products_and_powers_are_read(unit: str, canonical: str, given: float, expected: float) -> None:
    scale, offset = conversion(unit, canonical)
    assert given * scale + offset == pytest.approx(expected, rel=1e-9)


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def _for_pint(unit: str) -> str:
    """The spelling of a common unit that pint reads."""
    spelled = {"Cel": "degC", "°C": "degC", "°F": "degF", "%": "percent"}
    for ours, theirs in (("m3", "m**3"), ("m2", "m**2"), ("m³", "m**3"), ("m²", "m**2")):
        unit = unit.replace(ours, theirs)
    return spelled.get(unit, unit)


@pytest.mark.parametrize("canonical", COMMON_UNITS)
def test_every_common_unit_converts_to_every_other_of_its_kind_as_in_pint(
    canonical: str, registry: pint.UnitRegistry
) -> None:
    for unit in COMMON_UNITS[canonical]:
        for target in COMMON_UNITS[canonical]:
            scale, offset = conversion(unit, target)
            for value in (0.0, 1.0, -40.0, 1234.5):
                expected = registry.Quantity(value, _for_pint(unit)).to(_for_pint(target)).magnitude
                assert value * scale + offset == pytest.approx(expected, rel=1e-12, abs=1e-11), (unit, target)


def test_the_common_units_cover_every_canonical_unit_and_no_unit_twice() -> None:
    canonical = {q.canonical(form) for q in QUANTITIES.values() for form in q.forms} - {""}
    assert canonical == set(COMMON_UNITS)
    assert all(table[name] == (1.0, 0.0) for name, table in COMMON_UNITS.items())
    names = [unit for table in COMMON_UNITS.values() for unit in table]
    assert len(names) == len(set(names))


def test_pint_is_loaded_for_uncommon_units_only() -> None:
    code = (
        "import sys; from fieldfare.analysis.plant.units import conversion;"
        "conversion('kW', 'W'); conversion('°C', 'degC'); conversion('l/min', 'm3/h'); conversion('W', 'kW');"
        "print('pint' in sys.modules); conversion('BTU/h', 'W'); print('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]
