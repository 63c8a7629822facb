"""The material list with prices, labour and markup: the price that the money uses, line by line."""

from __future__ import annotations

from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.materials import COLUMNS, NOTES, material_list, quantity, unit_item
from simulate.panel.sheets.price import Quoted, other_price, price_of_units, quoted
from simulate.panel.sheets.sheet import BLANK, NONE, sheet

NO_PRICE = "A blank price is not in [quote.prices]; until all are there no installed price is known."


def priced_list(layout: Layout) -> dict:
    """The material list, priced where the site has a [quote]; its last rows come to the installed price."""
    quote = quoted(layout.site)
    if quote is None:
        return material_list(layout)
    stated = {unit_item(group): group.installed_price for group in layout.groups}
    rows = []
    for item, n, unit, use, price in quote.lines:
        one = stated.get(item) if price is None else price
        paid = BLANK if one is None or n is None else round(n * one, 2)
        rows.append([item, quantity(n, unit), unit, use, BLANK if one is None else one, paid])
    notes = [*NOTES, NO_PRICE] if quote.missing else NOTES
    return sheet("Material list and price", [*COLUMNS, "price each", "price"], rows + _sums(layout, quote), notes)


def _sums(layout: Layout, quote: Quoted) -> list[list]:
    terms, units = layout.site.quote, price_of_units(layout.site)
    count = sum(group.count for group in layout.groups)
    hours = terms.labour_hours + count * terms.labour_hours_per_unit
    rows = [
        [
            f"markup, {quote.markup_frac:.0%} of priced material",
            NONE,
            NONE,
            "material",
            NONE,
            round(quote.markup, 2),
        ],
        ["labour", round(hours, 1), "h", "installation", terms.labour_per_h, round(quote.labour, 2)],
    ]
    rows += [[one.name, NONE, NONE, "other", NONE, round(one.price, 2)] for one in terms.other]
    total = BLANK if units is None else round(units + other_price(layout.site), 2)
    return [*rows, ["installed price", NONE, NONE, "the money uses it", NONE, total]]
