"""Energy by source: what charged the units, what is lost where, how much solar stays. Houses and roofs are invented."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.hours import hours_of_year
from simulate.document.audit import LOSSES, sources_of
from simulate.house.bills import bills_of
from simulate.house.year import run_year
from simulate.show.terminal import money as bill_view
from tests.document.test_worth import s18_rate, shown
from tests.site.small_site import circuit, locked_pair, small_site, unit

PRINTED = 5e-7  # half the last of six printed digits
CLOSES_KWH = 1e-6
SELL = {"method": "net-billing", "credit_per_kwh": 0.05}
BOTH = {"breaker_a": 30, "volts": 240}


@pytest.fixture(scope="module")
def roof(tmp_path_factory):
    """A log of a roof that gives 1 kW from 10 to 14 o'clock every day."""
    folder = tmp_path_factory.mktemp("roof")

    def log(kw=1.0, window="10:00-14:00"):
        hours = hours_of_year(2025, "America/New_York")
        on = hours.in_windows(window)
        stamps = hours.utc.strftime("%Y-%m-%dT%H:%M:%SZ")
        path = folder / f"{kw}-{window[:2]}-{window[6:8]}.csv"
        path.write_text("time,kw\n" + "\n".join(f"{at},{kw * is_on}" for at, is_on in zip(stamps, on, strict=True)))
        return {"series": {"csv": str(path), "column": "kw"}, "connected_at": "main-panel"}

    return log


def s40_site(roof, **operation):
    """4 kWh of sun beyond the load, 5 kWh of load in the peak; 10 kWh in the cells at 0.9 and 0.9."""
    units = [unit("both", usable_kwh=10.0, charge_efficiency=0.9, discharge_efficiency=0.9, charging_circuit=BOTH)]
    return small_site(
        [circuit("Lights", 0.0)],
        units,
        rate=s18_rate(export=SELL),
        subpanel={"mode": "interactive"},
        solar=roof(),
        service={"other_load": {"kw": 1.0, "window": "16:00-21:00"}},
        operation={"reserve": 0.0, **operation},
    )


@pytest.mark.parametrize("plan", ["time-of-use", "self-consumption", "best-possible"])
def test_s40_solar_only_charging(roof, plan):
    run = run_year(s40_site(roof, plan=plan, charge_from="solar"))
    sources = sources_of(run)
    assert bills_of(run).saving / 365 == pytest.approx(0.772, abs=PRINTED)
    assert sources.kwh("from_grid") == 0.0 and sources.is_solar_only
    assert sources.kwh("from_solar") / 365 == pytest.approx(4.0, abs=1e-9)
    assert sources.credit_lost / 365 == pytest.approx(0.20, abs=1e-9)  # stored solar costs its lost credit, not nothing
    assert sources.stored_solar_frac == pytest.approx(1.0)


def test_s40_the_utility_may_charge_too(roof):
    run = run_year(s40_site(roof, plan="best-possible"))
    sources = sources_of(run)
    assert bills_of(run).saving / 365 == pytest.approx(1.082716, abs=PRINTED)
    assert sources.kwh("from_solar") / 365 == pytest.approx(4.0, abs=1e-9)
    assert sources.kwh("from_grid") / 365 == pytest.approx(5 / 0.81 - 4, abs=1e-6)
    assert not sources.is_solar_only
    assert sources.self_sufficiency_frac == pytest.approx(4 * 0.81 / 5)


def test_a_full_battery_leaves_its_sun_to_the_meter(roof):
    # bought by night at 0.10 before the sun comes: the surplus is sold, as in S22 ($0.882716 a day)
    run = run_year(s40_site(roof, plan="time-of-use"))
    sources = sources_of(run)
    assert bills_of(run).saving / 365 == pytest.approx(0.882716, abs=PRINTED)
    assert (sources.kwh("from_solar"), sources.credit_lost) == (0.0, 0.0)
    assert sources.self_consumption_frac == 0.0


def balcony(roof, mode="transfer", connected_at="main-panel", batteries=None, **operation):
    """A small house with 2 kW of sun, circuits that may be switched and a rest that never is."""
    lights = [circuit("Lights", 0.4, rate_transfer=True), circuit("Other", 0.3, "B", rate_transfer=True)]
    units = batteries or locked_pair(
        usable_kwh=4.0,
        charge_efficiency=0.95,
        discharge_efficiency=0.93,
        no_load_w=30.0,
        on_grid_w=12.0,
        takes_back_kw=1.0,
    )
    return small_site(
        lights,
        units,
        rate=s18_rate(export=SELL),
        solar=roof(2.0, "08:00-18:00") | {"connected_at": connected_at},
        service={"other_load": {"kw": 0.8}},
        subpanel={"mode": mode},
        operation={"reserve": 0.1, **operation},
    )


PLACES = [
    ("transfer", "main-panel"),
    ("transfer", "sub-panel"),
    ("transfer", "battery"),
    ("interactive", "main-panel"),
    ("interactive", "battery"),
]


@pytest.mark.parametrize("charge_from", ["any", "solar"])
@pytest.mark.parametrize("plan", ["time-of-use", "self-consumption", "keep-full"])
@pytest.mark.parametrize(("mode", "connected_at"), PLACES)
def test_sources_and_losses_close_the_year(roof, mode, connected_at, plan, charge_from):
    run = run_year(balcony(roof, mode, connected_at, plan=plan, charge_from=charge_from))
    sources, sums = sources_of(run), run.energy_kwh()
    lost = sources.lost_kwh
    assert sources.kwh("from_grid") + sources.kwh("from_solar") == pytest.approx(sums["charge"], abs=CLOSES_KWH)
    assert min(*lost.values(), *map(sources.kwh, ("from_grid", "from_solar", "dc", "direct"))) >= -CLOSES_KWH
    assert sum(lost[name] for name in LOSSES[:4]) == pytest.approx(sums["loss"], abs=CLOSES_KWH)
    assert sources.kwh("delivered") + sources.kwh("sold") == pytest.approx(sums["discharge"], abs=CLOSES_KWH)
    used = sources.kwh("direct") + sources.kwh("from_solar") + sources.kwh("dc") + sources.kwh("unused")
    assert -CLOSES_KWH <= sums["solar"] - used <= lost["on_grid"] + CLOSES_KWH  # the rest runs the units' own draw
    bought_for_load = sums["load"] - sources.kwh("direct") - sources.kwh("delivered")
    assert bought_for_load + sources.kwh("from_grid") <= sums["import"] + CLOSES_KWH
    if charge_from == "solar":
        assert sources.kwh("from_grid") <= CLOSES_KWH and sources.is_solar_only


def test_solar_behind_the_transfer_switch_charges_whatever_the_meter_shows(roof):
    # from 16 to 18 o'clock 2 kW of sun meet 0.7 kW of switched circuits while the rest of the house buys 1.25 kW
    site = balcony(roof, connected_at="sub-panel", plan="time-of-use", charge_from="solar")
    run = run_year(site.with_values({"service.other_load": {"kw": 1.25}}))
    sources = sources_of(run)
    at_once = np.minimum(run.year.charge_kw, run.year.import_kw).sum()
    assert at_once > 365 * 2.0  # charged and bought in the same steps
    assert sources.kwh("from_grid") == 0.0
    assert sources.kwh("from_solar") == pytest.approx(run.energy_kwh()["charge"])


def test_losses_of_one_unit_by_hand():
    units = [unit(usable_kwh=6.0, charge_efficiency=0.94, discharge_efficiency=0.92, no_load_w=40.0, on_grid_w=10.0)]
    lights = [circuit("Lights", 0.5, rate_transfer=True)]
    run = run_year(small_site(lights, units, rate=s18_rate(), operation={"plan": "time-of-use", "reserve": 0.0}))
    lost, served_h = sources_of(run).lost_kwh, 365 * 5  # half a kilowatt through every peak
    assert run.energy_kwh()["discharge"] == pytest.approx(0.5 * served_h)
    drawn = (0.5 / 0.92 + 0.04) * served_h
    assert lost["discharge"] == pytest.approx((0.5 / 0.92 - 0.5) * served_h)
    assert lost["no_load"] == pytest.approx(0.04 * served_h)
    assert lost["charge"] == pytest.approx(drawn / 0.94 - drawn)
    assert lost["on_grid"] == pytest.approx(0.010 * (8760 - served_h))
    assert lost["curtailed"] == 0.0


def test_legs_of_unlike_efficiency_keep_their_own_losses():
    units = [{**one, "charge_efficiency": eta} for one, eta in zip(locked_pair(), (0.95, 0.80), strict=True)]
    lights = [circuit("A", 0.6, rate_transfer=True), circuit("B", 0.4, "B", rate_transfer=True)]
    run = run_year(small_site(lights, units, rate=s18_rate(), operation={"plan": "time-of-use", "reserve": 0.0}))
    by_leg = run.year.pool_discharge_kw.sum(axis=1)  # lossless on the way out
    expected = sum(kwh / eta - kwh for kwh, eta in zip(by_leg, (0.95, 0.80), strict=True))
    assert sources_of(run).lost_kwh["charge"] == pytest.approx(expected)


def test_months_add_to_the_year(roof):
    run = run_year(balcony(roof))
    sources = sources_of(run)
    for name, whole in (("from_grid", "from_grid"), ("from_solar", "from_solar"), ("on_cells", "dc")):
        assert sum(row[name] for row in sources.by_month()) == pytest.approx(sources.kwh(whole), abs=CLOSES_KWH)
    june = run.hours.month == 6
    assert sources.by_month()[5]["discharge"] == pytest.approx(run.year.discharge_kw[june].sum())


@settings(max_examples=15)
@given(st.floats(0.01, 30.0), st.floats(0.2, 3.0))
def test_lossless_storage_and_solar_that_equals_the_load(usable_kwh, load_kw):
    units = [unit("both", usable_kwh=usable_kwh, charging_circuit=BOTH)]
    site = small_site(
        [circuit("Lights", 0.0)],
        units,
        subpanel={"mode": "interactive"},
        service={"other_load": {"kw": load_kw}},
        operation={"plan": "self-consumption", "charge_from": "solar", "reserve": 0.0},
    )
    sources = sources_of(run_of(site, 2.0 * load_kw))
    assert sources.kwh("solar") == pytest.approx(sources.kwh("load"))
    assert sources.self_consumption_frac == pytest.approx(sources.self_sufficiency_frac, abs=1e-9)
    assert sources.self_sufficiency_frac == pytest.approx(0.5 + 0.5 * min(usable_kwh, 12 * load_kw) / (12 * load_kw))


def run_of(site, sun_kw):
    """The year of a site with sun in the first twelve of every 24 hours; 5.76 kW of charging never limit it."""
    from simulate.house.house import house_of

    house = house_of(site)
    sun = np.where(np.arange(house.hours.n_steps) % 24 < 12, sun_kw, 0.0)
    return run_year(replace(house, solar_kw=sun))


def test_without_units_or_sun_nothing_is_shared():
    sources = sources_of(run_year(small_site([circuit("A", 0.5)], [{**unit(), "count": 0}])))
    assert (sources.stored_solar_frac, sources.self_consumption_frac) == (None, None)
    assert sources.self_sufficiency_frac == 0.0 and not any(sources.lost_kwh.values())


def test_export_that_earns_nothing_is_no_credit_lost(roof):
    site = s40_site(roof, plan="self-consumption", charge_from="solar").with_values({"solar.export": False})
    sources = sources_of(run_year(site))
    assert sources.kwh("from_solar") > 0.0 and sources.credit_lost == 0.0


def test_what_people_read(roof):
    kept = sources_of(run_year(s40_site(roof, plan="time-of-use", charge_from="solar")))
    text = shown(bill_view.show_sources, kept)
    assert "Stored solar is not free: 1,460 kWh would have earned 73.00 USD of export credit." in text
    assert 'charge_from = "solar" is kept: 0 kWh were charged from the utility.' in text
    broken = replace(sources_of(run_year(s40_site(roof, plan="best-possible"))), solar_only=True)
    assert any("is NOT kept: 793.086 kWh were bought" in line for line in bill_view.source_lines(broken))
    assert kept.document()["charge_from"] == "solar" and kept.document()["by_month"][0]["month"] == 1
