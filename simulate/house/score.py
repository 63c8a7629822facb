"""What a year of import and export costs one house, in one number by which plans are held against each other."""

from __future__ import annotations

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import rate_calendar
from profiles.rate.meter_sums import meter_sums
from simulate.bill.amounts import bill_amounts
from simulate.house.house import House
from simulate.physics.walk import Year


def bill_by_month(house: House, import_kw, export_kw) -> np.ndarray:
    """The bill of each billing month on the site's rate. [currency]"""
    rate = house.site.rate
    try:
        calendar = rate_calendar(rate, house.hours)
        return bill_amounts(meter_sums(import_kw, export_kw, rate, calendar), rate, calendar).by_month
    except BadInput as error:
        raise error.at(house.site.file) from None


def year_cost(house: House, year: Year, dearest_per_kwh: float) -> float:
    """Bill and wear of a year, what is missing in store at its end bought at the dearest price. [currency]"""
    wear = house.site.operation.wear_per_kwh
    discharged = (year.pool_kwh[:, :-1] - year.pool_kwh[:, 1:]).clip(min=0.0).sum() if wear > 0.0 else 0.0
    missing = max(-year.stored_change_kwh, 0.0)
    bill = float(bill_by_month(house, year.import_kw, year.export_kw).sum())
    return bill + wear * float(discharged) + missing * dearest_per_kwh
