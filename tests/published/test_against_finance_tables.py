"""Present value, rate of return and annuities.

Sources:
  E-01  numpy-financial, docstrings of npv and irr (they quote Gitman, Principles of Managerial Finance, 3rd ed.,
        pp. 346, 348); read on the library's own pages. The first flow is at t = 0.
  E-02  Blocher et al., Cost Management, 9th ed., ch. 12, Table 2 (annuity present value of 1), read on the publisher's
        page; the rows with five digits on a third party's reproduction.
  E-03  NIST Handbook 135 / NISTIR 85-3273, factors at 3 % real: FROM MEMORY as tabulated; the formulas reproduce all.
  E-04  NIST Handbook 135, ASTM E917, E964, E1121, definitions of SIR and payback: FROM MEMORY. No worked example found.
"""

import pytest

from profiles.noun import read_noun
from simulate.bill.cash_flow import cash_flow
from simulate.bill.discount import annuity_factor, discount_factors, irr, npv
from simulate.site.money import Money

HALF_OF_THE_LAST_DIGIT = {"npv": 5e-6, "irr": 5e-6, "blocher": 5e-4, "five": 5e-6, "spv": 5e-4, "upv": 5e-3}


def test_npv_against_numpy_financial():
    flows = [-40000, 5000, 8000, 12000, 30000]
    assert npv(0.08, flows) == pytest.approx(3065.22267, abs=HALF_OF_THE_LAST_DIGIT["npv"])


@pytest.mark.parametrize(
    ("flows", "printed", "digits"),
    [
        ([-100, 39, 59, 55, 20], 0.28095, 5),
        ([-100, 0, 0, 74], -0.0955, 4),
        ([-100, 100, 0, -7], -0.0833, 4),
        ([-100, 100, 0, 7], 0.06206, 5),
        ([-5, 10.5, 1, -8, 1], 0.0886, 4),
        ([-250000, 100000, 150000, 200000, 250000, 300000], 0.56723, 5),
    ],
)
def test_irr_against_numpy_financial(flows, printed, digits):
    assert irr(flows) == pytest.approx(printed, abs=0.5 * 10.0**-digits)


BLOCHER = """4/10 8.111; 5/10 7.722; 6/10 7.360; 7/10 7.024; 8/10 6.710; 10/10 6.145; 4/15 11.118; 6/15 9.712;
8/15 8.559; 4/20 13.590; 5/20 12.462; 6/20 11.470; 7/20 10.594; 8/20 9.818; 10/20 8.514; 5/5 4.329; 10/5 3.791"""


@pytest.mark.parametrize("cell", BLOCHER.split(";"))
def test_annuity_against_blocher(cell):
    where, printed = cell.split()
    percent, years = map(int, where.split("/"))
    tolerance = HALF_OF_THE_LAST_DIGIT["blocher"]
    assert annuity_factor(percent / 100, years) == pytest.approx(float(printed), abs=tolerance)


@pytest.mark.parametrize(
    ("percent", "years", "printed"), [(9, 25, 9.82258), (10, 20, 8.51356), (10, 25, 9.07704), (12, 30, 8.05518)]
)
def test_annuity_against_a_five_digit_table(percent, years, printed):
    assert annuity_factor(percent / 100, years) == pytest.approx(printed, abs=HALF_OF_THE_LAST_DIGIT["five"])


@pytest.mark.parametrize(
    ("year", "spv", "upv"),
    [
        (1, 0.971, 0.97),
        (2, 0.943, 1.91),
        (3, 0.915, 2.83),
        (4, 0.888, 3.72),
        (5, 0.863, 4.58),
        (10, 0.744, 8.53),
        (15, 0.642, 11.94),
        (20, 0.554, 14.88),
        (25, 0.478, 17.41),
        (30, 0.412, 19.60),
    ],
)
def test_factors_against_nist_135_from_memory(year, spv, upv):
    assert discount_factors(0.03, year + 1)[-1] == pytest.approx(spv, abs=HALF_OF_THE_LAST_DIGIT["spv"])
    assert annuity_factor(0.03, year) == pytest.approx(upv, abs=HALF_OF_THE_LAST_DIGIT["upv"])


def test_savings_to_investment_and_payback_by_their_definitions_from_memory():
    flow = cash_flow(
        read_noun(Money, {"years": 10, "discount_rate_frac": 0.03}), saving_per_year=100.0, installed_price=500.0
    )
    assert flow.savings_to_investment == pytest.approx(100 * 8.53 / 500, abs=100 * 0.005 / 500)
    assert flow.simple_payback_y == pytest.approx(5.0, abs=1e-9)
    # 4.58 at five years and 5.417 at six: 500 is reached inside the sixth year
    assert 5 < flow.discounted_payback_y < 6
