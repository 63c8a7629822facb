"""How many units: what each further one adds on the leg that fails first; other sizes and other sites beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from profiles.rate.prices import Prices
from simulate.designs.design import Design, design_of, where_text
from simulate.designs.draft import Draft
from simulate.designs.varied import values_of, vary_of
from simulate.document.study import cautions_for
from simulate.house.asked import prices_of
from simulate.house.house import House, cold_steps, house_of
from simulate.house.ride import RideThrough, ride_through
from simulate.house.sources import SiteSources
from simulate.house.walked import HouseYear
from simulate.house.year import run_year
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.cautions import ONE_YEAR
from simulate.site.pools import leg_of, pools_of
from simulate.site.site import Site

REBUILDS = ("site", "weather", "circuit", "service", "solar")
"""Tables whose keys change the series of the house."""
MOST_UNITS = 99


@dataclass(frozen=True, eq=False)
class Comparison:
    """Designs side by side; a row of each is plain data that JSON can hold.

    Attributes
    ----------
    compared : str
        "battery units", a key of the site file, or "sites".
    designs : tuple of Design
    notes : tuple of str

    Notes
    -----
    A row holds what `shared_row.shared_row` makes, and: label, n_units, where ("2 on A, 1 on B"), by_leg, as_written
    (the site's own design), usable_kwh and usable_end_kwh (at the end of the warranty) [kWh], hours by year and season
    (p10, p50, worst) and leg_hours [h] of the circuits that are carried, first_lost, why_frac (share of outages by what
    ended them), more_units_cure_frac (those that ended empty; units cure no other cause), covered_frac (share that
    lasts 4 to 72 h) and ridden_through_frac (both 0 where a first-priority circuit is never carried),
    unserved_kwh_per_year of all backed-up circuits (None where the site names no interruptions), recharge_h,
    no_load_kwh and on_grid_kwh a year, saving a year (it may be negative), installed_price, more_hours (nine in ten of
    the year, against the row before; None where the two carry other circuits), hours_per_1000 and more_hours_per_1000
    (of the currency; None for a design that stands apart).
    """

    compared: str
    designs: tuple[Design, ...]
    notes: tuple[str, ...] = ()

    @property
    def rows(self) -> list[dict]:
        """A row for each design, plain data."""
        return [design.row for design in self.designs]

    def document(self) -> dict:
        """The document of `keeplit compare --json`."""
        site = self.designs[0].ride.house.site
        cautions = [text for design in self.designs for text in cautions_for(design.ride.run)]
        return {
            "site": site.site.name,
            "compared": self.compared,
            "currency": site.rate.currency,
            "load_case": self.designs[0].ride.load_case,
            "start_soc": site.outage.start_soc,
            "rows": self.rows,
            "notes": list(self.notes),
            "cautions": list(dict.fromkeys(cautions)),
        }

    def to_frame(self):
        """One row a design; nested figures become columns such as hours.winter.p10."""
        import pandas as pd

        rows = [row | {"never_carried": "; ".join(row["never_carried"])} for row in self.rows]
        return pd.json_normalize(rows)

    def _repr_html_(self) -> str:
        names = ("label", "hours.winter.p10", "hours.summer.p10", "hours.year.worst", "saving", "installed_price")
        return self.to_frame()[list(names)].round(1).to_html()


def compared(site: Site, other: Site | None = None, vary: str | None = None, units: str | None = None) -> Comparison:
    """What `keeplit compare` is asked for: a second site, KEY=VALUES, or total numbers of units (1:6 without any).

    Raises
    ------
    BadInput
        More than one of them.
    """
    if sum(one is not None for one in (other, vary, units)) > 1:
        raise BadInput(
            "takes one of a second site, --vary and --units", key="compare", way_out="compare one thing at a time"
        )
    if other is not None:
        return compare_sites(site, other)
    if vary is not None:
        ((key, values),) = vary_of([vary]).items()
        return compare_values(site, key, values)
    try:
        return compare_units(site, _unit_totals("1:6" if units is None else units))
    except BadInput as error:
        if error.key not in ("units", "--vary"):
            raise
        raise BadInput(error.rule, key="--units", value=units, way_out="write 1:6 or 1,2,4") from None


def _unit_totals(text: str) -> list:
    try:
        return values_of(text)
    except BadInput as error:
        raise BadInput(error.rule, key="--units", value=text, way_out="write 1:6 or 1,2,4") from None


def compare_units(site: Site, totals: Sequence[int] = (1, 2, 3, 4, 5, 6)) -> Comparison:
    """Compare numbers of battery units, each further one on the leg whose priority-1 circuits fail first.

    Parameters
    ----------
    site : Site
        A leg takes units only where the file has a battery group on it; a group with `count = 0` counts.
    totals : sequence of int
        Total numbers of units.

    Returns
    -------
    Comparison
        In the order of `totals`, each simulated in full: nothing is inferred from a smaller or a larger number.

    Raises
    ------
    BadInput
        Not whole numbers between 1 and 99.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> compare_units(read_site(), [2]).rows[0]["where"]
    '1 on A, 1 on B'
    """
    totals = tuple(totals)
    if not totals or not all(isinstance(n, int | np.integer) and 1 <= n <= MOST_UNITS for n in totals):
        raise BadInput("must be whole numbers from 1 to 99", key="units", value=totals, way_out="write 1:6")
    found, designs = {n: ride for n, ride in _ladder(Draft(site), max(totals)) if n in totals}, []
    for n in totals:
        label = f"{n} {'unit' if n == 1 else 'units'}: {where_text(found[n].house)}"
        designs.append(design_of(label, found[n], site, designs[-1] if designs else None))
    return Comparison("battery units", tuple(designs), (*_unit_notes(site), *_notes(site, designs)))


def compare_values(site: Site, key: str, values: Sequence) -> Comparison:
    """Compare values of one key of the site file, such as "solar.dc_kw" or "battery.usable_kwh".

    Parameters
    ----------
    site : Site
    key : str
        As `Site.with_values` takes it.
    values : sequence
    """
    if not len(values):
        raise BadInput("needs at least one value", key=key, way_out="write KEY=1,2,3")
    series, designs = _Series(site), []
    for value in values:
        _, ride = series.simulated(site.with_values({key: value}), key)
        designs.append(design_of(f"{key} = {value}", ride, site, designs[-1] if designs else None))
    return Comparison(key, tuple(designs), _notes(site, designs))


def compare_sites(site: Site, other: Site) -> Comparison:
    """Compare two site files, row by row; each is simulated on its own series."""
    designs = []
    for one in (site, other):
        ride = ride_through(run_year(house_of(one)))
        designs.append(design_of(f"{one.site.name} ({one.file})", ride, one, designs[-1] if designs else None))
    if site.rate.currency != other.rate.currency:
        raise BadInput(
            "must be the currency of the first site",
            file=other.file,
            key="rate.currency",
            value=other.rate.currency,
            way_out=f'write "{site.rate.currency}"',
        )
    return Comparison("sites", tuple(designs), _notes(site, designs))


class _Series:
    """The series that designs share, built once: loads, weather, solar, prices."""

    def __init__(self, site: Site):
        self.site, self.house = site, house_of(site)
        self.sources, self.prices = SiteSources(site), prices_of(self.house)

    def simulated(self, site: Site, key: str = "battery") -> tuple[HouseYear, RideThrough]:
        """Year and outages of a changed site, with what the change leaves as it was."""
        table = key.split(".")[0].split("[")[0]
        house = house_of(site) if table in REBUILDS else self._with_battery_of(site)
        prices: Prices | None = None if table in ("site", "rate") else self.prices
        run = run_year(house, prices)
        return run, ride_through(run)

    def _with_battery_of(self, site: Site) -> House:
        pools = pools_of(site)
        cold = cold_steps(site, pools, self.house.hours, self.sources)
        return replace(self.house, site=site, pools=pools, cold=cold)


def _ladder(draft: Draft, most: int):
    """Total and outages of 1, 2, 3, ... units, each one more on the leg that fails first."""
    on_leg, ride = dict.fromkeys(draft.units, 0), None
    for n in range(1, most + 1):
        on_leg[leg_that_fails_first(draft.house, ride, on_leg)] += 1
        ride = draft.changed(units=on_leg).ride
        yield n, ride


def leg_that_fails_first(house: House, ride: RideThrough | None, on_leg: dict[str, int]) -> str:
    """The leg whose circuits of the first priority are lost first, among legs that can take a unit.

    Parameters
    ----------
    house : House
        As it is written, for what the circuits use.
    ride : RideThrough or None
        With the units of `on_leg`; None before the first.
    on_leg : dict
        Units on each leg that can take one.

    Notes
    -----
    A leg without a unit that first-priority circuits need fails at once. Between two legs that are fed the one that
    goes dark first in more of the worst tenth of the outages, which are what "nine in ten" is about; a tie goes to the
    one with more first-priority energy for each unit.
    """
    if len(on_leg) == 1:
        return next(iter(on_leg))
    need = _first_priority_kwh(house)
    per_unit = lambda leg: (need[leg] / (on_leg[leg] + 1), leg == "A")
    bare = [leg for leg in on_leg if not on_leg[leg] and need[leg] > 0.0]
    if bare:
        return max(bare, key=per_unit)
    fed = [leg for leg in on_leg if on_leg[leg]]
    first = _dark_first(ride) if len(fed) == 2 else dict.fromkeys(on_leg, 0)
    return max(on_leg, key=lambda leg: (first[leg], *per_unit(leg)))


def _first_priority_kwh(house: House) -> dict[str, float]:
    """Energy of the first priority on each leg in the year, two-pole circuits half on each. [kWh]"""
    backed = [house.site.circuit[k] for k in house.backed]
    out = {"A": 0.0, "B": 0.0}
    for k, circuit in zip(house.backed, backed, strict=True):
        if circuit.priority == min(one.priority for one in backed):
            leg = leg_of(circuit, house.pools)
            for one in leg:
                out[one] += float(house.circuit_kw[k].sum()) * house.hours.step_h / len(leg)
    return out


def _dark_first(ride: RideThrough) -> dict[str, int]:
    """In how many of the worst tenth of outages each leg is the first to leave a first-priority circuit unserved."""
    house = ride.house
    worst = ride.hours <= nine_in_ten(ride.hours)
    top = min((circuit.priority for circuit in house.circuits), default=0)
    needed = (house.share[:, [c.priority == top for c in house.circuits]] > 0.0).any(axis=1)
    when = np.where(needed, ride.dark.dark_h, np.inf)[worst]
    lost = np.isfinite(when).any(axis=1)
    return {pool.legs: int((lost & (when[:, p] <= when.min(axis=1))).sum()) for p, pool in enumerate(house.pools)}


def _unit_notes(site: Site) -> list[str]:
    legs = {group.leg for group in site.battery}
    bare = {"A", "B"} - legs
    wired = {leg for circuit in site.circuit if circuit.on == "sub-panel" for leg in leg_of(circuit, pools_of(site))}
    notes = ["each further unit goes on the leg whose priority-1 circuits fail first in most of the worst outages"]
    if "both" not in legs:
        notes += [
            f"leg {leg} carries circuits and has no battery group: give one with count = 0 to compare units there"
            for leg in sorted(bare & wired)
        ]
    return notes


def _notes(site: Site, designs) -> tuple[str, ...]:
    case = f"load case {site.outage.load_case}, units at the start: {site.outage.start_soc}"
    hours = "hours to the first unserved priority-1 circuit; nine in ten reach p10"
    return hours, case, ONE_YEAR.format(n=len(designs[0].ride.hours))
