"""A sweep on disk that is stopped by force: kills, Ctrl-C and a full disk cost the parts under way and nothing else."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from profiles.noun import BadInput
from simulate.designs.dataset import DONE, RECORD
from simulate.designs.lock import Lock
from simulate.designs.row import Wanted
from simulate.designs.sweep import run_part, sweep
from tests.designs.test_sweep import bench

ROOT = Path(__file__).parents[2]
RUN = """
import resource, sys
sys.path.insert(0, {root!r})
import simulate.designs.sweep as designs
from simulate.cli import main
from simulate.site.site import read_site
from simulate.show.terminal.sweep import sweep_command
from profiles.noun import BadInput
from tests.designs.test_sweep import bench
designs.PART_DESIGNS = (16, 16)
if __name__ == "__main__":
    if {limit}:
        resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))
    try:
        sweep_command(bench(), [{vary!r}], {out!r}, workers=2, outages={outages})
    except BadInput as error:
        sys.exit(f"refused: {{error}}")
    except KeyboardInterrupt:
        sys.exit(130)
"""


class Command:
    """A sweep in a process group of its own."""

    def __init__(self, folder: Path, n_designs: int, *, outages: bool, limit: int = 0):
        self.out, self.n_designs = folder / "swept", n_designs
        self.vary = f"operation.reserve=0:{(n_designs - 1) / n_designs}:{1 / n_designs}"
        text = {"root": str(ROOT), "vary": self.vary, "out": str(self.out), "outages": outages, "limit": limit}
        self.script = folder / f"run{limit}.py"
        self.script.write_text(RUN.format(**text))

    def start(self) -> subprocess.Popen:
        environment = os.environ | {"PYTHONPATH": str(ROOT)}
        return subprocess.Popen(
            [sys.executable, str(self.script)],
            cwd=ROOT,
            start_new_session=True,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )

    def parts(self) -> dict[str, int]:
        return {path.name: path.stat().st_mtime_ns for path in self.out.glob("part-*")}

    def wait_for_more(self, running: subprocess.Popen, held: int, seconds: float = 600.0) -> None:
        until = time.monotonic() + seconds
        while len(self.parts()) <= held and running.poll() is None and time.monotonic() < until:
            time.sleep(0.005)


def stop(running: subprocess.Popen, with_signal: int) -> int:
    """Signal a whole process group, wait for all of it, and give back the exit code of its first process."""
    os.killpg(running.pid, with_signal)
    running.communicate(timeout=300)
    until = time.monotonic() + 60.0
    while _lives(running.pid) and time.monotonic() < until:
        time.sleep(0.02)
    assert not _lives(running.pid), "a worker outlived its parent"
    return running.returncode


def _lives(group: int) -> bool:
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, own_group = path.read_text().rpartition(")")[2].split()[:3]
        except (OSError, ValueError):
            continue
        if int(own_group) == group and state != "Z":
            return True
    return False


def assert_whole(command: Command) -> pd.DataFrame:
    """No row lost, doubled or half-written."""
    table = pd.read_parquet(command.out)
    assert table["design"].tolist() == list(range(command.n_designs))
    assert table["error"].isna().all() and table["out_saving"].notna().all()
    some = table.iloc[:: max(1, command.n_designs // 12)]
    alone = sweep(bench(), {"operation.reserve": some["in_operation.reserve"].tolist()}, outages=False)
    assert np.allclose(some["out_with_battery"], alone["out_with_battery"], rtol=1e-9, atol=1e-9)
    assert some["input_hash"].tolist() == alone["input_hash"].tolist()
    return table


@pytest.mark.long
def test_ctrl_c_stops_all_workers_and_keeps_what_is_finished(tmp_path):
    command = Command(tmp_path, 3200, outages=True)
    running = command.start()
    command.wait_for_more(running, 1)
    assert stop(running, signal.SIGINT) == 130
    held = command.parts()
    assert 2 <= len(held) < 200 and not list(command.out.glob("_part*")) and not (command.out / DONE).exists()
    assert all(pq.read_metadata(command.out / name).num_rows == 16 for name in held)


@pytest.mark.long
def test_a_file_system_that_takes_no_more_is_told_and_later_taken_up(tmp_path):
    full = Command(tmp_path, 160, outages=False, limit=4096)
    running = full.start()
    told = running.communicate(timeout=600)[1]
    assert running.returncode == 1 and "refused: --out cannot be written" in told and "Traceback" not in told
    assert "what is finished is kept" in told and not list(full.out.glob("*part-*"))
    roomy = Command(tmp_path, 160, outages=False)
    running = roomy.start()
    running.communicate(timeout=600)
    assert running.returncode == 0
    assert_whole(roomy)


@pytest.mark.hours
def test_a_hundred_kills_lose_no_row_double_none_and_do_no_work_again(tmp_path):
    command, rng = Command(tmp_path, 16_000, outages=True), random.Random(7)
    finished, in_the_middle, half_written = {}, 0, 0
    for kill in range(100):
        running = command.start()
        if kill % 4:
            command.wait_for_more(running, len(finished))
            time.sleep(rng.uniform(0.0, 0.3))
        else:
            time.sleep(rng.uniform(0.0, 4.0))
        assert running.poll() is None, "the sweep was done before the hundred kills"
        stop(running, signal.SIGKILL)
        now = command.parts()
        assert all(now[name] == stamp for name, stamp in finished.items()), "a finished part was written again"
        in_the_middle += len(now) > len(finished)
        half_written += len(list(command.out.glob("_part*")))
        for name in now.keys() - finished.keys():
            assert pq.read_table(command.out / name).num_rows == 16, "a part is half-written"
        finished = now
    running = command.start()
    running.communicate(timeout=3600)
    assert running.returncode == 0 and in_the_middle >= 70
    last = command.parts()
    assert all(last[name] == stamp for name, stamp in finished.items()), "a finished part was written again"
    table = assert_whole(command)
    print(
        f"100 kills, {in_the_middle} with parts finished, {half_written} in a write; {len(finished)} parts before the "
        f"last run; rows lost {command.n_designs - table['design'].nunique()}, "
        f"doubled {int(table['design'].duplicated().sum())}"
    )


def small_sweep(folder: Path) -> pd.DataFrame:
    return sweep(bench(), {"operation.reserve": [0.1, 0.2, 0.3, 0.4]}, out=folder, outages=False)


def test_columns_carry_unit_and_meaning_and_the_footer_what_made_them(tmp_path):
    small_sweep(tmp_path / "s")
    (part,) = (tmp_path / "s").glob("part-*")
    schema = pq.read_schema(part)
    assert schema.field("out_saving").metadata[b"unit"] == b"currency a year"
    assert schema.field("out_never_carried").metadata[b"meaning"].startswith(b"circuits that no wiring")
    assert b"sources" in schema.metadata[b"made_by"] and b"numba" in schema.metadata[b"made_by"]


def test_a_folder_of_another_version_is_not_continued(tmp_path):
    small_sweep(tmp_path / "s")
    record = tmp_path / "s" / RECORD
    told = json.loads(record.read_text())
    told["made_by"]["sources"] = "0123456789abcdef"
    record.write_text(json.dumps(told))
    with pytest.raises(BadInput, match=r"another version of the program.*name another folder"):
        small_sweep(tmp_path / "s")
    assert not (tmp_path / "s" / "_lock.json").exists()


@pytest.mark.parametrize("damage", ["empty", "cut off", "another part", "a byte changed"])
def test_a_damaged_part_is_found_and_made_anew(tmp_path, damage):
    whole = small_sweep(tmp_path / "s")
    (part,) = (tmp_path / "s").glob("part-*")
    data = part.read_bytes()
    if damage == "another part":
        sweep(bench(), {"operation.reserve": [0.5, 0.6, 0.7, 0.8]}, out=tmp_path / "t", outages=False)
        data = next((tmp_path / "t").glob("part-*")).read_bytes()
    elif damage == "a byte changed":
        data = data[:60] + bytes([data[60] ^ 0xFF]) + data[61:]
    else:
        data = data[: 0 if damage == "empty" else len(data) // 2]
    part.write_bytes(data)
    pd.testing.assert_frame_equal(small_sweep(tmp_path / "s"), whole)


def test_a_second_run_in_the_folder_is_refused_and_a_dead_one_s_lock_taken_over(tmp_path):
    folder = tmp_path / "s"
    folder.mkdir()
    lock = Lock(folder)
    with pytest.raises(BadInput, match="another run is at work there"):
        small_sweep(folder)
    held = json.loads(lock.path.read_text())
    lock.path.write_text(json.dumps(held | {"begun": "1"}))  # the number belongs to another process by now
    assert len(small_sweep(folder)) == 4
    lock.path.write_text(json.dumps(held | {"host": "elsewhere"}))
    with pytest.raises(BadInput, match=r"on elsewhere.*remove _lock.json if that run has ended"):
        small_sweep(folder)


def test_a_worker_of_another_version_refuses():
    with pytest.raises(BadInput, match="install the same version on every worker"):
        run_part(bench(), ("operation.reserve",), [(0.2,)], 0, Wanted(outages=False), "0123456789abcdef")
