"""What the terminal says first."""

import io

from rich.console import Console

from simulate.document import outage_document
from simulate.ride import ride_through
from simulate.view import show_one, show_outage
from tests.small_site import circuit, small_site, unit

BY_HAND = {"kind": "manual", "at_home": ["17:00-08:00"]}


def ride_by_hand():
    return ride_through(small_site([circuit("Sump", 0.5)], [unit()], subpanel={"transfer": BY_HAND}))


def printed(show, *given) -> str:
    console = Console(width=160, record=True, file=io.StringIO())
    show(*given, console)
    return console.export_text()


def test_with_a_manual_transfer_the_first_line_says_from_when_hours_count():
    text = printed(show_outage, ride_by_hand())
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
