"""What the terminal says first."""

import io

from rich.console import Console

from simulate.document.study import outage_document, study
from simulate.house.ride import ride_through
from simulate.show.terminal.view import bound_lines, show_answer, show_one
from tests.site.small_site import circuit, small_site, unit

BY_HAND = {"kind": "manual", "at_home": ["17:00-08:00"]}


def ride_by_hand():
    return ride_through(small_site([circuit("Sump", 0.5)], [unit()], subpanel={"transfer": BY_HAND}))


def printed(show, *given) -> str:
    console = Console(width=160, record=True, file=io.StringIO())
    show(*given, console)
    return console.export_text()


def test_with_a_manual_transfer_the_first_line_says_from_when_hours_count():
    text = printed(show_answer, outage_document(ride_by_hand())["answer"])
    assert text.splitlines()[0] == "Hours count from the moment somebody throws the transfer switch."


def test_one_outage_says_how_long_nobody_is_home_to_throw_the_switch():
    """Noon to 17:00."""
    one = outage_document(ride_by_hand(), "2025-06-03T12:00")["one"]
    assert one["thrown_after_h"] == 5.0
    assert "Everything is dark for the first 5 h, until somebody is home" in printed(show_one, one)


def test_a_time_inside_a_step_says_that_the_outage_begins_with_the_step():
    one = outage_document(ride_by_hand(), "2025-06-03T12:20")["one"]
    assert "2025-06-03T12:20 lies in the step that begins then" in printed(show_one, one)
    one = outage_document(ride_by_hand(), "2025-06-03T12:00")["one"]
    assert "lies in the step" not in printed(show_one, one)


def test_what_one_more_kwh_saves_is_said_and_nothing_is_called_nothing():
    """A kWh a day from 0.1 to 0.4 USD is 109.50 USD a year less losses, by hand; the unit has power to spare."""
    rate = {
        "periods": [
            {"name": "peak", "price_per_kwh": 0.4, "hours": "16:00-21:00"},
            {"name": "rest", "price_per_kwh": 0.1, "hours": "00:00-24:00"},
        ]
    }
    seasons = {"season": [{"name": "all", "months": list(range(1, 13)), **rate}]}
    site = small_site(
        [circuit("Sump", 2.0)],
        [unit()],
        rate=seasons,
        subpanel={"mode": "interactive"},
        operation={"plan": "time-of-use", "reserve": 0.0},
    )
    (line,) = bound_lines(study(site))
    assert line == "At best, one more kWh of battery would save 109.50 USD a year more, one more kW nothing."
