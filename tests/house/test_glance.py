"""What a bare name at the end of a notebook cell shows: right numbers, cautions, and nothing of a name taken for HTML."""

import re

import numpy as np
import pytest

from simulate.designs.compare import compare_units
from simulate.document.study import study
from simulate.house.ride import ride_through
from simulate.house.year import run_year
from simulate.physics.energy import year_html
from simulate.site.cautions import SHORT
from tests.site.small_site import circuit, farmhouse, small_site, unit


@pytest.fixture(scope="module")
def ride():
    return ride_through(farmhouse())


def cells(html: str) -> list[list[str]]:
    rows = re.findall(r"<tr>(.*?)</tr>", html, re.S)
    return [re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.S) for row in rows]


def test_a_site_names_its_units_and_every_circuit():
    site = farmhouse()
    html = site._repr_html_()
    assert [row[0] for row in cells(html)[1:]] == [c.name for c in site.circuit]
    assert all(group.name in html for group in site.battery) and site.site.name in html


def test_names_are_never_taken_for_html():
    html = small_site([circuit("<b>Den</b> & hall", 0.2)], [unit()])._repr_html_()
    assert "<b>" not in html and "&lt;b&gt;Den&lt;/b&gt; &amp; hall" in html


def test_a_year_shows_its_energy(ride):
    energy = ride.run.energy_kwh()
    shown = dict(cells(ride.run._repr_html_())[1:])
    assert shown["bought"] == f"{energy['import']:,.1f}" and shown["roof could give"] == f"{energy['solar']:,.1f}"
    assert "solar that nobody used" not in shown and energy["curtailed"] == 0.0
    assert ride.run.year._repr_html_() == year_html(ride.run.year.energy_kwh())


def test_outages_show_hours_by_season_and_the_caution(ride):
    html = ride._repr_html_()
    by_name = {row[0]: row for row in cells(html)[1:]}
    winter = np.quantile(ride.in_months((12, 1, 2)), 0.1, method="lower")
    assert by_name["winter"][2] == f"{winter:.1f}" and by_name["the year"][1] == f"{ride.hours.min():.1f}"
    assert by_name["the year"][9] == f"{100.0 * np.mean(ride.hours >= 24.0 - 1e-9):.0f}"
    assert SHORT in html and ride.usually_lost in html


def test_what_is_never_carried_and_what_outlives_the_horizon_is_said():
    site = small_site([circuit("Fridge", 0.01), circuit("Range", 1.0, "AB")], [unit()], outage={"horizon_h": 24.0})
    html = ride_through(site)._repr_html_()
    assert "Never carried: Range." in html and "followed for 24 h" in html and "last 72 h" not in html


def test_everything_that_a_cell_can_end_in_has_a_table(ride):
    site = farmhouse()
    for one in (site, ride.run, ride.run.year, ride, study(site), compare_units(site, (2,))):
        assert "<table" in one._repr_html_(), type(one)
    assert run_year(site)._repr_html_().count("<tr>") > 5
