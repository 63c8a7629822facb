"""Legs for the circuits of a site: the panel's proposal, judged by simulating every outage."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from simulate.house.house import House, house_of
from simulate.house.ride import ride_through
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
    if out is not None:
        write_legs(path, assignment, out)
    return assignment


def hours_of_first_leg(house: House, legs: dict[str, str]) -> float:
    """Hours, nine in ten, of the leg that dies first with the circuits on these legs. [h]"""
    circuits = tuple(
        circuit.model_copy(update={"leg": legs[circuit.name]}) if circuit.name in legs else circuit
        for circuit in house.site.circuit
    )
    site = house.site.model_copy(update={"circuit": circuits})
    site._file, site._folder = house.site.file, house.site.folder
    ride = ride_through(replace(house, site=site))
    return min((nine_in_ten(hours) for hours in ride.leg_hours.values()), default=0.0)


def assignment_document(assignment: Assignment) -> dict:
    """The proposal as plain data, for `keeplit panel --balance --json`."""
    return {
        "legs": assignment.legs,
        "moved": list(assignment.moved),
        "unplaced": list(assignment.unplaced),
        "figures": assignment.table(),
        "method": assignment.method,
        "n_compared": assignment.n_compared,
        "complete": assignment.complete,
    }
