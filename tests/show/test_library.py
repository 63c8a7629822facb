"""What comes along is listed, described with its sources and drawn; every entry of every kind."""

import csv
import io
import json

import numpy as np
import pytest
from matplotlib.text import Text
from rich.console import Console

from profiles.loads.appliances import appliances
from profiles.loads.load import load_kw
from profiles.noun import BadInput
from simulate.show.library import described, library_document, library_names
from simulate.show.plot.library import appliance_day_kw, library_plates, write_library_figures
from simulate.show.terminal.library import show_described, show_library

EVERY = [(kind, name) for kind, names in library_names().items() for name in names]


def said(show, what) -> str:
    console = Console(file=io.StringIO(), width=200)
    show(what, console)
    return console.file.getvalue()


def test_the_list_names_every_entry():
    text = said(show_library, library_document())
    assert all(name in text for _, name in EVERY)
    assert text.count("medical") == 2
    json.dumps(library_document(), allow_nan=False)


@pytest.mark.parametrize("kind, name", EVERY)
def test_every_entry_is_described_with_its_source(kind, name):
    found = [one for one in described(name) if one["kind"] == kind]
    assert len(found) == 1 and found[0]["source"]
    json.dumps(found, allow_nan=False)
    text = said(show_described, found)
    assert f"{name} ({kind})" in text and "Source: " in text and "In a site file: " in text


@pytest.mark.parametrize("name", appliances())
def test_an_appliance_says_how_it_behaves_in_an_outage(name):
    (one,) = [one for one in described(name) if one["kind"] == "appliance"]
    text = said(show_described, [one])
    assert f"In an outage: {appliances()[name].outage}" in text
    assert ("Medical: life or health may depend on it" in text) == appliances()[name].medical
    assert "engineering range" in text or "DOE" in text
    if appliances()[name].locked_rotor_a_range:
        assert "locked-rotor current: " in text


@pytest.mark.parametrize("name", appliances())
def test_the_line_for_a_site_file_is_one(name):
    import tomllib

    from profiles.hours import hours_of_year

    (one,) = [one for one in described(name) if one["kind"] == "appliance"]
    load = tomllib.loads(one["use"])["load"]
    kw = load_kw({key: float(value) for key, value in load.items()}, hours_of_year(2025, "UTC"))
    assert 0.0 < kw.mean() <= one["running_w"] / 1000.0


def test_prefix_and_case_do_not_matter_and_a_near_name_is_handed_over():
    assert described("library:flat") == described("FLAT")
    with pytest.raises(BadInput, match=r"NAME is not in the library, not 'sump-pmp'; did you mean sump-pump\?"):
        described("sump-pmp")


@pytest.mark.parametrize(
    "kind, name",
    [
        ("shape", "lighting_interior"),
        ("shape", "whole-house"),
        ("appliance", "sump-pump"),
        ("appliance", "microwave"),
        ("rate", "three_period"),
        ("weather", "piedmont"),
    ],
)
def test_a_figure_has_its_labels_inside(kind, name):
    (one,) = [one for one in library_plates(name) if one.name.startswith(kind)]
    one.figure.canvas.draw()
    edge = one.figure.bbox
    for text in one.figure.findobj(Text):
        if text.get_visible() and text.get_text().strip():
            box = text.get_window_extent()
            assert box.x0 >= edge.x0 - 0.5 and box.x1 <= edge.x1 + 0.5 or _is_undrawn(text, one.figure), text.get_text()


def _is_undrawn(text, figure) -> bool:
    for axis in (axis for ax in figure.axes for axis in (ax.xaxis, ax.yaxis)):
        low, high = sorted(axis.get_view_interval())
        for tick in axis.majorTicks:
            if text in (tick.label1, tick.label2):
                return not low <= tick.get_loc() <= high
    return False


def test_the_minute_series_shows_what_the_hourly_mean_hides(tmp_path):
    kw, _ = appliance_day_kw("sump-pump")
    assert kw.max() == pytest.approx(0.8) and kw.reshape(24, 60).mean(axis=1).max() < 0.1
    assert appliance_day_kw("microwave") is None
    paths = write_library_figures(["sump-pump"], tmp_path)
    assert sorted(path.suffix for path in paths) == [".csv", ".png", ".svg"]
    with (tmp_path / "appliance-sump-pump.csv").open() as file:
        rows = list(csv.reader(file))
    assert len(rows) == 1441 and np.array([row[1] for row in rows[1:]], dtype=float) == pytest.approx(kw, abs=5e-5)
