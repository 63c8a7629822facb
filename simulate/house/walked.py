"""A year of one house as it was walked, repeated until it closes on itself."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from simulate.house.asked import Asked
from simulate.house.caps import cap_notes
from simulate.house.house import House
from simulate.physics.energy import year_html
from simulate.physics.walk import Year, walk_year
from simulate.site.site import Site

CLOSES_KWH = 1e-9


MOST_LAPS = 5


@dataclass(frozen=True, eq=False)
class HouseYear:
    """One simulated year of a house.

    Attributes
    ----------
    asked : Asked
    year : Year
    laps : int
        How often the year was walked until its end met its start.
    """

    asked: Asked
    year: Year
    laps: int

    @property
    def house(self) -> House:
        return self.asked.house

    @property
    def hours(self):
        return self.asked.house.hours

    @cached_property
    def short_steps(self) -> int:
        """Steps that end below the reserve that was asked for."""
        return int((self.year.pool_kwh[:, 1:] < self.asked.floor_kwh - 1e-9).any(axis=0).sum())

    @cached_property
    def short_days(self) -> int:
        """Days with a step that ends below the reserve."""
        short = (self.year.pool_kwh[:, 1:] < self.asked.floor_kwh - 1e-9).any(axis=0)
        return len(np.unique(self.hours.day[short]))

    @cached_property
    def notes(self) -> tuple[str, ...]:
        change = self.year.stored_change_kwh
        lines = [f'operation.plan = "{self.asked.plan}"', f"operation.reserve = {_reserve_text(self.asked.reserve)}"]
        lines += self.asked.settings
        if self.asked.choice is not None:
            lines.append(self.asked.choice.text)
        if self.asked.cap is not None:
            lines += cap_notes(self)
        if self.asked.switched is not None and self.asked.switched.missed_frac is not None:
            lines.append(f"the circuits that are switched over were found by {self.asked.switched.method}")
        if self.short_steps:
            lines.append(f"the reserve was short on {self.short_steps} steps of {self.short_days} days")
        if abs(change) > CLOSES_KWH:
            lines.append(f"the year ends {change:+.3f} kWh from its start after {self.laps} laps")
        return tuple(lines)

    def energy_kwh(self) -> dict[str, float]:
        """Sums over the year; `backed_up` is what the circuits on the sub-panel use, whoever serves them. [kWh]"""
        sums = self.year.energy_kwh()
        backed = float(self.house.backed_up_kw.sum() * self.hours.step_h)
        return {"load": sums.pop("load"), "backed_up": backed, **sums}

    def to_frame(self):
        """One row a step, the columns of year.csv."""
        import pandas as pd

        year, prices = self.year, self.asked.prices
        names = ("solar", "import", "export", "charge", "discharge", "loss", "curtailed")
        return pd.DataFrame(
            {
                "start_utc": self.hours.utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
                "start_local": self.hours.local_text,
                "load_kw": year.load_kw,
                "backed_up_kw": self.house.backed_up_kw,
                **{f"{name}_kw": getattr(year, f"{name}_kw") for name in names},
                "soc_kwh": year.soc_kwh,
                "price_per_kwh": prices.buy_per_kwh,
                "export_per_kwh": prices.sell_per_kwh,
            }
        )

    def _repr_html_(self) -> str:
        return year_html(self.energy_kwh())


def _reserve_text(reserve) -> str:
    return f"{reserve:g}" if isinstance(reserve, float | int) else str(reserve)


def walk_asked(asked: Asked) -> HouseYear:
    """Walk the year, repeated until its start and its end agree."""
    house, exports = asked.house, solar_exports(asked.house.site)
    soc = np.array([pool.usable_kwh for pool in asked.pools])
    laps = 0
    for laps in range(1, MOST_LAPS + 1):  # noqa: B007
        year = walk_year(house.load_kw, house.solar_kw, asked.wish, asked.pools, soc, house.hours.step_h, exports)
        if (np.abs(year.pool_kwh[:, -1] - soc) <= CLOSES_KWH).all():
            break
        soc = year.pool_kwh[:, -1].copy()
    return HouseYear(asked, year, laps)


def solar_exports(site: Site) -> bool:
    if site.solar is None or site.solar.connected_at != "main-panel":
        return site.subpanel.export
    return site.solar.export


def without_battery_kw(run: HouseYear) -> tuple[np.ndarray, np.ndarray]:
    """Import and export of the house without the battery, each of shape (n_steps,). [kW]"""
    house, site = run.house, run.house.site
    net = house.load_kw - house.solar_kw
    main = site.solar is not None and site.solar.connected_at == "main-panel"
    exports = site.solar.export if main else site.subpanel.export
    return np.maximum(net, 0.0), np.maximum(-net, 0.0) * exports


def without_solar_kw(run: HouseYear) -> tuple[np.ndarray, np.ndarray]:
    """Import and export of the house without battery and solar, each of shape (n_steps,). [kW]"""
    load_kw = np.maximum(run.house.load_kw, 0.0)
    return load_kw, np.zeros_like(load_kw)


def is_new_solar(site: Site) -> bool:
    """Does solar change the bill by itself: a roof that is new, and that works without a battery unit?"""
    return site.solar is not None and not site.solar.existing and site.solar.connected_at != "battery"
