"""The sentences that somebody acts on, each made from results and tested against the series that it speaks of.

Terminal, report, proposal, sheets and notebooks only show them. What must be put right comes first, then hours, then
money.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterable

import numpy as np

from profiles.loads.circuit import Circuit
from simulate.bill.four_bills import FourBills
from simulate.document.money_answer import change_text
from simulate.document.timeline import cannot_start, who_goes_dark
from simulate.document.words import hours_text
from simulate.house.ride import RideThrough, most_common
from simulate.panel.checks.finding import Finding
from simulate.panel.checks.layout import Layout
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.cautions import MANUAL
from simulate.site.pools import leg_of, pools_of
from simulate.site.site import Site
from simulate.site.unit import service_has

DO_NOT_BUILD = "Do not build this as drawn: "
STOP_CHECKS = ("shared-neutral", "two-pole-source", "neutral-bond", "protection-kept", "busbar")
"""Checks that stop a job where they fail."""


def answer_of(
    ride: RideThrough, aged: RideThrough, findings: tuple[Finding, ...], bills: FourBills | None = None
) -> dict:
    """The `answer` of the document: what must be put right, hours, money, and all of it as sentences.

    Parameters
    ----------
    ride, aged : RideThrough
        With new units, and with units at the end of their warranty.
    findings : tuple of Finding
    bills : FourBills, optional
        `money` is None without them.
    """
    stop = stop_of(ride.house.site, ride.house.never_carried, findings)
    hours = hours_of(ride, aged)
    money = None if bills is None else {"change": bills.change, "text": change_text(bills)}
    text = [one["text"] for one in stop]
    text += [MANUAL] if ride.house.site.subpanel.transfer.kind == "manual" else []
    text += [hours["text"]] + ([money["text"]] if money else [])
    return {"stop": stop, "hours": hours, "money": money, "text": text}


def gravest_first(circuits: Iterable[Circuit]) -> list[Circuit]:
    """Circuits by what is lost with them, in their own order where that is the same."""
    return sorted(circuits, key=lambda circuit: circuit.consequence)


def stop_of(site: Site, never_carried: tuple[str, ...], findings: tuple[Finding, ...]) -> list[dict]:
    """What must be put right before anything is built, the gravest circuit first; an empty list is no pass."""
    layout = Layout(site)
    out = [
        _stop("never-carried", circuit.name, _never_text(site, circuit)) for circuit in lost_first(site, never_carried)
    ]
    out += [_stop(one.check, one.subject, one.text) for one in findings if _stops(one)]
    for group in layout.groups:
        volts = group.charging_circuit.volts
        if not service_has(site.service.system, volts):
            text = f"{group.name} cannot charge: a {site.service.system} V service has no {volts} V."
            out.append(_stop("charging-circuit", group.name, text))
    return out


def lost_first(site: Site, never_carried: tuple[str, ...]) -> list:
    """Circuits of the first priority, or medical, that no wiring can serve as drawn, the gravest first."""
    named = [circuit for circuit in site.circuit if circuit.name in never_carried]
    return gravest_first(circuit for circuit in named if circuit.priority == 1 or circuit.is_medical)


def _stops(one: Finding) -> bool:
    """A check that failed; a neutral that two sources load is as wrong where no edition of the Code is named."""
    if one.check not in STOP_CHECKS:
        return False
    neutral = one.check == "shared-neutral" and "do not energi" in one.text.lower()
    return one.verdict == "fail" or neutral


def _stop(reason: str, subject: str, text: str) -> dict:
    return {"reason": reason, "subject": subject, "text": DO_NOT_BUILD + text}


def _never_text(site: Site, circuit) -> str:
    what = "medical" if circuit.is_medical else f"priority {circuit.priority}"
    return f"{circuit.name} ({what}) is never carried: {why_never(site, circuit)}."


def why_never(site: Site, circuit) -> str:
    """Why no wiring can serve a circuit with the units as they are drawn."""
    if circuit.poles == 2:
        return "it needs both legs, and no unit or locked pair of units feeds both"
    return f"leg {leg_of(circuit, pools_of(site))} has no unit"


def hardest_month(ride: RideThrough) -> int:
    """Month whose outages last the least nine times in ten, 1 to 12."""
    return 1 + int(np.argmin(ride.p10_by_month))


def hours_of(ride: RideThrough, aged: RideThrough) -> dict:
    """`answer.hours`: the hardest month, its hours new and at the end of the warranty, and what goes dead first in it.

    Returns
    -------
    dict
        month (1 to 12), p10 and end_of_warranty_p10 [h], leg ("A", "B", "both", None where none goes dead), circuits
        (that go dead with it, the gravest first), text.
    """
    month = hardest_month(ride)
    p10, aged_p10 = (nine_in_ten(one.in_months((month,))) for one in (ride, aged))
    leg, circuits, dropped = first_dead(ride, month)
    parts = [
        hours_sentence(ride, month),
        _aged_sentence(p10, aged_p10, ride.horizon_h),
        _dead_sentence(leg, circuits, dropped),
    ]
    text = " ".join(part for part in (*parts, _stalled_sentence(ride), _priority_sentence(ride)) if part)
    if ride.house.never_carried:
        text = "Of the circuits that are carried: " + text[0].lower() + text[1:]
    return {
        "month": month,
        "p10": p10,
        "end_of_warranty_p10": aged_p10,
        "leg": leg,
        "circuits": circuits,
        "text": text,
    }


def hours_sentence(ride: RideThrough, month: int | None = None) -> str:
    """The hours of the hardest month in one sentence."""
    month = hardest_month(ride) if month is None else month
    hours, name = nine_in_ten(ride.in_months((month,))), calendar.month_name[month]
    if not len(ride.house.carried):
        return "No circuit is carried: there are no hours."
    if hours <= 0.0:
        return f"If the power fails at a random hour in {name}, more than one time in ten a circuit is lost at once."
    return (
        f"If the power fails at a random hour in {name}, nine times in ten you have {_at_least(hours, ride.horizon_h)}."
    )


def _at_least(hours: float, horizon_h: float) -> str:
    text = hours_text(hours, horizon_h)
    return text if text.startswith("at least") else f"at least {text.replace(' h', ' hours')}"


def _aged_sentence(p10: float, aged_p10: float, horizon_h: float) -> str:
    """Hours at the end of the warranty, where they are printed otherwise than the new ones."""
    if p10 <= 0.0 or hours_text(aged_p10, horizon_h) == hours_text(p10, horizon_h):
        return ""
    return f"At the end of the warranty: {hours_text(aged_p10, horizon_h)}."


def first_dead(ride: RideThrough, month: int) -> tuple[str | None, list[str], list[str]]:
    """What goes dead first in the worst tenth of a month's outages: leg, circuits, what load control dropped before.

    Notes
    -----
    A leg dies whole: all of its circuits are named, the gravest consequence first, and no tie is broken; but for motors
    that no unit can start, which are dark from the first. Of several legs the one that is first most often.
    """
    house = ride.house
    at = np.isin(house.hours.month, (month,))
    worst = at & (ride.hours <= nine_in_ten(ride.hours[at]))
    leg = most_common(ride.first_legs[worst]) or None
    if leg is None:
        return None, [], []
    dead = [p for p, pool in enumerate(house.pools) if leg == "both" or pool.legs in (leg, "AB")]
    on = [circuit for c, circuit in enumerate(house.circuits) if (house.share[dead, c] > 0.0).any()]
    dropped = _dropped_before(ride, worst)
    dark_before = {*dropped, *cannot_start(house.site)}
    return leg, [one.name for one in gravest_first(on) if one.name not in dark_before], dropped


def _dropped_before(ride: RideThrough, worst: np.ndarray) -> list[str]:
    """Circuits that load control drops before anything goes dead, in the longest outage of the worst tenth."""
    if ride.house.site.subpanel.load_control == "none":
        return []
    start = int(np.flatnonzero(worst)[ride.hours[worst].argmax()])
    rows = who_goes_dark(ride, start)
    return [row["circuit"] for row in rows if row["why"] == "overload" and row["hours"] < ride.hours[start]]


def _dead_sentence(leg: str | None, circuits: list[str], dropped: list[str]) -> str:
    if leg is None:
        return ""
    who = "Both legs go" if leg == "both" else f"Leg {leg} goes"
    before = f" Before that load control drops {', '.join(dropped)}." if dropped else ""
    return f"{who} dead first: {', '.join(circuits)}.{before}"


def _stalled_sentence(ride: RideThrough) -> str:
    """Circuits that are dark from the first instant, as no unit can start their motors."""
    stalled = cannot_start(ride.house.site)
    names = [circuit.name for circuit in gravest_first(ride.house.circuits) if circuit.name in stalled]
    return f"The units cannot start: {', '.join(names)}." if names else ""


def _priority_sentence(ride: RideThrough) -> str:
    top = min((circuit.priority for circuit in ride.house.circuits), default=1)
    return f"Hours are those of priority {top}: no circuit of a lower number is carried." if top > 1 else ""
