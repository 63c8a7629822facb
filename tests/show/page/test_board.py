"""What the page shows of a design is what its ride, its bills and its panel say, on houses of every kind."""

import numpy as np
import pytest

from simulate.document.answers import hardest_month
from simulate.document.words import hours_text
from simulate.show.page.board import Board
from simulate.show.page.figures import grid_h
from simulate.show.page.state import draft_of, text_of
from simulate.show.plot.heat import hours_grid
from tests.house.test_year import peaks
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site, unit

WIDE = {"charging_circuit": {"breaker_a": 30, "volts": 240}}
LOADS = [circuit("One", 0.2), circuit("Two", 0.3, "B", priority=2), circuit("Wide", 0.5, "AB", priority=3)]
SITES = {
    "two legs": small_site(LOADS, locked_pair(), rate=peaks()),
    "both legs": small_site(
        LOADS, [unit("both", **WIDE)], rate=peaks(), subpanel={"mode": "interactive", "export": True}
    ),
    "one leg": small_site([circuit("One", 0.2)], [unit()], service={"system": "120"}),
    "load control": small_site(
        [circuit("One", 0.2), circuit("Two", 9.0, "B", priority=3)],
        locked_pair(),
        subpanel={"load_control": "automatic"},
    ),
    "never carried": small_site(LOADS, [unit()]),
    "quarter hours": small_site(LOADS[:2], locked_pair(), site={"step_min": 15}),
    "either": small_site(LOADS[:1], [unit(count=0), {**unit("both", **WIDE), "name": "Wide unit"}]),
}


@pytest.fixture(scope="module", params=SITES)
def board(request):
    return Board(SITES[request.param])


def test_hours_beside_each_name_are_those_of_the_circuit_in_the_hardest_month(board):
    draft, rows = board.first, board.first_answer("")["rows"]
    house, ride = draft.house, draft.ride
    at = house.hours.month == hardest_month(ride)
    for k, one in enumerate(draft.site.circuit):
        if one.name in house.never_carried:
            assert rows[k] == "never carried"
            continue
        c = house.carried.tolist().index(k)
        pools = np.flatnonzero(house.share[:, c] > 0.0)
        dark = np.minimum(ride.dark.dark_h[at][:, pools].min(axis=1), ride.horizon_h)
        p10 = float(np.quantile(dark, 0.1, method="lower"))
        if draft.site.subpanel.load_control == "none" or one.priority == 1:
            assert rows[k] == hours_text(p10, ride.horizon_h)
        else:
            assert rows[k] == hours_text(0.0)  # more than its unit can carry: dropped at once


def test_the_map_is_the_grid_of_the_figures(board):
    np.testing.assert_array_equal(grid_h(board.first.ride).reshape(12, 24), hours_grid(board.first.ride))


def test_the_page_and_all_of_its_answers_hold_for_the_design_and_its_neighbours(board):
    page = board.page()
    assert page.count('name="on"') == len(board.first.site.circuit)
    assert page.count('class="drawn') == (1 if board.first.site.service.system == "120" else 2)
    near = board.neighbours("")
    assert len(near) >= len(board.first.site.circuit)
    for text in near[:3]:
        assert text_of(draft_of(board.first, text)) == text
        shown = board.first_answer(text)
        assert "Against the pinned design" in shown["answer"] and "nan" not in str(shown)
    later = board.second_answer(near[0], [near[1]]) | board.third_answer(near[0])
    assert later["pins"].count('<th scope="row">') == 3 and "nan" not in str(later)


def test_what_must_be_put_right_stands_first():
    shown = Board(SITES["never carried"]).first_answer("")["answer"]
    assert shown.lstrip().startswith('<ul class="stop">') and "Do not build this as drawn: " in shown


def test_checks_that_the_change_fails_are_told_from_those_that_failed_before():
    board = Board(farmhouse())
    failing = lambda draft: {(one.check, one.subject) for one in draft.study.findings if one.verdict == "fail"}
    some = board.first.changed(circuits={one.name: True for one in board.first.site.circuit}, units={"A": 0})
    new = failing(some) - failing(board.first)
    assert new
    shown = board.first_answer(text_of(some))["checks"]
    assert "This change fails:" in shown and all(f"<b>{check}: " in shown for check, _ in new)
    assert "fails no check" in board.first_answer(text_of(some), text_of(some))["checks"]


def test_differences_of_the_bill_are_those_of_the_printed_changes():
    board = Board(farmhouse())
    other = board.first.changed(plan="keep-full")
    shown = board.first_answer(text_of(other))["answer"]
    cents = round(other.bills.change, 2) - round(board.first.bills.change, 2)
    assert f"({cents:+,.2f} USD a year)" in shown
