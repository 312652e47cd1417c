"""What each task of an office day and of a day on site costs: taps, letters, scrolled screens and seconds, in
a real browser.

    python -m tests.benchmarks.bench_tasks [--homes 300] [--json FILE]

Each task is done by visible labels alone. Seconds are those of a keystroke-level model of a person who knows
the way (Card, Moran and Newell, Communications of the ACM 23, 1980, 396: 0.28 s a letter, 1.1 s to point, 0.2
s to press, 1.35 s to think before each tap or field) and, apart from these, what the browser was waited for.
A scrolled screen counts as one tap that needs no thought.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, expect

from fieldfare.analysis.plant.load import parse_site
from fieldfare.collector.simulated.faults.plant import with_fault
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.benchmarks.bench_lists import copied
from tests.checks.pictures import photo
from tests.dashboards.browser import PHONE, Running, browser, fill, running, sign_in

LAPTOP = {"width": 1280, "height": 800}
LETTER_S, POINT_S, PRESS_S, THINK_S = 0.28, 1.1, 0.2, 1.35
WAIT_MS = 60_000
DEFROSTING = "cedar-close"


@dataclass
class Person:
    """Somebody before a page who does what its labels say. Counts what it takes."""

    page: Page
    taps: int = 0
    letters: int = 0
    screens: int = 0
    waited_s: float = 0.0

    def tap(self, here: Locator) -> None:
        self._reach(here)
        self.taps += 1
        with self.waiting():
            here.click()
            self.page.wait_for_load_state()

    def type(self, here: Locator, text: str) -> None:
        """Tap a field and type; what stands in it is replaced."""
        self._reach(here)
        self.taps, self.letters = self.taps + 1, self.letters + len(text)
        here.fill(text)

    def choose(self, here: Locator, label: str) -> None:
        """Open a list and take an entry."""
        self._reach(here)
        self.taps += 2
        here.select_option(label=label)

    def sees(self, here: Locator) -> None:
        """Wait until something stands on the page."""
        with self.waiting():
            expect(here).to_be_visible(timeout=WAIT_MS)
        self._reach(here)

    def _reach(self, here: Locator) -> None:
        here.wait_for(timeout=WAIT_MS)
        before = self.page.evaluate("scrollY")
        here.scroll_into_view_if_needed()
        moved = abs(self.page.evaluate("scrollY") - before)
        size = self.page.viewport_size
        assert size is not None
        self.screens += -int(-moved // size["height"])

    @contextmanager
    def waiting(self) -> Iterator[None]:
        began = time.perf_counter()
        yield
        self.waited_s += time.perf_counter() - began

    @property
    def seconds(self) -> float:
        """Of the keystroke-level model."""
        acts = self.taps * (THINK_S + POINT_S + PRESS_S) + self.screens * (POINT_S + PRESS_S)
        return acts + self.letters * LETTER_S


def worst_home_and_why(one: Person) -> None:
    one.tap(one.page.locator("ol").first.locator("summary, h2 a").first)
    link = one.page.get_by_role("link", name="To ")
    one.sees(link.first if link.count() else one.page.get_by_text("Next:").first)


def mute(one: Person) -> None:
    one.page.goto(f"{one.page.url}sites/beech-end")
    card = one.page.locator("#finding-short_cycling")
    one.tap(card.get_by_text("Take in hand, mute, not a fault"))
    one.type(card.get_by_label("Reason"), "waits for parts")
    one.tap(card.get_by_role("button", name="Mute"))
    one.sees(card.get_by_text("waits for parts"))


def job_and_proof(one: Person) -> None:
    """The job was done a month ago, so that the days after it are there."""
    one.page.goto(f"{one.page.url}sites/beech-end")
    one.tap(one.page.locator("#finding-short_cycling").get_by_role("link", name="Log a job"))
    one.type(one.page.get_by_label("What was done"), "thermostats opened, curve 3 K lower")
    one.type(one.page.get_by_label("Day"), (datetime.now(UTC).date() - timedelta(days=30)).isoformat())
    one.tap(one.page.get_by_role("button", name="Log it", exact=True))
    one.sees(one.page.get_by_text("Effect:").first)


def find_one(one: Person) -> None:
    one.type(one.page.get_by_label("Find"), "cedar close")
    one.tap(one.page.get_by_role("button", name="Show", exact=True))
    one.tap(one.page.get_by_role("link", name="Cedar Close", exact=True))
    one.sees(one.page.get_by_role("heading", name="Cedar Close"))


def compare_two(one: Person) -> None:
    one.page.goto(f"{one.page.url}sites/beech-end")
    one.tap(one.page.get_by_role("link", name="Beside another home"))
    one.choose(one.page.get_by_label("The other"), "Alder Row")
    one.tap(one.page.get_by_role("button", name="Compare"))
    one.sees(one.page.get_by_role("heading", name="On one axis"))


def defrost_from_its_finding(one: Person) -> None:
    one.page.goto(f"{one.page.url}sites/{DEFROSTING}")
    card = one.page.locator("#finding-excessive_defrost")
    if not card.is_visible():
        one.tap(one.page.locator("details.finding", has=card).locator("summary").first)
    one.tap(card.get_by_role("link", name="See one in the trace"))
    one.sees(one.page.locator("[data-trace] [role=status]", has_text="Defrost"))


def ten_items_offline(one: Person) -> None:
    page = one.page
    one.tap(page.get_by_role("link", name="On site"))
    one.tap(page.get_by_role("checkbox", name="Keep Beech End on this device"))
    one.tap(page.get_by_role("button", name="Keep the chosen ones on this device"))
    one.sees(page.get_by_text("1 sheet is on this device."))
    page.context.set_offline(True)
    one.tap(page.get_by_role("link", name="Beech End").last)
    items = page.get_by_role("group").filter(has=page.get_by_role("radio"))
    for n in range(10):
        one.tap(items.nth(n).get_by_role("radio", name="Done", exact=True))
    pressure = items.filter(has_text="Circuit pressure read cold and at heating temperature")
    one.type(pressure.get_by_role("textbox", name="Cold"), "1.4")
    one.type(pressure.get_by_role("textbox", name="Hot"), "1.9")
    strainer = items.filter(has_text="Strainer and magnetic filter opened and cleaned")
    for seed in (1, 2):
        file = {"name": f"{seed}.jpg", "mimeType": "image/jpeg", "buffer": photo(2400, 1800, seed=seed)}
        one.taps += 2  # the field, and the phone's own release
        strainer.get_by_label("Add photos of").set_input_files([file])  # type: ignore[list-item]
        expect(strainer.get_by_role("img")).to_have_count(seed, timeout=WAIT_MS)
    expect(page.get_by_role("status")).to_contain_text("12 entries and 2 photos kept", timeout=WAIT_MS)
    page.context.set_offline(False)
    with one.waiting():
        expect(page.get_by_role("status")).to_have_text("All sent.", timeout=WAIT_MS)


TASKS: dict[str, tuple[Callable[[Person], None], dict[str, int], str]] = {
    "worst home and why": (worst_home_and_why, LAPTOP, "installer"),
    "find one of them": (find_one, LAPTOP, "installer"),
    "find one of them, phone": (find_one, PHONE, "installer"),
    "compare two": (compare_two, LAPTOP, "installer"),
    "open a defrost from its finding": (defrost_from_its_finding, LAPTOP, "engineer"),
    "mute": (mute, LAPTOP, "engineer"),
    "mute, phone": (mute, PHONE, "engineer"),
    "job and proof": (job_and_proof, LAPTOP, "engineer"),
    "ten items, two photos, offline, sent": (ten_items_offline, PHONE, "engineer"),
}


def put_in(run: Running, count: int) -> None:
    """Three homes with readings, the third with too many defrosts, and rows of others up to the count."""
    fill(run)
    service, now = run.parts.service, datetime.now(UTC)
    spec = replace(random_plant(7, meter_set="full"), id=DEFROSTING, name="Cedar Close")
    first = now.date() - timedelta(days=75)
    made = simulate(with_fault(spec, "excessive_defrost", strength="gross"), first, 76)
    site = parse_site(made.site_toml)
    service.sites.add([(made.site_toml, site)])
    end = round(now.timestamp() * 1000)
    service.store.append(site.id, {p: s.between(0, end) for p, s in made.readings.items()})
    service.results.rolling_result(service.sites.get(site.id), 365)
    copied(service, count)


def measure(run: Running, chromium: Browser) -> Iterator[dict[str, object]]:
    """A row for each task."""
    for name, (task, size, role) in TASKS.items():
        context = chromium.new_context(viewport=size)  # type: ignore[arg-type]
        context.set_default_timeout(WAIT_MS)
        page = context.new_page()
        sign_in(page, run, role)
        page.goto(f"{run.address}/")
        one = Person(page)
        task(one)
        context.close()
        yield {
            "task": name,
            "taps": one.taps,
            "letters": one.letters,
            "screens": one.screens,
            "waited_s": one.waited_s,
            "seconds": one.seconds,
        }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--homes", type=int, default=300)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    rows = []
    print(f"{'task':<38}{'taps':>6}{'letters':>9}{'screens':>9}{'person s':>10}{'waited s':>10}")
    with tempfile.TemporaryDirectory() as folder, running(Path(folder) / "data") as run:
        put_in(run, args.homes)
        with browser() as chromium:
            for r in measure(run, chromium):
                rows.append(r)
                print(
                    f"{r['task']:<38}{r['taps']:>6}{r['letters']:>9}{r['screens']:>9}{r['seconds']:>10.0f}"
                    f"{r['waited_s']:>10.1f}",
                    flush=True,
                )
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
