"""Values that no dwelling has, names that break a table, numbers that only Python reads."""

import csv
import io
import itertools

import pytest

from profiles import hours_of_year, read_meter
from profiles.loads.load import load_kw
from profiles.noun import BadInput
from profiles.numerals import real, whole
from profiles.ranges import most_of
from simulate import study
from simulate.designs.compare import compare_units
from simulate.designs.varied import values_of
from simulate.show.report.outputs import write_study
from tests.site.small_site import circuit, small_site, unit

STRANGE_NAMES = ["Pump\nroom", "Pump\x00", "\x1b[31mPump", "Pump\x7f", "Pump\u202eroom", "Pump\u2028", "a\tb"]


@pytest.mark.parametrize("name", STRANGE_NAMES)
def test_control_characters_in_a_name_are_refused(name):
    """A line end would break a table, an escape would colour the terminal, a turned text would hide what it says."""
    tables = {
        "site.name": lambda: small_site([circuit("Pump", 0.1)], [unit()], site={"name": name}),
        "circuit": lambda: small_site([circuit(name, 0.1)], [unit()]),
        "battery": lambda: small_site([circuit("Pump", 0.1)], [unit(name=name)]),
        "rate": lambda: small_site([circuit("Pump", 0.1)], [unit()], rate={"price_per_kwh": 0.1, "name": name}),
    }
    for table, read in tables.items():
        with pytest.raises(BadInput, match=rf"^bench.toml: {table}.* holds the control character U\+.*; take it out$"):
            read()


def test_a_key_with_a_control_character_is_refused():
    with pytest.raises(BadInput, match="control character U.000A"):
        small_site([circuit("Pump", 0.1)], [unit(**{"usable\nkwh": 1.0})])


def test_names_in_other_scripts_and_long_texts_are_taken():
    """Umlauts, signs of other scripts, hard spaces; a description may have several lines."""
    rate = {"price_per_kwh": 0.1, "description": "one\ntwo"}
    site = small_site([circuit("Kühlschrank № 2\u00a0冷蔵庫", 0.1)], [unit()], rate=rate)
    assert site.circuit[0].name.startswith("Kühl")


SIGNS = "=+-@"


def test_no_cell_of_a_csv_file_is_a_formula(tmp_path):
    """A name such as =cmd() is text in every table that is written, with an apostrophe in front."""
    loads = [circuit(f"{sign}1+1|' /C calc'!A0", 0.1, if_lost="flood") for sign in SIGNS]
    site = small_site(loads, [unit()], operation={"plan": "keep-full"}, outage={"horizon_h": 24.0})
    write_study(study(site), tmp_path)
    found = list(tmp_path.rglob("*.csv"))
    assert {"circuits.csv", "outages.csv"} <= {path.name for path in found}
    for path in found:
        for row in csv.reader(io.StringIO(path.read_text(encoding="utf-8"))):
            formulas = [cell for cell in row if cell.startswith((*SIGNS, "\t", "\r")) and not is_number(cell)]
            assert not formulas, (path.name, formulas)
    assert "'=1+1" in (tmp_path / "outages.csv").read_text(encoding="utf-8")


def test_the_table_of_a_comparison_holds_no_formula(tmp_path):
    from simulate.show.plot.designs import write_comparison

    site = small_site([circuit("=1+1", 0.1)], [unit()], operation={"plan": "keep-full"}, outage={"horizon_h": 24.0})
    write_comparison(compare_units(site, [1, 2]), tmp_path)
    rows = list(csv.reader(io.StringIO((tmp_path / "compare.csv").read_text(encoding="utf-8"))))
    cells = [cell for cell in itertools.chain(*rows) if cell]
    assert not [cell for cell in cells if cell[0] in SIGNS and not is_number(cell)]


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


BEYOND = {
    "battery.usable_kwh": 1e9,
    "battery.continuous_kw": 1e6,
    "battery.charge_kw": 1e6,
    "battery.no_load_w": 1e9,
    "battery.on_grid_w": 1e12,
    "battery.installed_price": 1e12,
    "circuit.running_w": 1e9,
    "circuit.outage_scale": 1e6,
    "outage.horizon_h": 1e12,
    "outage.per_year": 1e9,
    "outage.sigma": 50.0,
    "site.altitude_m": 1e9,
    "operation.wear_per_kwh": 1e12,
}


@pytest.mark.parametrize("key", BEYOND)
def test_a_value_beyond_any_dwelling_is_refused_with_its_range(key):
    """Beyond it sums lose their digits: a bank of 1e9 kWh does not close its balance to 1e-6 kWh."""
    site = small_site([circuit("Pump", 0.1)], [unit()], outage={"per_year": 1.0, "mean_h": 2.0})
    with pytest.raises(BadInput, match=rf"{key.split('.')[-1]}.*(must lie between|at most)"):
        site.with_values({key: BEYOND[key]})


@pytest.mark.parametrize(
    "load",
    [
        {"kw": 1e6},
        {"watts": 1e9, "hours_per_day": 1.0},
        {"running_w": 1e9, "minutes_per_hour": 1.0},
        {"nameplate_a": 1e6, "duty_frac": 0.1},
        {"measured_kwh": 1e12, "over_days": 1},
        {"shape": "refrigerator", "annual_kwh": 1e12},
        {"kw": -1e-9},
        {"kw": float("nan")},
        {"kw": 10**400},
    ],
)
def test_a_load_beyond_any_dwelling_is_refused(load):
    with pytest.raises(BadInput):
        load_kw(load, hours_of_year(2025, "UTC"))


def test_the_largest_bank_that_is_read_still_closes_its_balance():
    """At the stated ranges the year closes to 1e-6 kWh."""
    bank = unit(usable_kwh=most_of("usable_kwh"), continuous_kw=most_of("continuous_kw"), charge_kw=2.88)
    site = small_site([circuit("Pump", 0.1)], [bank], operation={"plan": "keep-full"}, outage={"horizon_h": 24.0})
    assert abs(study(site).document["energy_kwh"]["residual"]) < 1e-6


@pytest.mark.parametrize("text", ["1_000", "١٢", "１２", "1__0", "_1", "", "1,5", "0x10", "½"])
def test_only_plain_digits_are_a_number(text):
    for kind in (whole, real):
        with pytest.raises(ValueError):
            kind(text)


@pytest.mark.parametrize("text", ["1_0:2_0", "١:٣", "1:3:1_0"])
def test_a_range_of_the_command_is_written_in_plain_digits(text):
    """What is no number stays a text, and a text is no count of units."""
    try:
        values = values_of(text)
    except BadInput:
        return
    assert all(isinstance(value, str) for value in values)


def test_a_cell_with_an_underscore_is_no_reading_and_is_named(tmp_path):
    meter = read_meter(meter_file(tmp_path, "1_000"))
    assert meter.kwh.sum() == 0.5 * 23
    assert [issue.count for issue in meter.issues if issue.kind == "not-a-number"] == [1]


def meter_file(folder, value: str):
    path = folder / "meter.csv"
    rows = [f"2025-01-01T{hour:02d}:00Z,{value if hour == 5 else '0.5'}" for hour in range(24)]
    path.write_text("start,kWh\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("value", ["١٢", "１２"])
def test_a_meter_file_with_other_digits_is_refused(tmp_path, value):
    with pytest.raises(BadInput, match="meter.csv.*digits of another script"):
        read_meter(meter_file(tmp_path, value))


@pytest.mark.parametrize("value", ["1_000", "١٢"])
def test_a_feed_with_other_digits_is_refused(tmp_path, value):
    path = tmp_path / "feed.xml"
    path.write_text(
        '<feed xmlns="http://www.w3.org/2005/Atom" xmlns:e="http://naesb.org/espi"><entry><content><e:IntervalBlock>'
        f"<e:IntervalReading><e:timePeriod><e:duration>3600</e:duration><e:start>1735689600</e:start></e:timePeriod>"
        f"<e:value>{value}</e:value></e:IntervalReading></e:IntervalBlock></content></entry></feed>",
        encoding="utf-8",
    )
    with pytest.raises(BadInput, match="feed.xml"):
        read_meter(path)


def test_unserved_energy_never_exceeds_the_load_that_outages_fall_on():
    """All outages begin in June and the heavy load runs in July: what they last into counts with what they last."""
    july = {"kw": 3.0, "months": [7]}
    weights = tuple(float(month == 6) for month in range(1, 13))
    site = small_site(
        [circuit("Shop", 3.0, load=july), circuit("Light", 0.1)],
        [unit(installed_price=100.0)],
        operation={"plan": "keep-full"},
        outage={"per_year": 1.4, "mean_h": 40.0, "month_weights": weights, "horizon_h": 48.0},
        money={"years": 5, "unserved_worth_per_kwh": 1.0},
    )
    worth = study(site).worth
    assert worth.backed_up_kwh >= 0.0


def one_circuit(**more):
    return small_site([circuit("Pump", 0.1, **more)], [unit()])


CONTRADICTIONS = {
    ("export", "mode"): lambda: small_site([circuit("P", 0.1)], [unit()], subpanel={"export": True}),
    ("round_trip_efficiency", "charge_efficiency"): lambda: small_site(
        [circuit("P", 0.1)], [unit(round_trip_efficiency=0.9)]
    ),
    ("usable_kwh", "usable_kwh_ac"): lambda: small_site([circuit("P", 0.1)], [unit(usable_kwh_ac=3.0)]),
    ("usable_kwh", "nameplate_kwh"): lambda: small_site([circuit("P", 0.1)], [unit(nameplate_kwh=1.0)]),
    ("leg", "poles"): lambda: one_circuit(poles=2),
    ("priority", "if_lost"): lambda: one_circuit(if_lost="medical", priority=2),
    ("rate_transfer", "kind"): lambda: one_circuit(kind="medical", rate_transfer=True),
    ("other_load", "whole_house"): lambda: small_site(
        [circuit("P", 0.1)], [unit()], service={"other_load": {"kw": 1.0}, "whole_house": {"meter": "a.csv"}}
    ),
    ("price_per_kwh", "tiers"): lambda: small_site(
        [circuit("P", 0.1)], [unit()], rate={"price_per_kwh": 0.1, "tiers": [{"price_per_kwh": 0.2}]}
    ),
    ("method", "credit_per_kwh"): lambda: small_site(
        [circuit("P", 0.1)], [unit()], rate={"price_per_kwh": 0.1, "export": {"method": "none", "credit_per_kwh": 0.1}}
    ),
    ("multiwire_with", "poles"): lambda: small_site(
        [circuit("P", 0.1, multiwire_with="Q"), circuit("Q", 0.1, "AB")], [unit()]
    ),
    ("series", "tilt_deg"): lambda: small_site(
        [circuit("P", 0.1)],
        [unit()],
        solar={"connected_at": "main-panel", "tilt_deg": 1.0, "series": {"csv": "a", "column": "b"}},
    ),
}


@pytest.mark.parametrize("keys", CONTRADICTIONS, ids="-".join)
def test_a_contradiction_names_both_keys(keys):
    with pytest.raises(BadInput) as caught:
        CONTRADICTIONS[keys]()
    assert all(key in str(caught.value) for key in keys), str(caught.value)
