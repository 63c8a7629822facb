"""Many designs whose pools share a meter against the single walk, design by design."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.noun import BadInput
from simulate.physics.lanes.lanes import Lanes, Track, every_step, run_lanes
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish, walk_year
from tests.physics.test_lanes import STYLES, check_vectors, close, drawn

TWO_POLE = (*STYLES, "two-pole", "two-pole and sub-panel solar")


def drawn_pools(seed: int, style: str, tapers: bool, n_pools: int = 2):
    """A random track with random lanes of several pools: invented numbers, chosen to meet every branch."""
    rng = np.random.default_rng([seed, n_pools])
    paired = style.startswith("two-pole")
    own_style = {"two-pole": "transfer", "two-pole and sub-panel solar": "sub-panel solar"}.get(style, style)
    tracks, lanes, starts = zip(*(drawn(seed + k * 10**7, own_style, tapers) for k in range(n_pools)), strict=True)
    first, n = tracks[0], tracks[0].n_steps
    stack = lambda name: None if getattr(first, name) is None else np.array([getattr(one, name) for one in tracks])
    reach = stack("reach_kw")
    two = np.zeros(n)
    if reach is not None:
        parts = rng.dirichlet(np.ones(n_pools + 1), n).T * first.load_kw * rng.uniform(0.3, 0.99)
        reach = np.where(reach > 0.0, parts[:n_pools], 0.0)
        two = np.where(rng.random(n) < 0.5, parts[n_pools], 0.0) * paired
    alike = rng.random() < 0.4
    codes = first.codes if alike else np.array([one.codes for one in tracks])
    fields = [name for name in vars(lanes[0]) if not name.endswith("scale") and name != "tapers"]
    both = {name: np.array([getattr(one, name) for one in lanes]) for name in fields}
    scales = {name: getattr(lanes[0], name) for name in ("load_scale", "solar_scale")}
    if paired:  # a pair that carries what is switched over, whole
        both["discharge_kw"] = both["discharge_kw"] + (reach + 0.5 * two).max() * 1.5
    inside = stack("inside_kw")
    track = replace(
        first,
        codes=codes,
        reach_kw=reach,
        two_pole_kw=two if paired else None,
        may_charge=stack("may_charge"),
        dc_kw=stack("dc_kw"),
        inside_kw=None if inside is None else inside / n_pools,
        **{name: stack(name) for name in ("stay_kwh", "stay_h", "stay_to")},
    )
    return track, Lanes(**both, **scales), np.array(starts)


def walked(track: Track, lanes: Lanes, d: int, start_kwh):
    """The same design by itself through the walk that the year of a house takes."""
    n, n_pools = track.n_steps, lanes.n_pools
    number = lambda name, p: float(getattr(lanes, name)[p, d])
    pools = tuple(
        Pool(
            *(
                number(name, p)
                for name in (
                    "usable_kwh",
                    "charge_kw",
                    "discharge_kw",
                    "charge_efficiency",
                    "discharge_efficiency",
                    "no_load_kw",
                    "takes_back_kw",
                )
            ),
            taper={"from_soc": number("taper_from_frac", p), "to_frac": number("taper_to_frac", p)},
            on_grid_kw=number("on_grid_kw", p),
        )
        for p in range(n_pools)
    )
    load_scale, sun = lanes.load_scale[d], lanes.solar_scale[d]
    rows = lambda one, other=0.0: np.broadcast_to(other if one is None else one, (n_pools, n))
    codes = np.broadcast_to(track.codes, (n_pools, n, 4)).astype(int)
    level = [
        np.array([0.0, number("reserve_frac", p) * pool.usable_kwh, pool.usable_kwh]) for p, pool in enumerate(pools)
    ]
    stay = np.full((n_pools, n), -1.0)
    if track.stay_kwh is not None:
        for p, pool in enumerate(pools):
            least = track.stay_kwh[p] * load_scale / pool.discharge_efficiency + pool.no_load_kw * track.stay_h[p]
            stay[p] = np.where(track.stay_kwh[p] >= 0.0, level[p][track.stay_to[p]] + least, -1.0)
    limits = np.array([[pool.discharge_kw] for pool in pools])
    wish = Wish(
        reach_kw=np.minimum(rows(track.reach_kw, np.inf) * load_scale, limits),
        two_pole_kw=(np.zeros(n) if track.two_pole_kw is None else track.two_pole_kw) * load_scale,
        targets_kwh=np.array([level[p][codes[p]] for p in range(n_pools)]),
        stay_kwh=stay,
        charge_kw=np.where(rows(track.may_charge, True), np.array([[pool.charge_kw] for pool in pools]), 0.0),
        dc_kw=rows(track.dc_kw) * sun,
        inside_kw=rows(track.inside_kw) * sun,
        parallel=track.reach_kw is None,
        export=track.pool_exports,
    )
    return walk_year(
        track.load_kw * load_scale, track.solar_kw * sun, wish, pools, start_kwh, track.step_h, track.surplus_exports
    )


def check_every_lane(track, lanes, start):
    years = run_lanes(track, lanes, start_kwh=start, workers=1, keep_stored=True)
    for d in range(lanes.n_designs):
        year = walked(track, lanes, d, start[:, d])
        kwh = year.energy_kwh()
        assert abs(kwh["residual"]) < 1e-9 * max(kwh["load"], 1.0)
        close(years.stored_kwh[d], year.pool_kwh)
        close([years.start_kwh[d], years.end_kwh[d]], [start[:, d].sum(), year.pool_kwh[:, -1].sum()])
        names = ("charge", "discharge", "loss", "curtailed")
        close([getattr(years, f"{name}_kwh")[d] for name in names], [kwh[name] for name in names])
        bought, sold = year.import_kw * track.step_h, year.export_kw * track.step_h
        close(years.import_kwh[d], np.bincount(track.bucket, bought, 4))
        close(years.export_kwh[d], np.bincount(track.bucket, sold, 4))
        close(years.cost[d], np.bincount(track.bucket, bought * track.buy_per_kwh - sold * track.sell_per_kwh, 4))
        month = track.demand[0].month
        close(years.peak_kw[d, 0], [year.import_kw[month == m].max() for m in range(3)])


@pytest.mark.long
@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from(TWO_POLE), st.booleans())
def test_every_lane_of_two_pools_equals_the_single_walk(seed, style, tapers):
    check_every_lane(*drawn_pools(seed, style, tapers))


@pytest.mark.parametrize("style", ["parallel", "export", "transfer", "sub-panel solar"])
def test_three_pools_are_as_good_as_two(style):
    check_every_lane(*drawn_pools(7, style, tapers=False, n_pools=3))


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from(TWO_POLE))
def test_the_loops_with_vectors_equal_the_loop_that_calls_the_physics(seed, style):
    track, lanes, start = drawn_pools(seed, style, tapers=False)
    check_vectors(track, lanes, start)


@pytest.mark.hours
def test_many_lanes_of_two_pools_equal_the_single_walk():
    for seed in range(3000):
        check_every_lane(*drawn_pools(seed, TWO_POLE[seed % len(TWO_POLE)], seed % 4 == 0))


def test_years_of_two_pools_close_on_themselves():
    load = np.r_[np.ones(40), np.zeros(8)]
    codes = [[2, 0, 2, 0]] * 40 + [[2, 2, 2, 2]] * 8
    track = Track(load, np.zeros(48), codes, bucket=None, demand=(every_step(np.zeros(48, int)),))
    years = run_lanes(track, Lanes([[2.0, 10.0], [2.0, 10.0]], charge_kw=0.5, discharge_kw=0.5), laps=5)
    close(years.discharge_kwh, [4.0, 8.0])  # two equal pools are one of twice the size
    close(years.end_kwh, years.start_kwh)


def test_workers_change_nothing():
    track, _, _ = drawn_pools(4, "transfer", tapers=False)
    lanes = Lanes(np.array([np.linspace(1.0, 12.0, 300), np.linspace(9.0, 2.0, 300)]), charge_kw=2.0, discharge_kw=2.0)
    one, three = (run_lanes(track, lanes, workers=workers) for workers in (1, 3))
    assert (one.import_kwh == three.import_kwh).all() and (one.end_kwh == three.end_kwh).all()


def test_lanes_are_made_of_tuples_of_pools():
    lanes = Lanes.of_pools([(Pool(1.0, 2.0), Pool(3.0, 4.0)), (Pool(5.0, 6.0), Pool(7.0, 8.0))])
    assert lanes.usable_kwh.tolist() == [[1.0, 5.0], [3.0, 7.0]] and lanes.charge_kw.tolist() == [
        [2.0, 6.0],
        [4.0, 8.0],
    ]
    assert lanes.load_scale.shape == (2,) and lanes.n_designs == lanes.n_pools == 2


@pytest.mark.parametrize(
    ("change", "lanes", "message"),
    [
        (
            {"reach_kw": np.zeros((3, 4))},
            Lanes([[5.0], [5.0]]),
            "Track must have one row a pool, not 3; the lanes have 2",
        ),
        (
            {"reach_kw": np.zeros(4), "two_pole_kw": np.ones(4)},
            Lanes([5.0]),
            "Track.two_pole_kw needs two pools, not 1",
        ),
        ({"two_pole_kw": np.ones(4)}, Lanes([[5.0], [5.0]]), "Track.two_pole_kw must be 0 in parallel, not 1.0"),
        (
            {"reach_kw": np.zeros((2, 4)), "two_pole_kw": np.ones(4)},
            Lanes([[5.0], [5.0]], discharge_kw=0.4),
            "Track.two_pole_kw must stay within the output of each pool with the single-pole circuits, not 0.5",
        ),
    ],
)
def test_what_does_not_fit_the_pools_is_refused(change, lanes, message):
    track = Track(**({"load_kw": np.ones(4), "solar_kw": np.zeros(4), "codes": [[2, 1, 2, 1]] * 4} | change))
    with pytest.raises(BadInput) as refused:
        run_lanes(track, lanes)
    assert str(refused.value) == message
