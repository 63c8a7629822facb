"""The bills of a year as it was walked, from today's to the one with the battery."""

from __future__ import annotations

from profiles.noun import BadInput
from simulate.bill.four_bills import FourBills, four_bills
from simulate.house.walked import HouseYear, is_new_solar, without_battery_kw, without_solar_kw


def bills_of(run: HouseYear) -> FourBills:
    """The bills of a year from today's to the one with the battery.

    Raises
    ------
    BadInput
        A rate that does not cover the year.
    """
    site = run.house.site
    try:
        return four_bills(
            site.rate_today,
            site.rate,
            without_battery_kw(run),
            (run.year.import_kw, run.year.export_kw),
            run.hours,
            without_solar_kw=without_solar_kw(run) if is_new_solar(site) else None,
            adds_battery=any(group.count for group in site.battery),
        )
    except BadInput as error:
        raise error.at(site.file) from None
