"""A sweep on a real scheduler with real workers on this machine, one of them killed in the middle."""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pandas as pd
import pytest

from profiles.noun import BadInput
from simulate.designs.sweep import sweep
from simulate.show.terminal.sweep import sweep_command
from tests.designs.test_sweep import bench

distributed = pytest.importorskip("distributed")
ROOT = Path(__file__).parents[2]
VARY = ["operation.reserve=0:0.639:0.001"]
OPTIONS = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": ROOT}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture
def cluster(tmp_path):
    """Address of a scheduler, and its two workers as processes without a nanny that would start them again."""
    address = f"tcp://127.0.0.1:{free_port()}"
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    dask = [sys.executable, "-m", "dask"]
    own = [
        subprocess.Popen(
            [*dask, "scheduler", "--host", address, "--no-dashboard", "--no-show"], env=environment, **OPTIONS
        )
    ]
    for k in range(2):
        folder = tmp_path / f"worker-{k}"
        command = [
            *dask,
            "worker",
            address,
            "--nthreads",
            "1",
            "--no-nanny",
            "--no-dashboard",
            "--local-directory",
            str(folder),
        ]
        own.append(subprocess.Popen(command, env=environment, **OPTIONS))
    try:
        yield address, own[1:]
    finally:
        for process in own:
            process.kill()
            process.wait()


@pytest.mark.long
def test_a_cluster_whose_worker_is_killed_gives_the_same_table(tmp_path, cluster):
    address, workers = cluster
    out, killed = tmp_path / "swept", []

    def kill_one():
        while not list(out.glob("part-*")):
            time.sleep(0.005)
        killed.append(len(list(out.glob("part-*"))))
        os.kill(workers[0].pid, signal.SIGKILL)

    with distributed.Client(address, timeout=30, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
        thread = threading.Thread(target=kill_one, daemon=True)
        thread.start()
        message = sweep_command(bench(), VARY, out, dask=address, outages=False)
        thread.join(timeout=10)
    assert message["designs"] == 640 and message["refused"] == 0
    assert killed and killed[0] < 40, "the worker was killed when all was done"
    table = pd.read_parquet(out)
    assert table["design"].tolist() == list(range(640))
    some = table.iloc[[0, 99, 301, 639]]
    alone = sweep(bench(), {"operation.reserve": some["in_operation.reserve"].tolist()}, outages=False)
    pd.testing.assert_series_equal(
        some["out_with_battery"].reset_index(drop=True), alone["out_with_battery"], rtol=1e-9, atol=1e-9
    )


@pytest.mark.parametrize("address", ["", "nonsense://x", "tcp://10.0.0.5", "10.0.0.5:port"])
def test_what_is_no_address_is_refused_at_once(tmp_path, address):
    with pytest.raises(BadInput, match="--dask must be the address of a scheduler"):
        sweep_command(bench(), VARY, tmp_path / "swept", dask=address)


def test_a_scheduler_that_does_not_answer_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("simulate.show.terminal.sweep.REACHED_S", 0.5)
    with pytest.raises(BadInput) as refused:
        sweep_command(bench(), VARY, tmp_path / "swept", dask=f"tcp://127.0.0.1:{free_port()}")
    assert "--dask cannot be reached" in str(refused.value) and "dask scheduler" in str(refused.value)
