"""The command as a user types it."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from simulate.cli import app
from simulate.site.starter import starter_text

ROOT = Path(__file__).parents[1]
EXAMPLES = sorted((ROOT.parent / "shared" / "examples").glob("*.toml"))
DATA = ROOT.parent / "shared" / "data"
FORBIDDEN = ("code compliant", "guaranteed", " safe ", "will run")


def keeplit(*words, **env):
    """Run the command in a process of its own; returns what it printed, its errors and its exit code."""
    done = subprocess.run(
        [sys.executable, "-m", "simulate.cli", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=os.environ | env,
    )
    return done.stdout, done.stderr, done.returncode


@pytest.fixture
def job(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(starter_text(), "utf-8")
    return path


def test_study_of_the_demo_fits_a_screen_and_says_what_matters():
    out, err, code = keeplit("study")
    assert code == 0, err
    assert len(out.splitlines()) <= 60
    assert "If the power fails at a random hour in" in out
    assert "nine times in ten you have at least" in out
    assert "Solar is off in an outage" in out
    assert "licensed electrician" in out.lower() and "De-energize" in out
    assert not [word for word in FORBIDDEN if word in out.lower()]


def test_json_is_one_document_and_nothing_else(job):
    for verb in (
        ["study", job],
        ["outage", job],
        ["outage", job, "--at", "2025-01-14T18:00"],
        ["bill", job],
        ["library"],
    ):
        result = CliRunner().invoke(app, [*map(str, verb), "--json"])
        assert result.exit_code == 0, result.output
        json.loads(result.stdout)


def test_document_keeps_its_promises(job):
    document = json.loads(CliRunner().invoke(app, ["study", str(job), "--json"]).stdout)
    assert set(document) >= {
        "site",
        "steps",
        "step_h",
        "energy_kwh",
        "bill",
        "outage",
        "panel",
        "money",
        "assumptions",
        "cautions",
    }
    assert abs(document["energy_kwh"]["residual"]) < 1e-6
    bill = document["bill"]
    assert bill["saving"] == pytest.approx(bill["without_battery"] - bill["with_battery"], abs=1e-9)
    lines = [line["amount"] for line in bill["lines"] if line["bill"] == "with_battery"]
    assert sum(lines) == pytest.approx(bill["with_battery"], abs=1e-9)
    assert len(bill["by_month"]) == len(document["outage"]["by_month"]) == 12
    assert set(document["outage"]["lasting_frac"]) == {"4", "8", "12", "24", "72", "168"}
    assert any("no_load_w = 50" in line for line in document["assumptions"])


@pytest.mark.long
def test_out_writes_the_folder_and_leaves_nothing_half_written(tmp_path, job):
    out, err, code = keeplit("study", job, "--out", tmp_path / "out")
    assert code == 0, err
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names >= {
        "summary.json",
        "year.csv",
        "outages.csv",
        "months.csv",
        "circuits.csv",
        "site-used.toml",
        "proposal.html",
        "report.html",
        "figures",
    }
    assert not [name for name in names if name.startswith(".")]
    header = (tmp_path / "out" / "year.csv").read_text().splitlines()[0]
    assert header == (
        "start_utc,start_local,load_kw,backed_up_kw,solar_kw,import_kw,export_kw,charge_kw,discharge_kw,loss_kw,"
        "curtailed_kw,soc_kwh,price_per_kwh,export_per_kwh"
    )
    rows = (tmp_path / "out" / "outages.csv").read_text().splitlines()
    assert rows[0] == "start_utc,start_local,soc_kwh,hours,censored,first_lost,why"
    assert len(rows) == 8761
    again, _, code = keeplit("study", tmp_path / "out" / "site-used.toml", "--json")
    assert code == 0
    assert (
        json.loads(again)["outage"]["hours"]
        == json.loads((tmp_path / "out" / "summary.json").read_text())["outage"]["hours"]
    )


@pytest.mark.long
def test_bad_input_ends_with_two_and_one_line(tmp_path, job):
    job.write_text(job.read_text().replace("usable_kwh = 5.0", "usable_kwh = -5.0"))
    out, err, code = keeplit("study", job, "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    assert len(err.strip().splitlines()) == 1 and "usable_kwh" in err and "Traceback" not in err
    assert not (tmp_path / "out").exists()
    for words in (["study", "absent.toml"], ["outage", "absent.toml"], ["new", job]):
        _, err, code = keeplit(*words)
        assert code == 2 and len(err.strip().splitlines()) == 1, (words, err)


def test_new_writes_a_site_that_runs(tmp_path):
    path = tmp_path / "mine.toml"
    assert CliRunner().invoke(app, ["new", str(path)]).exit_code == 0
    assert CliRunner().invoke(app, ["study", str(path)]).exit_code == 0
    text = CliRunner().invoke(app, ["schema", "--text"]).stdout
    for key in ("multiwire_with", "takes_back_kw", "hold_full", "month_weights", "code_edition"):
        assert f"  {key}: " in text, key


def test_schema_is_json():
    schema = json.loads(CliRunner().invoke(app, ["schema"]).stdout)
    assert schema["title"] == "Site"


@pytest.mark.skipif(not EXAMPLES, reason="the example sites are not beside this checkout")
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_examples_are_accepted_as_they_are(path):
    result = CliRunner().invoke(app, ["study", str(path), "--json"])
    assert result.exit_code == 0, result.output
    json.loads(result.stdout)


@pytest.mark.skipif(not DATA.is_dir(), reason="the meter files are not beside this checkout")
def test_a_metered_house_runs_through_study(tmp_path, job):
    """One household of 2011, a sample file of the Green Button programme (NAESB ESPI): 6,562.977 kWh as read."""
    text = job.read_text().replace("year = 2025", "").replace("America/New_York", "America/Los_Angeles")
    meter = DATA / "coastal-household-2011.xml"
    text = text.replace(
        'other_load = { shape = "whole-house", annual_kwh = 7000 }', f'whole_house = {{ meter = "{meter}" }}'
    )
    job.write_text(text)
    result = CliRunner().invoke(app, ["study", str(job), "--json"])
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert document["steps"] == 8760
    assert document["energy_kwh"]["load"] == pytest.approx(6562.977, abs=0.5)
    assert any("2011" in line for line in document["assumptions"])


@pytest.mark.long
def test_the_same_bytes_under_any_time_zone(job):
    outputs = {keeplit("study", job, "--json", TZ=zone)[0] for zone in ("UTC", "Asia/Kolkata", "America/St_Johns")}
    assert len(outputs) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["panel"], "not assessed"),
        (["compare", "--units", "1:2"], "More units help only where the units ran empty"),
        (["compare", "--vary", "battery.usable_kwh=4,5"], "battery.usable_kwh = 5"),
        (["choose", "--hours", "6"], "of the outages"),
        (["design", "--hours", "6", "--most-units", "2"], "of the outages"),
    ],
)
def test_designer_verbs_say_it_on_a_terminal_and_in_json(job, words, said):
    verb, *rest = words
    shown = CliRunner().invoke(app, [verb, str(job), *rest])
    assert shown.exit_code == 0, shown.output
    assert said in " ".join(shown.output.split())
    assert "Licensed electrician" in shown.output
    assert not [word for word in FORBIDDEN if word in shown.output.lower()]
    document = json.loads(CliRunner().invoke(app, [verb, str(job), *rest, "--json"]).stdout)
    assert document["cautions"]


def test_panel_shows_passes_on_request(job):
    few, many = (CliRunner().invoke(app, ["panel", str(job), *words]).output for words in ([], ["--all"]))
    assert "met as stated: --all" in " ".join(few.split())
    assert not [line for line in few.splitlines() if line.startswith("pass ")]
    assert [line for line in many.splitlines() if line.startswith("pass ")]


def test_what_stops_the_job_is_said_first(tmp_path):
    job = Path(__file__).parent / "panel" / "houses" / "must-not-be-built.toml"
    shown = CliRunner().invoke(app, ["panel", str(job), "--out", str(tmp_path)])
    assert shown.exit_code == 0, shown.output
    assert shown.output.startswith("Do not build this as drawn: ")
    page = (tmp_path / "sheets.html").read_text(encoding="utf-8")
    sections = page.split("<section ")[1:]
    assert all("Do not build this as drawn" in one.split("<table")[0] for one in sections)


def test_readings_come_back_as_built(tmp_path):
    job = Path(__file__).parent / "panel" / "houses" / "well-pump.toml"
    readings = tmp_path / "readings.toml"
    readings.write_text('date = "2026-11-20"\n[[circuit]]\nname = "Boiler"\namps = 4.0\n')
    words = ["panel", str(job), "--readings", str(readings), "--out", str(tmp_path / "sheets")]
    shown = CliRunner().invoke(app, words)
    assert shown.exit_code == 0, shown.output
    assert "Revision: as built, readings of 2026-11-20." in shown.output
    document = json.loads(CliRunner().invoke(app, [*words, "--json"]).stdout)["as_built"]
    assert document["hours_p10"]["built"] < document["hours_p10"]["drawn"]
    assert document["rerated"][0] == {
        "key": 'circuit["Boiler"].running_w',
        "was": 240.0,
        "now": 480.0,
        "why": "running current as read",
    }
    assert "Revision: as built" in (tmp_path / "sheets" / "wiring.csv").with_name("sheets.html").read_text()
    _, said, code = keeplit("panel", job, "--readings", tmp_path / "none.toml")
    assert (code, "none.toml: cannot be read" in " ".join(said.split())) == (2, True)


def test_balance_writes_a_changed_copy_with_its_comments(tmp_path):
    path, out = tmp_path / "two.toml", tmp_path / "balanced.toml"
    path.write_text(starter_text())
    result = CliRunner().invoke(app, ["panel", str(path), "--balance", "--copy", str(out), "--json"])
    assert result.exit_code == 0, result.output
    legs = json.loads(result.stdout)["legs"]["legs"]
    beside = CliRunner().invoke(app, ["panel", str(path), "--balance"])
    assert "two-balanced.toml" in beside.output.replace("\n", "")
    assert (tmp_path / "two-balanced.toml").read_bytes() == out.read_bytes()
    assert set(legs.values()) == {"A", "B"}
    assert "# 1 is kept longest" in out.read_text()
    assert CliRunner().invoke(app, ["outage", str(out), "--json"]).exit_code == 0


def test_new_and_schema_answer_in_json_too(tmp_path):
    path = tmp_path / "job.toml"
    assert json.loads(CliRunner().invoke(app, ["new", str(path), "--json"]).stdout) == {"written": str(path)}
    assert json.loads(CliRunner().invoke(app, ["schema", "--text", "rate", "--json"]).stdout)["table"] == "rate"
    plain, asked = (CliRunner().invoke(app, ["schema", *more]).stdout for more in ((), ("--json",)))
    assert json.loads(asked)["properties"] and plain == asked


def test_meter_lists_what_a_file_holds_and_writes_it_clean(tmp_path):
    """An invented quarter-day of half-hour readings with offset stamps."""
    rows = [f"2025-06-01T{h:02d}:{m:02d}:00+00:00,0.25" for h in range(6) for m in (0, 30)]
    path, clean = tmp_path / "usage.csv", tmp_path / "clean.csv"
    path.write_text("interval start,kWh\n" + "\n".join(rows) + "\n")
    result = CliRunner().invoke(app, ["meter", str(path), "--clean", str(clean), "--json"])
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert document["energy_kwh"] == pytest.approx(3.0)
    assert (document["readings"], document["interval_min"]) == (12, 30.0)
    assert len(clean.read_text().splitlines()) == 13
    shown = CliRunner().invoke(app, ["meter", str(path)])
    assert "3.000 kWh" in shown.output
    _, err, code = keeplit("meter", tmp_path / "absent.xml")
    assert code == 2 and len(err.strip().splitlines()) == 1


def test_outage_says_life_support_beside_the_medical_hours(tmp_path):
    path = tmp_path / "medical.toml"
    shelf = '[[circuit]]\nname = "Concentrator"\nbreaker_a = 20\nif_lost = "medical"\nload = { kw = 0.3 }\n\n'
    path.write_text(starter_text().replace("[[battery]]", shelf + "[[battery]]", 1), encoding="utf-8")
    shown = " ".join(CliRunner().invoke(app, ["outage", str(path)]).output.split())
    line = shown[shown.index("Concentrator:") :]
    assert line.index("units at the end of their warranty") < line.index("Do not rely on this system as the only power")
    assert "A second outage 1 h after the power is back" in shown
