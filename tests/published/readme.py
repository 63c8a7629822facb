"""The page of evidence, `tests/published/README.md`, made from the headers of the tests in this folder.

python -m tests.published.readme            writes the page
python -m tests.published.readme --measure  runs the tests first and notes the worst disagreement of each file
"""

import ast
import json
import re
import sys
from pathlib import Path

FOLDER = Path(__file__).parent
PAGE, MEASURED = FOLDER / "README.md", FOLDER / "measured.json"

CERTAINTIES = (
    ("seen-P", r"seen-P|publisher's (?:own )?page"),
    (
        "seen-R",
        r"seen-R|reproduction|distributor's page|third part(?:y|ies)|[Rr]ead in a copy|\.gov (?:copies|sites)|[Ss]een in verbatim",
    ),
    ("lib", r"\(lib\)|librar"),
    ("derived", r"[Dd]erived"),
    ("memory", r"(?i:from memory)|: memory"),
)
"""How a number came to us, as the headers say it."""

QUANTITIES = (
    ("steps, step_h: the hour axis", ("steps", "step_h"), ("ontario_rpp", "bdew"), ""),
    ("energy_kwh.load, backed_up: loads of circuits and of a house", ("energy_kwh.load", "energy_kwh.backed_up"),
     ("doe_and_state_hours_of_use", "doe_appliances", "resnet_301", "bdew", "backed_up_loads", "espi"), ""),
    ("energy_kwh.solar: what the roof gives", ("energy_kwh.solar",),
     ("nrel_tp_6a20_62641", "nrel_spa", "potsdam_year", "solar_yields"), ""),
    ("energy_kwh.import, export: what goes through the meter",
     ("energy_kwh.import", "energy_kwh.export"), ("self_consumption_literature", "weniger_2014"),
     "plausibility only; digits are held by the twin in tests/twins"),
    ("energy_kwh.charge, discharge, loss, stored_change, residual: the cells",
     ("energy_kwh.charge", "energy_kwh.discharge", "energy_kwh.loss", "energy_kwh.stored_change", "energy_kwh.residual"),
     ("nrel_atb_and_title24",), "the split of the losses; the walk itself is held by the twins"),
    ("energy_kwh.curtailed: solar that is not used", ("energy_kwh.curtailed",), (), "held by the twins only"),
    ("bill.*: lines, totals, months, steps, change",
     ("bill.today", "bill.without_battery", "bill.with_battery", "bill.steps", "bill.change", "bill.lines",
      "bill.by_month", "bill.tariff_effect"),
     ("eia_bills", "river_falls", "utility_examples", "ontario_rpp", "tariff_terms"), ""),
    ("bill.saving: what the battery takes off", ("bill.saving", "bill.rate_transfer", "plans"), ("river_falls",),
     "shifted energy as printed; plans are held by the bound and the twins"),
    ("bill.bound, best_net, captured_frac, worth_of_more: the best possible",
     ("bill.bound", "bill.best_net", "bill.captured_frac", "bill.worth_of_more", "bill.demand_limit"), (),
     "no published case; equal to scipy's linear programme (HiGHS) on random cases"),
    ("outage.hours and all that is counted from them: seasons, months, legs, shares, first lost, why",
     ("outage.hours", "outage.by_season", "outage.by_month", "outage.lasting_frac", "outage.censored_frac",
      "outage.first_lost", "outage.first_lost_leg", "outage.why", "outage.never_carried", "outage.legs",
      "outage.simulated", "outage.switch_off", "weather_years", "answer.hours"),
     ("ride_through_study",), "one qualitative headline; digits are held by the twins and by worked scenarios"),
    ("outage.reliability, second_outage, storm: interruptions of a year",
     ("outage.reliability", "outage.second_outage", "outage.storm"), ("ieee_1366", "eia_reliability"), ""),
    ("outage.recharge: amperes and charging time", ("outage.recharge",), ("nec_tables", "nec_annex_d"),
     "80 % of a breaker; the time is closed form"),
    ("outage.generator, medical", ("outage.generator", "outage.medical"), (), "no published case"),
    ("panel.findings: ampacity, breakers, motors, raceways, load calculation, source capacity",
     ("panel.findings", "panel.not_assessed", "panel.fail"),
     ("nec_tables", "nec_annex_c", "nec_annex_d", "nec_capacity", "backed_up_loads"), ""),
    ("money.npv, irr, payback, annuities", ("money", "answer.money"), ("finance_tables", "nrel_atb_and_title24"), ""),
    ("money: cycles and ageing of the cells", ("money.warranty_end_y",), ("astm_e1049", "nrel_atb_and_title24"), ""),
    ("frontier: hours against saving at every reserve", ("frontier",), (), "no published case; made of the rows above"),
    ("ranges and a sweep's indices: how sure", ("ranges",), ("ishigami",), "the indices; the ranges are ours"),
)  # fmt: skip
"""What a study prints: its keys, the files of this folder that stand behind it, and what they leave open."""

NO_QUANTITY = (
    "site", "answer.stop", "answer.text", "bill.currency", "bill.bound_method", "bill.bound_text", "bill.notes", "outage.horizon_h",
    "outage.start_soc", "outage.load_case", "assumptions", "cautions", "proposal", "quote",
)  # fmt: skip
"""Keys that repeat the site file, a sentence or a number of another key."""


def header(name: str) -> str:
    """Docstring of a file of this folder."""
    path = FOLDER / f"test_against_{name}.py"
    return ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""


def names() -> list[str]:
    """Every file of this folder by the end of its name."""
    return sorted(path.stem.removeprefix("test_against_") for path in FOLDER.glob("test_against_*.py"))


def certainty(name: str) -> str:
    """The marks that a header holds, in falling order of trust."""
    text = " ".join(header(name).split())
    return ", ".join(mark for mark, said in CERTAINTIES if re.search(said, text)) or "not stated"


def disagreement(name: str, measured: dict) -> str:
    """The largest relative difference of what the file compares, as last measured."""
    found = measured.get(name)
    if not found:
        return "within its named tolerance"
    return f"{found['worst_rel']:.1e} relative, {found['worst_abs']:.1e} absolute ({found['n']} numbers)"


def page() -> str:
    """The whole page."""
    measured = json.loads(MEASURED.read_text(encoding="utf-8"))
    lines = [
        "# Who else says so",
        "",
        "Made by `python -m tests.published.readme` from the headers of the tests in this folder; a test compares it.",
        "Certainty: *seen-P* read on the publisher's own page, *seen-R* in a third party's reproduction, *lib* computed",
        "from a general library or its data, *derived* arithmetic from a printed number, *memory* not read again. A file",
        "may hold several: its header says which number has which. The worst disagreement is over the numbers that a",
        "file compares with a tolerance, between what is printed and what we find (digits that were rounded in print",
        "included); where a file compares otherwise it stays within the tolerance that it names. No test here is",
        "expected to fail.",
        "",
        "## What a study prints, and who stands behind it",
        "",
        "| quantity | outside authority | what stays open |",
        "|---|---|---|",
    ]
    for title, _, files, note in QUANTITIES:
        behind = ", ".join(f"[{name}](test_against_{name}.py)" for name in files) or "**none**"
        lines.append(f"| {title} | {behind} | {note or '-'} |")
    without = [title.split(":")[0] for title, _, files, _ in QUANTITIES if not files]
    lines += ["", "Without an outside authority: " + "; ".join(without) + ".", "", "## The authorities", ""]
    lines += ["| source | certainty | worst disagreement | command |", "|---|---|---|---|"]
    for name in names():
        first = " ".join(header(name).split("\n\n")[0].split()).replace("|", "/")
        command = f"`.venv/bin/python -m pytest -q tests/published/test_against_{name}.py`"
        lines.append(f"| {first} | {certainty(name)} | {disagreement(name, measured)} | {command} |")
    return "\n".join(lines) + "\n"


class Recorder:
    """A pytest plugin that notes how far each number that is compared lies from the one that is printed."""

    def __init__(self):
        self.found, self.now = {}, None

    def pytest_runtest_setup(self, item):
        self.now = item.path.stem.removeprefix("test_against_")

    def note(self, actual, expected) -> None:
        try:
            gap = abs(float(actual) - float(expected))
        except (TypeError, ValueError):
            return
        row = self.found.setdefault(self.now, {"n": 0, "worst_rel": 0.0, "worst_abs": 0.0})
        row["n"] += 1
        row["worst_abs"] = max(row["worst_abs"], gap)
        row["worst_rel"] = max(row["worst_rel"], gap / abs(float(expected)) if float(expected) else 0.0)


def measure() -> None:
    """Run the tests of this folder and write what each compares and how far it is off."""
    import pytest

    scalar = type(pytest.approx(1.0))
    recorder, equal = Recorder(), scalar.__eq__

    def noted(self, actual):
        recorder.note(actual, self.expected)
        return equal(self, actual)

    scalar.__eq__ = noted
    try:
        code = pytest.main(["-q", "-n", "0", str(FOLDER)], plugins=[recorder])
    finally:
        scalar.__eq__ = equal
    if code:
        sys.exit(int(code))
    rows = {
        name: {
            "n": row["n"],
            "worst_rel": float(f"{row['worst_rel']:.1e}"),
            "worst_abs": float(f"{row['worst_abs']:.1e}"),
        }
        for name, row in sorted(recorder.found.items())
    }
    MEASURED.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    if "--measure" in sys.argv:
        measure()
    PAGE.write_text(page(), encoding="utf-8")
