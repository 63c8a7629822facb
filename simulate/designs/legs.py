"""Legs for the circuits of a site: the panel's proposal, judged by simulating every outage."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from simulate.document.answers import first_dead, hardest_month
from simulate.document.study import storm_of
from simulate.house.house import House, house_of
from simulate.house.ride import RideThrough, ride_through
from simulate.house.storm import storm_stated
from simulate.panel.legs.balance import Assignment, balance_legs
from simulate.panel.legs.rewrite import write_legs
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.site import Site


def balanced(site: Site, path: str | Path, out: str | Path | None = None) -> Assignment:
    """Propose legs by the hours of the leg that dies first, and write a changed copy of the site file.

    Parameters
    ----------
    site : Site
    path : path
        The site file that is copied, comments kept.
    out : path, optional
        Where the copy goes.
    """
    house = house_of(site)
    assignment = balance_legs(site, lambda legs: hours_of_first_leg(house, legs))
    told = {"before": outcome(house, {}), "after": outcome(house, assignment.legs)}
    assignment = replace(assignment, outcomes=told)
    if out is not None:
        write_legs(path, assignment, out)
    return assignment


def on_legs(house: House, legs: dict[str, str]) -> House:
    """The house with its circuits on these legs; those that are not named stay where they are."""
    circuits = tuple(
        circuit.model_copy(update={"leg": legs[circuit.name]}) if circuit.name in legs else circuit
        for circuit in house.site.circuit
    )
    site = house.site.model_copy(update={"circuit": circuits})
    site._file, site._folder = house.site.file, house.site.folder
    return replace(house, site=site)


def hours_of_first_leg(house: House, legs: dict[str, str]) -> float:
    """Hours, nine in ten, of the leg that dies first in each outage, with the circuits on these legs. [h]"""
    return nine_in_ten(first_leg_hours(ride_through(on_legs(house, legs))))


def first_leg_hours(ride: RideThrough) -> np.ndarray:
    """Hours of whichever leg dies first in each outage, shape (n_steps,): not the smaller of two legs' figures. [h]"""
    hours = list(ride.leg_hours.values())
    return np.minimum.reduce(hours) if hours else np.zeros(len(ride.hours))


def outcome(house: House, legs: dict[str, str]) -> dict:
    """What an assignment does to the hours: nine in ten and the middle, in a storm, and the leg that dies first.

    Returns
    -------
    dict
        hours_p10, hours_p50 of the circuits of the first priority, storm_p10 (None where no storm load is stated) [h],
        first_leg ("A", "B", "both" or None) and first_circuits in the worst tenth of the hardest month, first_leg_p10
        and first_leg_p50 of whichever leg dies first [h].
    """
    ride = ride_through(on_legs(house, legs))
    first, (leg, circuits, _) = first_leg_hours(ride), first_dead(ride, hardest_month(ride))
    middle = lambda hours: float(np.quantile(hours, 0.5, method="lower"))
    return {
        "hours_p10": nine_in_ten(ride.hours),
        "hours_p50": middle(ride.hours),
        "storm_p10": nine_in_ten(storm_of(ride).hours) if storm_stated(house.site) else None,
        "first_leg": leg,
        "first_circuits": circuits,
        "first_leg_p10": nine_in_ten(first),
        "first_leg_p50": middle(first),
    }


def assignment_document(assignment: Assignment) -> dict:
    """The proposal as plain data, for `keeplit panel --balance --json`."""
    return {
        "legs": assignment.legs,
        "moved": list(assignment.moved),
        "unplaced": list(assignment.unplaced),
        "figures": assignment.table(),
        "outcomes": assignment.outcomes,
        "method": assignment.method,
        "n_compared": assignment.n_compared,
        "complete": assignment.complete,
    }
