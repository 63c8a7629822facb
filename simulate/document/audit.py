"""Where a year's energy comes from: charged from solar or bought, lost where, and how much solar stays at home."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.house.walked import HouseYear

LOSSES = ("charge", "discharge", "no_load", "on_grid", "curtailed")
MATTERS_KWH = 1e-6


@dataclass(frozen=True, eq=False)
class Sources:
    """Sources of a simulated year; every series has shape (n_steps,), mean kW.

    Attributes
    ----------
    month : ndarray of int
    step_h : float
    load_kw, solar_kw : ndarray
        Solar is what the roof could give. [kW]
    from_grid_kw, from_solar_kw : ndarray
        AC charging of the units: bought, and of solar that the house left over. [kW]
    dc_kw : ndarray
        Solar that charged the cells directly. [kW DC]
    direct_kw : ndarray
        Load that solar met in the same step, past the units. [kW]
    delivered_kw, sold_kw : ndarray
        Of what the units gave: to the load, and exported. [kW]
    unused_kw : ndarray
        Solar that was exported or curtailed without passing the units. [kW]
    stored_solar_frac : float or None
        Share of solar in what was stored over the year; None where nothing was. [0 to 1]
    lost_kwh : dict
        Over the year: charge, discharge, no_load, on_grid (both losses of the units), curtailed (solar not used). [kWh]
    credit_lost : float
        Export credit that stored solar did not earn, at the marginal price of its step. [currency]
    currency : str
    solar_only : bool
        `operation.charge_from = "solar"`.
    """

    month: np.ndarray
    step_h: float
    load_kw: np.ndarray
    solar_kw: np.ndarray
    from_grid_kw: np.ndarray
    from_solar_kw: np.ndarray
    dc_kw: np.ndarray
    direct_kw: np.ndarray
    delivered_kw: np.ndarray
    sold_kw: np.ndarray
    unused_kw: np.ndarray
    stored_solar_frac: float | None
    lost_kwh: dict[str, float]
    credit_lost: float
    currency: str
    solar_only: bool

    def kwh(self, name: str) -> float:
        """Sum of a series over the year, by its name without the unit. [kWh]"""
        return float(getattr(self, f"{name}_kw").sum() * self.step_h)

    @property
    def self_consumption_frac(self) -> float | None:
        """Solar that was used on site, storage losses included, of all solar; None without solar. [0 to 1]"""
        solar, share = self.kwh("solar"), self.stored_solar_frac or 0.0
        return 1.0 - (self.kwh("unused") + share * self.kwh("sold")) / solar if solar > 0.0 else None

    @property
    def self_sufficiency_frac(self) -> float | None:
        """Load that solar met, at once or out of the units, of all load; None without load. [0 to 1]"""
        load, share = self.kwh("load"), self.stored_solar_frac or 0.0
        return (self.kwh("direct") + share * self.kwh("delivered")) / load if load > 0.0 else None

    @property
    def is_solar_only(self) -> bool:
        """Nothing was charged from the utility, whatever the plan asked for."""
        return self.kwh("from_grid") <= MATTERS_KWH

    def by_month(self) -> list[dict]:
        """A row for each calendar month: charged from the utility, from solar, on the cells, given by the units."""
        given_kw = self.delivered_kw + self.sold_kw
        series = {
            "from_grid": self.from_grid_kw,
            "from_solar": self.from_solar_kw,
            "on_cells": self.dc_kw,
            "discharge": given_kw,
        }
        sums = {name: np.bincount(self.month, kw * self.step_h, minlength=13).tolist() for name, kw in series.items()}
        return [{"month": m, **{name: sums[name][m] for name in series}} for m in range(1, 13)]

    def document(self) -> dict:
        """The sources part of the study document; energy in kWh a year."""
        return {
            "charge_from_grid": self.kwh("from_grid"),
            "charge_from_solar": self.kwh("from_solar"),
            "solar_on_cells": self.kwh("dc"),
            "solar_direct": self.kwh("direct"),
            "stored_solar_frac": self.stored_solar_frac,
            "credit_lost": self.credit_lost,
            "lost": dict(self.lost_kwh),
            "self_consumption_frac": self.self_consumption_frac,
            "self_sufficiency_frac": self.self_sufficiency_frac,
            "charge_from": "solar" if self.solar_only else "any",
            "is_solar_only": self.is_solar_only,
            "by_month": self.by_month(),
        }


def sources_of(run: HouseYear) -> Sources:
    """Tell what charged the units of a year, what it lost, and how much of the solar stayed in the house.

    Parameters
    ----------
    run : HouseYear

    Returns
    -------
    Sources

    Notes
    -----
    Solar serves the load first, then the units, then the on-grid draw; what the units need beyond is bought:
    ``from_grid = min(charge, import)``. Sub-panel solar that is switched over with its circuits charges their unit
    behind the transfer switch, whatever the meter shows; there only a unit that the plan fills from the utility can
    have bought. What a unit gives is taken as the year's mix of what was stored. Self-consumption is solar used on site
    over solar generated, self-sufficiency load met by solar or solar-charged storage over load.

    References
    ----------
    .. [1] R. Luthander, J. Widen, D. Nilsson, J. Palm, Applied Energy 142 (2015) 80-94, abstract (self-consumption);
       the wording of self-sufficiency is that of German studies, read in a third party's text.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> from simulate.house.year import run_year
    >>> run = run_year(read_site())
    >>> sources = sources_of(run)
    >>> abs(sources.kwh("from_grid") + sources.kwh("from_solar") - run.energy_kwh()["charge"]) < 1e-6
    True
    """
    year, house, h = run.year, run.house, run.hours.step_h
    charge_kw, spilled = _charge_by_pool_kw(run), _spilled_kw(run)
    from_grid = _from_grid_kw(run, charge_kw)
    from_solar = year.charge_kw - from_grid
    dc_kw, on_grid = house.solar_dc_kw - spilled, _on_grid_kw(run, spilled)
    sold = _sold_kw(run, on_grid)
    delivered, unused = year.discharge_kw - sold, year.export_kw - sold + year.curtailed_kw
    direct = np.minimum(house.solar_kw - (unused - spilled) - from_solar, year.load_kw - delivered)
    eta = np.array([[pool.charge_efficiency] for pool in run.asked.pools]).reshape(-1, 1)
    stored = (charge_kw * eta).sum(axis=0)
    of_solar = float((stored * _share(from_solar, year.charge_kw) + dc_kw).sum())
    return Sources(
        month=run.hours.month,
        step_h=h,
        load_kw=year.load_kw,
        solar_kw=year.solar_kw,
        from_grid_kw=from_grid,
        from_solar_kw=from_solar,
        dc_kw=dc_kw,
        direct_kw=np.maximum(direct, 0.0),
        delivered_kw=delivered,
        sold_kw=sold,
        unused_kw=unused,
        stored_solar_frac=of_solar / float((stored + dc_kw).sum()) if (stored + dc_kw).any() else None,
        lost_kwh=_lost_kwh(run, charge_kw, on_grid),
        credit_lost=_credit_lost(run, from_solar),
        currency=house.site.rate.currency,
        solar_only=house.site.operation.charge_from == "solar",
    )


def _charge_by_pool_kw(run: HouseYear) -> np.ndarray:
    """AC charging of each pool, shape (n_pools, n_steps). [kW]

    A pool that gives nothing gains what it was charged; what is left of the step's charging went back through the
    outputs of pools that serve beside sub-panel solar.
    """
    year, wish = run.year, run.asked.wish
    eta = np.array([[pool.charge_efficiency] for pool in run.asked.pools]).reshape(-1, 1)
    gained = np.diff(year.pool_kwh, axis=1) - wish.dc_kw * year.step_h
    kw = np.where(year.pool_discharge_kw > 0.0, 0.0, np.maximum(gained, 0.0)) / (eta * year.step_h)
    left = np.maximum(year.charge_kw - kw.sum(axis=0), 0.0)
    return kw + left * _share(wish.inside_kw, wish.inside_kw.sum(axis=0))


def _share(part, whole) -> np.ndarray:
    return np.divide(part, whole, out=np.zeros(np.shape(part)), where=np.asarray(whole) > 0.0)


def _spilled_kw(run: HouseYear) -> np.ndarray:
    """Solar that found the cells full: all that is curtailed where solar is connected to them. [kW]"""
    return run.year.curtailed_kw * bool(run.house.solar_dc_kw.any())


def _on_grid_kw(run: HouseYear, spilled) -> np.ndarray:
    """On-grid draw of the units, from the balance at the meter. [kW]"""
    year = run.year
    draw = year.import_kw - year.export_kw - year.load_kw - year.charge_kw + year.discharge_kw
    draw = draw + run.house.solar_kw - (year.curtailed_kw - spilled)
    return np.where(np.abs(draw) < 1e-9, 0.0, draw)


def _from_grid_kw(run: HouseYear, charge_kw) -> np.ndarray:
    """AC charging that was bought, shape (n_steps,). [kW]"""
    year, wish = run.year, run.asked.wish
    before = year.pool_kwh[:, :-1] + wish.dc_kw * year.step_h
    may_buy = (wish.inside_kw <= 0.0) | (before < wish.targets_kwh[:, :, 3])
    return np.minimum((charge_kw * may_buy).sum(axis=0), year.import_kw)


def _sold_kw(run: HouseYear, on_grid) -> np.ndarray:
    """What the units exported, shape (n_steps,): beyond what the house needed after solar. [kW]"""
    year = run.year
    if not run.asked.wish.export:
        return np.zeros_like(year.export_kw)
    need = np.maximum(year.load_kw + on_grid - run.house.solar_kw, 0.0)
    return np.clip(year.discharge_kw - need, 0.0, year.export_kw)


def _lost_kwh(run: HouseYear, charge_kw, on_grid) -> dict[str, float]:
    year, pools, h = run.year, run.asked.pools, run.hours.step_h
    gave_kw = year.pool_discharge_kw.sum(axis=1)
    eta_c = np.array([pool.charge_efficiency for pool in pools])
    eta_d = np.array([pool.discharge_efficiency for pool in pools])
    lost = {
        "charge": float(charge_kw.sum(axis=1) @ (1.0 - eta_c)),
        "discharge": float(gave_kw @ (1.0 / eta_d - 1.0)),
        "on_grid": float(on_grid.sum()),
    }
    lost["no_load"] = float(year.loss_kw.sum()) - sum(lost.values())
    lost["curtailed"] = float(year.curtailed_kw.sum())
    return {name: lost[name] * h for name in LOSSES}


def _credit_lost(run: HouseYear, from_solar) -> float:
    site = run.house.site
    main = site.solar is not None and site.solar.connected_at == "main-panel"
    exports = site.solar.export if main else site.subpanel.export
    return float((from_solar * run.asked.prices.sell_per_kwh).sum() * run.hours.step_h) if exports else 0.0
