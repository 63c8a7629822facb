"""One design that is changed step by step: what a change does not touch is kept, the rest is worked out anew."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from threading import Lock
from types import EllipsisType

from profiles.noun import BadInput
from simulate.bill.four_bills import FourBills
from simulate.document.aged import at_end_of_warranty
from simulate.document.study import Study, storm_of
from simulate.house.asked import prices_of
from simulate.house.bills import bills_of
from simulate.house.bound import Bound, bound_of
from simulate.house.house import House, house_of
from simulate.house.notes import house_cautions
from simulate.house.ride import RideThrough, ride_through
from simulate.house.walked import HouseYear, walk_asked
from simulate.house.year import ask
from simulate.site.site import Site, read_site, site_of

LEGS = ("A", "B", "both")
MOST_YEARS = 48
"""Years, bills and bounds that are kept; one of hours of two pools is 1.5 MB."""
MOST_RIDES = 96
"""Rides that are kept; one of hours is 1.5 MB."""
HOURLY_STEPS = 8784


class Draft:
    """A design and what it comes to; a changed copy re-does only what the change touches.

    A circuit that is switched on or off leaves the series, the prices and, where it is not switched for the rate, the
    year as they are; only its outages are walked again. Units, reserve and plan leave the series and the prices as
    they are. Every figure equals that of `run_year`, `ride_through` and `study` of the same site.

    Parameters
    ----------
    site : Site or House, optional
        The embedded demo site without one.

    Attributes
    ----------
    site : Site
        The design as a site file would state it.

    Examples
    --------
    >>> draft = Draft()
    >>> draft.units, len(draft.backed_up)
    ({'A': 1, 'B': 1}, 8)
    >>> more = draft.changed(circuits={"Well pump": False}, units={"A": 2})
    >>> more.units, len(more.backed_up), draft.units
    ({'A': 2, 'B': 1}, 7, {'A': 1, 'B': 1})
    """

    def __init__(self, site: Site | House | None = None):
        house = site if isinstance(site, House) else house_of(read_site() if site is None else site)
        self.site, self._kept = house.site, _Kept(house)

    def changed(
        self,
        *,
        circuits: Mapping[str, bool] | Iterable[str] | None = None,
        units: Mapping[str, int] | None = None,
        reserve: float | tuple | str | None | EllipsisType = ...,
        plan: str | None | EllipsisType = ...,
        load_case: str | None = None,
    ) -> Draft:
        """A changed copy; what is not named stays as it is.

        Parameters
        ----------
        circuits : mapping or iterable of str, optional
            By name whether it is on the sub-panel, or the names of all that shall be. What is taken off is on the main
            panel, or a candidate where the site file says so.
        units : mapping, optional
            Number of units by leg, "A", "B" or "both", where the site file has a group of units on that leg.
        reserve : float or tuple of twelve, optional
            Share of the usable energy; None for the default.
        plan : str, optional
            As `operation.plan`; None for the default.
        load_case : "usual", "frugal" or "storm", optional

        Raises
        ------
        BadInput
            A circuit, a leg or a value that the site file does not take.
        """
        data = self.site.model_dump(by_alias=True, exclude_unset=True)
        if circuits is not None:
            data["circuit"] = self._circuit_tables(circuits)
        if units is not None:
            data["battery"] = self._battery_tables(data["battery"], units)
        operation = {"reserve": reserve, "plan": plan}
        stated = {key: value for key, value in operation.items() if value is not ...}
        kept = {key: value for key, value in data.get("operation", {}).items() if key not in stated}
        data["operation"] = kept | {key: value for key, value in stated.items() if value is not None}
        if load_case is not None:
            data["outage"] = {**data.get("outage", {}), "load_case": load_case}
        return self._at(site_of(data, file=self.site.file, folder=self.site.folder))

    def _at(self, site: Site) -> Draft:
        other = object.__new__(type(self))
        other.site, other._kept = site, self._kept
        return other

    def _circuit_tables(self, circuits) -> list[dict]:
        known = [circuit.name for circuit in self.site.circuit]
        for name in circuits:
            if name not in known:
                way_out = "known: " + ", ".join(known)
                raise BadInput("is not a circuit of the site", file=self.site.file, value=name, way_out=way_out)
        if isinstance(circuits, Mapping):
            wanted = {circuit.name: circuit.on == "sub-panel" for circuit in self.site.circuit} | dict(circuits)
        else:
            wanted = dict.fromkeys(known, False) | dict.fromkeys(circuits, True)
        return [self._kept.circuit_table(name, wanted[name]) for name in known]

    def _battery_tables(self, tables, units: Mapping[str, int]) -> list[dict]:
        counts = counts_on_legs(self._kept.house.site, self.units | dict(units))
        return [{**table, "count": counts[group.name]} for table, group in zip(tables, self.site.battery, strict=True)]

    @property
    def backed_up(self) -> tuple[str, ...]:
        """Circuits on the sub-panel, in file order."""
        return tuple(circuit.name for circuit in self.site.circuit if circuit.on == "sub-panel")

    @property
    def units(self) -> dict[str, int]:
        """Number of units by leg, of the legs on which the site file has a group of units."""
        return units_on_legs(self.site)

    @property
    def origin(self) -> Site:
        """The site that the first of these drafts was made from."""
        return self._kept.house.site

    @property
    def switched(self) -> frozenset[str]:
        """Circuits whose place moves the year: those that may be switched for the rate, and their multiwire mates."""
        return self._kept.switched

    @property
    def plan(self) -> str:
        """The plan by which the year is run, the default where none is stated."""
        return self.run.asked.plan

    @property
    def reserve(self):
        """The reserve that the year is run with, the default where none is stated."""
        return self.run.asked.reserve

    @cached_property
    def house(self) -> House:
        """Its series, shared with every other change of the same site."""
        return self._kept.house_with(self.site)

    @cached_property
    def run(self) -> HouseYear:
        """Its year on the utility, as `run_year`."""
        kept = self._kept
        run = kept.years(self._year_key, lambda: walk_asked(ask(self.house, kept.prices)))
        if run.house.site is self.site:
            return run
        may_switch = tuple(circuit.name for circuit in self.house.circuits if circuit.rate_transfer)
        return replace(run, asked=replace(run.asked, house=self.house, may_switch=may_switch))

    @cached_property
    def ride(self) -> RideThrough:
        """Its outages, as `ride_through`."""
        key = (self._year_key, self.backed_up, self.site.outage.load_case)
        return self._kept.rides(key, lambda: ride_through(self.run))

    @cached_property
    def aged(self) -> RideThrough:
        """Its outages with units at the end of their warranty, as `Study.aged`."""
        run = self._kept.aged(self._year_key, lambda: at_end_of_warranty(self.run))
        if run.house.pools == self.house.pools:
            return self.ride
        key = (self._year_key, self.backed_up, self.site.outage.load_case, "aged")
        return self._kept.rides(key, lambda: ride_through(self._at_home(run)))

    def _at_home(self, run: HouseYear) -> HouseYear:
        """A year with aged units that was walked for other circuits, with those of this design."""
        now = {"circuit": self.site.circuit, "outage": self.site.outage}
        house = replace(self.house, site=run.house.site.model_copy(update=now), pools=run.house.pools)
        return replace(run, asked=replace(run.asked, house=house))

    @cached_property
    def storm(self) -> RideThrough:
        """Its outages where loads are those of a storm."""
        if self.site.outage.load_case == "storm":
            return self.ride
        key = (self._year_key, self.backed_up, "storm", self.site.outage.load_case)
        return self._kept.rides(key, lambda: storm_of(self.ride))

    @cached_property
    def bills(self) -> FourBills:
        """Its bills, as `bills_of` the year."""
        return self._kept.bills(self._year_key, lambda: bills_of(self.run))

    @cached_property
    def bound(self) -> Bound:
        """What no plan can beat."""
        return self._kept.bounds(self._year_key, lambda: bound_of(self.run, self.bills))

    @cached_property
    def study(self) -> Study:
        """The whole job, as `study` of the site; what is lazy there is lazy here."""
        return DraftStudy(self.site, self.run, self.ride, self.storm, self.bills, draft=self)

    @cached_property
    def _year_key(self) -> tuple:
        """What the year on the utility follows from, among what a draft can change."""
        site, operation = self.site, self.site.operation
        counts = tuple(group.count for group in site.battery)
        moved = tuple(circuit.name in self._kept.switched and circuit.on == "sub-panel" for circuit in site.circuit)
        return counts, operation.reserve, operation.plan, moved, site.is_medical


@dataclass(frozen=True, eq=False)
class DraftStudy(Study):
    """The whole job on a draft: what its draft keeps is not worked out again."""

    draft: Draft = None

    @cached_property
    def aged(self) -> RideThrough:
        """Every outage with units at the end of their warranty."""
        return self.draft.aged

    @cached_property
    def bound(self) -> Bound:
        """What no plan can beat, and where the plan stands."""
        return self.draft.bound


class _Kept:
    """What the drafts of one site share."""

    def __init__(self, house: House):
        self.house, self.prices, site = house, prices_of(house), house.site
        self.tables = {c.name: c.model_dump(by_alias=True, exclude_unset=True) for c in site.circuit}
        self.off = {c.name: "main" if c.on == "sub-panel" else c.on for c in site.circuit}
        self.switched = _switched_for_the_rate(site)
        longer = max(1, house.hours.n_steps // HOURLY_STEPS)
        self.years, self.aged, self.bills, self.bounds = (_Last(max(4, MOST_YEARS // longer)) for _ in range(4))
        self.rides = _Last(max(4, MOST_RIDES // longer))

    def circuit_table(self, name: str, is_on: bool) -> dict:
        """A circuit as the site file has it, but for where it is."""
        table = self.tables[name]
        if is_on == (table.get("on", "sub-panel") == "sub-panel"):
            return table
        return {**table, "on": "sub-panel" if is_on else self.off[name]}

    def house_with(self, site: Site) -> House:
        """The series under another design."""
        if site == self.house.site:
            return self.house
        return replace(self.house.with_battery_of(site), cautions=tuple(house_cautions(site)))


class _Last:
    """What was made last, by key; threads may make the same twice, and both are the same."""

    def __init__(self, most: int):
        self.most, self._lock, self._made = most, Lock(), OrderedDict()

    def __call__(self, key, make):
        with self._lock:
            if key in self._made:
                self._made.move_to_end(key)
                return self._made[key]
        made = make()
        with self._lock:
            self._made[key] = made
            while len(self._made) > self.most:
                self._made.popitem(last=False)
        return made


def _switched_for_the_rate(site: Site) -> frozenset[str]:
    """Circuits whose place moves the year: those that may be switched over for the rate, and their multiwire mates."""
    if site.subpanel.mode != "transfer":
        return frozenset()
    rated = {circuit.name for circuit in site.circuit if circuit.rate_transfer}
    mates = {circuit.name for circuit in site.circuit if circuit.multiwire_with in rated}
    return frozenset(rated | mates | {c.multiwire_with for c in site.circuit if c.name in rated and c.multiwire_with})


def units_on_legs(site: Site) -> dict[str, int]:
    """Number of units by leg, of the legs on which the site has a group of units.

    Examples
    --------
    >>> units_on_legs(read_site())
    {'A': 1, 'B': 1}
    """
    by_leg = {leg: [group.count for group in site.battery if group.leg == leg] for leg in LEGS}
    return {leg: sum(counts) for leg, counts in by_leg.items() if counts}


def counts_on_legs(site: Site, on_leg: Mapping[str, int]) -> dict[str, int]:
    """Count of each battery group: in file order up to its own count, what is left on the last of its leg.

    Raises
    ------
    BadInput
        Units on a leg on which the site has no group.

    Examples
    --------
    >>> counts_on_legs(read_site(), {"A": 3, "B": 0})
    {'Left unit': 3, 'Right unit': 0}
    """
    bare = [leg for leg, n in on_leg.items() if n and not any(group.leg == leg for group in site.battery)]
    if bare:
        way_out = f'give a [[battery]] of leg = "{bare[0]}" with count = 0'
        raise BadInput("has no group of units", file=site.file, key="battery.leg", value=bare[0], way_out=way_out)
    left, out = dict(on_leg), {}
    for group in site.battery:
        more = [one for one in site.battery if one.leg == group.leg][-1] is not group
        take = min(left.get(group.leg, 0), group.count) if more else left.get(group.leg, 0)
        out[group.name] = take
        left[group.leg] = left.get(group.leg, 0) - take
    return out
