"""What matters most for hours and saving, and the designs that no other beats."""

import itertools

import numpy as np
import pandas as pd
import pytest

from profiles.noun import BadInput
from simulate.designs.influence import pareto, sensitivity, sobol_of
from simulate.designs.varied import uniform
from tests.designs.test_sweep import bench

VARY = {"battery.usable_kwh": uniform(3, 9), "rate.fixed_per_month": uniform(0, 20), "operation.reserve": [0.2, 0.5]}


@pytest.fixture(scope="module")
def found():
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(1) as executor:
        return sensitivity(bench(outage={"horizon_h": 60.0, "start_soc": "full"}), VARY, n=16, executor=executor)


def test_what_does_not_matter_has_no_share(found):
    sobol = found.sobol.set_index(["answer", "key"])
    for answer in ("out_hours_p10", "out_saving"):
        assert sobol.loc[(answer, "rate.fixed_per_month"), "total"] == pytest.approx(0.0, abs=1e-9)
    assert sobol.loc[("out_hours_p10", "operation.reserve"), "total"] == pytest.approx(0.0, abs=1e-9)
    assert sobol.loc[("out_hours_p10", "battery.usable_kwh"), "total"] == pytest.approx(1.0, abs=0.1)
    assert found.n_designs == 16 * 5 + 7


def test_tornado_rows_come_largest_first_and_name_their_ends(found):
    rows = found.tornado[found.tornado["answer"] == "out_hours_p10"]
    assert rows["key"].iloc[0] == "battery.usable_kwh" and (rows["swing"].diff().dropna() <= 0).all()
    first = rows.iloc[0]
    assert (first["low"], first["high"]) == pytest.approx((3.6, 8.4)) and first["at_high"] > first["at_low"] > 0
    assert rows["swing"].iloc[1:].tolist() == [0.0, 0.0]


def test_an_answer_that_never_varies_has_no_indices():
    first, total = sobol_of(np.full(40, 3.0), 8)
    assert np.isnan(first).all() and np.isnan(total).all() and len(first) == 3


def test_bad_sensitivities_are_refused():
    with pytest.raises(BadInput, match="two keys or more"):
        sensitivity(bench(), {"battery.count": [1, 2]})
    with pytest.raises(BadInput, match="answers must be numeric columns of a sweep, not .'out_hour'"):
        sensitivity(bench(), VARY, answers=["out_hour"])
    with pytest.raises(BadInput, match="answers is not there for every design, not 'out_fails'"):
        sensitivity(bench(), VARY, n=16, answers=["out_fails"])
    with pytest.raises(BadInput, match="power of two"):
        sensitivity(bench(), VARY, n=12)
    with pytest.raises(BadInput, match="a design is refused"):
        sensitivity(
            bench(), {"battery.count": [1, 2], "operation.reserve": uniform(1.1, 2)}, n=16, answers=["out_saving"]
        )


def test_the_front_is_that_of_comparing_every_pair():
    rng = np.random.default_rng(0)
    table = pd.DataFrame(rng.integers(0, 8, (120, 3)).astype(float), columns=["price", "hours", "saving"])
    front = pareto(table, least=["price"], most=["hours", "saving"])
    costs = table[["price", "hours", "saving"]].to_numpy() * [1, -1, -1]
    beaten = {
        b
        for a, b in itertools.permutations(range(120), 2)
        if (costs[a] <= costs[b]).all() and (costs[a] < costs[b]).any()
    }
    assert set(front.index) == set(range(120)) - beaten and front["price"].is_monotonic_increasing


def test_designs_without_a_price_leave_the_front():
    table = pd.DataFrame({"out_installed_price": [np.nan], "out_hours_p10": [5.0], "out_saving": [1.0]})
    with pytest.raises(BadInput, match="installed_price"):
        pareto(table)
    with pytest.raises(BadInput, match="not a column"):
        pareto(table, least=["price"])
