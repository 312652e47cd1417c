"""Every page of the router table, for each reader, in a browser with all sections expanded.

Checked are axe-core's rules, the room it needs 320 pixels wide (WCAG 2.2, 1.4.10), the size of letters in
drawings, and that the keyboard alone reaches everything and shows where it is (2.1.1, 2.4.7, 2.4.3).
"""

from __future__ import annotations

import itertools
import re
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from playwright.sync_api import Page

from fieldfare.api.http.app import PREFIX

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LEAST_TEXT_PX = 11.0
SETTLES_S = 3.0
"""A plot takes a new width after the page did."""
PHONE, NARROW = {"width": 390, "height": 844}, {"width": 320, "height": 640}
DESKTOP = {"width": 1280, "height": 800}
_PARAMETER = re.compile(r"\{(\w+)(?::\w+)?\}")
_WIDE = "() => (document.documentElement.scrollWidth > innerWidth ? [1] : [])"
_SIDEWAYS = """() => [...document.querySelectorAll('main *')].filter(e => e.checkVisibility()
  && getComputedStyle(e).overflowX !== 'visible' && e.scrollWidth > e.clientWidth + 1
  && !e.closest('svg, summary, .visually-hidden, pre, [role=region], textarea, input, select'))
  .map(e => e.outerHTML.slice(0, 160))"""
_SMALL = """() => [...document.querySelectorAll('svg text')].filter(t => t.checkVisibility())
  .map(t => { const m = t.getScreenCTM();
    return [t.textContent, parseFloat(getComputedStyle(t).fontSize) * Math.hypot(m.a, m.b)]; })
  .filter(([, size]) => size < LEAST).slice(0, 3)""".replace("LEAST", str(LEAST_TEXT_PX))
_UNFOLD = """() => document.querySelectorAll('main details:not([open]):not([data-later*="/numbers"])')
  .forEach(d => { d.open = true; })"""
"""Numbers have pages of their own, which are looked at."""
_OPERABLE = "'a[href], button, input, select, textarea, summary, [tabindex]'"
_UNSEEN = f"""() => {{ const out = [];
  for (const e of document.querySelectorAll({_OPERABLE})) {{
    if (!e.checkVisibility({{ visibilityProperty: true }}) || e.disabled) continue;
    if (e.type === 'hidden' || e.tabIndex < 0) continue;
    if (e.tabIndex > 0) {{ out.push('order of its own: ' + e.outerHTML.slice(0, 120)); continue; }}
    e.focus({{ focusVisible: true, preventScroll: true }});
    if (document.activeElement !== e) continue; /* of a group of radio buttons the keyboard reaches one */
    const seen = [e, e.parentElement, ...(e.labels ?? [])].some(x => {{ const s = getComputedStyle(x);
      return (s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 1) || s.boxShadow !== 'none'; }});
    if (!seen) out.push('focus is not seen: ' + e.outerHTML.slice(0, 120));
  }} return out.slice(0, 5); }}"""
_REACHABLE = f"""() => new Set([...document.querySelectorAll({_OPERABLE})]
  .filter(e => e.checkVisibility({{ visibilityProperty: true }}) && !e.disabled)
  .filter(e => e.type !== 'hidden' && e.tabIndex >= 0)
  .map(e => e.type === 'radio' ? e.form?.action + e.name : e)).size"""
_MARK = """() => { const e = document.activeElement; if (!e || e === document.body) return null;
  window.seenByTab ??= new Map(); const key = e.type === 'radio' ? e.form?.action + e.name : e;
  if (!window.seenByTab.has(key)) window.seenByTab.set(key, window.seenByTab.size);
  return window.seenByTab.get(key); }"""
MOST_TABS = 400


@dataclass(frozen=True)
class Trouble:
    """What is wrong with a page. state : of the browser"""

    path: str
    state: str
    what: str

    def __str__(self) -> str:
        return f"{self.path} ({self.state}): {self.what}"


def addresses(
    app: FastAPI, fill: Mapping[str, Iterable[str]], queries: Mapping[str, Iterable[str]]
) -> list[str]:
    """An address for each route that answers GET and each value of its parameters.

    fill : parameter -> its values; a route with another parameter is an error, so that no page is forgotten.
    queries : route -> further queries
    """
    out = []
    for context in iter_route_contexts(app.routes):
        path = context.path or ""
        if "GET" not in (context.methods or ()) or path.startswith((PREFIX, "/static")) or ".json" in path:
            continue
        names = [m[1] for m in _PARAMETER.finditer(path)]
        for values in itertools.product(*(fill[name] for name in names)):
            given = iter(values)
            filled = _PARAMETER.sub(lambda _m, given=given: next(given), path)  # type: ignore[misc]
            out += [filled, *(f"{filled}?{query}" for query in queries.get(path, ()))]
    return sorted(set(out))


def walk(page: Page, base: str, paths: Iterable[str], *, keyboard: bool) -> Iterator[Trouble | str]:
    """Look at each page once; gives the addresses that showed one, and what is wrong there.

    keyboard : step through each page with the Tab key, too
    """
    shown: set[str] = set()
    for path in paths:
        page.set_viewport_size(DESKTOP)  # type: ignore[arg-type]
        answer = page.request.get(base + path, max_redirects=0, headers={"Accept": "text/html"})
        is_page = "text/html" in answer.headers.get("content-type", "")
        if answer.status >= 500:
            yield Trouble(path, "asked", f"answers {answer.status}")
        if answer.status != 200 or not is_page or path in shown:
            continue
        shown.add(path)
        page.goto(base + path, wait_until="load")
        yield path
        yield from _looked_at(page, path, keyboard=keyboard)


def _looked_at(page: Page, path: str, *, keyboard: bool) -> Iterator[Trouble]:
    if keyboard:
        yield from (Trouble(path, "keyboard", what) for what in _tabbed(page))
    for _ in range(2):  # what is fetched when it is opened has folded parts of its own
        page.evaluate(_UNFOLD)
        page.wait_for_load_state("networkidle")
    yield from (Trouble(path, "keyboard", what) for what in page.evaluate(_UNSEEN))
    page.evaluate("scrollTo(0, 0)")  # a sticky bar lies over whatever it was scrolled to
    for size, scheme in ((DESKTOP, "light"), (PHONE, "dark"), (NARROW, "light")):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        state = f"{size['width']} px, {scheme}"
        if _remaining(page, _WIDE):
            yield Trouble(path, state, "scrolls sideways")
        if size is NARROW:
            yield from (Trouble(path, state, f"is cut off: {what}") for what in _remaining(page, _SIDEWAYS))
        else:
            yield from (Trouble(path, state, f"{rule}: {html}") for rule, html in violations(page))
        for text, height in _remaining(page, _SMALL):
            yield Trouble(path, state, f"letters of {height:.1f} px: {text}")


def _remaining(page: Page, look: str) -> list[Any]:
    """What a look finds once drawings have taken their new width."""
    until = time.monotonic() + SETTLES_S
    while (found := page.evaluate(look)) and time.monotonic() < until:
        page.wait_for_timeout(100)
    return list(found)


def violations(page: Page) -> list[tuple[str, str]]:
    """What axe-core finds: the rule and the first element that breaks it."""
    found: dict[str, Any] = Axe().run(page, options={"runOnly": RULES}).response
    return [(v["id"], v["nodes"][0]["html"][:200]) for v in found["violations"]]


def _tabbed(page: Page) -> Iterator[str]:
    """Step through a page by Tab: every control is reached, and none holds the focus."""
    wanted = min(page.evaluate(_REACHABLE), MOST_TABS)
    reached, still = 0, 0
    for _ in range(wanted + 20):
        page.keyboard.press("Tab")
        at = page.evaluate(_MARK)
        still = still + 1 if at is not None and at + 1 == reached else 0
        if still > 12:
            yield f"the focus stays: {page.evaluate('document.activeElement.outerHTML.slice(0, 120)')}"
            return
        reached = max(reached, 0 if at is None else at + 1)
        if reached >= wanted:
            return
    if reached < wanted:
        yield f"Tab reaches {reached} of {wanted} controls"
