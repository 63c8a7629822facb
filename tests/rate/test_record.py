"""Records of the public utility-rate database. The records are invented; only field names are the database's."""

import copy
import json
import random

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.noun import BadInput
from profiles.rate.prices import rate_prices
from profiles.rate.rate import Rate
from profiles.rate.record import read_rate_record
from profiles.rate.source import read_rate, resolve_rate
from simulate.bill.bill import price_bill

AXIS = hours_of_year(2025, "America/New_York")
NONE = np.zeros(8760)
WINTER, SUMMER = [0] * 24, [0] * 15 + [1] * 5 + [0] * 4
WEEKDAY = [WINTER] * 5 + [SUMMER] * 4 + [WINTER] * 3
RECORD = {
    "label": "0123456789",
    "utility": "Invented Light & Power",
    "name": "Residential time of day (invented)",
    "sector": "Residential",
    "startdate": 1704067200,
    "source": "invented",
    "approved": True,
    "energyratestructure": [[{"rate": 0.09, "adj": 0.01, "unit": "kWh"}], [{"rate": 0.30, "adj": 0.01, "unit": "kWh"}]],
    "energyweekdayschedule": WEEKDAY,
    "energyweekendschedule": [WINTER] * 12,
    "fixedchargefirstmeter": 12.0,
    "fixedchargeunits": "$/month",
}


def write(tmp_path, **changes):
    path = tmp_path / "record.json"
    path.write_text(json.dumps({key: value for key, value in {**RECORD, **changes}.items() if value is not ...}))
    return path


def test_schedules_become_seasons_and_the_price_is_rate_plus_adjustment(tmp_path):
    rate = read_rate_record(write(tmp_path))
    prices = rate_prices(rate, AXIS)
    peak = np.isin(AXIS.month, (6, 7, 8, 9)) & (AXIS.weekday < 5) & (AXIS.minute >= 900) & (AXIS.minute < 1200)
    assert np.allclose(prices.buy_per_kwh, np.where(peak, 0.31, 0.10), atol=1e-12)
    assert rate.name == "Residential time of day (invented)"
    assert "from 2024-01-01" in rate.description
    assert price_bill(NONE, NONE, rate, AXIS).total == 144.0


def test_what_the_record_cannot_say_is_printed_with_every_price(tmp_path):
    rate = read_rate_record(
        write(
            tmp_path,
            demandreactivepowercharge=0.4,
            coincidentrateunit="kW",
            lookbackrange=0,
            energycomments="Holidays are off-peak.\nSummer begins on 15 June.",
        )
    )
    notes = " ".join(rate_prices(rate, AXIS).notes)
    assert "no holidays" in notes
    assert "replay a bill" in notes
    assert "Not carried from the record: coincidentrateunit, demandreactivepowercharge, lookbackrange." in notes
    assert "Summer begins on 15 June." in notes
    assert "a missing sell price is not the retail price" in notes


def test_what_a_record_leaves_out_is_set_beside_its_source(tmp_path):
    write(tmp_path)
    rate = resolve_rate(Rate(source="record.json", holidays="US"), tmp_path)
    on_independence_day = AXIS.day == 184
    assert set(rate_prices(rate, AXIS).buy_per_kwh[on_independence_day].round(9).tolist()) == {0.10}
    as_it_is = rate_prices(read_rate("record.json", tmp_path), AXIS)
    assert set(as_it_is.buy_per_kwh[on_independence_day].round(9)) == {0.1, 0.31}


@pytest.mark.parametrize(
    ("unit", "january"),
    [("kWh", 600 * 0.1 + 144 * 0.2), ("kWh daily", 310 * 0.1 + 434 * 0.2), ("kWh/kW", 100 * 0.1 + 644 * 0.2)],
)
def test_tiers_by_unit(tmp_path, unit, january):
    end = {"kWh": 600, "kWh daily": 10, "kWh/kW": 100}[unit]
    tiers = [{"rate": 0.1, "max": end, "unit": unit}, {"rate": 0.2, "unit": unit}]
    rate = read_rate_record(write(tmp_path, energyratestructure=[tiers], energyweekdayschedule=[WINTER] * 12))
    assert price_bill(np.ones(8760), NONE, rate, AXIS).by_month["2025-01"] == pytest.approx(12 + january, abs=1e-9)


def test_tiers_of_a_period_hold_its_weekday_and_weekend_hours_together(tmp_path):
    tiers = [{"rate": 0.1, "max": 10, "unit": "kWh"}, {"rate": 0.2, "unit": "kWh"}]
    weekend = [[0] * 12 + [1] * 12] * 12
    rate = read_rate_record(
        write(
            tmp_path,
            energyratestructure=[tiers, tiers],
            energyweekendschedule=weekend,
            energyweekdayschedule=[WINTER] * 12,
        )
    )
    kw = NONE.copy()
    kw[AXIS.index_of("2025-01-14T10:00")], kw[AXIS.index_of("2025-01-18T10:00")] = 8.0, 6.0
    assert price_bill(kw, NONE, rate, AXIS).by_month["2025-01"] == pytest.approx(12 + 10 * 0.1 + 4 * 0.2, abs=1e-9)


@pytest.mark.parametrize(("unit", "year"), [("$/month", 144.0), ("$/day", 365 * 12.0), ("$/year", 12.0)])
def test_fixed_charge_by_unit(tmp_path, unit, year):
    rate = read_rate_record(write(tmp_path, fixedchargeunits=unit))
    assert price_bill(NONE, NONE, rate, AXIS).total == pytest.approx(year, abs=1e-9)


def test_the_minimum_charge(tmp_path):
    rate = read_rate_record(write(tmp_path, mincharge=20.0, minchargeunits="$/month"))
    assert price_bill(NONE, NONE, rate, AXIS).total == pytest.approx(240.0, abs=1e-9)


def test_flat_demand_follows_its_months(tmp_path):
    rate = read_rate_record(
        write(
            tmp_path,
            flatdemandstructure=[[{"rate": 0.0}], [{"rate": 2.0, "adj": 0.5}]],
            flatdemandmonths=[0] * 5 + [1] * 4 + [0] * 3,
        )
    )
    bill = price_bill(np.full(8760, 4.0), NONE, rate, AXIS)
    assert bill.by_kind["demand"] == pytest.approx(4 * 10.0, abs=1e-9)


def test_windowed_demand_takes_one_peak_from_weekdays_and_weekends(tmp_path):
    rate = read_rate_record(
        write(
            tmp_path,
            demandratestructure=[[{"rate": 0.0}], [{"rate": 3.0}]],
            demandweekdayschedule=[SUMMER] * 12,
            demandweekendschedule=[[0] * 9 + [1] * 3 + [0] * 12] * 12,
            demandwindow=60,
            demandrateunit="kW",
            demandratchetpercentage=[50] * 12,
        )
    )
    kw = NONE.copy()
    kw[AXIS.index_of("2025-01-14T18:00")], kw[AXIS.index_of("2025-01-18T10:00")] = 3.0, 5.0
    kw[AXIS.index_of("2025-01-15T08:00")] = 9.0
    demand = [line.quantity for line in price_bill(kw, NONE, rate, AXIS).lines if line.kind == "demand"]
    assert demand == [5.0] + [2.5] * 11


def test_fuel_adjustments_follow_their_month(tmp_path):
    rate = read_rate_record(write(tmp_path, fueladjustmentsmonthly=[0.01] + [0.0] * 10 + [-0.02]))
    by_kind = price_bill(np.ones(8760), NONE, rate, AXIS).by_kind
    assert by_kind["rider"] == pytest.approx(744 * 0.01 - 744 * 0.02, abs=1e-9)


SELL = [[{"rate": 0.1, "sell": 0.03, "unit": "kWh"}], [{"rate": 0.3, "unit": "kWh"}]]


@pytest.mark.parametrize(
    ("changes", "method", "sells"),
    [
        ({}, "none", {0.0}),
        ({"dgrules": "Net Metering"}, "net-metering", {0.1, 0.31}),
        ({"dgrules": "Net Billing Hourly", "energyratestructure": SELL}, "net-billing", {0.0, 0.03}),
        ({"energyratestructure": SELL}, "net-billing", {0.0, 0.03}),
        ({"dgrules": "Buy All Sell All", "energyratestructure": SELL}, "none", {0.0}),
    ],
)
def test_export_follows_the_rule_and_never_guesses_the_retail_price(tmp_path, changes, method, sells):
    rate = read_rate_record(write(tmp_path, **changes))
    assert rate.export.method == method
    assert set(rate_prices(rate, AXIS).sell_per_kwh.round(9).tolist()) == sells


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"energyratestructure": ...}, "energyratestructure is missing"),
        ({"energyratestructure": [[{"unit": "kWh"}]]}, r"energyratestructure\[0\]\[0\].rate is missing"),
        ({"energyratestructure": [[{"rate": -0.2, "unit": "kWh"}]]}, "with adj is negative"),
        ({"energyratestructure": [[{"rate": 0.2, "unit": "kW"}]]}, "must be one of kWh, kWh daily, kWh/kW, not"),
        ({"energyratestructure": [[{"rate": 0.2, "unit": "kWh"}] * 2]}, "max must be a number, not None"),
        ({"energyratestructure": [[{"rate": 0.2, "unit": "kWh"}]]}, "names periods beyond the 1 of the structure"),
        ({"energyweekdayschedule": [[0] * 23] * 12}, "energyweekdayschedule must be 12 rows of 24"),
        ({"fixedchargeunits": "$/bill"}, "fixedchargeunits is a unit that is not known"),
        ({"demandrateunit": "kVA", "demandratestructure": [[{"rate": 1.0}]]}, "demandrateunit must be kW, not 'kVA'"),
        ({"demandwindow": 45, "flatdemandstructure": [[{"rate": 1.0}]]}, "demandwindow must be one of"),
    ],
)
def test_a_record_that_cannot_be_carried_is_refused(tmp_path, changes, message):
    path = write(tmp_path, **changes)
    with pytest.raises(BadInput, match=message) as refusal:
        read_rate_record(path)
    assert str(path) in str(refusal.value)


def test_several_records_need_a_label(tmp_path):
    path = tmp_path / "records.json"
    path.write_text(json.dumps({"items": [RECORD, {**RECORD, "label": "other", "name": "Other (invented)"}]}))
    with pytest.raises(BadInput, match="label must be one record"):
        read_rate_record(path)
    assert read_rate_record(path, label="other").name == "Other (invented)"


@pytest.mark.parametrize("text", ["{", "[]", "3", '"x"'])
def test_a_file_that_is_no_record_is_refused(tmp_path, text):
    (tmp_path / "r.json").write_text(text)
    with pytest.raises(BadInput, match="r.json"):
        read_rate_record(tmp_path / "r.json")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"energyratestructure": [3]}, "energyratestructure must be a list of periods"),
        ({"energyratestructure": [[]]}, "energyratestructure must be a list of periods"),
        ({"demandratestructure": [[None]]}, "demandratestructure must be a list of periods"),
        (
            {"flatdemandstructure": [[{"rate": 2.0}]], "flatdemandmonths": [0] * 11},
            "flatdemandmonths must be 12 numbers",
        ),
        ({"flatdemandstructure": [[{"rate": 2.0}]], "flatdemandmonths": [1] * 12}, "names charges beyond the 1"),
        ({"fueladjustmentsmonthly": True}, "fueladjustmentsmonthly must be 12 numbers"),
        ({"startdate": 1e300}, "startdate must be seconds since 1970"),
        ({"enddate": 9e11}, "enddate must be seconds since 1970"),
        ({"fixedchargefirstmeter": 1e308}, "fixedchargefirstmeter must be a number"),
        ({"energyweekdayschedule": [[True] * 24] * 12}, "names periods beyond"),
    ],
)
def test_a_record_of_odd_shape_is_refused_in_one_line(tmp_path, changes, message):
    with pytest.raises(BadInput, match=message) as refusal:
        read_rate_record(write(tmp_path, **changes))
    assert "\n" not in str(refusal.value)


def test_nesting_without_end_is_refused(tmp_path):
    (tmp_path / "record.json").write_text("[" * 100_000)
    with pytest.raises(BadInput, match="cannot be read as JSON"):
        read_rate_record(tmp_path / "record.json")


def test_a_maximum_of_the_last_tier_is_not_lost_in_silence(tmp_path):
    tiers = [{"rate": 0.1, "max": 500, "unit": "kWh"}, {"rate": 0.2, "max": 900, "unit": "kWh"}]
    rate = read_rate_record(write(tmp_path, energyratestructure=[tiers, tiers]))
    assert any("The last tier of energyratestructure[0] has a max of 900" in note for note in rate.notes)


ODD = (
    None,
    True,
    -1,
    0,
    25,
    1e308,
    float("nan"),
    float("inf"),
    "",
    "kWh daily",
    "x",
    [],
    {},
    [[]],
    [0] * 24,
    10**30,
    0.5,
)


def test_whatever_is_changed_in_a_record_it_is_read_or_refused(tmp_path):
    """Three hundred random changes of an invented record with every part: a rate, or one line that refuses it."""
    rng = random.Random(5)
    whole = RECORD | {
        "mincharge": 12.0,
        "flatdemandstructure": [[{"rate": 3.0}]],
        "flatdemandmonths": [0] * 12,
        "demandwindow": 60,
        "demandratestructure": [[{"rate": 2.0}], [{"rate": 5.0}]],
        "demandweekdayschedule": WEEKDAY,
        "demandweekendschedule": [WINTER] * 12,
        "demandratchetpercentage": [0.0] * 12,
        "fueladjustmentsmonthly": [0.001] * 12,
        "dgrules": "Net Billing Hourly",
    }
    read = 0
    for _ in range(300):
        record = copy.deepcopy(whole)
        at = record
        while True:
            key = rng.choice(list(at)) if isinstance(at, dict) else rng.randrange(len(at))
            if not isinstance(at[key], dict | list) or not at[key] or rng.random() < 0.3:
                at[key] = copy.deepcopy(rng.choice(ODD))
                break
            at = at[key]
        try:
            rate = read_rate_record(write(tmp_path, **record))
        except BadInput as refusal:
            assert "\n" not in str(refusal)
        else:
            read += 1
            assert np.isfinite(price_bill(np.ones(8760), NONE, rate, AXIS).total)
    assert 50 < read < 250
