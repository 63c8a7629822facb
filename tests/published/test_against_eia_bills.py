"""Average monthly residential bills.

Source: US Energy Information Administration, 2020 average monthly bill, residential, Table 5.a (kWh, c/kWh, $),
read in a copy of the agency's PDF.
"""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill

AXIS = hours_of_year(2020, "America/New_York")
TABLE = """New England 625|21.25|132.71; CT 711|22.71|161.55; ME 570|16.81|95.77; MA 602|21.97|132.18;
NH 630|19.04|120.01; RI 594|22.01|130.75; VT 567|19.54|110.79; Mid Atlantic 701|15.93|111.75; NJ 683|16.03|109.54;
NY 602|18.36|110.47; PA 846|13.58|114.90; E N Central 776|13.56|105.18; IL 721|13.04|93.98; IN 938|12.83|120.34;
MI 676|16.26|109.86; OH 873|12.29|107.30; WI 694|14.32|99.42; W N Central 922|11.96|110.27; IA 865|12.46|107.78;
KS 883|12.85|113.52; MN 775|13.17|102.11; MO 1028|11.22|115.35; NE 1013|10.80|109.39; ND 1085|10.44|113.26;
SD 1037|11.75|121.77; S Atlantic 1079|11.79|127.28; DE 932|12.56|117.09; DC 704|12.63|88.89; FL 1142|11.27|128.64;
GA 1081|12.02|129.92; MD 957|13.01|124.50; NC 1041|11.38|118.44; SC 1081|12.78|138.16; VA 1095|12.03|131.72;
WV 1051|11.80|124.09; E S Central 1136|11.34|128.80; AL 1145|12.57|143.95; KY 1073|10.87|116.62; MS 1146|11.17|128.08"""
ROWS = [(*cell.strip().rsplit(" ", 1)[-1].split("|"), cell.strip().rsplit(" ", 1)[0]) for cell in TABLE.split(";")]


@pytest.mark.parametrize(("kwh", "cents", "dollars", "place"), ROWS)
def test_flat_bill_against_the_agencys_average(kwh, cents, dollars, place):
    kwh, price, printed = float(kwh), float(cents) / 100, float(dollars)
    rounding_of_the_inputs = 0.5 * price + 0.00005 * kwh + 0.005  # half a digit of kWh, of c/kWh and of the bill
    kw = np.where(AXIS.month == 1, kwh / 744, 0.0)
    bill = price_bill(kw, np.zeros(AXIS.n_steps), Rate(price_per_kwh=price), AXIS)
    assert bill.by_month["2020-01"] == pytest.approx(printed, abs=rounding_of_the_inputs)


def test_the_table_is_whole():
    assert len(ROWS) == 39
