"""What a file leaves open is asked in one message, in the words of whoever asks. The files are invented."""

import subprocess
import sys

import pytest

from profiles.meter import read_meter
from profiles.noun import BadInput
from simulate.show.terminal.options import in_options

ZONE = "America/New_York"
OPEN = [
    "Date,Usage",
    *(f"0{d}/0{m}/2025 {h:02d}:00,{0.1 + h % 7 / 10}" for m in (5, 6) for d in range(1, 9) for h in range(1, 24)),
]


def written(tmp_path, lines, name="usage.csv"):
    path = tmp_path / name
    path.write_text("\n".join(lines))
    return path


def test_all_that_is_open_is_asked_in_one_message(tmp_path):
    path = written(tmp_path, OPEN)
    with pytest.raises(BadInput) as refused:
        read_meter(path)
    said = str(refused.value)
    assert "usage.csv: leaves 4 things open: (1) Date can be read in two ways" in said
    assert "(2) column 2 names no unit" in said or "names no unit" in said
    for way in ("dialect.date_order", "dialect.unit", "dialect.clock", "dialect.labels"):
        assert way in said
    answers = {"date_order": "dmy", "unit": "kWh", "clock": "utc", "labels": "beginning"}
    assert read_meter(path, dialect=answers).readings == len(OPEN) - 1


def test_a_single_question_stays_as_it_was_and_a_wrong_trial_is_not_reported(tmp_path):
    with pytest.raises(BadInput, match="usage.csv: Usage names no unit"):
        read_meter(written(tmp_path, ["Start,Usage", *(f"2025-07-01T{h:02d}:00Z,0.{h}" for h in range(24))]))
    gap = ["Date,kWh", "05/06/2025 01:00,1", "05/06/2025 01:00,2", "05/07/2025 01:30,2", "05/07/2025 02:00,x"]
    with pytest.raises(BadInput) as refused:
        read_meter(written(tmp_path, gap), timezone=ZONE)
    assert "can be read in two ways" in str(refused.value)


def test_the_command_names_options_and_a_site_file_keys(tmp_path):
    path = written(tmp_path, OPEN)
    command = [sys.executable, "-m", "simulate.cli", "meter", str(path)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (2, "")
    for option in ("--dialect date_order=mdy or --dialect date_order=dmy", "--dialect unit=kWh or --dialect unit=kW",
                   "--timezone America/New_York", "--dialect labels=beginning or --dialect labels=ending"):  # fmt: skip
        assert option in " ".join(done.stderr.split())
    assert "dialect." not in done.stderr


@pytest.mark.parametrize(
    ("way_out", "told"),
    [
        (
            "choose one with point: 1 (energy, 60 min); 2 (energy)",
            "choose one with --point 1: 1 (energy, 60 min); 2 (energy)",
        ),
        (
            "choose one with column: Circuit 1 (kW) [1 to 2, mean 1], b",
            'choose one with --column "Circuit 1 (kW)": Circuit 1 (kW) [1 to 2, mean 1], b',
        ),
        ("state dialect.interval_min", "state --dialect interval_min=..."),
        ("give the timezone of the meter", "give --timezone, that of the meter"),
    ],
)
def test_ways_out_by_option(way_out, told):
    assert in_options(BadInput("is open", way_out=way_out)).way_out == told


def test_a_log_of_a_device_shows_which_column_is_which_and_no_name(tmp_path):
    """Circuits are named by rooms or by their place; what people are called stays in the file."""
    head = "Time,Kitchen (kW),Jane Doe's room (kW),Water heater (kW)"
    rows = [f"2025-07-01T{h:02d}:00Z,{0.2 + h / 100:.2f},{0.05:.2f},{4.5 * (h == 7):.1f}" for h in range(24)]
    path = written(tmp_path, [head, *rows])
    with pytest.raises(BadInput) as refused:
        read_meter(path)
    said = str(refused.value)
    assert (
        "Kitchen (kW) [0.2 to 0.43, mean 0.315], column 3 [0.05 to 0.05, mean 0.05], Water heater (kW) [0 to 4.5"
        in said
    )
    assert "Jane" not in said
    assert read_meter(path, column="column 3").energy_kwh == pytest.approx(0.05 * 24)
