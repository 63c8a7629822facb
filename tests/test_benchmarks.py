"""Every benchmark once, small: it asserts its answer before it times, and its row can be read."""

import inspect
import json

import pytest

from benchmarks.__main__ import cases, lines_of

SMALL = {
    "lanes.case_lanes": {"n_designs": 100, "repeats": 1},
    "lanes.case_growth": {"n_designs": 8, "repeats": 1},
    "outage.case_outage": {"n_steps": 400, "repeats": 1},
    "outage.case_two_legs": {"n_steps": 400, "repeats": 1},
    "sweep.case_sweep": {"n_designs": 4, "repeats": 1},
    "sweep.case_million": {"n_designs": 500},
    "best.case_best": {"n_days": 7, "repeats": 1},
    "bills.case_bills": {"n_rates": 10},
    "meters.case_meters": {"repeats": 1},
    "meters.case_csv": {"repeats": 1, "minutes": (60,)},
}
FOUND = dict(cases())
KINDS = ("lanes", "outage", "best")


@pytest.mark.long
@pytest.mark.parametrize("name", [name for name in FOUND if name.split(".")[0] in ("lanes", "outage", "sweep")])
def test_each_case_asserts_its_answer_and_gives_rows(name):
    rows = FOUND[name](**SMALL[name])
    for row in rows if isinstance(rows, list) else [rows]:
        assert set(row) == {"case", "median_ms", "per_design_us", "versus"}
        assert row["median_ms"] > 0.0 and all(ratio == ratio for ratio in row["versus"].values())
        json.dumps(row, allow_nan=False)


def test_the_kinds_that_are_compared_are_there():
    assert {name.split(".")[0] for name in FOUND} >= set(KINDS)
    for name, case in FOUND.items():
        given = SMALL.get(name, {})
        assert set(given) <= set(inspect.signature(case).parameters), name


def test_the_table_names_every_case():
    rows = [{"case": "lanes, x", "median_ms": 1.0, "per_design_us": None, "versus": {"list": 450.0}}]
    assert "lanes, x" in lines_of(rows) and "list 450" in lines_of(rows)


def test_a_wrong_answer_is_not_timed(monkeypatch):
    from benchmarks import lanes

    monkeypatch.setattr(lanes.Tally, "step", lambda *given: None)
    with pytest.raises(AssertionError):
        lanes.case_lanes(n_designs=100, repeats=1)


def test_every_plan_is_held_against_the_bound():
    from benchmarks import plans

    row = plans.row_of("interactive, no roof", "0.40/0.10")
    savings = [row[plan] for plan in plans.PLANS if row[plan] is not None]
    assert max(savings) <= row["bound"] + 1e-6
    assert row["least-cost"] >= max(row[plan] for plan in ("time-of-use", "forecast", "keep-full")) - 1.0
    assert "| interactive, no roof | 0.40/0.10 |" in plans.table_text([row])
