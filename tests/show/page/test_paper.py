"""Designs as files: comments stay, circuit files and counted tables are understood, a changed file is refused."""

import re
import tomllib

import pytest

from profiles.noun import BadInput
from simulate.designs.draft import Draft
from simulate.document.study import study
from simulate.show.page.paper import site_text, texts_of, write_design
from simulate.site.site import read_site
from tests.show.page.test_server import TEXT

ROWS = """name, breaker_a, leg, priority, load.kw, on
Pump, 15, A, 1, 0.3,
Lights, 15, B, 2, 0.1, sub-panel
Shed, 15, B, 3, 0.2, candidate
"""


def site_at(folder, text=TEXT):
    path = folder / "small.toml"
    path.write_text(text, "utf-8")
    return read_site(path)


def without_circuits(text: str) -> str:
    return text[: text.index("[[circuit]]")] + text[text.index("[[battery]]") :]


def test_a_circuit_file_gets_a_changed_copy(tmp_path):
    (tmp_path / "rows.csv").write_text(ROWS, "utf-8")
    site = site_at(tmp_path, 'circuit_file = "rows.csv"\n' + without_circuits(TEXT))
    draft = Draft(site).changed(circuits={"Lights": False, "Shed": True}, units={"A": 2}, reserve=0.25)
    out, folder = write_design(draft)
    assert (tmp_path / "rows.csv").read_text("utf-8") == ROWS
    written = read_site(out)
    assert [(one.name, one.on) for one in written.circuit] == [
        ("Pump", "sub-panel"), ("Lights", "main"), ("Shed", "sub-panel"),
    ]  # fmt: skip
    assert study(written).answer == draft.study.answer and (folder / "summary.json").exists()


def test_a_second_design_gets_the_next_name(tmp_path):
    draft = Draft(site_at(tmp_path)).changed(units={"A": 2})
    names = [write_design(draft)[0].name for _ in range(2)]
    assert names == ["small-design-1.toml", "small-design-2.toml"]


def test_what_is_left_to_its_default_is_taken_out_and_remarks_stay(tmp_path):
    text = TEXT + '\n[operation] # how\nplan = "keep-full" # stands by\nreserve = 0.5\n'
    draft = Draft(site_at(tmp_path, text)).changed(plan=None, reserve=(0.1,) * 12, load_case="storm")
    made = texts_of(draft, text).site
    table = tomllib.loads(made)
    assert table["operation"] == {"reserve": [0.1] * 12} and table["outage"] == {"load_case": "storm"}
    assert set(re.findall("#[^#\n]*", TEXT)) <= set(re.findall("#[^#\n]*", made))
    same = Draft(site_at(tmp_path, text))
    assert texts_of(same, text).site == text


def test_equal_circuits_of_one_table_move_together(tmp_path):
    text = TEXT.replace('name = "Freezer"', 'name = "Freezer"\ncount = 2')
    draft = Draft(site_at(tmp_path, text))
    both = draft.changed(circuits={"Freezer 1": False, "Freezer 2": False})
    assert tomllib.loads(texts_of(both, text).site)["circuit"][1]["on"] == "main"
    with pytest.raises(BadInput, match='circuit "Freezer".count stands for several circuits'):
        texts_of(draft.changed(circuits={"Freezer 1": False}), text)


def test_a_file_that_was_changed_meanwhile_is_refused(tmp_path):
    draft = Draft(site_at(tmp_path)).changed(units={"A": 2})
    site_at(tmp_path, TEXT.replace("kw = 0.3", "kw = 0.4"))
    with pytest.raises(BadInput, match="is no longer the file that this page was made from"):
        write_design(draft)
    assert [one.name for one in tmp_path.iterdir()] == ["small.toml"]


def test_the_demo_is_written_from_the_text_that_comes_along():
    draft = Draft().changed(units={"B": 2})
    assert tomllib.loads(texts_of(draft, site_text(draft.site)).site)["battery"][1]["count"] == 2
