"""How sure: what each uncertain input does to the results, as tornado figures."""

from __future__ import annotations

from collections.abc import Iterator

from simulate.document.study import Study
from simulate.document.uncertainty import CHOICES, NO_EFFECT, span_of
from simulate.document.words import tenths
from simulate.show.plot import money
from simulate.show.plot.plate import Plate, plate


def tornados(study: Study) -> Iterator[Plate]:
    """What each uncertain input does to saving, hours and present value; nothing where no ranges were worked out."""
    ranges, currency = study.ranges, study.bills.with_battery.currency
    if ranges is None:
        return
    whole = lambda value: f"{value:,.0f}"
    for name, what, unit, rows, word in (
        ("saving", "bill saving", f"{currency} a year", ranges.saving, whole),
        ("hours", "hours, nine times in ten", "h", ranges.hours, tenths),
        ("npv", "net present value", currency, ranges.npv, whole),
    ):
        moving = [row for row in rows if row.swing >= NO_EFFECT]
        if moving:
            ends = lambda row: f"{row.name}{' (a choice)' * (row.name in CHOICES)}\n{row.low:.3g} to {row.high:.3g}"
            drawn = money.tornado(
                [(ends(row), row.at_low, row.at_mid, row.at_high) for row in moving], what=f"{what} [{unit}]"
            )
            header = (
                "input",
                "low",
                f"result at low [{unit}]",
                "as stated",
                f"result as stated [{unit}]",
                "high",
                f"result at high [{unit}]",
            )
            table = [_range_cells(row, ranges.spans[row.name].unit, word) for row in rows]
            yield plate(
                f"range-{name}",
                _range_title(what, rows, unit, word),
                _range_words(rows, unit, word),
                drawn,
                header,
                table,
            )


def _range_title(what: str, rows, unit: str, word) -> str:
    low, _, high = span_of(rows)
    most = next(row.name for row in rows if row.name not in CHOICES)
    return f"The {what}: {word(low)} to {word(high)} {unit}; {most} moves it most"


def _range_words(rows, unit: str, word) -> str:
    low, mid, high = span_of(rows)
    most = next(row.name for row in rows if row.name not in CHOICES)
    text = (
        f"One input at a time at its low and at its high: {word(low)} to {word(high)} {unit}, {word(mid)} {unit} as "
        f"stated; {most} moves it most."
    )
    if any(row.name in CHOICES for row in rows):
        text += " The reserve is a choice and not in the range."
    still = ", ".join(row.name for row in rows if row.swing < NO_EFFECT)
    return f"{text} No effect: {still}." if still else text


def _range_cells(row, unit: str, word) -> tuple[str, ...]:
    pairs = ((row.low, row.at_low), (row.mid, row.at_mid), (row.high, row.at_high))
    return (f"{row.name} [{unit}]", *(cell for at, result in pairs for cell in (f"{at:.3g}", word(result))))
