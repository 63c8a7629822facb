"""The folder of a study: one document on stdout and in summary.json, the crew's sheets beside the report."""

import json

import pytest
from typer.testing import CliRunner

from simulate.cli import app
from simulate.document.study import study
from simulate.site.site import site_toml
from tests.site.small_site import farmhouse


def printed(*words: str) -> str:
    done = CliRunner().invoke(app, [*words])
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    path = tmp_path_factory.mktemp("job") / "site.toml"
    path.write_text(site_toml(farmhouse()), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def both(job):
    """What `study --json --out` prints, and the folder that it writes."""
    out = job.parent / "out"
    return printed("study", str(job), "--json", "--out", str(out)), out


@pytest.mark.long
def test_what_is_printed_is_what_is_written(both):
    text, out = both
    assert text == (out / "summary.json").read_text(encoding="utf-8") + "\n"
    assert {row["name"] for row in json.loads(text)["ranges"]["saving"]["inputs"]} >= {"on-grid draw"}


def test_without_a_folder_only_the_ranges_are_not_worked_out(both, job):
    bare, full = json.loads(printed("study", str(job), "--json")), json.loads(both[0])
    assert list(bare) == list(full)
    assert bare.pop("ranges") is None
    assert full.pop("ranges")
    assert bare["proposal"].pop("range") is None and full["proposal"].pop("range")
    assert bare == full


def test_a_part_has_the_values_of_the_whole(both, job):
    """The document of `bill --ranges` is a part of the study's."""
    whole, part = json.loads(both[0]), json.loads(printed("bill", str(job), "--json", "--ranges"))
    shared = set(whole) & set(part)
    assert shared >= {"bill", "energy_kwh", "money", "ranges", "cautions"}
    assert {name: part[name] for name in shared} == {name: whole[name] for name in shared}


def test_long_studies_leave_ranges_empty(monkeypatch):
    monkeypatch.setattr("simulate.document.study.QUICK_STEPS", 0)
    one = study(farmhouse())
    assert one.summary == one.document
    assert one.summary["ranges"] is None


def test_sheets_are_written_beside_the_report(both):
    _, out = both
    page = (out / "sheets" / "sheets.html").read_text(encoding="utf-8")
    rows = (out / "sheets" / "wiring.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0].startswith("run,from breaker,to space,to load")
    report = (out / "report.html").read_text(encoding="utf-8")
    for row in rows[1:]:
        assert row.split(",")[0].strip('"') in page
        assert row.split(",")[0].strip('"') in report
