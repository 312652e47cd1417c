"""Write the site file of a simulated system."""

from __future__ import annotations

import json
from datetime import date

from fieldfare.collector.simulated.design.spec import EmitterSpec, HotWaterSpec, Meter, PlantSpec
from fieldfare.collector.simulated.step.machine import rating, round_rating

MODE_WORDS = ("off", "heating", "hot_water", "defrost", "cooling")
RATING_POINTS = ((7.0, 35.0), (2.0, 35.0), (-7.0, 35.0), (7.0, 55.0), (-7.0, 55.0))


def _value(v: object) -> str:
    """A TOML value."""
    if isinstance(v, bool):
        return "true" if v else "false"
    if isinstance(v, str):
        return json.dumps(v, ensure_ascii=False)
    if isinstance(v, date):
        return v.isoformat()
    if isinstance(v, float):
        return repr(round(v, 6))
    if isinstance(v, (list, tuple)):
        return "[" + ", ".join(_value(x) for x in v) + "]"
    return str(v)


def _table(name: str, values: dict[str, object], *, array: bool = False) -> list[str]:
    """Lines of one table; keys with None are left out."""
    head = f"[[{name}]]" if array else f"[{name}]"
    return [head, *(f"{k} = {_value(v)}" for k, v in values.items() if v is not None), ""]


def _point(meter: Meter, spec: PlantSpec) -> list[str]:
    """Lines of one measured value."""
    out = _table(
        "point",
        {
            "id": meter.id,
            "quantity": meter.quantity,
            "as": meter.kind,
            "unit": meter.unit or None,
            "includes": list(meter.includes) or None,
            "stamp": meter.stamp or None,
            "meter_class": meter.meter_class or None,
            "zone": meter.zone or None,
            "antifreeze_corrected": meter.antifreeze_corrected,
        },
        array=True,
    )
    return out


def site_toml(
    spec: PlantSpec,
    *,
    delimiter: str = ",",
    decimal: str = ".",
    naive_local: bool = False,
    outdoor_from: str | None = None,
) -> str:
    """Site file in the product's format.

    spec : PlantSpec; delimiter, decimal : str, as in the CSV beside it; naive_local : bool, times without
        offset in the site's zone; outdoor_from : str, a nearby site
    Returns str, TOML.
    """
    lines = _site(spec, outdoor_from)
    if spec.contact is not None:
        lines += _table("contact", vars(spec.contact))
    lines += [*_design(spec), *_heat_pump(spec)]
    lines += _table("heating_curve", {"points": [list(p) for p in spec.control.curve]})
    for emitter in spec.emitters:
        lines += _emitter(emitter)
    if spec.hot_water is not None:
        lines += _hot_water(spec.hot_water)
    if spec.buffer is not None:
        lines += _table("buffer", {"litres": spec.buffer.litres, "arrangement": spec.buffer.arrangement})
    lines += _cost(spec)
    lines += _table(
        "csv",
        {
            "time_column": "time",
            "timezone": spec.climate.timezone if naive_local else "UTC",
            "time_format": "iso",
            "delimiter": delimiter,
            "decimal": decimal,
        },
    )
    for meter in spec.meters:
        lines += _point(meter, spec)
    return "\n".join(lines)


def _site(spec: PlantSpec, outdoor_from: str | None) -> list[str]:
    return _table(
        "site",
        {
            "id": spec.id,
            "name": spec.name,
            "timezone": spec.climate.timezone,
            "latitude": spec.climate.latitude,
            "longitude": spec.climate.longitude,
            "handed_over": spec.handed_over,
            "floor_area_m2": spec.house.floor_area_m2,
            "outdoor_from": outdoor_from,
        },
    )


def _design(spec: PlantSpec) -> list[str]:
    design, hw = spec.design, spec.hot_water
    return _table(
        "design",
        {
            "heat_loss_kw": round(design.heat_loss_w / 1000.0, 2),
            "indoor_c": design.indoor_c,
            "outdoor_c": design.outdoor_c,
            "space_heat_kwh_per_year": design.space_kwh,
            "hot_water_kwh_per_year": design.hot_water_kwh if hw else None,
            "spf_space": design.spf_space,
            "spf_hot_water": design.spf_hot_water if hw else None,
            "bivalent_c": design.bivalent_c,
        },
    )


def _heat_pump(spec: PlantSpec) -> list[str]:
    """The unit and its rating points."""
    hp = spec.heat_pump
    lines = _table(
        "heat_pump",
        {
            "source": "air",
            "rated_output_kw": hp.rated_w / 1000.0,
            "min_output_kw": hp.min_w / 1000.0,
            "max_flow_c": hp.max_flow_c,
            "flow_m3_per_h": hp.flow_m3_per_h,
            "antifreeze": hp.antifreeze,
            "antifreeze_percent": hp.antifreeze_percent,
            "refrigerant": hp.refrigerant,
        },
    )
    for outdoor, flow in RATING_POINTS:
        if flow > hp.max_flow_c:
            continue
        output, cop = rating(hp, outdoor, flow)
        lines += _table(
            "heat_pump.rating",
            {
                "outdoor_c": outdoor,
                "flow_c": flow,
                "output_kw": round_rating(output / 1000.0, 3),
                "cop": round_rating(cop, 3),
            },
            array=True,
        )
    return lines


def _emitter(e: EmitterSpec) -> list[str]:
    return _table(
        "emitter",
        {
            "zone": e.zone,
            "kind": e.kind,
            "output_kw": round(e.output_w / 1000.0, 2),
            "output_excess_k": round(e.excess_k, 1),
        },
        array=True,
    )


def _hot_water(hw: HotWaterSpec) -> list[str]:
    return _table(
        "hot_water",
        {
            "cylinder_litres": hw.litres,
            "setpoint_c": hw.setpoint_c,
            "reheat_below_c": hw.reheat_below_c,
            "pasteurise_c": hw.pasteurise_c,
            "pasteurise_every_days": hw.pasteurise_every_days if hw.pasteurise_c else None,
            "standing_loss_kwh_per_day": hw.rated_loss_kwh_per_day,
        },
    )


def _cost(spec: PlantSpec) -> list[str]:
    """Invented tariffs in the currency of the site's zone."""
    pounds = spec.climate.timezone == "Europe/London"
    price = {"natural_gas": 0.065, "heating_oil": 0.07, "lpg": 0.09}[spec.previous_fuel]
    return _table(
        "cost",
        {
            "currency": "GBP" if pounds else "EUR",
            "electricity": 0.27 if pounds else 0.29,
            "standing_charge_per_day": 0.55,
            "previous_fuel": spec.previous_fuel,
            "previous_fuel_price": price if pounds else round(price * 1.3, 3),
            "previous_efficiency": 0.82,
        },
    )
