"""Twelve months of printed bills replayed. The bills are INVENTED DATA, made here by plain arithmetic on the rows of an
invented meter: they show that the replay works, not that any utility's bill is met."""

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.noun import BadInput
from profiles.rate.printed import PrintedBill, read_printed_bills
from profiles.rate.rate import Rate
from profiles.rate.source import read_rate
from simulate.bill.replay import replay_bill, verdict

AXIS = hours_of_year(2025, "America/New_York")
KW = np.random.default_rng(2025).gamma(2.0, 0.55, 8760) + np.where(AXIS.minute >= 17 * 60, 0.8, 0.0)
NONE = np.zeros(8760)
DAYS = (3, 4, 2, 1, 3, 2, 1, 3, 2, 3, 2)
READS = ["2025-01-01", *(f"2025-{month:02d}-{day:02d}" for month, day in enumerate(DAYS, start=2)), "2026-01-01"]
HOLIDAYS = {
    "2025-01-01",
    "2025-01-20",
    "2025-02-17",
    "2025-05-26",
    "2025-06-19",
    "2025-07-04",
    "2025-09-01",
    "2025-10-13",
    "2025-11-11",
    "2025-11-27",
    "2025-12-25",
}  # the eleven federal holidays, none on a weekend


def rows(begin, end):
    """Local date, hour and kWh of each meter row between two read dates."""
    utc = dt.datetime(2025, 1, 1, 5, tzinfo=dt.UTC)
    for kw in KW:
        local = utc.astimezone(ZoneInfo("America/New_York"))
        if begin <= local.date().isoformat() < end:
            yield local, float(kw)
        utc += dt.timedelta(hours=1)


def flat(read):
    kwh = sum(kw for _, kw in read)
    return [("fixed charge", "fixed", 12.0), ("all hours", "energy", 0.16 * kwh)], {"all hours": kwh}


def tiered(read):
    kwh = sum(kw for _, kw in read)
    first, rest = min(kwh, 600.0), max(kwh - 600.0, 0.0)
    charges = [
        ("fixed charge", "fixed", 9.5),
        ("all hours, tier 1", "energy", 0.13 * first),
        ("all hours, tier 2", "energy", 0.19 * rest),
    ]
    return [*charges, ("city tax", "tax", 0.05 * sum(amount for *_, amount in charges))], {"all hours": kwh}


def three_period(read):
    price = {
        "summer on-peak": 0.39,
        "summer mid-peak": 0.21,
        "summer off-peak": 0.11,
        "winter on-peak": 0.29,
        "winter off-peak": 0.12,
    }
    kwh = dict.fromkeys(price, 0.0)
    for local, kw in read:
        workday = local.weekday() < 5 and local.date().isoformat() not in HOLIDAYS
        if local.month in (6, 7, 8, 9):
            on = "on-peak" if workday and 15 <= local.hour < 20 else "mid-peak" if 7 <= local.hour < 23 else "off-peak"
            kwh[f"summer {on}"] += kw
        else:
            on = workday and (6 <= local.hour < 10 or 17 <= local.hour < 21)
            kwh[f"winter {'on' if on else 'off'}-peak"] += kw
    lines = [(name, "energy", price[name] * kwh[name]) for name in price if kwh[name]]
    return [("fixed charge", "fixed", 14.0), *lines], kwh


def demand(read):
    kwh = sum(kw for _, kw in read)
    peak = max(kw for local, kw in read if local.weekday() < 5 and 16 <= local.hour < 21)
    return [
        ("fixed charge", "fixed", 18.0),
        ("all hours", "energy", 0.085 * kwh),
        ("evening demand", "demand", 9.0 * peak),
    ], {"all hours": kwh}


def printed(make, change=lambda bill: bill):
    """A TOML file of twelve bills, every line rounded to the cent."""
    text = "# invented\n"
    for begin, end in zip(READS[:-1], READS[1:], strict=True):
        lines, kwh = make(list(rows(begin, end)))
        lines = [(name, kind, round(amount, 2)) for name, kind, amount in lines]
        text += f'[[bill]]\nfrom = "{begin}"\nto = "{end}"\namount = {sum(amount for *_, amount in lines):.2f}\n'
        text += "kwh_by_period = {" + ", ".join(f'"{name}" = {round(value, 1)}' for name, value in kwh.items()) + "}\n"
        text += (
            "lines = [\n"
            + "".join(f'  {{ name = "{name}", kind = "{kind}", amount = {amount} }},\n' for name, kind, amount in lines)
            + "]\n"
        )
    return text


@pytest.fixture(scope="module")
def bills(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bills")
    for make in (flat, tiered, three_period, demand):
        (folder / f"{make.__name__}.toml").write_text(printed(make))
    return folder


@pytest.mark.parametrize("name", ["flat", "tiered", "three_period", "demand"])
def test_twelve_invented_bills_replay_to_the_cent_line_by_line(bills, name):
    replayed = replay_bill(bills / f"{name}.toml", KW, NONE, read_rate(f"library:{name}"), AXIS)
    assert len(replayed) == 12
    for bill in replayed:
        assert bill.is_close and not bill.because
        assert bill.ours == pytest.approx(bill.theirs, abs=0.005 * len(bill.lines) + 1e-9)
        for line in bill.lines:
            assert line.ours == pytest.approx(line.theirs, abs=0.005 + 1e-9)
        assert bill.our_kwh == pytest.approx(bill.their_kwh, abs=0.3)
        assert bill.ours_at_their_kwh == pytest.approx(bill.theirs, abs=0.1)


def first(bills, name, rate, kw=KW, export=NONE, **change):
    bill = read_printed_bills(bills / f"{name}.toml")[0]
    bill = PrintedBill.model_validate({**bill.model_dump(), **change})
    return replay_bill([bill], kw, export, rate, AXIS)[0]


def test_a_meter_that_holds_other_energy_is_named(bills):
    replayed = first(bills, "flat", read_rate("library:flat"), KW * 1.1)
    assert any(reason.startswith("energy: ") for reason in replayed.because)
    assert not any(reason.startswith("prices: ") for reason in replayed.because)


def test_a_wrong_price_is_named(bills):
    rate = read_rate("library:flat").model_copy(update={"price_per_kwh": 0.18})
    replayed = first(bills, "flat", rate)
    assert any(reason.startswith("prices: at the printed kWh") for reason in replayed.because)
    assert any(reason.startswith('energy "all hours":') for reason in replayed.because)
    assert not any(reason.startswith("energy: ") for reason in replayed.because)


def test_a_charge_that_the_rate_lacks_is_named(bills):
    bill = read_printed_bills(bills / "flat.toml")[0]
    lines = (*(line.model_dump() for line in bill.lines), {"name": "storm recovery", "kind": "rider", "amount": 30.0})
    replayed = first(bills, "flat", read_rate("library:flat"), lines=lines, amount=bill.amount + 30.0)
    assert 'rider "storm recovery": 30.00 is printed, the rate has no such charge' in replayed.because


def test_a_charge_that_is_not_printed_is_named(bills):
    bill = read_printed_bills(bills / "demand.toml")[0]
    lines = tuple(line.model_dump() for line in bill.lines if line.kind != "demand")
    replayed = first(
        bills, "demand", read_rate("library:demand"), lines=lines, amount=sum(line["amount"] for line in lines)
    )
    assert any("evening demand" in reason and "none is printed" in reason for reason in replayed.because)


def test_lines_that_do_not_add_up_are_named(bills):
    bill = read_printed_bills(bills / "flat.toml")[0]
    replayed = first(bills, "flat", read_rate("library:flat"), amount=bill.amount + 25.0)
    assert any(reason.startswith("the printed lines add to") for reason in replayed.because)


def test_a_bill_without_lines_or_kwh_says_that_the_cause_is_not_known():
    bill = PrintedBill.model_validate({"from": "2025-01-01", "to": "2025-02-01", "amount": 1.0})
    replayed = replay_bill([bill], KW, NONE, read_rate("library:flat"), AXIS)[0]
    assert replayed.because == ("not known: the bill gives neither kWh nor lines that differ",)


def test_other_names_of_lines_are_compared_by_kind(bills):
    lines = [
        {"name": "Customer charge", "kind": "fixed", "amount": 14.0},
        {"name": "On-peak use", "kind": "energy", "amount": 30.0},
        {"name": "Off-peak use", "kind": "energy", "amount": 60.0},
    ]
    replayed = first(bills, "three_period", read_rate("library:three_period"), lines=tuple(lines))
    assert [(line.name, line.kind) for line in replayed.lines] == [
        ("Customer charge", "fixed"),
        ("On-peak use + Off-peak use", "energy"),
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[bill]]\nfrom = '2025-01-01'\nto = '2025-01-01'\namount = 1", "must lie after from"),
        ("[[bill]]\nfrom = '2025-01-01'\nto = 'soon'\namount = 1", "bill.*to must be an ISO date"),
        ("[[bill]]\nfrom = '2025-01-01'\nto = '2025-02-01'\namont = 1", "did you mean amount?"),
        (
            "[[bill]]\nfrom = '2025-01-01'\nto = '2025-02-01'\namount = 1\n"
            "[[bill]]\nfrom = '2025-01-31'\nto = '2025-03-01'\namount = 1",
            "begins before the bill above it ends",
        ),
        ("[[bill]]\nfrom = '20250101'\nto = '20250201'\namount = 1", "bill.*from must be an ISO date"),
        ("[[bill]]\nfrom = '2025-W01-1'\nto = '2025-02-01'\namount = 1", "bill.*from must be an ISO date"),
        ("[[bill]]\nfrom = '2025-01-01'\nto = '2025-02-01'\namount = nan", "amount should be a finite number"),
        ("[[bill]]\nfrom = '2025-01-01'\nto = '2025-02-01'\namount = '100'", "amount should be a valid number"),
        ("bill = [1]", "bill"),
        ("bill = ", "is not TOML"),
        ("bill = []", "bill"),
    ],
)
def test_a_bad_file_of_bills_is_refused(tmp_path, text, message):
    (tmp_path / "bills.toml").write_text(text)
    with pytest.raises(BadInput, match=message) as refusal:
        read_printed_bills(tmp_path / "bills.toml")
    assert "bills.toml" in str(refusal.value)


def test_a_file_of_bills_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(BadInput, match="bills.toml: cannot be read: No such file or directory; check the path"):
        read_printed_bills(tmp_path / "bills.toml")


def bill_of(begin, end, amount=1.0, **more):
    return PrintedBill.model_validate({"from": begin, "to": end, "amount": amount, **more})


def test_bills_of_another_year_are_refused():
    with pytest.raises(BadInput, match="lies outside 2025, not '2023-12-15'"):
        replay_bill([bill_of("2023-12-15", "2024-01-15")], KW, NONE, read_rate("library:flat"), AXIS)
    long = [bill_of("2024-11-15", "2024-12-15"), bill_of("2025-11-15", "2025-12-15")]
    with pytest.raises(
        BadInput, match="lies outside 2025, and the bills span 395 days, not '2024-11-15'; replay twelve"
    ):
        replay_bill(long, KW, NONE, read_rate("library:flat"), AXIS)


OVER = ["2024-12-14", *(f"2025-{month:02d}-14" for month in range(1, 13))]


def over_new_year(rate, make):
    """Twelve bills from 14 December to 14 December on the rows of the meter, the year being a ring."""
    bills = []
    for begin, end in zip(OVER[:-1], OVER[1:], strict=True):
        parts = [("2025-12-14", "2026-01-01"), ("2025-01-01", end)] if begin < "2025" else [(begin, end)]
        read = [row for part in parts for row in rows(*part)]
        bills.append(bill_of(begin, end, round(sum(amount for *_, amount in make(read)[0]), 2)))
    return replay_bill(bills, KW, NONE, read_rate(f"library:{rate}"), AXIS)


@pytest.mark.parametrize(("rate", "make"), [("flat", flat), ("three_period", three_period), ("demand", demand)])
def test_a_year_of_bills_over_new_year_is_replayed(rate, make):
    replayed = over_new_year(rate, make)
    assert [one.ours for one in replayed] == pytest.approx([one.theirs for one in replayed], abs=0.02)
    assert replayed[0].label == "2024-12-14 to 2025-01-14"
    assert replayed[0].notes == ("18 of its 31 days are not in 2025: the same dates of 2025 stand for them",)
    assert not any(one.notes for one in replayed[1:])


def test_a_december_that_ends_with_the_year_before_is_the_december_of_the_series():
    december = sum(kw for _, kw in rows("2025-12-01", "2026-01-01"))
    january = sum(kw for _, kw in rows("2025-01-01", "2025-02-01"))
    bills = [bill_of("2024-12-01", "2025-01-01"), bill_of("2025-01-01", "2025-02-01")]
    found = [one.our_kwh for one in replay_bill(bills, KW, NONE, read_rate("library:flat"), AXIS)]
    assert found == pytest.approx([december, january])


def test_the_verdict_names_the_rate_and_how_close_it_is():
    replayed = over_new_year("flat", flat)
    assert verdict(replayed) == 'The rate "Flat (invented)" reproduces 12 bills within 0.1 %.'
    off = replace(replayed[3], theirs=1.004 * replayed[3].ours)
    assert verdict((*replayed[:3], off)).endswith("reproduces 4 bills within 0.4 %.")
    far = replace(replayed[3], theirs=0.8 * replayed[3].ours, because=("energy",))
    assert verdict((*replayed[:3], far)).endswith(
        "reproduces 3 of 4 bills within 1 %; the others differ by up to 25.0 %, for the reasons named."
    )
    assert all(one.rate == "Flat (invented)" for one in replayed)


def test_a_period_that_the_rate_lacks_is_refused():
    bill = PrintedBill.model_validate(
        {"from": "2025-01-01", "to": "2025-02-01", "amount": 1.0, "kwh_by_period": {"winter on-peek": 1.0}}
    )
    with pytest.raises(BadInput, match="bill.kwh_by_period is not a period of the rate, not 'winter on-peek'"):
        replay_bill([bill], KW, NONE, read_rate("library:three_period"), AXIS)


def test_printed_kwh_of_a_period_with_two_windows_are_counted_once(tmp_path):
    windows = [{"name": "peak", "price_per_kwh": 0.40, "hours": hours} for hours in ("06:00-09:00", "17:00-20:00")]
    periods = (*windows, {"name": "rest", "price_per_kwh": 0.10})
    rate = Rate.model_validate({"season": ({"name": "year", "months": tuple(range(1, 13)), "periods": periods},)})
    bill = PrintedBill.model_validate(
        {
            "from": "2025-01-01",
            "to": "2025-02-01",
            "amount": 14.0,
            "kwh_by_period": {"year peak": 20.0, "year rest": 60.0},
        }
    )
    (one,) = replay_bill((bill,), KW, NONE, rate, AXIS)
    assert one.ours_at_their_kwh == pytest.approx(20.0 * 0.40 + 60.0 * 0.10, abs=1e-9)


def test_dates_may_stand_without_quotes(tmp_path):
    (tmp_path / "bills.toml").write_text("[[bill]]\nfrom = 2025-01-04\nto = 2025-02-04\namount = 100.0\n")
    (bill,) = read_printed_bills(tmp_path / "bills.toml")
    assert (bill.from_, bill.to) == ("2025-01-04", "2025-02-04")


def test_a_bill_of_a_year_in_one_piece_says_why_it_differs():
    bill = PrintedBill.model_validate({"from": "2025-01-01", "to": "2026-01-01", "amount": 2000.0})
    (one,) = replay_bill([bill], KW, NONE, read_rate("library:flat"), AXIS)
    assert one.because[0].startswith("length: the bill spans 365 days")
    prorated = read_rate("library:flat").model_copy(update={"prorate_days": 365.25 / 12})
    (one,) = replay_bill([bill], KW, NONE, prorated, AXIS)
    assert one.ours == pytest.approx(0.16 * KW.sum() + 12.0 * 365 / (365.25 / 12), abs=1e-6)


def test_the_example_in_the_readme_is_read(tmp_path):
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    (text,) = re.findall(r"```toml\n(\[\[bill\]\].*?)```", readme, re.S)
    (tmp_path / "bill.toml").write_text(text, encoding="utf-8")
    bill, *more = read_printed_bills(tmp_path / "bill.toml")
    assert not more and bill.kwh and bill.lines
    assert sum(line.amount for line in bill.lines) == pytest.approx(bill.amount, abs=0.005)
