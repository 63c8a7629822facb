"""Linear equations handed to HiGHS, which is kept silent."""

from __future__ import annotations

from profiles.noun import BadInput
from simulate.optimum.equations import Equations

GAP = 1e-9
"""Relative gap at which the search over binaries ends; what is left stands between `cost` and `bound`."""

FEASIBLE = 2
"""Of HiGHS's `primal_solution_status`: it holds a solution that keeps every bound and row."""
MOST_NODES = 100
"""Branches of a search, counted and not timed, so that its result is the same on every machine."""
DEVEX = 1
"""Weights of the dual simplex: a year of 5-minute steps is solved six times as fast as with its own choice."""


def loaded(made: Equations):
    """HiGHS with these equations, silent, and whether it must search over binaries."""
    import highspy

    matrix, low, high, price, integral, row_low, row_high = made.arrays()
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = matrix.shape[1], matrix.shape[0]
    model.col_cost_, model.col_lower_, model.col_upper_ = price, low, high
    model.row_lower_, model.row_upper_ = row_low, row_high
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_, model.a_matrix_.index_, model.a_matrix_.value_ = matrix.indptr, matrix.indices, matrix.data
    if integral.any():
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        model.integrality_ = [kinds[int(one)] for one in integral]
    highs = _silent_highs()
    presolve = "choose" if integral.any() else "off"  # a year is solved up to seven times as fast without it
    options = {
        "output_flag": False,
        "mip_rel_gap": GAP,
        "mip_abs_gap": GAP,
        "presolve": presolve,
        "simplex_dual_edge_weight_strategy": DEVEX,
        "mip_max_nodes": MOST_NODES,
    }
    for option, value in options.items():
        highs.setOptionValue(option, value)
    highs.passModel(model)
    return highs, bool(integral.any())


def solved(highs) -> float:
    """Run HiGHS to the optimum, or to the last branch of a long search, and hand back its cost.

    Raises
    ------
    BadInput
        Floors or ends that no use of the pools keeps.
    """
    highs.run()
    status = highs.modelStatusToString(highs.getModelStatus())
    if "nfeasible" in status:
        raise BadInput(
            "cannot be met: no use of the pools keeps these floors and ends",
            key="floor_kwh",
            way_out="start higher, or lower the floors",
        )
    found = highs.getInfo().primal_solution_status == FEASIBLE
    if status != "Optimal" and not (status == "Solution limit reached" and found):
        raise RuntimeError(f"HiGHS ended with {status}")
    return float(highs.getInfo().objective_function_value)


def _silent_highs():
    import highspy

    class Silent(highspy.Highs):
        """HiGHS prints its banner as its callbacks are set up, before any option can be given."""

        def enableCallbacks(self):
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()

    return Silent()
