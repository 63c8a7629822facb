"""The benchmarks of sweeps once, small: each asserts its answer before it times, and its rows can be read."""

import json

import numpy as np
import pytest

from benchmarks import sweep_designs

SMALL = {
    "case_bills": {"n_designs": 200, "repeats": 1},
    "case_bound": {"n_designs": 2},
    "case_outages": {"n_designs": 6},
}
LARGER = {"case_executors": {"n_designs": 64, "repeats": 1}, "case_streamed": {"n_designs": 10_000}}


def assert_rows(name: str, given: dict) -> None:
    rows = getattr(sweep_designs, name)(**given)
    for row in rows if isinstance(rows, list) else [rows]:
        assert set(row) == {"case", "median_ms", "per_design_us", "versus"}
        assert row["median_ms"] > 0.0 and all(np.isfinite(list(row["versus"].values())))
        json.dumps(row, allow_nan=False)


@pytest.mark.parametrize("name", SMALL)
def test_each_case_asserts_its_answer_and_gives_rows(name):
    assert_rows(name, SMALL[name])


@pytest.mark.long
@pytest.mark.filterwarnings("ignore")  # of the cluster's own threads
@pytest.mark.parametrize("name", LARGER)
def test_cases_that_start_processes(name):
    assert_rows(name, LARGER[name])


def test_a_wrong_row_is_not_timed(monkeypatch):
    monkeypatch.setattr(sweep_designs, "_bare", lambda site, designs: lambda: np.zeros(len(designs)))
    with pytest.raises(AssertionError):
        sweep_designs.case_bills(n_designs=8, repeats=1)
