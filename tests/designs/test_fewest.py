"""Fewest units for a target against plain enumeration: every placing, every set of candidates, every reserve."""

import itertools

import numpy as np
import pytest

from profiles.loads.circuit import CONSEQUENCES
from profiles.noun import BadInput
from simulate.designs.fewest import RESERVES, consequence_worth, design_site
from simulate.house.ride import ride_through
from simulate.panel.checks.check import check_panel
from simulate.physics.outages.spread import TOLERANCE_H
from tests.site.small_site import circuit, small_site, unit

TWO_PRICES = {
    "rate": {
        "season": [
            {
                "name": "all",
                "months": list(range(1, 13)),
                "periods": [
                    {"name": "on-peak", "price_per_kwh": 0.4, "days": "all", "hours": "16:00-21:00"},
                    {"name": "off-peak", "price_per_kwh": 0.1, "days": "all", "hours": "00:00-24:00"},
                ],
            }
        ]
    }
}
LOST = ("flood", "heat", "water", "food", "comfort", None)


def random_site(seed: int, n_candidates: int, **tables):
    """An invented house: two legs, some circuits that are required, candidates of every consequence."""
    rng = np.random.default_rng(seed)
    kw = lambda: float(np.round(rng.uniform(0.05, 0.5), 2))

    def one(name, on, required_leg=None):
        lost = LOST[rng.integers(len(LOST))]
        more = {"if_lost": lost} if lost else {}
        power = kw()
        leg = required_leg or "AB"[rng.integers(2)]
        more |= {"running_w": float(np.round(power * 4000.0)), "priority": int(rng.integers(1, 4))}
        return circuit(name, power, leg, on=on, rate_transfer=bool(rng.integers(2)), **more)

    loads = [one("Required A", "sub-panel", "A"), one("Required B", "sub-panel", "B")]
    loads += [one(f"Candidate {k}", "candidate") for k in range(n_candidates)]
    spaces = [{"poles": 1, "max_breaker_a": 20, "count": 2 + int(rng.integers(1, n_candidates + 1))}]
    units = [unit("A", continuous_kw=2.5), {**unit("B", continuous_kw=2.5), "count": 0}]
    return small_site(loads, units, subpanel={"spaces": spaces}, site={"code_edition": "NEC 2023"}, **tables)


def enumerated(site, hours: float, share: float, most_units: int):
    """(units, value, reserve) of the best design by trying all of them; None where none meets the target."""
    before = fails(site)
    required = [one.name for one in site.circuit if one.on == "sub-panel"]
    candidates = [one for one in site.circuit if one.on == "candidate"]
    value = lambda chosen: sum((len(candidates) + 1) ** (len(CONSEQUENCES) - 1 - one.consequence) for one in chosen)
    chosen = [part for k in range(len(candidates) + 1) for part in itertools.combinations(candidates, k)]
    for n in range(1, most_units + 1):
        good = []
        for a in range(n + 1):
            placed = {'battery["Unit A"].count': a, 'battery["Unit B"].count': n - a}
            alone = fails(site.with_values(placed))
            for part in chosen:
                on = {f'circuit["{one.name}"].on': "sub-panel" for one in part}
                wired = site.with_values(placed | on)
                found = fails(wired)
                panel = {one for one in found if one[0] in ("space", "inverter-continuous", "source-capacity")}
                if found <= before and panel <= alone:
                    reserve = lowest(wired, hours, share)
                    good += [] if reserve is None else [(value(part), -reserve, a)]
        if good:
            best = max(good)
            return n, best[0], -best[1], {one[2] for one in good if one[:2] == best[:2]}
    assert required
    return None


def fails(site):
    return {(one.check, one.subject) for one in check_panel(site) if one.verdict == "fail"}


def lowest(site, hours: float, share: float):
    for reserve in RESERVES if site.outage.start_soc == "as-run" else RESERVES[:1]:
        ride = ride_through(site.with_values({"operation.reserve": reserve}))
        if ride.house.never_carried:
            return None
        if (ride.hours >= hours - TOLERANCE_H).sum() >= np.ceil(share * len(ride.hours) - 1e-9):
            return reserve
    return None


def agrees(site, hours: float, most_units: int) -> bool:
    """`design_site` finds what enumeration finds; True where there is something to find."""
    found, best = (
        design_site(site, hours=hours, share=0.9, most_units=most_units),
        enumerated(site, hours, 0.9, most_units),
    )
    if best is None:
        assert found.best is None and found.changes
        return False
    n, value, reserve, placings = best
    worth = consequence_worth(sum(one.on == "candidate" for one in site.circuit))
    added = [one for one in site.circuit if one.on == "candidate" and one.name in found.best["circuits"]]
    assert sum(found.best["units"].values()) == n
    assert sum(worth(one, 0.0) for one in added) == value
    assert found.best["reserve"] == reserve
    assert found.best["units"]["A"] in placings
    return True


@pytest.mark.parametrize("seed", range(6))
def test_from_full_it_finds_what_enumeration_finds(seed):
    assert agrees(random_site(seed, 4, outage={"start_soc": "full"}), hours=12.0, most_units=3)


@pytest.mark.parametrize("seed", (0, 1))
def test_as_the_rate_left_the_units_it_finds_what_enumeration_finds(seed):
    operation = {"plan": "time-of-use"}
    assert agrees(random_site(seed, 2, operation=operation, **TWO_PRICES), hours=8.0, most_units=3)


def test_a_graver_circuit_outweighs_lesser_ones():
    """20 h of 5 kWh: 0.25 kW. One furnace of 0.15 kW, or three small loads of comfort: heat is taken."""
    loads = [circuit("Fridge", 0.1, if_lost="food"), circuit("Furnace", 0.15, on="candidate", if_lost="heat")]
    loads += [circuit(f"Lamp {k}", 0.05, on="candidate", if_lost="comfort") for k in range(3)]
    found = design_site(small_site(loads, [unit()], outage={"start_soc": "full"}), hours=20.0, most_units=1)
    assert found.best["circuits"] == ["Fridge", "Furnace"] and found.left_out == ("Lamp 0", "Lamp 1", "Lamp 2")


def test_nothing_that_the_site_file_backs_up_is_dropped():
    loads = [circuit("Big", 1.0, priority=3), circuit("Fridge", 0.1)]
    found = design_site(small_site(loads, [unit()], outage={"start_soc": "full"}), hours=20.0, most_units=5)
    assert found.best["units"]["A"] == 5 and set(found.best["circuits"]) == {"Big", "Fridge"}  # 1.1 kW for 20 h: 22 kWh


def test_where_nothing_meets_it_what_would_have_to_change_is_tried():
    """1.1 kW and 5 kWh each: four units last 18.2 h, five would do, or four without the big load."""
    loads = [circuit("Big", 1.0, priority=3), circuit("Fridge", 0.1)]
    found = design_site(small_site(loads, [unit()], outage={"start_soc": "full"}), hours=20.0, most_units=4)
    assert found.best is None and found.text.startswith("No design of these units meets 20 h in 90%")
    assert found.changes[0].startswith("5 units: 5 on A would meet it")
    assert "90% of the outages last 18 h" in found.changes[1]
    assert found.changes[2].endswith("left on the main panel: Big")


def test_a_leg_without_a_group_gets_units_like_the_other():
    loads = [circuit("Fridge", 0.1), circuit("Furnace", 0.1, "B", if_lost="heat")]
    found = design_site(small_site(loads, [unit()], outage={"start_soc": "full"}), hours=24.0, most_units=2)
    assert found.best["units"] == {"A": 1, "B": 1, "both": 0}
    assert found.notes == ("units on leg B are taken to equal Unit A, not locked with it",)


def test_medical_circuits_keep_their_reserve():
    loads = [circuit("Oxygen", 0.2, if_lost="medical")]
    found = design_site(small_site(loads, [unit()], **TWO_PRICES), hours=20.0, most_units=2)
    assert (found.best["reserve"], found.best["units"]["A"]) == (1.0, 1)


def test_the_front_of_price_and_hours_leaves_out_what_stands_apart():
    loads = [circuit("Fridge", 0.1), circuit("Furnace", 0.1, "B", if_lost="heat")]
    units = [unit("A", installed_price=1000.0), unit("B", installed_price=1000.0)]
    found = design_site(small_site(loads, units, outage={"start_soc": "full"}), hours=24.0, most_units=3)
    assert [row["on_front"] for row in found.rows] == [False, True, False]
    assert found.rows[0]["why"].startswith("never carries")


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"hours": 0.0}, "hours must be above 0"),
        ({"hours": 9999.0}, "must not exceed outage.horizon_h"),
        ({"share": 1.5}, "share must be above 0"),
        ({"most_units": 0}, "most_units must be a whole number from 1 to 20"),
    ],
)
def test_what_is_no_target_is_refused(asked, message):
    with pytest.raises(BadInput, match=message):
        design_site(small_site([circuit("One", 0.1)], [unit()]), **asked)
