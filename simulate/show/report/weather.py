"""The years of weather in the report: hours and bills year by year."""

from __future__ import annotations

from simulate.document.study import Study
from simulate.show.report.table import Table


def weather_years_table(study: Study) -> Table:
    """A row a year of weather, then what typical and all years say; no rows where only one year was simulated."""
    found, currency = study.weather_years, study.site.rate.currency
    header = (
        "weather year",
        "nine times in ten",
        "middle",
        "worst",
        f"bill with battery [{currency}]",
        f"saving [{currency}]",
    )
    if found is None or not found["years"]:
        return Table("Weather years", header, ())
    rows = [
        (
            row["year"],
            *(f"{row['hours'][name]:.1f} h" for name in ("p10", "p50", "min")),
            f"{row['with_battery']:,.2f}",
            f"{row['saving']:,.2f}",
        )
        for row in found["years"]
    ]
    return Table(f"Hours and bills by weather year: {found['label']}", header, tuple(rows))
