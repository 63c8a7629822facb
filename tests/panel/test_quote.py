"""The quote: material, markup and labour come to the price that the money uses; prices invented, sums by hand."""

import pytest

from profiles.noun import BadInput
from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.materials import pieces_of
from simulate.panel.sheets.price import installed_price, money_of, not_priced, price_of_units, quoted
from simulate.panel.sheets.sheets import sheets
from tests.panel.panel_bench import bench, circuit, unit

LOADS = [circuit("Den", 0.1, kind="lighting", wire={"awg": "12", "length_ft": 20.0})]
CHARGING = {"breaker_a": 30, "volts": 120, "wire": {"awg": "10", "method": "NM", "length_ft": 10.0}}
UNIT = {"output_breaker_a": 30, "output_wire_awg": "10", "output_length_ft": 5.0, "charging_circuit": CHARGING}
PANEL = {
    "raceways": [{"length_in": 24.0, "awg": "12", "trade_size": "1/2"}],
    "spaces": [{"poles": 1, "max_breaker_a": 20}],
}
TERMS = {"labour_hours": 10.0, "labour_hours_per_unit": 4.0, "labour_per_h": 90.0, "markup_frac": 0.2}
PERMIT = [{"name": "permit", "price": 150.0}]


def house(prices=None, installed=3000.0, count=1, **quote):
    battery = unit("A", count=count, installed_price=installed, **UNIT)
    tables = {"quote": TERMS | {"prices": prices or {}, "other": PERMIT} | quote} if quote is not None else {}
    return bench(LOADS, [battery], subpanel=PANEL, money={"years": 10}, **tables)


def one_each(site, price=2.0):
    """Every item at two dollars a piece or foot, but the units."""
    return {item: price for item, _, _ in pieces_of(Layout(site)) if not item.startswith("battery unit")}


def test_material_labour_and_markup_come_to_the_installed_price():
    """Every piece and foot at 2.00: twice the sum of quantities, 20 % on it, 14 h at 90, a permit of 150, the unit."""
    site = house()
    site = house(one_each(site))
    n = sum(n for (item, _, _), n in pieces_of(Layout(site)).items() if not item.startswith("battery unit"))
    assert quoted(site).missing == ()
    assert quoted(site).beside_units == pytest.approx(2.0 * n * 1.2 + 14 * 90.0 + 150.0)
    assert installed_price(site) == pytest.approx(3000.0 + 2.0 * n * 1.2 + 1260.0 + 150.0)


def test_quantities_by_hand():
    """Hots out and back 2 x (2 + 6) ft, neutral and ground 8 ft each, 10 ft of cable, outputs 5 ft three times."""
    pieces = {(item, use): n for (item, _, use), n in pieces_of(Layout(house())).items()}
    assert pieces["wire 12 AWG Cu, hot, black", "between the panels"] == 16.0
    assert pieces["NM cable 10/2 with ground, Cu", "charging circuits"] == 10.0
    assert pieces["wire 10 AWG Cu, neutral, white", "unit outputs"] == 5.0
    assert pieces["EMT 1/2 in", "raceway between the panels"] == 2.0
    assert pieces["connector, EMT 1/2 in, with locknut", "raceway between the panels"] == 2


def test_a_unit_may_be_priced_in_the_quote():
    """2,500 and 20 % on it; beside a stated installed_price it is refused."""
    site = house(installed=None)
    prices = one_each(site) | {"battery unit, Unit A": 2500.0}
    assert price_of_units(house(prices, installed=None)) == pytest.approx(3000.0)
    with pytest.raises(BadInput, match="must not stand beside the price of"):
        installed_price(house(prices))


def test_what_has_no_price_is_named_and_no_price_is_guessed():
    site = house({"ground bar": 20.0})
    assert installed_price(site) is None
    assert "neutral bar, isolated (sub-panel)" in not_priced(site)
    made = sheets(site)["materials"]
    assert made["rows"][-1][-1] == ""
    assert "blank price" in made["notes"][-1]


def test_the_list_ends_in_the_price():
    made = sheets(house(one_each(house())))["materials"]
    assert [row[0] for row in made["rows"][-4:]] == [
        "markup, 20% of priced material",
        "labour",
        "permit",
        "installed price",
    ]
    assert made["rows"][-1][-1] == pytest.approx(installed_price(house(one_each(house()))), abs=0.01)
    assert made["rows"][-3][1:] == [14.0, "h", "installation", 90.0, 1260.0]


def test_the_money_uses_it():
    site = house(one_each(house()))
    assert money_of(site).other_installed_price == pytest.approx(installed_price(site) - 3000.0)
    assert price_of_units(site) == 3000.0


def test_hours_follow_the_number_of_units():
    """A second unit: 4 h more, and its own breakers and wire."""
    two = house(one_each(house()), count=2)
    assert quoted(two).labour == pytest.approx(18 * 90.0)
    assert installed_price(house(one_each(house())).with_values({"battery.count": 0})) == 0.0


def test_a_price_list_may_hold_more_and_a_misspelt_item_is_pointed_at():
    more = house(one_each(house()) | {"breaker 60 A 2-pole": 40.0})
    assert installed_price(more) == installed_price(house(one_each(house())))
    wrong = {item: price for item, price in one_each(house()).items() if item != "ground bar"} | {"ground bars": 2.0}
    assert not_priced(house(wrong)) == ['ground bar (sub-panel; [quote] has "ground bars")']


def test_what_the_quote_gives_is_not_given_twice():
    doubled = house(one_each(house())).with_values({"money.other_installed_price": 500.0})
    with pytest.raises(BadInput, match="must be left out beside"):
        installed_price(doubled)


def test_without_a_quote_the_list_has_no_prices():
    site = bench(LOADS, [unit("A", installed_price=3000.0, **UNIT)], subpanel=PANEL)
    assert sheets(site)["materials"]["columns"] == ["item", "quantity", "unit", "for"]
    assert installed_price(site) == 3000.0
