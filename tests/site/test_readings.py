"""Commissioning readings: circuits re-rated, hours anew; the panel is invented, figures by hand."""

import pytest

from profiles.noun import BadInput
from simulate.house.ride import ride_through
from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.readings import readings_form, readings_sheet
from simulate.panel.sheets.sheets import reissued, sheets
from simulate.site.readings import as_built, read_readings
from tests.panel.panel_bench import bench, circuit, only, unit

DRAWN = [
    circuit("Pump", 0.1, kind="motor", running_w=600, motor={"lra_a": 20.0, "at_volts": 120.0})
    | {"load": {"running_w": 600.0, "minutes_per_hour": 30.0}},
    circuit("Fridge", 0.1, running_w=120) | {"load": {"shape": "refrigerator", "annual_kwh": 438.0}},
]
FULL = {"start_soc": "full"}


def drawn(**more):
    batteries = [unit("A", surge_kva=6.0, surge_s=1.0, charge_kw=2.4)]
    return bench(DRAWN, batteries, outage=FULL, subpanel={"transfer": {"break_ms": 50.0}}, **more)


def built(tmp_path, text, site=None):
    (tmp_path / "readings.toml").write_text('date = "2026-11-20"\nby = "J. Doe"\n' + text)
    site = site or drawn()
    return as_built(site, read_readings(tmp_path / "readings.toml", site))


PUMP = '[[circuit]]\nname = "Pump"\namps = 7.5\nvolts = 120.0\nstart_a = 30.0\nstart_s = 1.5\n'


def test_a_circuit_is_re_rated_from_what_was_read(tmp_path):
    """7.5 A at 120 V is 900 W, 1.5 times the 600 W: a load told by its power goes with it, 0.45 kW for 0.3."""
    made = built(tmp_path, PUMP)
    pump = made.site.circuit[0]
    assert pump.running_w == 900.0
    assert pump.load.running_w == pytest.approx(900.0)
    assert (pump.motor.inrush_a, pump.motor.at_volts, pump.motor.start_s) == (30.0, 120.0, 1.5)


def test_a_load_told_by_its_energy_stays(tmp_path):
    made = built(tmp_path, '[[circuit]]\nname = "Fridge"\namps = 2.0\n')
    assert made.site.circuit[1].running_w == 240.0
    assert made.site.circuit[1].load.annual_kwh == 438.0
    assert made.kept == ("Fridge: its load is told by energy, so its energy stays as it was",)


def test_the_hours_come_out_anew(tmp_path):
    """5 kWh without losses: 0.3 kW then 0.45 kW beside the refrigerator's 0.05 kW mean: 14.3 h, then 10 h."""
    before, after = ride_through(drawn()), ride_through(built(tmp_path, PUMP).site)
    assert before.hours.mean() == pytest.approx(5.0 / 0.35, abs=0.3)
    assert after.hours.mean() == pytest.approx(5.0 / 0.50, abs=0.3)


def test_the_checks_come_out_anew(tmp_path):
    """A clamp reading stands above the printed current: 30 A x 0.12 + 0.12 kVA; 1.5 s outlast the unit's 1 s."""
    site = built(tmp_path, PUMP).site
    one = only(site, "motor-start", "Pump")
    assert "clamp reading" in one.text
    assert one.text.count("3.72 kVA") == 1


def test_readings_stand_beside_what_was_expected(tmp_path):
    text = PUMP + ('[[charging]]\nname = "Unit A"\namps = 25.0\n[[leg]]\nname = "A"\namps = 6.2\nvolts = 131.0\n')
    made = built(tmp_path, "break_s = 0.08\n" + text)
    rows = {row[0]: row for row in readings_sheet(Layout(drawn()), made)["rows"]}
    assert rows["Pump, running"][2:] == [5.0, 7.5, "+50%", "differs: re-rated"]
    assert rows["Pump, start"][2:] == [20.0, 30.0, "-", "differs: re-rated"]
    assert rows["Pump, start takes"][2:] == [1.0, 1.5, "+50%", "outlasts the units' 1 s"]
    assert rows["charging, Unit A, each unit"][5] == "stop: above 24 A for three hours, set the charger"
    assert rows["leg A, all running, on battery"][2:] == [6.0, 6.2, "+3%", "as expected"]
    assert rows["leg A to neutral, on battery"][5] == "outside 114-126 V: find out why"
    assert rows["break at transfer"][2:5] == [0.05, 0.08, "+60%"]
    assert made.site.subpanel.transfer.break_ms == 80.0
    assert made.site.battery[0].charge_kw == 3.0


def test_the_sheets_are_reissued_with_a_revision_line(tmp_path):
    made = built(tmp_path, PUMP)
    new = reissued(sheets(made.site), drawn(), made)
    line = "Revision: as built, readings of 2026-11-20 by J. Doe."
    assert list(new) == [*sheets(made.site), "readings"]
    assert all(line in one["notes"] for one in new.values())
    assert new["one-line"]["rows"][0][-1] == line
    assert ["Pump, running", "A", 5.0, 7.5, "+50%", "differs: re-rated"] in new["readings"]["rows"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[circuit]]\nname = "Pmp"\namps = 1.0\n', 'did you mean "Pump"?'),
        ('[[charging]]\nname = "Other"\namps = 1.0\n', "known: Unit A"),
        ('[[circuit]]\nname = "Pump"\namp = 1.0\n', "did you mean amps?"),
        (PUMP + PUMP, "must be there once only"),
        ("break_s = -1.0\n", "break_s"),
    ],
)
def test_readings_that_are_refused(tmp_path, text, says):
    with pytest.raises(BadInput, match="readings.toml") as refused:
        built(tmp_path, text)
    assert says in str(refused.value)


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(BadInput, match="no-file.toml: cannot be read"):
        read_readings(tmp_path / "no-file.toml", drawn())


def test_the_form_to_fill_in_reads_as_no_reading_at_all(tmp_path):
    """Every line of it is a name or a comment; with the signs taken off it is a file of readings."""
    form = readings_form(Layout(drawn()))
    assert "expected 5.0 A" in form
    empty = built(tmp_path, form.replace('date = "____-__-__"\n', ""))
    assert empty.changes == ()
    filled = form.replace('date = "____-__-__"\n', "").replace(
        "# amps =             # running, expected 5.0 A", "amps = 7.5"
    )
    assert built(tmp_path, filled).site.circuit[0].running_w == 900.0
