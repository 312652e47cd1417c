"""Rules for new site files, beyond those for reading a stored one.

A stored site of an earlier release that breaks one of them is still read: its other points are collected.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from fieldfare.analysis.plant.plausible import implausible
from fieldfare.analysis.plant.site import Site

OWN_TREE = "fieldfare"
"""First level of the topics that the product defines itself."""
LONGEST_TOPIC = 256
"""Characters of a gateway's topic. MQTT 5 (1.5.4) allows 65,535 bytes, which no gateway uses."""


def topic_trouble(topic: str) -> str | None:
    """Return why a point can't subscribe to a topic, or None.

    Source: MQTT 5, sections 1.5.4 (no null character) and 4.7 (wildcards, topics that begin with `$`).
    """
    if not topic.strip():
        return "must not be empty; name the gateway's topic, or leave the key out"
    if len(topic) > LONGEST_TOPIC:
        return f"has {len(topic)} characters; at most {LONGEST_TOPIC} are read"
    if any(ord(c) < 32 or 127 <= ord(c) < 160 for c in topic):
        return "must not hold control characters"
    if "+" in topic or "#" in topic:
        return "must not hold the wildcards + and #; name one topic for each point"
    if topic.startswith("$"):
        return "must not begin with $; such topics are the broker's own"
    if topic.split("/", 1)[0] == OWN_TREE:
        return (
            f"must not lie under {OWN_TREE}/, where every site has its own topics; "
            "leave the key out to use those of this site"
        )
    return None


def not_admitted(site: Site) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Path and message of every rule that a new site breaks."""
    lent = site.weather.site if site.weather else None
    named = (
        (("site", "id"), site.id),
        (("site", "outdoor_from"), site.site.outdoor_from),
        (("weather", "site"), lent),
    )
    for path, given in named:
        if given is not None and (given.startswith("-") or given.endswith("-") or "--" in given):
            yield path, f"{given!r} must not begin or end with a hyphen or hold two in a row"
    if site.site.outdoor_from == site.id:
        yield ("site", "outdoor_from"), f"must name another site, not {site.id!r} itself"
    if lent == site.id:
        yield ("weather", "site"), f"must name another site, not {site.id!r} itself"
    if site.site.outdoor_from is not None and site.weather is not None:
        yield ("weather",), "site.outdoor_from names a source of weather already; keep one of the two"
    if site.heat_pump.source != "air":
        yield (
            ("heat_pump", "source"),
            (
                f"{site.heat_pump.source!r} is not supported: every figure takes outdoor air as the heat"
                " source; only air-source units can be added"
            ),
        )
    curve = site.heating_curve.points if site.heating_curve is not None else ()
    for (cold, warmer), (mild, cooler) in pairwise(curve):
        if cooler > warmer:
            yield (
                ("heating_curve", "points"),
                f"the flow rises with warmth: {warmer:g} C at {cold:g} C outdoors, {cooler:g} C at"
                f" {mild:g} C; give pairs of [outdoor, flow] whose flow falls or stays",
            )
            break
    for number, point in enumerate(site.point):
        if point.topic is not None and (trouble := topic_trouble(point.topic)):
            yield ("point", number, "topic"), f"{_shown(point.topic)} {trouble}"
    yield from implausible(site)


def _shown(topic: str) -> str:
    return repr(topic if len(topic) <= 60 else f"{topic[:60]}...")
