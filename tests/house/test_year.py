"""The year on the utility: what holds on any site, and the rules of switching whole circuits."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.noun import BadInput
from simulate.document.study import switches_a_year
from simulate.house.bills import bills_of
from simulate.house.caps import limit_document
from simulate.house.year import run_year
from tests.site.small_site import circuit, locked_pair, small_site, unit


def peaks(on="16:00-21:00", high=0.4, low=0.1, days="all", **more) -> dict:
    """An invented rate of two periods."""
    periods = [
        {"name": "on", "price_per_kwh": high, "hours": on, "days": days},
        {"name": "off", "price_per_kwh": low},
    ]
    return {"season": [{"name": "all", "months": list(range(1, 13)), "periods": periods}], **more}


@st.composite
def sites(draw):
    """A random small site: pools, plan, mode, losses, loads, reserve."""
    loads = []
    for k in range(draw(st.integers(1, 4))):
        one = circuit(f"Circuit {k}", 0.0, draw(st.sampled_from(["A", "B", "AB"])), rate_transfer=draw(st.booleans()))
        windows = draw(st.sampled_from(["00:00-24:00", "06:00-20:00", "15:00-23:00"]))
        one["load"] = {"kw": draw(st.floats(0.0, 3.0)), "window": windows}
        loads.append(one)
    losses = {
        "usable_kwh": draw(st.floats(0.5, 15.0)),
        "charge_efficiency": draw(st.floats(0.8, 1.0)),
        "discharge_efficiency": draw(st.floats(0.8, 1.0)),
        "no_load_w": draw(st.floats(0.0, 90.0)),
        "on_grid_w": draw(st.floats(0.0, 40.0)),
        "continuous_kw": draw(st.floats(0.5, 6.0)),
    }
    kind = draw(st.sampled_from(["A", "pair", "both"]))
    units = {"A": [unit(**losses)], "pair": locked_pair(**losses)}.get(kind) or [
        unit("both", **losses, charging_circuit={"breaker_a": 30, "volts": 240})
    ]
    if draw(st.booleans()):
        units = [{**u, "taper": {"from_soc": 0.8, "to_frac": 0.2}} for u in units]
    plan = draw(
        st.sampled_from(["keep-full", "time-of-use", "self-consumption", "demand-limit", "best-possible", "forecast"])
    )
    reserve = draw(st.one_of(st.floats(0.0, 1.0), st.lists(st.floats(0.0, 1.0), min_size=12, max_size=12)))
    charge_from = draw(st.sampled_from(["any", "solar"]))
    mode = draw(st.sampled_from(["transfer", "interactive"]))
    return small_site(
        loads,
        units,
        rate=peaks(
            draw(st.sampled_from(["16:00-21:00", "06:00-09:00, 17:00-20:00"])),
            demand=[{"per_kw": 5.0}] if plan == "demand-limit" else [],
        ),
        operation={"plan": plan, "reserve": reserve, "charge_from": charge_from},
        subpanel={"mode": mode},
        service={"other_load": {"kw": draw(st.floats(0.0, 2.0))}},
    )


@pytest.mark.long
@settings(max_examples=40)
@given(sites())
def test_what_holds_on_every_site(site):
    run = run_year(site)
    year, pools = run.year, run.asked.pools
    sums = run.energy_kwh()
    assert abs(sums["residual"]) < 1e-6
    most = np.array([pool.usable_kwh for pool in pools])
    assert (year.pool_kwh >= -1e-9).all() and (year.pool_kwh <= most[:, None] + 1e-9).all()
    assert (year.charge_kw <= sum(pool.charge_kw for pool in pools) + 1e-9).all()
    assert (year.discharge_kw <= sum(pool.discharge_kw for pool in pools) + 1e-9).all()
    if site.subpanel.mode == "transfer":
        assert (year.export_kw == 0.0).all()
    if len(pools) == 1:
        assert (year.charge_kw * year.discharge_kw == 0.0).all()
    if site.operation.charge_from == "solar":
        assert sums["charge"] == 0.0  # there is no sun on these sites
    assert (year.import_kw >= 0.0).all() and (year.loss_kw >= -1e-9).all()


def test_reserve_is_a_floor_of_the_rate():
    loads = [circuit("Lights", 0.5, rate_transfer=True)]
    site = small_site(loads, [unit()], rate=peaks(), operation={"plan": "time-of-use", "reserve": 0.6})
    run = run_year(site)
    assert run.year.pool_kwh.min() == pytest.approx(3.0, abs=1e-9)
    assert run.short_steps == 0


def test_a_higher_reserve_never_saves_more():
    loads = [circuit("Lights", 0.8, rate_transfer=True)]
    savings = []
    for reserve in (0.0, 0.3, 0.6, 1.0):
        site = small_site(loads, [unit(no_load_w=20.0)], rate=peaks(), operation={"reserve": reserve})
        savings.append(bills_of(run_year(site)).saving)
    assert savings == sorted(savings, reverse=True)
    assert savings[-1] == pytest.approx(0.0, abs=1e-9)


def test_a_rising_monthly_reserve_is_met_by_the_last_off_peak_before():
    loads = [circuit("Lights", 1.0, rate_transfer=True)]
    slow = unit(usable_kwh=20.0, charge_kw=0.5)  # 12 h x 0.5 kW at night
    reserve = [0.2] * 6 + [0.9] * 6
    rate = peaks(on="08:00-20:00")
    site = small_site(loads, [slow], rate=rate, operation={"plan": "time-of-use", "reserve": reserve})
    run = run_year(site)
    july = run.hours.index_of("2025-07-01T00:00")
    assert run.year.pool_kwh[0, july + 1] >= 18.0 - 1e-9
    assert run.short_steps == 0


def test_hold_full_at_a_time_that_does_not_exist_names_file_and_key():
    hold = [{"from": "2025-03-09T02:00", "to": "2025-03-10T00:00"}]
    site = small_site([circuit("One", 1.0)], [unit()], operation={"hold_full": hold})
    with pytest.raises(BadInput, match=r"^bench\.toml: operation\.hold_full\.from "):
        run_year(site)


def test_a_monthly_reserve_is_there_when_its_month_begins():
    """A peak that ends at midnight leaves no time to charge after it, so the last one of January stops at 80 %."""
    peak = {"name": "peak", "price_per_kwh": 0.3, "hours": "19:00-24:00"}
    rest = {"name": "rest", "price_per_kwh": 0.1, "hours": "00:00-24:00"}
    rate = {"season": [{"name": "all", "months": list(range(1, 13)), "periods": [peak, rest]}]}
    lossy = {"charge_efficiency": 0.9, "discharge_efficiency": 0.9}
    big = unit(usable_kwh=10.0, charging_circuit={"breaker_a": 30, "volts": 240}, **lossy)
    site = small_site(
        [circuit("One", 2.0, rate_transfer=True)],
        [big],
        rate=rate,
        site={"timezone": "UTC"},
        operation={"plan": "time-of-use", "reserve": [0.2, 0.8, *[0.2] * 10]},
    )
    run = run_year(site)
    stored = run.year.pool_kwh[0]
    february = int(np.flatnonzero(run.hours.month == 2)[0])
    assert stored[february - 24] == pytest.approx(2.0)
    assert stored[february] == pytest.approx(8.0)
    assert run.short_steps == 0


def test_hold_full_keeps_the_units_full():
    loads = [circuit("Lights", 0.8, rate_transfer=True)]
    hold = [{"from": "2025-09-10T00:00", "to": "2025-09-13T00:00"}]
    site = small_site(
        loads, [unit()], rate=peaks(), operation={"plan": "time-of-use", "reserve": 0.0, "hold_full": hold}
    )
    run = run_year(site)
    start, end = run.hours.index_of("2025-09-10T00:00"), run.hours.index_of("2025-09-13T00:00")
    assert (run.year.pool_kwh[0, start + 1 : end + 1] == 5.0).all()
    assert run.year.pool_kwh[0].min() < 1.5


def test_circuits_leave_together_and_stay_away_for_the_period():
    loads = [circuit("Lights", 1.0, rate_transfer=True), circuit("Other", 0.6, rate_transfer=True)]
    site = small_site(loads, [unit(no_load_w=50.0)], rate=peaks(), operation={"plan": "time-of-use", "reserve": 0.0})
    run = run_year(site)
    day = slice(run.hours.index_of("2025-03-03T16:00"), run.hours.index_of("2025-03-03T21:00"))
    delivered = run.year.discharge_kw[day]
    drain = 1.6 + 0.05
    assert delivered == pytest.approx([1.6, 1.6, 1.6, 1.6 * (5.0 - 3 * drain) / drain, 0.0], abs=1e-9)
    assert set(switches_a_year(run)) == {"Lights", "Other"}
    assert switches_a_year(run)["Lights"] == 2 * 365


def test_only_circuits_that_may_be_switched_are():
    loads = [circuit("Lights", 1.0), circuit("Other", 0.6, rate_transfer=True)]
    run = run_year(small_site(loads, [unit()], rate=peaks(), operation={"plan": "time-of-use", "reserve": 0.0}))
    assert run.year.discharge_kw.max() == pytest.approx(0.6)


def test_the_least_stay_is_honoured():
    """Two thirds of an hour are left; a least stay of an hour leaves the circuits where they are."""
    loads = [circuit("Lights", 1.5, rate_transfer=True)]
    operation = {"plan": "time-of-use", "reserve": 0.8}
    for stay, serves in ((30.0, True), (60.0, False)):
        subpanel = {"transfer": {"least_stay_min": stay}}
        run = run_year(small_site(loads, [unit()], rate=peaks(), operation=operation, subpanel=subpanel))
        assert (run.year.discharge_kw.sum() > 0.0) == serves


def test_no_load_draw_can_make_a_period_not_worth_it():
    """A 20 W circuit behind a unit that draws 90 W saves nothing, so it stays on the utility."""
    loads = [circuit("Router", 0.02, rate_transfer=True)]
    operation = {"plan": "time-of-use", "reserve": 0.0}
    run = run_year(small_site(loads, [unit(no_load_w=90.0)], rate=peaks(), operation=operation))
    assert run.year.discharge_kw.sum() == 0.0


def test_two_pole_circuits_take_half_from_each_of_a_pair():
    loads = [circuit("Pump", 1.0, "AB", rate_transfer=True), circuit("Lights", 0.5, "A", rate_transfer=True)]
    pair = locked_pair()
    run = run_year(small_site(loads, pair, rate=peaks(), operation={"plan": "time-of-use", "reserve": 0.0}))
    t = run.hours.index_of("2025-03-03T16:00")
    assert run.year.pool_discharge_kw[:, t] == pytest.approx([1.0, 0.5], abs=1e-9)


def test_interactive_units_offset_any_load_and_never_export():
    loads = [circuit("Lights", 0.2)]
    tables = {"subpanel": {"mode": "interactive"}, "service": {"other_load": {"kw": 0.5}}}
    operation = {"plan": "time-of-use", "reserve": 0.0}
    run = run_year(small_site(loads, [unit()], rate=peaks(), operation=operation, **tables))
    t = run.hours.index_of("2025-03-03T16:00")
    assert run.year.import_kw[t : t + 5] == pytest.approx(0.0, abs=1e-9)
    assert run.year.export_kw.max() == 0.0


def test_the_year_closes_on_itself():
    site = small_site([circuit("Lights", 0.8, rate_transfer=True)], [unit()], rate=peaks(), operation={"reserve": 0.1})
    run = run_year(site)
    assert abs(run.year.stored_change_kwh) < 1e-9


def test_scaling_everything_scales_the_money():
    def bench(k):
        loads = [circuit("Lights", 0.4 * k, rate_transfer=True), circuit("Other", 0.1 * k)]
        units = [
            unit(usable_kwh=5.0 * k, charge_kw=0.7 * k, no_load_w=10.0 * k, on_grid_w=5.0 * k, continuous_kw=2.0 * k)
        ]
        return bills_of(
            run_year(small_site(loads, units, rate=peaks(), operation={"plan": "time-of-use", "reserve": 0.2}))
        )

    assert bench(2.0).saving == pytest.approx(2.0 * bench(1.0).saving, rel=1e-9)


DEMAND = [
    {"name": "evening", "per_kw": 12.0, "window_min": 60, "hours": "16:00-21:00"},
    {"name": "any time", "per_kw": 4.0},
]


def evening_loads(**more) -> list[dict]:
    oven = {"kw": 2.0, "window": "18:00-20:00", "days": "weekday"}
    return [circuit("Lights", 0.4, rate_transfer=True), circuit("Oven", 0.0, **more) | {"load": oven}]


@pytest.mark.parametrize("mode", ["transfer", "interactive"])
def test_a_demand_limit_is_kept_in_every_counted_hour(mode):
    tables = {"subpanel": {"mode": mode}, "operation": {"plan": "demand-limit", "reserve": 0.1}}
    site = small_site(evening_loads(rate_transfer=True), [unit(continuous_kw=2.5)], rate=peaks(demand=DEMAND), **tables)
    run = run_year(site)
    study_part = limit_document(run.asked)
    assert {row["charge"] for row in study_part} == {"evening", "any time"} and len(study_part) == 24
    assert any("known beforehand" in note for note in run.notes) and "exceeded" not in " ".join(run.notes)
    lower = replace(run.asked.cap, kw=run.asked.cap.kw - 0.25)
    broken = replace(run, asked=replace(run.asked, cap=lower))
    assert "an import cap is exceeded in 12 months, by 0.250 kW at most" in broken.notes
    evening = run.hours.in_windows("16:00-21:00")
    for row in study_part:
        counted = run.hours.month == int(row["month"][-2:])
        counted &= evening if row["charge"] == "evening" else True
        assert run.year.import_kw[counted].max() <= row["kw"] + 1e-9
        assert row["kw"] < row["without_kw"] == pytest.approx(2.4) and row["held_frac"] == 1.0
    assert run.year.pool_kwh.min() >= 0.5 - 1e-9 and abs(run.energy_kwh()["residual"]) < 1e-6
    if mode == "interactive":  # two hours of 2.4 kW and three of 0.4 kW share 4.5 kWh, bought back in the other 19
        assert study_part[0]["kw"] == pytest.approx((2 * 2.4 + 3 * 0.4 - 4.5) / 5, abs=1e-6)
        assert study_part[-1]["kw"] == pytest.approx(0.4 + 4.5 / 19.0, abs=1e-6)


def test_a_demand_limit_needs_a_demand_charge():
    site = small_site(evening_loads(), [unit()], rate=peaks(), operation={"plan": "demand-limit"})
    with pytest.raises(BadInput, match=r"bench.toml.*operation.plan needs a demand charge"):
        run_year(site)
