"""The page as one file: every design in it is that of a study, it stays small, and what is left out is said."""

import base64
import json
import re
import subprocess
import sys
import zlib

import pytest

from profiles.noun import BadInput
from simulate.document.study import study
from simulate.show.page.board import Board
from simulate.show.page.grid import RESERVES, grid_of, part_of
from simulate.show.page.sent import write_page
from tests.house.test_year import peaks
from tests.show.page.test_server import TEXT
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site


def small(n: int = 2, **more):
    loads = [circuit(f"Load {k}", 0.1 + 0.05 * k, "AB"[k % 2], priority=1 + k, rate_transfer=True) for k in range(n)]
    return small_site(loads, locked_pair(), rate=peaks(), operation={"plan": "time-of-use", "reserve": 0.3}, **more)


def designs_in(text: str):
    """The texts of every design of a file, as its script unpacks them."""
    held = re.search(r'data-designs="([^"]*)"', text)[1]
    data = json.loads(zlib.decompress(base64.b64decode(held)))
    return [[data["texts"][k] for k in row] for row in zip(*data["columns"], strict=True)]


@pytest.mark.long
def test_every_design_of_a_file_is_that_of_a_study(tmp_path):
    site, told, seen = small(), [], []
    sent = write_page(site, tmp_path / "page.html", workers=0, says=lambda *one: told.append(one), seen=seen.append)
    text = sent.path.read_text("utf-8")
    found, grid = designs_in(text), sent.grid
    assert len(found) == sent.n_designs == told[0][0] == seen[-1] == 4 * len(grid.units) * 4
    assert told[0][1] > 0.0 and sent.n_bytes == sent.path.stat().st_size
    first = Board(site).first
    for at in range(0, len(found), 7):
        bits, r, u = at % 4, at // 4 % 4, at // 16
        on = {f"Load {k}": bool(bits >> k & 1) for k in range(2)}
        whole = study(first.changed(circuits=on, units=grid.units[u], reserve=grid.reserves[r]).site)
        stop, hours, paid, month, _, _, shades, bills, fails = found[at]
        assert hours == whole.answer["hours"]["text"] and paid == whole.answer["money"]["text"]
        assert stop == "\n".join(one["text"] for one in whole.answer["stop"])
        assert int(month) == whole.answer["hours"]["month"] and len(shades) == 288
        assert f"{whole.bills.with_battery.total:,.2f}" in bills.splitlines()[-1]
        assert len(fails.splitlines()) == sum(one.verdict == "fail" for one in whole.findings)


@pytest.mark.long
def test_a_file_holds_no_address_and_allows_its_own_script_only(tmp_path):
    text = write_page(small(), tmp_path / "page.html", workers=0).path.read_text("utf-8")
    policy = re.search(r'http-equiv="content-security-policy" content="([^"]*)"', text)[1]
    assert policy.startswith("default-src 'none'; script-src 'sha256-") and "unsafe" not in policy
    outside = [url for url in re.findall(r"https?://[^\s\"'<>]+", text) if url != "http://www.w3.org/2000/svg"]
    assert not outside and "src=" not in text and "<link" not in text


@pytest.mark.long
def test_reserves_then_units_are_left_out_until_the_file_is_small(tmp_path):
    whole = write_page(small(), tmp_path / "whole.html", workers=0)
    less = write_page(small(), tmp_path / "less.html", workers=0, most_bytes=whole.n_bytes - 1)
    n_reserves = len(less.grid.reserves)
    assert less.n_bytes < whole.n_bytes and n_reserves < 4 and less.grid.units == whole.grid.units
    assert less.grid.reserves == whole.grid.reserves[:n_reserves] and len(less.grid.notes) == 4 - n_reserves
    assert less.grid.notes[0] == "reserve 80% is left out to keep the file small"
    assert "Reserve 80% is left out to keep the file small." in less.path.read_text("utf-8")
    one = less.grid
    while one.thinner() is not None:
        one = one.thinner()
    assert len(one.reserves) == len(one.units) == 1 and one.notes[-1].startswith("units ")
    with pytest.raises(BadInput, match="cannot be held"):
        write_page(small(), tmp_path / "none.html", workers=0, most_bytes=100)
    assert not (tmp_path / "none.html").exists()


def test_beyond_eight_circuits_the_most_needed_stay_as_drawn():
    grid = grid_of(Board(small(10)))
    assert grid.n_sets == 256 and grid.left_out == ("Load 0", "Load 1")
    assert grid.reserves == (0.3, *RESERVES) and grid.units[0] == {"A": 1, "B": 1}


def test_units_that_are_always_full_have_one_reserve_and_medical_circuits_stay():
    site = small(3)
    loads = [circuit("Pump", 0.1), circuit("Breathing aid", 0.1, "B", if_lost="medical")]
    medical = small_site(loads, locked_pair(), rate=site.rate.model_dump(exclude_unset=True))
    grid = grid_of(Board(medical))
    assert grid.reserves == (None,) and grid.switched == (0,)


def test_a_place_that_is_none_is_refused_before_anything_is_worked_out(tmp_path):
    for path in (tmp_path, tmp_path / "nowhere" / "page.html"):
        with pytest.raises(BadInput, match="--write must name a file in a folder that is there"):
            write_page(small(), path, says=lambda *_: pytest.fail("worked out"))


def test_sets_of_the_farmhouse_are_those_of_its_drafts():
    board = Board(farmhouse())
    grid = grid_of(board)
    part = part_of(board, type(grid)((0, 7), (), grid.units, grid.reserves), {"A": 2, "B": 1}, 0.5)
    names = [one.name for one in board.first.site.circuit]
    draft = board.first.changed(circuits={names[0]: True, names[7]: False}, units={"A": 2}, reserve=0.5)
    assert part[1][1] == draft.study.answer["hours"]["text"] and len(part) == 4


@pytest.mark.long
def test_the_command_says_how_many_and_writes_them_on_all_cores(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(TEXT, "utf-8")
    command = [
        sys.executable,
        "-m",
        "simulate.cli",
        "page",
        str(path),
        "--write",
        str(tmp_path / "page.html"),
        "--json",
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=900)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert re.match(r"[\d,]+ designs, about [\d,]+ s on this machine\n", done.stderr)
    assert document["designs"] == len(designs_in((tmp_path / "page.html").read_text("utf-8")))
    assert document["bytes"] == (tmp_path / "page.html").stat().st_size and document["thinned"] == []
    assert path.read_text("utf-8") == TEXT
