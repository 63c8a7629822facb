"""What the panel checks are told of the simulation; it stands beside their figures and is never a verdict."""

from __future__ import annotations

import numpy as np

from simulate.house.house import cell_c
from simulate.house.walked import HouseYear
from simulate.panel.checks.layout import Simulated
from simulate.site.pools import leg_of


def observed(run: HouseYear, switches_a_year: dict[str, int]) -> Simulated:
    """Highest and mean kW by leg, switches, lowest cell temperature, peaks of solar and house.

    Parameters
    ----------
    run : HouseYear
    switches_a_year : dict of str to int
        Breaks a year by circuit.
    """
    house = run.house
    legs = {leg: _leg_kw(house, leg) for leg in ("A", "B")}
    solar_kw = house.solar_kw + house.solar_dc_kw
    return Simulated(
        mean_kw={leg: float(kw.max()) for leg, kw in legs.items()},
        average_kw={leg: float(kw.mean()) for leg, kw in legs.items()},
        step_h=house.hours.step_h,
        switches_per_year=dict(switches_a_year),
        lowest_cell_c=_lowest_cell_c(house),
        solar_max_kw=float(solar_kw.max()) if house.site.solar is not None else None,
        house_peak_kw=float(np.maximum(house.load_kw - house.solar_kw, 0.0).max()),
        lowest_load_kw=float(house.backed_up_kw.min()),
    )


def _leg_kw(house, leg: str) -> np.ndarray:
    """Backed-up load on one leg, two-pole circuits by half, shape (n_steps,). [kW]"""
    kw = np.zeros(house.hours.n_steps)
    for k in house.backed:
        on = leg_of(house.site.circuit[k], house.pools)
        kw += house.circuit_kw[k] * (1.0 if on == leg else 0.5 if on == "AB" else 0.0)
    return kw


def _lowest_cell_c(house) -> dict[str, float]:
    """By battery group whose place is stated, where a weather file is there. [degC]"""
    if house.site.weather is None:
        return {}
    groups = [group for group in house.site.battery if group.count and group.place is not None]
    return {group.name: float(cell_c(group, house.hours, house.sources).min()) for group in groups}
