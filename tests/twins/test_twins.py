"""The product against its literal twin on random invented sites: the year, every outage, the bills."""

import random

import numpy as np
import pytest

from simulate import Pool, run_plan
from tests.twins.bill import bill_by_month
from tests.twins.both import held_at, island_of, product_bill, product_of, series_of, thrown_at, twin_of, write_sun
from tests.twins.branches import EVERY, SEEN
from tests.twins.outage import outage
from tests.twins.pools import Cells
from tests.twins.random_site import first_day, random_site
from tests.twins.year import NAMES, Series, run_year, walk

ONE_MILLIONTH_OF_A_CENT = 1e-8
ONE_MICROWATT_HOUR = 1e-9  # kWh
ONE_SECOND = 1 / 3600  # h
N_SITES, N_DAYS = 100, 3


def compare(seed: int, folder, n_days: int | None = N_DAYS) -> list[str]:
    """What differs between the product and its twin on one site, in words; nothing where they agree."""
    site = random_site(seed)
    if "solar" in site:
        write_sun(site, folder)
    first = None if n_days is None else first_day(seed)
    run, ride = product_of(site, folder, str(seed), first, n_days or 0)
    twin = twin_of(site, first, n_days or 0)
    wish = run.asked.wish
    series = series_of(twin, wish.reach_kw.tolist(), wish.two_pole_kw.tolist(), wish.stay_kwh.tolist())
    year = run_year(series, twin.pools, twin.h)
    return [
        *loads_differ(run, twin), *targets_differ(run, series), *year_differs(run, year),
        *bills_differ(run, site, twin, year, first, n_days or 0), *outages_differ(ride, twin, year),
    ]  # fmt: skip


def far(name: str, ours, theirs, most: float) -> list[str]:
    gap = np.abs(np.asarray(ours, dtype=float) - np.asarray(theirs, dtype=float))
    if not gap.size or (gap <= most).all():
        return []
    at = int(np.argmax(gap))
    return [f"{name}[{at}]: {np.ravel(ours)[at]} against the twin's {np.ravel(theirs)[at]}"]


def loads_differ(run, twin) -> list[str]:
    found = far("load", run.house.load_kw, twin.load, ONE_MICROWATT_HOUR)
    for k, kw in enumerate(twin.kw):
        found += far(f"circuit {k}", run.house.circuit_kw[k], kw, ONE_MICROWATT_HOUR)
    return found


def targets_differ(run, series) -> list[str]:
    ours = run.asked.wish.targets_kwh
    names = ("export down to", "serve down to", "fill from solar", "fill from utility")
    last = 4 if series.unit_export else 3
    return [
        text for p in range(len(ours)) for k in range(4 - last, 4)
        for text in far(f"pool {p} {names[k]}", ours[p, :, k], [one[k] for one in series.targets[p]], ONE_MICROWATT_HOUR)
    ]  # fmt: skip


def year_differs(run, year) -> list[str]:
    found = [text for name in NAMES for text in far(name, getattr(run.year, name), year[name], ONE_MICROWATT_HOUR)]
    return found + far("energy in the pools", run.year.pool_kwh, year["soc"], ONE_MICROWATT_HOUR)


def bills_differ(run, site, twin, year, first, n_days) -> list[str]:
    found = []
    net = [load - sun for load, sun in zip(twin.load, twin.sun_ac, strict=True)]
    bare = [max(kw, 0.0) for kw in net], [max(-kw, 0.0) for kw in net]
    for name, flows in (("with", (year["import_kw"], year["export_kw"])), ("without", bare)):
        ours = product_bill(run, site, first, n_days, flows).by_month
        theirs = bill_by_month(site["rate"], site["site"]["year"], twin.stamps, twin.holidays, *flows, twin.h)
        found += far(f"bill {name}", list(ours.values()), theirs, ONE_MILLIONTH_OF_A_CENT)
    return found


def outages_differ(ride, twin, year) -> list[str]:
    island = island_of(twin)
    if not island.circuits:
        return far("hours", ride.hours, np.zeros(len(ride.hours)), 0.0)
    found = []
    for start in range(len(twin.stamps)):
        theirs = outage(island, thrown_at(twin, start), held_at(twin, year, start))
        ours = {"hours": ride.hours[start], "censored": bool(ride.censored[start]), "why": str(ride.why[start])}
        found += far(f"outage {start} hours", ours["hours"], theirs["hours"], ONE_SECOND / 3600)
        if ours["censored"] != theirs["censored"] or ours["why"] not in theirs["why"]:
            found.append(f"outage {start} end: {ours} against {theirs['censored']}, {theirs['why']}")
        lost = ride.first_lost[start]
        name = twin.site["circuit"][lost]["name"] if lost >= 0 else None
        expected = island.circuits[theirs["first_lost"]]["name"] if theirs["first_lost"] is not None else None
        found += [f"outage {start} first lost: {name} against {expected}"] * (name != expected)
        for leg, hours in theirs["legs"].items():
            found += far(f"outage {start} leg {leg}", ride.leg_hours[leg][start], hours, ONE_SECOND / 3600)
    return found


def replay_differs(seed: int) -> list[str]:
    """One pool moved towards targets drawn at random, with sun, in parallel or with circuits switched over."""
    draw = random.Random(seed)
    n, h = 60, draw.choice([1.0, 0.25])
    kw = lambda most: [draw.choice([0.0, round(draw.uniform(0.0, most), 3)]) for _ in range(n)]
    load, sun, parallel = kw(4.0), kw(5.0), draw.random() < 0.5
    reach = [9.0] * n if parallel else [min(kw, one) for kw, one in zip(load, kw(3.0), strict=True)]
    taper = draw.choice([None, {"from_soc": 0.5, "to_frac": 0.2}])
    pool = Pool(
        usable_kwh=draw.uniform(1.0, 12.0), charge_kw=draw.uniform(0.3, 5.0), discharge_kw=draw.uniform(3.0, 5.0),
        charge_efficiency=draw.uniform(0.7, 1.0), discharge_efficiency=draw.uniform(0.7, 1.0),
        no_load_kw=draw.uniform(0.0, 0.1), on_grid_kw=draw.uniform(0.0, 0.05), taper=taper,
    )  # fmt: skip
    cells = Cells(
        "A", pool.usable_kwh, pool.charge_kw, pool.discharge_kw, pool.discharge_kw, pool.charge_efficiency,
        pool.discharge_efficiency, pool.no_load_kw, pool.on_grid_kw, 0.0, taper,
    )  # fmt: skip
    targets = [random_targets(draw, pool.usable_kwh) for _ in range(n)]
    start = draw.uniform(0.0, pool.usable_kwh)
    ours = run_plan(load, reach, sun, targets, pool, soc_kwh=start, step_h=h)
    exports = parallel and any(one[0] < pool.usable_kwh for one in targets)
    nothing = [0.0] * n
    series = Series(load, sun, [targets], [reach], nothing, [[-1.0] * n], parallel, exports, True, [nothing], nothing)
    theirs = walk(series, [cells], [start], h)
    found = [text for name in NAMES for text in far(name, getattr(ours, name), theirs[name], ONE_MICROWATT_HOUR)]
    return found + far("energy", ours.pool_kwh, theirs["soc"], ONE_MICROWATT_HOUR)


def random_targets(draw, full: float) -> tuple:
    """Export down to >= serve down to >= fill from the utility, and fill from solar between the last two and full."""
    export_to, serve_to, grid_to = sorted(
        (draw.choice([0.0, full, draw.uniform(0.0, full)]) for _ in range(3)), reverse=True
    )
    return export_to, serve_to, draw.uniform(grid_to, serve_to), grid_to


def test_a_hundred_random_sites_equal_their_twins(tmp_path):
    """Loads, targets, the year, the bills with and without battery, every outage; and every branch is met."""
    SEEN.clear()
    differ = {seed: found for seed in range(N_SITES) if (found := compare(seed, tmp_path))}
    differ |= {f"replay {seed}": found for seed in range(N_SITES) if (found := replay_differs(seed))}
    assert not differ, "\n".join(f"{seed}: {found[:3]}" for seed, found in differ.items())
    assert sorted(set(EVERY) - set(SEEN)) == [], "branches that no site met"
    assert sorted(set(SEEN) - set(EVERY)) == [], "branches that are not listed"


@pytest.mark.hours
@pytest.mark.parametrize("block", range(100))
def test_two_thousand_random_sites_equal_their_twins(block, tmp_path):
    """Twenty sites of some days a block, its first one over the whole year."""
    differ = {}
    for seed in range(1000 + block * 20, 1020 + block * 20):
        if found := compare(seed, tmp_path, None if seed % 20 == 0 else 4):
            differ[seed] = found[:3]
    assert not differ
