"""A fleet moves from the folder to the server and back, and every count agrees."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from fieldfare.analysis.errors import FieldfareError, InputError
from fieldfare.analysis.readings import Samples
from fieldfare.collector.export import export_readings
from fieldfare.collector.store.influx import InfluxStore
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.transfer import (
    Imported,
    checked,
    import_parquet,
    move,
)
from tests.services import influx, make_site

T = 1_767_225_600_000
SITES = ["alder-row", "beech-end", "elm-court"]


def fill(store, seed):
    rng = np.random.default_rng(seed)
    for site in SITES:
        for days in (0, 40, 95):  # over several months
            times = T + days * 86_400_000 + np.sort(rng.choice(86_400_000, 400, replace=False))
            words = np.array([f"E{n}" for n in rng.integers(0, 9, 20)], dtype=object)
            store.append(
                site,
                {"flow": Samples(times, rng.normal(40, 5, 400)), "fault": Samples(times[:20], words)},
            )


def test_there_and_back_with_counts_that_agree(tmp_path):
    first, last = LocalStore(tmp_path / "a"), LocalStore(tmp_path / "b")
    fill(first, 1)
    with influx() as server:
        server.create("fleet")
        there = InfluxStore(server.url, "fleet", tmp_path / "spool", back_off=(0.05, 0.2))
        try:
            out = checked(move(first, there, SITES, settle=there.flush))
            back = checked(move(there, last, SITES))
            again = checked(move(first, there, SITES, settle=there.flush))
        finally:
            there.close()
    assert [(m.readings, m.stored, m.duplicates) for m in out] == [(1260, 1260, 0)] * 3
    assert [(m.readings, m.stored) for m in back] == [(1260, 1260)] * 3
    assert [(m.stored, m.duplicates) for m in again] == [(0, 1260)] * 3
    for site in SITES:
        assert first.points(site) == last.points(site)
        a, b = first.read(site), last.read(site)
        for point in a:
            np.testing.assert_array_equal(a[point].time, b[point].time)
            np.testing.assert_array_equal(a[point].value, b[point].value)


def test_what_was_undone_since_is_told_and_removed_where_asked(tmp_path):
    source, target = LocalStore(tmp_path / "a"), LocalStore(tmp_path / "b")
    fill(source, 1)
    before = {site: source.read(site) for site in SITES}
    wrong = {"flow": Samples(T + 200 * 86_400_000 + np.arange(50), np.ones(50))}
    wrong["only"] = Samples(T + 10 * 86_400_000 + np.arange(30_000) * 60_000, np.ones(30_000))
    source.append("elm-court", wrong)
    checked(move(source, target, SITES))
    source.revert("elm-court", wrong, {})
    assert [(m.more, m.removed) for m in checked(move(source, target, SITES))] == [
        (0, 0),
        (0, 0),
        (30_050, 0),
    ]
    done = checked(move(source, target, SITES, exact=True))
    assert [(m.more, m.removed) for m in done] == [(0, 0), (0, 0), (30_050, 30_050)]
    assert [m.more for m in checked(move(source, target, SITES))] == [0, 0, 0]
    for site in SITES:
        for readings in before[site], source.read(site):
            there = target.read(site)
            assert there.keys() == readings.keys()
            assert all(np.array_equal(there[p].time, readings[p].time) for p in there)
            assert all(np.array_equal(there[p].value, readings[p].value) for p in there)


class Losing:
    """A target that loses a point's readings, or changes one."""

    def __init__(self, store, change):
        self.store, self.change = store, change

    def append(self, site, readings):
        return self.store.append(site, self.change(dict(readings)))

    def __getattr__(self, name):
        return getattr(self.store, name)


def _without_a_point(readings):
    readings.pop("fault", None)
    return readings


def _one_value_off(readings):
    value = readings["flow"].value.copy()
    value[3] += 1e-9
    return readings | {"flow": Samples(readings["flow"].time, value)}


@pytest.mark.parametrize(
    ("change", "word"), [(_without_a_point, "fault is missing"), (_one_value_off, "1 readings differ")]
)
def test_a_loss_on_the_way_is_told(tmp_path, change, word):
    source = LocalStore(tmp_path / "a")
    source.append(
        "alder-row",
        {
            "flow": Samples(np.arange(9) + T, np.arange(9.0)),
            "fault": Samples(np.array([T]), np.array(["E"], object)),
        },
    )
    moved = move(source, Losing(LocalStore(tmp_path / "b"), change), ["alder-row"])
    assert not moved[0].agrees
    with pytest.raises(FieldfareError, match=word):
        checked(moved)


def test_a_site_without_readings_moves_as_nothing(tmp_path):
    moved = move(LocalStore(tmp_path / "a"), LocalStore(tmp_path / "b"), ["alder-row"])
    assert moved[0][1:] == (0, 0, 0, 0, 0, 0, ())


def test_a_parquet_export_comes_back_to_the_same_readings(tmp_path):
    site, first, second = make_site(), LocalStore(tmp_path / "a"), LocalStore(tmp_path / "b")
    times = T + np.arange(3000) * 60_000
    first.append(
        "alder-row",
        {
            "flow": Samples(times, np.linspace(20, 50, 3000)),
            "mode": Samples(times[:9], np.arange(9) % 5 * 1.0),
            "fault": Samples(times[:2], np.array(["E1", "007"], object)),
        },
    )
    export_readings(site, first, tmp_path / "out.parquet")
    done = import_parquet(site, second, tmp_path / "out.parquet", now=T + 10**12)
    assert done == Imported(3011, 3011, 0, 0, {})
    assert import_parquet(site, second, tmp_path / "out.parquet", now=T + 10**12).duplicates == 3011
    assert not move(first, second, ["alder-row"])[0].different
    assert first.points("alder-row") == second.points("alder-row")


def test_an_import_into_another_unit_is_converted_and_what_is_beyond_physics_told(tmp_path):
    watts = make_site(points={"p": 'quantity = "heat_pump_electricity"\nas = "power"\nunit = "kW"'})
    site = make_site(points={"p": 'quantity = "heat_pump_electricity"\nas = "power"\nunit = "W"'})
    first, second = LocalStore(tmp_path / "a"), LocalStore(tmp_path / "b")
    first.append("alder-row", {"p": Samples(np.array([T, T + 1]), np.array([1.5, 1e9]))})
    export_readings(watts, first, tmp_path / "out.parquet")
    done = import_parquet(site, second, tmp_path / "out.parquet", now=T)
    assert (done.stored, done.rejected) == (1, {"beyond physics": 1})
    assert second.read("alder-row")["p"].value.tolist() == [1500.0]


@pytest.mark.parametrize("case", ["other points", "no parquet", "other columns"])
def test_an_import_that_does_not_fit_stores_nothing(tmp_path, case):
    store, file = LocalStore(tmp_path / "a"), tmp_path / "out.parquet"
    store.append(
        "alder-row",
        {"flow": Samples(np.array([T]), np.array([40.0])), "rate": Samples(np.array([T]), np.array([1.0]))},
    )
    site = make_site()
    if case == "no parquet":
        file.write_text("time,point,value")
    elif case == "other columns":
        pq.write_table(pa.table({"x": [1]}), file)
    else:
        export_readings(site, store, file)
        site = make_site(points={"flow": 'quantity = "flow_temperature"'})
    target = LocalStore(tmp_path / "b")
    with pytest.raises(InputError):
        import_parquet(site, target, file, now=T)
    assert target.points("alder-row") == {}
