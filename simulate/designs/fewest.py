"""The reverse question: the fewest units, their legs, the circuits and the reserve that reach so many hours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from html import escape

from profiles.loads.circuit import CONSEQUENCES
from profiles.noun import BadInput
from simulate.designs.choose import check_target, movers_of
from simulate.designs.design import where_text
from simulate.designs.draft import Draft
from simulate.designs.proposals import MOST_TO_ENUMERATE, in_order, programme
from simulate.designs.sets import Sets
from simulate.designs.shared_row import Target, on_front, shared_row
from simulate.document.answers import lost_first
from simulate.document.worth import PLANS_BY_CALENDAR
from simulate.house.asked import plan_and_reserve, prices_of
from simulate.house.house import House
from simulate.panel.checks.check import check_panel
from simulate.site.cautions import AFTER_TRIP, ALWAYS, LIFE_SUPPORT
from simulate.site.site import Site, site_of

RESERVES = tuple(k / 10.0 for k in range(11))
"""The reserves that are tried, the lowest first."""
MOST_UNITS = 6
MORE_UNITS = 4
"""Further units that are tried where those that were asked for do not meet a target."""
BY_UNITS_ALONE = ("charging-circuit", "source-circuit", "busbar", "service-headroom", "neutral-bond", "generator")
"""Checks that depend on the units and on no candidate: where one fails anew, no set of circuits is tried."""


@dataclass(frozen=True)
class Designed:
    """The fewest units for a target, and what stands beside them.

    Attributes
    ----------
    hours, share : float
        The target: so many hours [h] in that share of the outages of the year.
    load_case : str
    best : dict or None
        The row of the design: the fewest units, then the most candidates by consequence, then the lowest reserve in
        tenths; None where nothing meets the target.
    rows : tuple of dict
        By number of units the best design, or what comes nearest; `checks_kept` (no check fails anew), `on_front` (of
        those that keep the checks and carry the first priority no other is as cheap and lasts longer).
    changes : tuple of str
        What would have to change where nothing meets the target.
    left_out : tuple of str
        Candidates that the best design leaves out.
    stop : tuple of dict
        What must be put right before the best design is built; see `answers.stop_of`.
    notes : tuple of str
    """

    hours: float
    share: float
    load_case: str
    best: dict | None
    rows: tuple[dict, ...]
    changes: tuple[str, ...]
    left_out: tuple[str, ...]
    stop: tuple[dict, ...]
    notes: tuple[str, ...]
    site: Site = field(repr=False, compare=False)

    @property
    def text(self) -> str:
        """The answer in one sentence."""
        target = f"{self.hours:g} h in {self.share:.0%} of the outages ({self.load_case} load)"
        if self.best is None:
            return f"No design of these units meets {target}."
        named = ", ".join(self.best["circuits"])
        return f"{self.best['label']}, reserve {_reserve(self.best)}: meets {target} with {named}."

    def document(self) -> dict:
        """The document of `keeplit design --json`."""
        medical = (LIFE_SUPPORT,) if self.site.is_medical else ()
        told = {name: getattr(self, name) for name in ("hours", "share", "load_case", "best")}
        lists = ("rows", "changes", "left_out", "stop", "notes")
        return {
            "site": self.site.site.name,
            "currency": self.site.rate.currency,
            **told,
            "text": self.text,
            **{name: list(getattr(self, name)) for name in lists},
            "cautions": list(dict.fromkeys([*medical, AFTER_TRIP, *ALWAYS])),
        }

    def to_frame(self):
        """One row a number of units."""
        import pandas as pd

        return pd.json_normalize([row | {"never_carried": "; ".join(row["never_carried"])} for row in self.rows])

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.text)}</p>" + self.to_frame().to_html()


def design_site(site: Site, *, hours: float = 24.0, share: float = 0.9, most_units: int = MOST_UNITS) -> Designed:
    """The fewest units for a target: their legs, the circuits and the reserve, with the panel's checks kept.

    Parameters
    ----------
    site : Site
        What is on the sub-panel stays there; candidates are added as far as the target and the panel allow. A leg
        without a group of units is taken to get units equal to those of the other leg.
    hours, share : float
        So many hours [h] in that share [0 to 1] of the outages of the year.
    most_units : int
        As many units are tried.

    Returns
    -------
    Designed

    Raises
    ------
    BadInput
        A target that is none, or no whole number of units from 1 to 20.

    Notes
    -----
    Fewest units first; of equal numbers the most candidates by consequence (one of a graver kind outweighs all of the
    lesser), then the lowest reserve on a grid of tenths (by halving, and said so, under a plan whose year takes about a
    second), then the longest mean. Rows with more units stand at the reserve of the best where they meet the target
    with it (full under such a plan). Every placing on legs A and B, or on
    both, is tried, and every set of up to 16 candidates that is not ruled out by a part of it: nothing is inferred
    from another number of units. A design never carries less of what the site file puts on the sub-panel than another
    placing could, and fails no panel check that the file as written passes.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> found = design_site(read_site(), hours=12.0, most_units=2)
    >>> found.best["units"], found.best["meets"]
    ({'A': 1, 'B': 1, 'both': 0}, True)
    """
    check_target(site, hours, share)
    if type(most_units) is not int or not 1 <= most_units <= 20:
        raise BadInput("must be a whole number from 1 to 20", key="most_units", value=most_units, way_out="write 6")
    search = Search(site, Target(hours, share, tuple(range(1, 13)), site.outage.load_case))
    rows, best = [], None
    for n in range(1, most_units + 1):
        found = search.with_units(n) if best is None else search.beside(n, best[0][1])
        rows.append(search.row(*(found or search.nearest(n)), meets=found is not None))
        if found and best is None:
            best = (found, rows[-1])
    kept = [row for row in rows if row["checks_kept"]]
    front = [row["label"] for row, is_on in zip(kept, on_front(kept), strict=True) if is_on]
    marked = tuple(row | {"on_front": row["label"] in front} for row in rows)
    draft = None if best is None else search.at(*best[0])
    candidates = [circuit.name for circuit in site.circuit if circuit.on == "candidate"]
    return Designed(
        hours=hours,
        share=share,
        load_case=site.outage.load_case,
        best=None if best is None else best[1],
        rows=marked,
        changes=() if best else changes_of(search, most_units),
        left_out=() if draft is None else tuple(name for name in candidates if name not in draft.backed_up),
        stop=() if draft is None else tuple(draft.study.answer["stop"]),
        notes=tuple(search.notes),
        site=site,
    )


def _reserve(row: dict) -> str:
    return f"{row['reserve']:.0%}" if isinstance(row["reserve"], float | int) else "by month"


def changes_of(search: Search, most_units: int) -> tuple[str, ...]:
    """What would have to change so that a target can be met, each tried; and what these units do reach."""
    out = []
    for n in range(most_units + 1, most_units + 1 + MORE_UNITS):
        found = search.with_units(n)
        if found:
            out.append(f"{search.row(*found, meets=True)['label']} would meet it: more than the {most_units} asked for")
            break
    near = search.nearest(most_units)
    row = search.row(*near, meets=False)
    out.append(f"with {row['label']}: {row['why']}")
    off = _off_until_met(search, *near)
    if off:
        out.append(f"with {row['label']} and these off in an outage, or left on the main panel: {', '.join(off)}")
    if search.unavoidable:
        out.append(f"carried by no placing of these units: {', '.join(sorted(search.unavoidable))}")
    return tuple(out)


def _off_until_met(search: Search, found: Found, reserve) -> list[str]:
    """Circuits to leave off until the target is met, the least by consequence first; [] where that does not help."""
    draft = search.at(found, reserve)
    circuits = [circuit for circuit in draft.site.circuit if circuit.name in draft.backed_up]
    may = sorted(
        (one for one in circuits if one.may_be_switched_off), key=lambda one: (-one.consequence, -one.priority)
    )
    off = []
    for circuit in may:
        off.append(circuit.name)
        fewer = draft.changed(circuits=dict.fromkeys(off, False))
        if fewer.backed_up and search.meets(fewer):
            return off
    return []


@dataclass(frozen=True)
class Found:
    """What was found for some units on some legs.

    Attributes
    ----------
    units : dict
        By leg.
    circuits : tuple of str or None
        All that are backed up; None where nothing meets the target.
    value : float
        Candidates backed up, counted by consequence: one of a graver kind outweighs all of the lesser.
    blocked : tuple of str
        Checks that stand in the way, as "check (subject)".
    """

    units: dict[str, int]
    circuits: tuple[str, ...] | None
    value: float = 0.0
    blocked: tuple[str, ...] = ()


def consequence_worth(n_candidates: int):
    """Worth that counts circuits by consequence: one of a graver kind outweighs all of the lesser kinds together.

    Examples
    --------
    >>> from profiles.loads.circuit import Circuit
    >>> worth = consequence_worth(3)
    >>> heat, food = (Circuit(name=k, breaker_a=15.0, load={"kw": 0.1}, if_lost=k) for k in ("heat", "food"))
    >>> worth(heat, 0.0) > 3 * worth(food, 0.0) > worth(food, 99.0)
    True
    """
    last = len(CONSEQUENCES) - 1
    return lambda circuit, kwh_per_day: float((n_candidates + 1) ** (last - circuit.consequence))


class Search:
    """The search for one site and target: every design is a change of one draft.

    Parameters
    ----------
    site : Site
    target : Target
    """

    def __init__(self, site: Site, target: Target):
        self.site, self.target, self.notes = site, target, []
        self.draft = Draft(self._with_both_legs())
        self.as_written, self._found, self.prices = _fails(site), {}, prices_of(self.draft.house)
        n = sum(circuit.on == "candidate" for circuit in site.circuit)
        self.worth = consequence_worth(n)

    def _with_both_legs(self) -> Site:
        """The site with a group of no units on the leg that has none, equal to that of the other leg."""
        legs = {group.leg for group in self.site.battery}
        if legs not in ({"A"}, {"B"}) or self.site.service.system == "120":
            return self.site
        data = self.site.model_dump(by_alias=True, exclude_unset=True)
        like, leg = data["battery"][0], "B" if legs == {"A"} else "A"
        charging = {key: value for key, value in like["charging_circuit"].items() if key != "leg"}
        drop = ("locked_with", "count", "leg", "name", "charging_circuit")
        other = {key: value for key, value in like.items() if key not in drop}
        other |= {"name": f"{self.site.battery[0].name} on leg {leg}", "leg": leg, "count": 0}
        other["charging_circuit"] = charging
        data["battery"] = [*data["battery"], other]
        self.notes.append(f"units on leg {leg} are taken to equal {self.site.battery[0].name}, not locked with it")
        return site_of(data, file=self.site.file, folder=self.site.folder)

    def placed(self, n: int) -> Iterator[dict[str, int]]:
        """Every way to place n units: on legs A and B, or on both, never mixed."""
        legs = self.draft.units
        none = dict.fromkeys(legs, 0)
        single = [leg for leg in ("A", "B") if leg in legs]
        if len(single) == 2:
            yield from (none | {"A": a, "B": n - a} for a in range(n, -1, -1))
        elif single:
            yield none | {single[0]: n}
        if "both" in legs:
            yield none | {"both": n}

    @cached_property
    def required(self) -> tuple[str, ...]:
        """What the site file puts on the sub-panel: no design drops it."""
        return self.draft.backed_up

    @cached_property
    def unavoidable(self) -> set[str]:
        """Required circuits that no placing of these units could carry: two poles without a locked pair."""
        every = [set(self.draft.changed(units=units).house.never_carried) for units in self.placed(2)]
        return set.intersection(*every)

    def at(self, found: Found, reserve) -> Draft:
        """The design of what was found, at a reserve."""
        circuits = self.required if found.circuits is None else found.circuits
        return self.draft.changed(units=found.units, circuits=circuits, reserve=reserve)

    def full(self, found: Found) -> Draft:
        """The design whose units are always full: what any plan comes to at a reserve of 1, and quickly run."""
        circuits = self.required if found.circuits is None else found.circuits
        return self.draft.changed(units=found.units, circuits=circuits, reserve=1.0, plan="keep-full")

    def is_slow(self, draft: Draft) -> bool:
        """A year under the design's plan takes about a second: the plan looks at more than the calendar."""
        return plan_and_reserve(draft.site, self.prices)[0] not in PLANS_BY_CALENDAR

    def meets(self, draft: Draft) -> bool:
        """The design reaches the target."""
        return self.target.met_by(self.target.in_months(draft.ride))

    def best_at(self, units: dict[str, int]) -> Found:
        """The set of circuits for some units: of those that meet the target at some reserve the most by consequence."""
        key = tuple(units.values())
        if key not in self._found:
            self._found[key] = self._searched(units)
        return self._found[key]

    def _searched(self, units: dict[str, int]) -> Found:
        house = self._started(units)
        movers, required, _, _ = movers_of(house)
        never = set(self.draft.changed(units=units, circuits=required).house.never_carried)
        lost = [circuit.name for circuit in lost_first(house.site, tuple(never))]
        if lost or never - self.unavoidable:
            return Found(units, None, blocked=(f"never carries {', '.join(lost or sorted(never - self.unavoidable))}",))
        alone = sorted(self._new_fails(units, required))
        if any(check in BY_UNITS_ALONE for check, _ in alone):
            return Found(units, None, blocked=_told(alone))
        sets = Sets(house, movers, required, self.target, self.worth)
        propose = in_order if len(movers) <= MOST_TO_ENUMERATE else programme
        for mask in propose(sets):
            circuits = tuple(name for name in (*sets.required, *sets.names_of(mask)))
            if self._may(sets, mask) and sets.panel_takes(mask) and not self._new_fails(units, circuits):
                value = float(sum(sets.worth[k] for k in range(len(movers)) if mask >> k & 1))
                found = Found(units, circuits, value)
                if self.meets(self.full(found)) or self.lowest([found]):
                    return found
        self.notes += [note for note in sets.notes if note not in self.notes]
        return Found(units, None, blocked=_told(alone))

    def _started(self, units: dict[str, int]) -> House:
        """The house with these units, full at the start where outages begin as the rate left them.

        No reserve leaves more stored than a full one does; what is judged pool by pool lasts no longer from less.
        """
        draft = self.draft.changed(units=units, plan="keep-full")
        start = {"outage.start_soc": "full"} if draft.site.outage.start_soc == "as-run" else {}
        return replace(draft.house, site=draft.site.with_values(start))

    def _may(self, sets: Sets, mask: int) -> bool:
        """False where no reserve could let a set meet the target."""
        on = sets.is_on(mask)
        return bool(on.any()) and (not sets.judged_apart(on) or sets.meets(mask))

    def _new_fails(self, units: dict[str, int], circuits: tuple[str, ...]) -> set[tuple[str, str]]:
        """Panel checks that a design fails and that the site file as it is written does not."""
        return _fails(self.draft.changed(units=units, circuits=circuits).site) - self.as_written

    def lowest(self, found: list[Found]) -> tuple[Found, object] | None:
        """Of designs that are equal otherwise, the one that meets the target at the lowest reserve, and the reserve."""
        draft = self.at(found[0], ...)
        plan, _ = plan_and_reserve(draft.site, self.prices)
        if draft.site.is_medical or draft.site.outage.start_soc != "as-run" or plan == "keep-full":
            good = [one for one in found if self.meets(self.full(one))]
            lowest = None if draft.site.is_medical else RESERVES[0]
            return (max(good, key=self._mean), lowest) if good else None
        return self._halved(found) if self.is_slow(draft) else self._upwards(found)

    def _upwards(self, found: list[Found]) -> tuple[Found, object] | None:
        """Every reserve from the lowest up."""
        for reserve in RESERVES:
            good = [one for one in found if self.meets(self.at(one, reserve))]
            if good:
                return max(good, key=self._mean), reserve
        return None

    def _halved(self, found: list[Found]) -> tuple[Found, object] | None:
        """The reserve by halving, where a year takes long; of equal designs the one that lasts longest when full."""
        good = [one for one in found if self.meets(self.full(one))]
        if not good:
            return None
        best, low, high = max(good, key=self._mean), 0, len(RESERVES) - 1
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if self.meets(self.at(best, RESERVES[middle])) else (middle + 1, high)
        note = "the reserve was found by halving, as a year of this plan takes long: not every lower one was tried"
        self.notes += [note] * (note not in self.notes)
        return best, RESERVES[low]

    def _mean(self, found: Found) -> float:
        """Mean hours when full. [h]"""
        return float(self.full(found).ride.hours.mean())

    def equals(self, n: int) -> list[Found]:
        """Of the designs with n units that meet the target those with the most candidates by consequence."""
        found = [one for one in map(self.best_at, self.placed(n)) if one.circuits is not None]
        most = max((one.value for one in found), default=0.0)
        return [one for one in found if one.value == most]

    def with_units(self, n: int) -> tuple[Found, object] | None:
        """The best design with n units, and its reserve; None where none meets the target."""
        found = self.equals(n)
        return self.lowest(found) if found else None

    def beside(self, n: int, reserve) -> tuple[Found, object] | None:
        """A design with n units that meets the target: at the reserve of another design, else at its own."""
        found = self.equals(n)
        if found and self.is_slow(self.at(found[0], ...)):
            note = "designs with more units than the best stand full, as a year of this plan takes long"
            self.notes += [note] * (note not in self.notes)
            reserve = RESERVES[-1]
        at = lambda one: self.full(one) if reserve == RESERVES[-1] else self.at(one, reserve)
        good = [one for one in found if self.meets(at(one))]
        return (max(good, key=self._mean), reserve) if good else self.lowest(found) if found else None

    def nearest(self, n: int) -> tuple[Found, object]:
        """With n units the placing of what is required that comes nearest to the target, held full."""
        found = [self.best_at(units) for units in self.placed(n)]
        told = [replace(one, circuits=None) for one in found]
        carried = [one for one in told if not any(why.startswith("never") for why in one.blocked)] or told
        best = max(carried, key=lambda one: (-len(one.blocked), self._reached(one)))
        return best, None if self.draft.site.is_medical else RESERVES[-1]

    def _reached(self, found: Found) -> float:
        """Mean hours of a design held full, none counted beyond the target. [h]"""
        hours = self.target.in_months(self.full(found).ride)
        return float(hours.clip(0.0, self.target.hours).mean())

    def row(self, found: Found, reserve, meets: bool) -> dict:
        """The row of a design."""
        draft = self.full(found) if reserve == RESERVES[-1] else self.at(found, reserve)
        row = shared_row(draft.study, self.target)
        fails = [f"fails {one}" for one in found.blocked if not one.startswith("never")]
        why = "" if meets else "; ".join([row["why"]] * bool(row["why"]) + fails)
        n = sum(found.units.values())
        label = f"{n} {'unit' if n == 1 else 'units'}: {where_text(draft.house)}"
        return {"label": label, **row, "meets": meets, "why": why, "checks_kept": not fails}


def _fails(site: Site) -> set[tuple[str, str]]:
    return {(one.check, one.subject) for one in check_panel(site) if one.verdict == "fail"}


def _told(fails) -> tuple[str, ...]:
    return tuple(f"{check} ({subject})" for check, subject in fails)
