"""The figures of a study, each with its title, its description in words and its table twin."""

from __future__ import annotations

import calendar
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from profiles.files import folder_for, written
from simulate.bill.bill import rounded_to_add
from simulate.document.cash_table import printed_years
from simulate.document.rates import RatesBeside
from simulate.document.study import Study
from simulate.document.words import hours_text, refill_text, tenths
from simulate.house.frontier import levels_of
from simulate.house.outage_met import outage_kw
from simulate.house.ride import worst_middle_best
from simulate.panel.checks.layout import Layout, demand, power_keys
from simulate.physics.outages.spread import TOLERANCE_H, nine_in_ten, spread
from simulate.show.plot import bills, day, heat, legs, money, outages, rates, recharge, survival, units
from simulate.show.plot.how_sure import tornados
from simulate.show.plot.paper import MONTHS, drawing, month_name, narrow, write_png
from simulate.show.plot.plate import Plate, plate

SURVIVAL_ROWS_H = (1, 2, 4, 6, 8, 12, 18, 24, 36, 48, 72, 168, 336)
DURATION_ROWS = (0, 1, 2, 5, 10, 25, 50, 75, 90, 100)
MOST_ROWS = 13
HOURLY_STEPS = 8784
APART = 0.08
"""Share of an axis below which two labels would lie on each other."""
AS_PNG_TOO = ("survival", "hours-map", "outages", "bills")
"""Each PNG takes as long as its SVG; these are the ones that go into a message or a slide."""


def write_figures(study: Study, folder: str | Path) -> tuple[Plate, ...]:
    """Write the figures of a study as SVG, the four most shown as PNG too, each beside its place and renamed.

    Parameters
    ----------
    study : Study
    folder : path
        Made where it is not there yet.

    Returns
    -------
    tuple of Plate
        For `simulate.show.report.report.write_report`, so that nothing is drawn twice.
    """
    folder = folder_for(folder)
    plates = plates_of(study)
    for one in plates:
        with written(folder / f"{one.name}.svg") as beside:
            beside.write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{one.svg}', encoding="utf-8")
        if one.name in AS_PNG_TOO:
            with written(folder / f"{one.name}.png") as beside:
                write_png(one.figure, beside, title=one.title)
    return plates


def narrow_plates_of(study: Study) -> tuple[Plate, ...]:
    """The figures of `plates_of` drawn for a telephone, by the same names with `-narrow` behind them."""
    with narrow():
        return tuple(replace(one, name=f"{one.name}-narrow", svg=_renamed(one)) for one in plates_of(study))


def _renamed(one: Plate) -> str:
    """The drawing with ids of its own, so that it can stand beside the wide one."""
    return one.svg.replace(f"plot-{one.name}-", f"plot-{one.name}-narrow-")


def plates_of(study: Study) -> tuple[Plate, ...]:
    """Every figure that a study has something to show in.

    Parameters
    ----------
    study : Study
    """
    outage = (_survival, _hours_map, _outages, _recharge)
    makers = (*outage, _bills, _items, _rates, _days, _prices, _reserves, _cash, tornados, _legs, _duration)
    with drawing():
        return tuple(one for make in makers for one in make(study))


def _survival(study: Study) -> Iterator[Plate]:
    ride, storm = study.ride, study.storm
    cases = {f"{ride.load_case} load": ride.hours}
    if storm is not ride:
        cases["storm load"] = storm.hours
    share = lambda hours, mark: f"{100.0 * np.mean(hours >= mark - TOLERANCE_H):.1f}"
    rows = [
        (f"{mark}", *(share(hours, mark) for hours in cases.values()))
        for mark in SURVIVAL_ROWS_H
        if mark <= ride.horizon_h
    ]
    worst, middle = float(ride.hours.min()), spread(ride.hours)["p50"]
    text = (
        f"A falling curve of modelled outages, one from every step of the year. None ends before "
        f"{hours_text(worst)}; half reach {hours_text(middle, ride.horizon_h)}. Lines mark 4, 12, 24 and 72 hours."
    )
    if ride.censored.any():
        text += f" {100.0 * ride.censored.mean():.0f}% outlive {ride.horizon_h:g} h; they are followed no longer."
    yield plate(
        "survival",
        f"Half of the outages last at least {hours_text(middle, ride.horizon_h)}, none less than {hours_text(worst)}",
        text,
        survival.survival_curves(cases, horizon_h=ride.horizon_h),
        ("hours [h]", *(f"{case} [%]" for case in cases)),
        rows,
    )


def _hours_map(study: Study) -> Iterator[Plate]:
    grid = heat.hours_grid(study.ride)
    month, hour = (int(k) for k in np.unravel_index(np.nanargmin(grid), grid.shape))
    shortest = hours_text(grid[month, hour])
    text = (
        "A grid of months against the local hour at which the power fails; light is long, dark is short. The worst "
        f"cell is {MONTHS[month]} at {hour:02d}:00 with {hours_text(grid[month, hour])}."
    )
    yield plate(
        "hours-map",
        f"Shortest is {calendar.month_name[month + 1]} at {hour:02d}:00, {shortest} nine times in ten",
        text,
        heat.hours_map(grid),
        ("local hour", *(f"{name} [h]" for name in MONTHS)),
        _grid_rows(grid, tenths),
    )


def _grid_rows(grid, word) -> list[tuple[str, ...]]:
    cell = lambda value: word(value) if np.isfinite(value) else "none"
    return [(f"{hour:02d}:00", *(cell(value) for value in grid[:, hour])) for hour in range(24)]


def _outages(study: Study) -> Iterator[Plate]:
    ride = study.ride
    if not ride.house.pools or not len(ride.house.carried):
        return
    courses = [outages.course_of(ride, start, name) for name, start in worst_middle_best(ride).items()]
    lasts = [hours_text(float(ride.hours[start]), ride.horizon_h) for start in worst_middle_best(ride).values()]
    pools = list(courses[0].soc_kwh)
    rows = []
    for course in courses:
        n = len(course.load_kw)
        for k in range(0, n, -(-n // MOST_ROWS)):
            stored = [f"{course.soc_kwh[name][k]:.2f}" for name in pools]
            rows.append(
                (
                    course.title,
                    f"{course.edges_h[k]:g}",
                    *stored,
                    f"{course.served_kw[k]:.2f}",
                    f"{course.unserved_kw[k]:.2f}",
                    f"{course.solar_kw[k]:.2f}",
                )
            )
    text = (
        "Three outages of the modelled year side by side: stored energy above, power of the backed-up circuits below, "
        f"served dark and not served hatched. {'; '.join(course.title for course in courses)}."
    )
    yield plate(
        "outages",
        f"The worst outage of the year lasts {lasts[0]}, a middling one {lasts[1]}, the best {lasts[2]}",
        text,
        outages.draw_courses(courses),
        (
            "outage",
            "hours [h]",
            *(f"stored, {name} [kWh]" for name in pools),
            "served [kW]",
            "not served [kW]",
            "roof could give [kW]",
        ),
        rows,
    )


def _legs(study: Study) -> Iterator[Plate]:
    layout, house = Layout(study.site), study.run.house
    limits = {leg: layout.leg_kw(leg) for leg in layout.fed_legs}
    known = [leg for leg in limits if not power_keys(layout.on_leg(leg))]
    if not limits:
        return
    asks = {leg: demand(layout, (leg,), layout.on_leg(leg)) for leg in known}
    mean = {leg: float(_on_leg_kw(study, layout, leg).max()) for leg in limits}
    measures = {
        "everything on": {leg: one.everything_kw for leg, one in asks.items()},
        "largest two + running": {leg: one.largest_two_kw for leg, one in asks.items()},
        "highest simulated mean": mean,
    }
    rows = [
        (
            f"leg {leg}",
            *(f"{row[leg]:.2f}" if leg in row else "not assessed" for row in measures.values()),
            f"{limits[leg]:.2f}",
        )
        for leg in limits
    ]
    text = f"Power on each leg beside its continuous limit; means are of {house.hours.step_min}-minute steps"
    missing = [leg for leg in limits if leg not in known]
    text += f". Leg {' and '.join(missing)}: running_w or largest_w is missing." if missing else "."
    yield plate(
        "legs",
        _legs_title(asks, limits),
        text,
        legs.leg_bars(measures, limits),
        ("leg", *(f"{name} [kW]" for name in measures), "continuous limit [kW]"),
        rows,
    )


def _legs_title(asks: dict, limits: dict) -> str:
    told = [f"{asks[leg].everything_kw:.2f} of {limits[leg]:.2f} kW on leg {leg}" for leg in limits if leg in asks]
    return (
        f"With everything on the circuits draw {' and '.join(told)}" if told else "What the legs carry is not assessed"
    )


def _on_leg_kw(study: Study, layout: Layout, leg: str) -> np.ndarray:
    house = study.run.house
    share = np.array([layout.share(circuit, leg) for circuit in study.site.circuit])
    share *= [circuit.on == "sub-panel" for circuit in study.site.circuit]
    return share @ house.circuit_kw


def _duration(study: Study) -> Iterator[Plate]:
    house = study.run.house
    if not house.pools or not len(house.carried):
        return
    load_kw = outage_kw(house, study.ride.load_case).sum(axis=0)
    limits = {"continuous [kW]": sum(pool.pool.discharge_kw for pool in house.pools)}
    surge = [(group.count, group.surge_kva) for group in study.site.battery if group.count]
    if surge and all(kva is not None for _, kva in surge):
        limits["motor start [kVA]"] = sum(count * kva for count, kva in surge)
    falling, carried = np.sort(load_kw)[::-1], limits["continuous [kW]"]
    at = lambda share: falling[min(int(share / 100.0 * len(falling)), len(falling) - 1)]
    text = (
        f"The backed-up circuits as run in an outage, highest step first: {falling[0]:.2f} kW at most, "
        f"{at(50):.2f} kW for half of the year. All units together carry {carried:.2f} kW continuously; "
        f"means of {house.hours.step_min}-minute steps do not show motor starts."
    )
    yield plate(
        "load-duration",
        f"The backed-up circuits draw {falling[0]:.2f} kW at most; the units carry {carried:.2f} kW",
        text,
        legs.load_duration(load_kw, limits=limits),
        ("share of the year [%]", "power [kW]"),
        [(f"{share}", f"{at(share):.3f}") for share in DURATION_ROWS],
    )


def _recharge(study: Study) -> Iterator[Plate]:
    refill = recharge.refill_of(study.run)
    back = study.document["outage"]["recharge"]
    if back is None or refill is None or not refill.soc_kwh:
        return
    rows = []
    for k in range(0, len(refill.at_h), -(-len(refill.at_h) // MOST_ROWS)):
        stored = [f"{soc[k]:.2f}" for soc in refill.soc_kwh.values()]
        rows.append((f"{refill.at_h[k]:.2f}", *stored, *(f"{amps[k]:.1f}" for amps in refill.service_a.values())))
    most = max(float(amps.max()) for amps in refill.service_a.values())
    full = refill_text(back["from_empty_h"] + back["wait_h"])
    text = (
        f"From empty with all units charging at once: full {refill_text(back['from_empty_h'] + back['wait_h'])} after "
        f"the power is back, the wait of {60.0 * back['wait_h']:.0f} min included. "
        f"Highest service current {most:.0f} A on top of {refill.on_top_of}."
    )
    yield plate(
        "recharge",
        f"Full again {full} after the power is back, at up to {most:.0f} A on a service leg",
        text,
        recharge.recharge_curve(refill),
        (
            "hours [h]",
            *(f"stored, {name} [kWh]" for name in refill.soc_kwh),
            *(f"service leg {leg} [A]" for leg in refill.service_a),
        ),
        rows,
    )


def _named(study: Study) -> dict:
    months = set(study.bills.with_battery.by_month)
    drawn = {name: bill for name, bill in study.bills.apart.items() if name in bills.BARS}
    return {name: bill for name, bill in drawn.items() if set(bill.by_month) == months}


def _bills(study: Study) -> Iterator[Plate]:
    named = _named(study)
    months = list(study.bills.with_battery.by_month)
    amounts = {name: [bill.by_month[month] for month in months] for name, bill in named.items()}
    printed = {name: rounded_to_add(values) for name, values in amounts.items()}
    currency = study.bills.with_battery.currency
    rows = [(month, *(f"{values[k]:.2f}" for values in printed.values())) for k, month in enumerate(months)]
    rows.append(("year", *(f"{sum(values):.2f}" for values in printed.values())))
    text = (
        f"The year costs {study.bills.without_battery.total:,.0f} {currency} without the battery and "
        f"{study.bills.with_battery.total:,.0f} {currency} with it, on the same rate."
    )
    yield plate(
        "bills",
        study.answer["money"]["text"].rstrip("."),
        text,
        bills.monthly_bills(months, currency=currency, **amounts),
        ("month", *(f"{bills.BARS[name][2]} [{currency}]" for name in printed)),
        rows,
    )


def _rates(study: Study) -> Iterator[Plate]:
    beside = study.beside
    if beside is None:
        return
    drawn = [(row.rate, row.without_battery, row.with_battery) for row in beside.rows]
    rows = [
        (row.rate, f"{row.without_battery:,.2f}", f"{row.with_battery:,.2f}", row.plan, f"{row.change_with:+,.2f}")
        for row in beside.rows
    ]
    yield plate(
        "rates",
        _rates_title(beside),
        beside.text,
        rates.rates_side_by_side(drawn, today=beside.today, currency=beside.currency),
        (
            "rate",
            f"without the battery [{beside.currency}]",
            f"with it [{beside.currency}]",
            "best plan",
            f"change against today [{beside.currency}]",
        ),
        rows,
    )


def _rates_title(beside: RatesBeside) -> str:
    best = beside.cheapest_with
    return f"With the battery {best.rate} costs least, {best.with_battery:,.0f} {beside.currency} a year"


def _items(study: Study) -> Iterator[Plate]:
    named = _named(study)
    months, currency = list(study.bills.with_battery.by_month), study.bills.with_battery.currency
    tables = {name: bills.items_by_month(bill.printed(), months) for name, bill in named.items()}
    items = list(dict.fromkeys(item for table in tables.values() for item in table))
    none = np.zeros(len(months))
    rows = [
        (f"{month_name(month)}, {bills.BARS[name][2]}", *(f"{table.get(item, none)[k]:.2f}" for item in items))
        for k, month in enumerate(months)
        for name, table in tables.items()
    ]
    order = ", ".join(bills.BARS[name][2] for name in named)
    text = f"Bars of each month from left to right: {order}, stacked by line item. Credits hang below zero."
    yield plate(
        "bill-items",
        _largest_title(study),
        text,
        bills.stacked_bills(named),
        ("month, bill", *(f"{item} [{currency}]" for item in items)),
        rows,
    )


def _largest_title(study: Study) -> str:
    bill = study.bills.with_battery
    (_, name), amount = max(bill.by_item.items(), key=lambda item: item[1])
    return f"The largest part of the last bill is {name}: {amount:,.0f} of {bill.total:,.0f} {bill.currency}"


def _days_title(shown: dict) -> str:
    """What is bought in the dearer hours, or on the whole day, of the first of the days."""
    title, (before, after, dear) = next(iter(shown.items()))
    at = np.ones(24, dtype=bool) if dear is None else dear
    when = "On" if dear is None else "In the dearer hours of"
    return f"{when} a {title} the house buys {after[at].sum():.1f} kWh, without the battery {before[at].sum():.1f} kWh"


def _days(study: Study) -> Iterator[Plate]:
    run, axis = study.run, study.run.hours
    prices = run.asked.prices
    before = np.maximum(run.house.load_kw - run.house.solar_kw, 0.0)
    mean = prices.buy_per_kwh.min() + prices.buy_per_kwh.max()
    shown, rows = {}, []
    for title, months in (("summer weekday", (6, 7, 8)), ("winter weekday", (12, 1, 2))):
        by_hour = [
            day.average_by_hour(kw, axis, months, holidays=prices.holidays)
            for kw in (before, run.year.import_kw, prices.buy_per_kwh)
        ]
        dear = by_hour[2] > mean / 2.0 if prices.buy_per_kwh.max() > prices.buy_per_kwh.min() else None
        shown[title] = (by_hour[0], by_hour[1], dear)
    for hour in range(24):
        rows.append((f"{hour:02d}:00", *(f"{kw[hour]:.2f}" for one in shown.values() for kw in one[:2])))
    text = "What the house buys by local hour on an average weekday of June to August and of December to February."
    header = [f"{title}, {which} [kW]" for title in shown for which in ("without battery", "with battery")]
    yield plate("days", _days_title(shown), text, day.two_days(shown), ("local hour", *header), rows)


def _prices(study: Study) -> Iterator[Plate]:
    prices, axis = study.run.asked.prices, study.run.hours
    if prices.buy_per_kwh.min() == prices.buy_per_kwh.max():
        return
    grid = heat.by_month_and_hour(prices.buy_per_kwh, axis.month, axis.minute // 60)
    currency = study.bills.with_battery.currency
    low, high = np.nanmin(grid), np.nanmax(grid)
    text = f"Mean price of a bought kWh by month and local hour, {low:.3f} to {high:.3f} {currency}; dark is dear."
    yield plate(
        "prices",
        f"The dearest hour costs {high:.3f} {currency} a kWh, the cheapest {low:.3f}",
        text,
        heat.price_map(grid, currency=currency),
        ("local hour", *(f"{name} [{currency}/kWh]" for name in MONTHS)),
        _grid_rows(grid, "{:.3f}".format),
    )


def _reserves(study: Study) -> Iterator[Plate]:
    """What a reserve costs: the plan and the best possible at every reserve, and the site's own."""
    if study.run.asked.plan == "keep-full" or not study.run.asked.pools:
        return
    plan, best = _at_every_reserve(study)
    own, currency = (nine_in_ten(study.ride.hours), study.bills.saving), study.bills.with_battery.currency
    text = (
        f"From no reserve to a full one the saving goes from {plan.saving[0]:,.0f} to {plan.saving[-1]:,.0f} "
        f"{currency} a year, the hours nine times in ten from {tenths(plan.hours[0])} to "
        f"{tenths(plan.hours[-1])} h. As operated: {own[1]:,.0f} {currency} a year and {tenths(own[0])} h."
    )
    if best is not None:
        text += " The best possible knows the year beforehand and keeps no more than it needs, so its hours are fewer."
    name, others = f"{plan.plan}, one reserve all year", {"as operated": ([own[0]], [own[1]])}
    if best is not None:
        others = {"best possible": (best.hours, best.saving), **others}
    axes = units.frontier(
        plan.hours, plan.saving, labels=_level_labels(plan), name=name, currency=currency, others=others
    )
    tenth = _tenth_levels(plan)
    rows = [[f"{plan.reserve_frac[j]:.0%}", tenths(plan.hours[j]), f"{plan.saving[j]:.2f}"] for j in tenth]
    rows.append(["as operated", tenths(own[0]), f"{own[1]:.2f}"])
    header = ["reserve", "hours nine times in ten [h]", f"saving [{currency} a year]"]
    if best is not None:
        header += ["best possible: hours [h]", "best possible: saving"]
        for row, k in zip(rows, [*_tenth_levels(best), None], strict=True):
            row += ["-", "-"] if k is None else [tenths(best.hours[k]), f"{best.saving[k]:.2f}"]
    yield plate("reserves", _reserve_title(plan, currency), text, axes, header, rows)


def _reserve_title(plan, currency: str) -> str:
    lasts = f"{tenths(plan.hours[0])} to {tenths(plan.hours[-1])} h"
    saved = f"{plan.saving[0]:,.0f} to {plan.saving[-1]:,.0f} {currency}"
    return f"From no reserve to a full one: {lasts}, and {saved} a year off the bill"


def _at_every_reserve(study: Study):
    """The plan, and the best possible where a year of it takes milliseconds, by reserve."""
    if study.run.hours.n_steps <= HOURLY_STEPS:
        return study.frontier.plan, None if study.frontier.best is study.frontier.plan else study.frontier.best
    return levels_of(study.run.asked, 11), None


def _tenth_levels(levels) -> np.ndarray:
    """Levels at every tenth of the reserve."""
    return np.arange(0, len(levels.reserve_frac), max((len(levels.reserve_frac) - 1) // 10, 1))


def _level_labels(levels) -> list[str]:
    """Reserves beside the points of every tenth; one label for those whose points all but coincide."""
    tenth = _tenth_levels(levels)
    span_h = max(float(np.ptp(levels.hours)), units.LEAST_SPAN_H)
    at = np.column_stack([levels.hours / span_h, levels.saving / (float(np.ptp(levels.saving)) or 1.0)])[tenth]
    labels, first = [""] * len(levels.hours), 0
    for k in range(1, len(at) + 1):
        if k == len(at) or np.abs(at[k] - at[first]).max() > APART:
            ends = [f"{levels.reserve_frac[tenth[one]]:.0%}" for one in (first, k - 1)]
            labels[tenth[first]] = ends[0] if k - 1 == first else f"{ends[0]} to {ends[1]}"
            first = k
    return labels


def _cash_title(study: Study) -> str:
    """When it is paid back, interest counted, as the table of the cash flow has it."""
    money, years = study.document["money"], study.site.money.years
    year = money["paid_back_year"]
    return (
        f"Not paid back within {years} years, interest counted"
        if year is None
        else f"Paid back {f'in year {year}' if year else 'from the start'}, interest counted"
    )


def _cash(study: Study) -> Iterator[Plate]:
    by_year = (study.document["money"] or {}).get("by_year")
    if not by_year:
        return
    net, currency = [row["net"] for row in by_year], study.bills.with_battery.currency
    rows = printed_years(by_year)[1]
    text = f"Cash flow of each year; after year {len(net) - 1} the sum so far is {rows[-1]['so_far']:,.0f} {currency}."
    yield plate(
        "cash-flow",
        _cash_title(study),
        text,
        money.cash_flow(net, currency=currency),
        ("year", f"cash flow [{currency}]", f"sum so far [{currency}]"),
        [(f"{row['year']}", f"{row['net']:.2f}", f"{row['so_far']:.2f}") for row in rows],
    )
