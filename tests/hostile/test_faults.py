"""Bad days: a full disk, an output that is gone, a signal, a home that cannot be written, a clock or locale that is odd.

Every run ends in one line and with 1 or 2 (130 for Ctrl-C); nothing is half-written and nothing is left behind.
"""

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiles.files import written
from profiles.noun import BadInput
from simulate.show.terminal.exits import run_to_an_end

ROOT = Path(__file__).parents[2]
SITE = """
[site]
name = "Bench (invented)"
latitude = 36.0
longitude = -80.0
timezone = "America/New_York"
[[circuit]]
name = "Lights"
breaker_a = 15
load = { kw = 0.1 }
[[battery]]
usable_kwh = 3.0
continuous_kw = 2.4
charging_circuit = { breaker_a = 30, volts = 120 }
[rate]
price_per_kwh = 0.16
[operation]
plan = "keep-full"
"""
SLOW = 180  # s; a run that takes longer hangs


@pytest.fixture
def job(tmp_path):
    (tmp_path / "job.toml").write_text(SITE)
    return tmp_path


def keeplit(folder: Path, *words, env=None, **how) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "simulate.cli", *map(str, words)],
        cwd=folder,
        env=surroundings(env),
        timeout=SLOW,
        **({"capture_output": True} | how),
    )


def surroundings(env=None) -> dict:
    kept = {**os.environ, "PYTHONPATH": str(ROOT), **(env or {})}
    return {key: value for key, value in kept.items() if value is not None}


def one_line(done) -> str:
    text = (done.stderr or b"").decode("utf-8", "replace")
    lines = [line for line in text.splitlines() if "compil" not in line]
    assert len(lines) == 1, text
    assert "Traceback" not in text
    return lines[0]


def file_limit(n_bytes: int):
    """No file may grow beyond so many bytes: what a full disk looks like to whoever writes."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, n_bytes))


def left_behind(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob("*") if path.name.endswith(".part") or path.suffix == ".tmp"]


# ---- in this process ------------------------------------------------------------------------------------------------


def code_of(monkeypatch, capsys, error) -> tuple[int, str]:
    def command():
        raise error

    code = run_to_an_end(command)
    return code, capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (BadInput("is wrong", file="a.toml", key="site"), 2, "a.toml: site is wrong"),
        (OSError(28, "No space left on device"), 1, "No space left on device"),
        (IsADirectoryError(21, "Is a directory", "out/summary.json"), 1, "out/summary.json: Is a directory"),
        (ZeroDivisionError("float\ndivision"), 1, "a fault of ours: ZeroDivisionError: float division"),
        (KeyboardInterrupt(), 130, "stopped"),
        (SystemExit(2), 2, ""),
    ],
)
def test_whatever_goes_wrong_ends_in_one_line(monkeypatch, capsys, error, code, words):
    monkeypatch.setattr("simulate.show.terminal.exits._mute", lambda: None)
    found, told = code_of(monkeypatch, capsys, error)
    assert found == code
    assert words in told
    assert told.count("\n") == (1 if words else 0)


def test_a_terminated_command_tidies_and_says_so(tmp_path, capsys):
    """The file that is being written goes; the line says that it was SIGTERM."""

    def command():
        with written(tmp_path / "a.txt") as beside:
            beside.write_text("half")
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(10)

    before = signal.getsignal(signal.SIGTERM)
    assert run_to_an_end(command) == 1
    assert signal.getsignal(signal.SIGTERM) is before
    assert "SIGTERM" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_where_a_file_should_be_names_it(tmp_path, capsys):
    (tmp_path / "a.txt").mkdir()

    def command():
        with written(tmp_path / "a.txt") as beside:
            beside.write_text("whole")

    assert run_to_an_end(command) == 1
    assert "a.txt: Is a directory" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_a_folder_that_is_removed_while_we_write_is_one_line(tmp_path, capsys):
    folder = tmp_path / "out"
    folder.mkdir()

    def command():
        with written(folder / "a.txt") as beside:
            shutil.rmtree(folder)
            beside.write_text("whole")

    assert run_to_an_end(command) == 1
    assert "No such file or directory" in capsys.readouterr().err


def test_a_clock_that_jumps_changes_no_result(monkeypatch):
    """The model has its own calendar: the computer's clock may jump by years while it runs."""
    from simulate import study
    from tests.site.small_site import circuit, small_site, unit

    site = small_site([circuit("Pump", 0.1)], [unit()], operation={"plan": "keep-full"}, outage={"horizon_h": 24.0})
    before = study(site).document
    now = iter(np.cumsum(np.random.default_rng(1).normal(0.0, 1e9, 10**6)))
    monkeypatch.setattr(time, "time", lambda: float(next(now)))
    monkeypatch.setattr(time, "monotonic", lambda: float(next(now)))
    assert study(site).document == before


# ---- as a process of its own ------------------------------------------------------------------------------------------


@pytest.mark.long
def test_a_full_disk_is_one_line_and_leaves_no_half_file(job):
    done = keeplit(job, "study", "job.toml", "--out", "out", preexec_fn=file_limit(20_000))
    assert done.returncode == 1
    assert "File too large" in one_line(done)
    assert left_behind(job) == []
    for path in (job / "out").rglob("*.json"):
        json.loads(path.read_text())


@pytest.mark.long
def test_a_full_disk_under_the_compile_cache_costs_time_and_no_result(job):
    cache = {"XDG_CACHE_HOME": str(job / "cache"), "NUMBA_CACHE_DIR": None}
    done = keeplit(job, "study", "job.toml", "--json", env=cache, preexec_fn=file_limit(3_000))
    assert done.returncode == 0
    assert json.loads(done.stdout)["steps"] == 8760
    assert b"cannot be kept" in done.stderr
    assert b"Traceback" not in done.stderr


@pytest.mark.long
def test_a_damaged_compile_cache_is_compiled_again(job):
    cache = {"XDG_CACHE_HOME": str(job / "cache"), "NUMBA_CACHE_DIR": None}
    expected = keeplit(job, "study", "job.toml", "--json", env=cache).stdout
    for path in (job / "cache").rglob("*.nb*"):
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    done = keeplit(job, "study", "job.toml", "--json", env=cache)
    assert done.returncode == 0
    assert done.stdout == expected


@pytest.mark.long
@pytest.mark.parametrize("words", [["study", "job.toml", "--json"], ["study", "job.toml"], ["schema"]])
def test_an_output_that_is_full_is_one_line(job, words):
    with open("/dev/full", "wb") as full:
        done = keeplit(job, *words, capture_output=False, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert "No space left on device" in one_line(done)


@pytest.mark.long
def test_an_output_that_is_closed_is_one_line(job):
    done = keeplit(job, "study", "job.toml", "--json", preexec_fn=lambda: os.close(1))
    assert done.returncode == 1
    assert "stdout: is closed" in one_line(done)


@pytest.mark.long
def test_a_reader_that_goes_away_ends_it_quietly(job):
    command = f"{sys.executable} -m simulate.cli study job.toml --json | head -c 10"
    done = subprocess.run(command, shell=True, cwd=job, env=surroundings(), capture_output=True, timeout=SLOW)
    assert done.stdout == b'{\n "site":'
    assert b"Traceback" not in done.stderr


@pytest.mark.long
def test_no_stderr_sends_no_message_to_stdout(job):
    done = keeplit(job, "study", "none.toml", preexec_fn=lambda: os.close(2))
    assert (done.returncode, done.stdout) == (2, b"")


@pytest.mark.long
@pytest.mark.parametrize("home", [None, "/sys", "/dev/null"])
def test_a_home_that_cannot_be_written_leaves_nothing_in_the_temporary_folder(job, home):
    temporary = job / "tmp"
    temporary.mkdir()
    env = {"HOME": home, "XDG_CACHE_HOME": None, "NUMBA_CACHE_DIR": None, "TMPDIR": str(temporary)}
    done = keeplit(job, "study", "job.toml", "--json", env=env)
    assert done.returncode == 0
    assert json.loads(done.stdout)["steps"] == 8760
    assert list(temporary.iterdir()) == []


@pytest.mark.long
@pytest.mark.parametrize(
    "env",
    [
        {"PYTHONIOENCODING": "cp1252"},
        {"PYTHONIOENCODING": "ascii"},
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"LC_ALL": "tr_TR.UTF-8", "TZ": "Pacific/Chatham"},
        {"TZ": "Nowhere/Land"},
        {"COLUMNS": "1"},
    ],
)
def test_an_odd_terminal_locale_or_zone_changes_no_number(job, env):
    (job / "job.toml").write_text(SITE.replace("Lights", "Kühlschrank № 1"), encoding="utf-8")
    plain = keeplit(job, "study", "job.toml", "--json")
    odd = keeplit(job, "study", "job.toml", "--json", env=env)
    shown = keeplit(job, "study", "job.toml", env=env)
    assert (odd.returncode, shown.returncode) == (0, 0)
    assert json.loads(odd.stdout) == json.loads(plain.stdout)
    assert shown.stdout.strip()


@pytest.mark.long
def test_two_runs_in_one_folder_leave_one_whole_result(job):
    both = [
        subprocess.Popen(
            [sys.executable, "-m", "simulate.cli", "study", "job.toml", "--out", "out"],
            cwd=job,
            env=surroundings(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
        for _ in range(2)
    ]
    for run in both:
        _, told = run.communicate(timeout=SLOW)
        assert run.returncode == 0, told
    json.loads((job / "out" / "summary.json").read_text())
    assert len(pd.read_csv(job / "out" / "year.csv")) == 8760
    assert left_behind(job) == []


def killed(job: Path, after_s: float, number: int, *words) -> int:
    """Start a run and send it a signal after so long; the code that it ends with."""
    run = subprocess.Popen(
        [sys.executable, "-m", "simulate.cli", *words],
        cwd=job,
        env=surroundings(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return run.wait(after_s)
    except subprocess.TimeoutExpired:
        os.killpg(run.pid, number)
        return run.wait(SLOW)


N_KILLS = int(os.environ.get("KEEPLIT_KILLS", "20"))
"""Kills of each kind in the long run; a hundred by hand."""


@pytest.mark.hours
@pytest.mark.parametrize("words", [("study", "job.toml", "--out", "out"), ("panel", "job.toml", "--out", "out")])
def test_a_kill_at_any_moment_leaves_whole_files(job, words):
    draw = np.random.default_rng(len(words[0]))
    begun = time.perf_counter()
    assert keeplit(job, *words).returncode == 0
    whole = {path.relative_to(job): path.read_bytes() for path in (job / "out").rglob("*") if path.is_file()}
    lasts_s = time.perf_counter() - begun
    for _ in range(N_KILLS):
        shutil.rmtree(job / "out")
        killed(job, draw.uniform(0.3, 1.0) * lasts_s, signal.SIGKILL, *words)
        for path in (job / "out").rglob("*"):
            if (
                path.is_file()
                and not path.name.endswith(".part")
                and path.suffix in (".json", ".csv", ".toml", ".html")
            ):
                assert len(path.read_bytes()) == len(whole[path.relative_to(job)]), path.name
        (job / "out").mkdir(exist_ok=True)


SWEEP = ("sweep", "job.toml", "--vary", "battery.usable_kwh=1:240", "--out", "swept", "--json")


@pytest.mark.hours
@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_killed_sweep_keeps_what_is_finished_and_doubles_nothing(job, workers):
    """Killed again and again and taken up each time, it ends with the rows of a run that nobody touched."""
    draw = np.random.default_rng(int(workers))
    words = (*SWEEP, "--workers", workers)
    begun = time.perf_counter()
    assert keeplit(job, *words).returncode == 0
    lasts_s = time.perf_counter() - begun
    expected = pd.read_parquet(job / "swept")
    shutil.rmtree(job / "swept")
    kept = 0
    for _ in range(N_KILLS):
        killed(job, draw.uniform(0.3, 1.0) * lasts_s, signal.SIGKILL, *words)
        parts = sorted(path.name for path in (job / "swept").glob("part-*.parquet"))
        assert len(parts) >= kept
        kept = len(parts)
        for part in parts:
            pd.read_parquet(job / "swept" / part)
    assert keeplit(job, *words).returncode == 0
    found = pd.read_parquet(job / "swept")
    assert len(found) == len(expected) == 240
    pd.testing.assert_frame_equal(found, expected)
