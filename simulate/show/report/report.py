"""The study as one HTML file that works offline, prints, and needs no script."""

from __future__ import annotations

import calendar
import hashlib
import re
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from profiles.files import written
from simulate.document.money_answer import change_text, printed_steps
from simulate.document.money_lines import apart_text, paid_text
from simulate.document.study import Study
from simulate.document.uncertainty import span_of
from simulate.house.recharge import charging_stop
from simulate.house.storm import storm_stated
from simulate.show.plot.plates import narrow_plates_of, plates_of
from simulate.show.report.page import template
from simulate.show.report.sources import with_source
from simulate.show.report.table import Table
from simulate.show.report.tables import tables_of
from simulate.show.terminal import view
from simulate.show.terminal.foot import next_lines
from simulate.site import cautions
from simulate.site.load_calculation import service_load
from simulate.site.site import site_toml

REFILL = {
    "reserve-then-off-peak": "to the reserve at once, the rest off peak",
    "at-once": "to full at once",
    "off-peak": "off peak only",
}
SOLAR = (cautions.SOLAR_OFF, cautions.SOLAR_RETURNS)


def write_report(study: Study, path: str | Path, *, figures=None) -> None:
    """Write a study as one self-contained HTML file, beside its place and renamed.

    Parameters
    ----------
    study : Study
    path : path
    figures : tuple of Plate, optional
        As `simulate.show.plot.write_figures` returns them; drawn here without them.
    """
    if figures is None:
        figures = plates_of(study)
    text = report_html(study, figures, narrow_plates_of(study) if figures else ())
    with written(path) as beside:
        beside.write_text(text, encoding="utf-8")


def report_html(study: Study, figures, narrow_figures=()) -> str:
    """The report as text.

    Parameters
    ----------
    study : Study
    figures : sequence of Plate
    narrow_figures : sequence of Plate
        The same drawn for a telephone; without them the wide ones are scrolled there.
    """
    tables = tables_of(study)
    return template("report.html").render(
        study=study,
        site=study.site,
        document=study.document,
        medical=view.medical_text(study.medical, study.ride.horizon_h) if study.medical else "",
        storm_stated=storm_stated(study.site),
        next_lines=next_lines(study.document),
        numbers=_first_page(study),
        saving=view.saving_text(study.bills),
        change=change_text(study.bills),
        why=view.why_text(study.ride.why_frac),
        tables=tables,
        cautions=cautions,
        solar_words=[text for text in study.document["cautions"] if text in SOLAR],
        one_year=cautions.ONE_YEAR.format(n=len(study.ride.hours)),
        assumptions=[with_source(text) for text in study.document["assumptions"]],
        charging_is=(study.document["outage"]["recharge"] or {}).get("service_a_is", ""),
        house_load=service_load(study.site),
        refill_words=REFILL,
        at_best=_at_best(study),
        money_said=None if study.worth is None else paid_text(study.worth),
        apart=apart_text(study.worth) if study.worth is not None and study.worth.unserved_worth else "",
        ranges_notes=() if study.ranges is None else study.ranges.notes,
        bill_notes=tuple(dict.fromkeys(study.bills.with_battery.notes)),
        low_confidence=all("nameplate" in row[1] for row in tables["known"].rows),
        house_notes=study.run.house.notes,
        verdicts=verdicts_of(study),
        not_paid=_not_paid(study),
        plates={plate.name: _inline(plate, k) for k, plate in enumerate(figures, start=1)},
        narrow={plate.name.removesuffix("-narrow"): _markup(plate) for plate in narrow_figures},
        shared_refill=_shared_refill(study),
        hashes=hashes_of(study),
        version=metadata.version("keeplit"),
    )


@dataclass(frozen=True)
class Shown:
    """A figure as the page shows it: its number, its words, its drawing and its table twin."""

    number: int
    name: str
    title: str
    text: str
    svg: str
    table: Table


def _markup(plate):
    """The drawing of a plate as markup that may stand in HTML; everything inside it was escaped when it was drawn."""
    import markupsafe

    svg = re.sub(r' xmlns(:\w+)?="[^"]*"', "", plate.svg)
    svg = re.sub(r'<svg width="([\d.]+)pt" height="([\d.]+)pt"', r'<svg width="\1" height="\2"', svg)
    svg = re.sub(r"\n<style>.*?</style>", "", svg)
    svg = re.sub(r"font-family: [^;\"]*", "font-family: var(--figure)", svg)
    return markupsafe.Markup(re.sub(r"\n\s*", " ", svg))


def _inline(plate, number: int) -> Shown:
    """A plate with its number and its table twin."""
    table = Table(f"Figure {number} as a table: {plate.title}", plate.header, plate.rows)
    return Shown(number, plate.name, plate.title, plate.text, _markup(plate), table)


def numbers_of(study: Study) -> list[tuple[str, str, str]]:
    """The three numbers of the first page: figure, what it is, what stands behind it."""
    ride, outage = study.ride, study.document["outage"]
    month = view.worst_month(ride)
    hours = lambda value: view.hours_text(float(value), ride.horizon_h)
    worst = f"worst outage of the modelled year: {hours(ride.hours.min())}"
    worst += f"; in the storm case {hours(study.storm.hours.min())}" if storm_stated(study.site) else ""
    lasts = (
        hours(outage["by_month"][month - 1]["p10"]),
        f"nine times in ten in {calendar.month_name[month]}, the hardest month",
        worst,
    )
    recharge = outage["recharge"]
    if recharge is None:
        return [lasts, _saved(study), ("none", "to refill from: do not build this as drawn", charging_stop(study.site))]
    refill = (
        view.refill_text(recharge["from_empty_h"]),
        "of charging from empty until full again",
        f"at {recharge['charge_kw']:.2f} kW; up to {recharge['service_a']:.0f} A on a service leg, "
        f"{recharge['service_a_is']}",
    )
    return [lasts, _saved(study), refill]


def _first_page(study: Study) -> list[tuple[str, str, str]]:
    """The numbers of the first page; where the rate or the roof change too, the change against today comes before."""
    lasts, *others = numbers_of(study)
    steps, currency = printed_steps(study.bills), study.bills.with_battery.currency
    if len(steps) < 3:
        return [lasts, *others]
    today, last = steps[0][1], steps[-1][1]
    word = "less than today" if last <= today else "more than today"
    behind = f"{today:,.2f} {currency} today, {last:,.2f} {currency} with all of it"
    return [lasts, (f"{abs(last - today):,.0f} {currency}", f"a year {word}", behind), *others]


def _at_best(study: Study) -> str:
    """What no way of running the units can beat, or why it is not known."""
    if study.bound.saving is None:
        return f"The best possible is not given: {'; '.join(study.bound.notes)}." if study.bound.notes else ""
    return " ".join(view.best_lines(study))


def _shared_refill(study: Study) -> str:
    """How long the refill takes when the units share what the service leaves."""
    refill = view.refill_text(study.document["outage"]["recharge"]["shared_from_empty_h"])
    return "the units are never full again" if refill == "never" else f"the refill takes {refill}"


def _between(study: Study, name: str, word) -> str:
    """A result as its range, "" where none was worked out."""
    rows = getattr(study.ranges, name) if study.ranges is not None else ()
    low, _, high = span_of(rows) if rows else (0.0, 0.0, 0.0)
    return f"{word(low)} to {word(high)} as uncertain inputs vary one at a time" if rows else ""


def _saved(study: Study) -> tuple[str, str, str]:
    bills, currency = study.bills, study.bills.with_battery.currency
    without, paid = view.printed_bills(bills)
    what = "a year off the bill, by the battery" if bills.saving >= 0.0 else "a year: the battery adds to the bill"
    behind = f"{without:,.2f} {currency} without it, {paid:,.2f} {currency} with it, on the same rate"
    between = _between(study, "saving", lambda value: f"{value:,.0f} {currency}")
    behind = "; ".join(filter(None, (between, behind)))
    return f"{round(bills.saving):,} {currency}", what, behind


def verdicts_of(study: Study) -> str:
    """Counts of the verdicts side by side."""
    verdicts = [finding["verdict"] for finding in study.document["panel"]["findings"]]
    words = {"fail": "not met", "not-assessed": "not assessed", "marginal": "marginal", "pass": "met as stated"}
    return ", ".join(f"{verdicts.count(verdict)} {word}" for verdict, word in words.items())


def _not_paid(study: Study) -> str:
    """That the equipment is bought for outages, where a price is known and it is not paid back."""
    worth = study.worth
    return paid_text(worth) if worth is not None and worth.flow is not None and worth.flow.npv < 0.0 else ""


def hashes_of(study: Study) -> list[tuple[str, str]]:
    """SHA-256 of the site as it was understood (site-used.toml) and of every file that it names."""
    used = site_toml(study.site).encode("utf-8")
    out = [("site-used.toml", hashlib.sha256(used).hexdigest())]
    for name in sorted(set(_texts(study.site.model_dump()))):
        try:
            path = study.site.folder / name
            if path.is_file():
                with path.open("rb") as file:
                    out.append((name, hashlib.file_digest(file, "sha256").hexdigest()))
        except (OSError, ValueError):  # a text that is no path
            continue
    return out


def _texts(value) -> list[str]:
    if isinstance(value, dict):
        return [text for one in value.values() for text in _texts(one)]
    if isinstance(value, list | tuple):
        return [text for one in value for text in _texts(one)]
    return [str(value)] if isinstance(value, str | Path) and value else []
