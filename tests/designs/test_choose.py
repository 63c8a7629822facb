"""Which circuits to back up, against plain enumeration with `ride_through` and `check_panel`."""

import itertools
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.noun import BadInput
from simulate.designs import proposals
from simulate.designs.choose import WORTH, choose_circuits, worth_by
from simulate.designs.proposals import best_sets
from simulate.designs.sets import CHECKS, Sets
from simulate.designs.shared_row import Target
from simulate.house.house import house_of
from simulate.house.outage_met import start_soc_kwh
from simulate.house.ride import ride_through
from simulate.house.year import run_year
from simulate.panel.checks.check import check_panel
from simulate.physics.outages.load_control import control_load
from simulate.physics.outages.outages import hours_survived
from simulate.physics.outages.spread import SEASONS
from simulate.physics.pool import Pool
from tests.site.small_site import circuit, locked_pair, small_site, unit

WINTER = {"season": "winter"}
SHORT = {"horizon_h": 40.0, "start_soc": "full"}
EDITION = {"code_edition": "NEC 2023"}


def candidate(name, kw, leg="A", **more):
    power = {"running_w": 1000.0 * kw + 50.0, "largest_w": 1000.0 * kw + 50.0}
    return circuit(name, kw, leg, on="candidate", **(power | more))


def backed(name, kw, leg="A", **more):
    return candidate(name, kw, leg, **more) | {"on": "sub-panel"}


def with_on(site, names):
    return site.with_values({f'circuit["{name}"].on': "sub-panel" for name in names})


def plain_best(site, hours, share, season, mates=()):
    """Every set of candidates, each as a site of its own: worth, names, share that lasts."""
    names = [c.name for c in site.circuit if c.on == "candidate"]
    base = panel_fails(site)
    rows = []
    for chosen in itertools.chain.from_iterable(itertools.combinations(names, k) for k in range(len(names) + 1)):
        if any((a in chosen) != (b in chosen) for a, b in mates):
            continue
        changed = with_on(site, chosen)
        ride = ride_through(changed)
        if set(chosen) & set(ride.house.never_carried):
            continue
        lasting = float(np.mean(ride.in_months(SEASONS[season]) >= hours - 1e-9))
        if lasting >= share - 1e-12 and panel_fails(changed) <= base:
            rows.append((sum(worth(ride.house, name) for name in chosen), chosen, lasting))
    return sorted(rows, key=lambda row: (-round(row[0], 9), len(row[1])))


def panel_fails(site):
    return {(f.check, f.subject) for f in check_panel(site) if f.verdict == "fail" and f.check in CHECKS}


def worth(house, name):
    k = [c.name for c in house.site.circuit].index(name)
    one = house.site.circuit[k]
    kwh_per_day = house.circuit_kw[k].mean() * 24.0 * one.outage_factor("usual")
    return WORTH[one.if_lost or "none"] / one.priority + 0.1 * kwh_per_day


def random_site(seed, **tables):
    rng = np.random.default_rng(seed)
    lost = ("food", "comfort", "water", "heat")
    circuits = [backed("Boiler", 0.15), backed("Fridge", 0.08, "B", priority=int(rng.integers(1, 3)))]
    for k in range(4):
        leg = ("A", "B", "A", "AB")[k]
        night = {"kw": float(rng.uniform(0.02, 0.35)), "window": ("00:00-24:00", "17:00-23:00")[int(rng.integers(2))]}
        more = {"priority": int(rng.integers(1, 4)), "if_lost": lost[int(rng.integers(4))], "load": [night]}
        circuits.append(candidate(f"C{k}", 0.35, leg, **more))
    units = locked_pair(usable_kwh=float(rng.uniform(3.0, 6.0)), no_load_w=20.0, discharge_efficiency=0.95)
    return small_site(circuits, units, outage=SHORT | tables.pop("outage", {}), site=EDITION, **tables)


def assert_best(site, hours, share=0.9, mates=()):
    found, rows = (
        choose_circuits(site, hours=hours, share=share, **WINTER),
        plain_best(site, hours, share, "winter", mates),
    )
    if not rows:
        assert not found.best.met
        return found
    assert found.best.worth == pytest.approx(rows[0][0], rel=1e-9)
    assert set(found.best.circuits) == set(rows[0][1]) or rows[0][0] == pytest.approx(rows[1][0])
    lasting = {frozenset(chosen): share for _, chosen, share in rows}
    assert found.best.lasting_frac == pytest.approx(lasting[frozenset(found.best.circuits)])
    if len(rows) > 1:
        assert found.next_best.worth == pytest.approx(rows[1][0], rel=1e-9)
    return found


@pytest.mark.parametrize(("seed", "hours"), [(0, 14.0), (1, 14.5), (2, 14.0), (3, 9.25)])
def test_best_set_equals_plain_enumeration(seed, hours):
    assert_best(random_site(seed), hours)


@pytest.mark.hours
@pytest.mark.parametrize("seed", range(4, 40))
def test_best_set_equals_plain_enumeration_often(seed):
    load_control = ("none", "automatic", "by-hand")[seed % 3]
    transfer = ({"kind": "automatic"}, {"kind": "manual", "at_home": ["17:00-08:00"]})[seed % 2]
    panel = {"load_control": load_control, "transfer": transfer}
    assert_best(random_site(seed, subpanel=panel), (9.0, 14.5, 20.0)[seed % 3], (0.6, 0.9, 1.0)[seed % 3])


TWO_PRICES = {
    "season": [
        {
            "name": "all",
            "months": list(range(1, 13)),
            "periods": [
                {"name": "peak", "price_per_kwh": 0.5, "hours": "16:00-21:00"},
                {"name": "off", "price_per_kwh": 0.1},
            ],
        }
    ]
}


def varied_site(seed):
    """Solar wherever it can be connected, units on both legs or a pair, circuits that are switched for the rate."""
    rng = np.random.default_rng(100 + seed)
    circuits = random_site(seed).model_dump(by_alias=True, exclude_unset=True)["circuit"]
    circuits = [{**one, "rate_transfer": bool(rng.integers(2))} for one in circuits]
    circuits[1]["priority"] = 2 if seed % 4 == 1 else 1
    connected_at = ("sub-panel", "battery", "main-panel")[seed % 3]
    sun = {"dc_kw": float(rng.uniform(0.5, 3.0)), "connected_at": connected_at, "tilt_deg": 30.0, "azimuth_deg": 180.0}
    common = {"no_load_w": 20.0, "discharge_efficiency": 0.95, "takes_back_kw": 2.0}
    usable_kwh = float(rng.uniform(3.0, 6.0))
    wide = {"charging_circuit": {"breaker_a": 30, "volts": 240}, "usable_kwh": 2.0 * usable_kwh}
    units = locked_pair(usable_kwh=usable_kwh, **common) if seed % 2 else [unit("both", **common, **wide)]
    start = {"start_soc": "full" if seed % 5 == 0 else "as-run", "restart_soc": 0.1 if seed % 3 == 1 else 0.0}
    return small_site(
        circuits,
        units,
        outage={"horizon_h": 40.0, **start},
        site=EDITION,
        rate=TWO_PRICES,
        solar=sun,
        weather={"source": "library:piedmont"},
        operation={"reserve": 0.3},
    )


@pytest.mark.long
def test_best_set_with_solar_and_switched_circuits():
    assert_best(varied_site(5), 14.0, 0.9)


@pytest.mark.hours
@pytest.mark.parametrize("seed", range(24))
def test_best_set_with_solar_and_switched_circuits_often(seed):
    assert_best(varied_site(seed), (6.0, 9.5, 14.0)[seed % 3], (0.6, 0.9)[seed % 2])


def test_with_load_control_more_load_can_last_longer_and_nothing_is_pruned():
    kw = np.array([[0.5], [0.9], [0.9]])
    limits = (np.array([2.0]), np.array([0]))
    left = [
        control_load(kw[:n], np.array([1, 2, 2])[:n], np.ones((1, n)), np.ones((1, n)), limits, sheds=True).load_kw
        for n in (2, 3)
    ]
    assert left[1] < left[0]  # the third load drops both of its priority: the island lasts longer
    units = [unit("A", continuous_kw=2.0)]
    circuits = [backed("Boiler", 0.5), backed("Range", 0.9, priority=2), candidate("Oven", 0.9, priority=2)]
    panel = {"load_control": "automatic"}
    site = small_site(circuits, units, outage=SHORT, site=EDITION, subpanel=panel)
    found = assert_best(site, 9.0)
    assert found.best.circuits == ("Oven",)


def test_candidates_that_are_switched_for_the_rate_change_the_charge_at_the_start():
    rate = TWO_PRICES
    circuits = [
        backed("Boiler", 0.2),
        candidate("Lights", 0.3, rate_transfer=True, priority=2),
        candidate("Freezer", 0.1, if_lost="food"),
    ]
    outage = {"start_soc": "as-run", "horizon_h": 40.0}
    site = small_site(circuits, [unit("A")], outage=outage, rate=rate, site=EDITION, operation={"reserve": 0.2})
    full = small_site(circuits, [unit("A")], outage=SHORT, rate=rate, site=EDITION, operation={"reserve": 0.2})
    assert "Lights" in assert_best(full, 8.0, 0.85).best.circuits
    assert assert_best(site, 8.0, 0.85).best.circuits == ("Freezer",)


def test_the_programme_for_many_candidates_proposes_the_same_sets(monkeypatch):
    for seed, hours in ((0, 14.0), (1, 20.0), (2, 9.0)):
        site = random_site(seed)
        by_enumeration = choose_circuits(site, hours=hours, **WINTER)
        with monkeypatch.context() as patch:
            patch.setattr(proposals, "MOST_TO_ENUMERATE", 0)
            by_programme = choose_circuits(site, hours=hours, **WINTER)
        assert by_programme.method == "mixed-integer programme"
        assert by_programme.best.worth == pytest.approx(by_enumeration.best.worth)
        if by_enumeration.next_best:
            assert by_programme.next_best.worth == pytest.approx(by_enumeration.next_best.worth)


def test_twenty_candidates():
    circuits = [backed("Boiler", 0.1)] + [candidate(f"C{k}", 0.02 + 0.01 * (k % 5), if_lost="food") for k in range(20)]
    site = small_site(circuits, [unit("A")], outage=SHORT, site=EDITION)
    found = choose_circuits(site, hours=12.0, **WINTER)
    assert (found.method, found.n_sets) == ("mixed-integer programme", 2**20)
    used = 0.1 + sum(0.02 + 0.01 * (int(name[1:]) % 5) for name in found.best.circuits)
    assert found.best.met
    assert used <= 5.0 / 12.0 + 1e-9
    assert len(found.best.circuits) == 10  # four of 0.02, four of 0.03 and two of 0.04 kW
    assert found.notes == ()


def test_medical_is_always_in_and_never_switched_off():
    circuits = [backed("Heat", 0.6), candidate("Concentrator", 0.3, if_lost="medical"), candidate("Radio", 0.01)]
    site = small_site(circuits, [unit("A")], outage=SHORT, site=EDITION)
    found = choose_circuits(site, hours=10.0, **WINTER)
    assert "Concentrator" in found.required
    assert not found.best.met
    assert found.switch_off == ("Heat",)
    assert "Concentrator" not in found.costs_h
    assert any("clinician" in caution for caution in found.document()["cautions"])


def test_multiwire_mates_move_together_or_not_at_all():
    pair = lambda a, b, **more: candidate(a, 0.05, multiwire_with=b, if_lost="food", **more)
    together = [backed("Boiler", 0.1), pair("West", "East"), pair("East", "West", leg="B")]
    site = small_site(together, locked_pair(), outage=SHORT, site=EDITION)
    assert set(assert_best(site, 20.0, mates=[("West", "East")]).best.circuits) == {"West", "East"}
    behind = [backed("Boiler", 0.1), pair("West", "East"), backed("East", 0.05, "B", multiwire_with="West")]
    assert "West" in choose_circuits(small_site(behind, locked_pair(), outage=SHORT), hours=4.0, **WINTER).required
    left = [
        backed("Boiler", 0.1),
        pair("West", "East"),
        backed("East", 0.05, "B", multiwire_with="West") | {"on": "main"},
    ]
    found = choose_circuits(small_site(left, locked_pair(), outage=SHORT), hours=4.0, **WINTER)
    assert found.best.circuits == ()
    assert "mate East is on the main panel" in found.left_out["West"]


def test_what_no_wiring_can_serve_is_left_out_with_the_reason():
    circuits = [backed("Boiler", 0.1), candidate("Right", 0.1, "B"), candidate("Pump", 0.1, "AB")]
    found = choose_circuits(small_site(circuits, [unit("A")], outage=SHORT), hours=4.0, **WINTER)
    assert set(found.left_out) == {"Right", "Pump"}
    assert all("never carried" in reason for reason in found.left_out.values())


def test_spaces_inverter_and_motor_start_limit_a_set():
    many = [backed("Boiler", 0.05)] + [candidate(f"C{k}", 0.01, if_lost="food", priority=1 + k) for k in range(4)]
    spaces = {"spaces": [{"poles": 1, "max_breaker_a": 20, "count": 3}]}
    site = small_site(many, [unit("A")], outage=SHORT, site=EDITION, subpanel=spaces)
    found = assert_best(site, 20.0)
    assert found.best.circuits == ("C0", "C1")
    assert "space" in found.left_out["C2"]
    small = [
        backed("Boiler", 0.05),
        candidate("Kettle", 0.01, running_w=1500.0, largest_w=1500.0, if_lost="heat"),
        candidate("Freezer", 0.01, running_w=900.0, largest_w=900.0, if_lost="food"),
        candidate("Radio", 0.01),
    ]
    weak = [unit("A", continuous_kw=2.0, surge_kva=3.0, surge_s=2.0)]
    found = assert_best(small_site(small, weak, outage=SHORT, site=EDITION), 20.0)
    assert found.best.circuits == ("Kettle", "Radio")
    assert "inverter-continuous" in found.left_out["Freezer"]
    pump = candidate(
        "Sump", 0.02, kind="motor", if_lost="flood", running_w=700.0, motor={"lra_a": 30.0, "at_volts": 115.0}
    )
    found = assert_best(small_site([small[0], pump], weak, outage=SHORT, site=EDITION), 20.0)
    assert found.best.circuits == ()
    assert "motor-start" in found.left_out["Sump"]


def test_a_limit_that_is_exceeded_already_does_not_forbid_everything():
    circuits = [
        backed("Oven", 0.05, running_w=9000.0, largest_w=9000.0),
        candidate("Freezer", 0.05, "B", if_lost="food"),
    ]
    site = small_site(circuits, locked_pair(), outage=SHORT, site=EDITION)
    found = choose_circuits(site, hours=20.0, **WINTER)
    assert found.best.circuits == ("Freezer",)
    assert any("exceeds a limit by itself" in note for note in found.notes)


def test_what_to_switch_off_is_of_least_worth():
    circuits = [backed("Boiler", 0.2, if_lost="heat"), backed("Games", 0.2), backed("Freezer", 0.1, if_lost="food")]
    site = small_site(circuits, [unit("A")], outage=SHORT, site=EDITION)
    found = choose_circuits(site, hours=15.0, **WINTER)
    assert (found.best.met, found.switch_off) == (False, ("Games",))
    assert found.costs_h["Games"] == pytest.approx(5.0 / 0.3 - 5.0 / 0.5)
    huge = small_site([backed("Boiler", 5.0)], [unit("A")], outage=SHORT)
    assert choose_circuits(huge, hours=15.0, **WINTER).switch_off is None


@pytest.mark.long
def test_the_season_and_the_weights_decide():
    summer = candidate("Cooler", 0.0, if_lost="comfort", load=[{"kw": 0.5, "months": [6, 7, 8]}])
    boiler, food = backed("Boiler", 0.1), candidate("Freezer", 0.3, if_lost="food")
    site = small_site([boiler, summer, food], [unit("A")], outage=SHORT, site=EDITION)
    assert set(choose_circuits(site, hours=12.0, season="winter").best.circuits) == {"Cooler", "Freezer"}
    assert choose_circuits(site, hours=8.0, share=1.0, season="summer").best.circuits == ("Freezer",)
    cool = choose_circuits(site, hours=8.0, share=1.0, season="summer", weights={"comfort": 900.0})
    assert cool.best.circuits == ("Cooler",)


def test_document_is_plain_data():
    found = choose_circuits(random_site(3), hours=14.0, **WINTER)
    document = json.loads(json.dumps(found.document(), allow_nan=False))
    assert document["best"]["circuits"] == list(found.best.circuits)
    frame = found.to_frame()
    assert sorted(frame["circuit"]) == sorted(["Boiler", "Fridge", "C0", "C1", "C2", "C3"])
    assert set(frame["is"]) <= {"required", "chosen", "left out"}


@pytest.mark.parametrize(
    ("asked", "key"),
    [
        ({"hours": 0.0}, "hours"),
        ({"hours": float("nan")}, "hours"),
        ({"share": 0.0}, "share"),
        ({"share": 1.5}, "share"),
        ({"season": "monsoon"}, "season"),
        ({"weights": {"fun": 1.0}}, "weights.fun"),
        ({"hours": 41.0}, "horizon_h"),
        ({"weights": {"food": float("nan")}}, "weights.food"),
    ],
)
def test_a_target_that_is_none_names_the_key(asked, key):
    with pytest.raises(BadInput, match=key):
        choose_circuits(random_site(0), **asked)


@pytest.mark.long
@settings(max_examples=25)
@given(st.lists(st.floats(0.0, 2.0), min_size=24, max_size=24), st.floats(0.0, 0.5), st.floats(0.0, 3.0))
def test_more_load_never_lasts_longer_under_the_conditions(load, more, sun):
    """Same units, same start in kWh, no load control, no overload."""
    pool = Pool(6.0, discharge_efficiency=0.95, charge_efficiency=0.95, no_load_kw=0.03)
    solar = np.where((np.arange(24) > 7) & (np.arange(24) < 17), sun, 0.0)
    hours = [hours_survived(np.array(load) + extra, pool, solar_kw=solar, soc_kwh=5.0) for extra in (0.0, more)]
    assert (hours[1] <= hours[0] + 1e-9).all()


@settings(max_examples=25)
@given(st.lists(st.floats(0.05, 2.0), min_size=24, max_size=24), st.floats(0.0, 4.0))
def test_more_energy_never_lasts_shorter_under_the_conditions(load, more):
    hours = [
        hours_survived(load, Pool(e, discharge_efficiency=0.9, no_load_kw=0.05), soc_kwh=e) for e in (4.0, 4.0 + more)
    ]
    assert (hours[1] >= hours[0] - 1e-9).all()


def switched_site(seed, solar=False):
    """Four candidates that are switched for the rate, two on each leg; units as the rate left them."""
    rng = np.random.default_rng(seed)
    circuits = [backed("Boiler", 0.12, rate_transfer=True), backed("Fridge", 0.08, "B", rate_transfer=True)]
    circuits += [candidate(f"C{k}", float(rng.uniform(0.05, 0.3)), "AB"[k % 2], rate_transfer=True) for k in range(4)]
    sun = {"dc_kw": 4.0, "connected_at": "main-panel", "tilt_deg": 30.0, "azimuth_deg": 180.0}
    more = {"solar": sun, "weather": {"source": "library:piedmont"}} if solar else {}
    more["operation"] = {"plan": "time-of-use"}
    units = locked_pair(no_load_w=20.0, discharge_efficiency=0.95)
    return small_site(circuits, units, outage={"horizon_h": 40.0}, rate=TWO_PRICES, site=EDITION, **more)


def sets_of(site, hours=8.0, share=0.9):
    house = house_of(site)
    movers = [(c.name,) for c in site.circuit if c.on == "candidate"]
    required = tuple(c.name for c in site.circuit if c.on == "sub-panel")
    return Sets(house, movers, required, Target(hours, share, (12, 1, 2), "usual"), worth_by(WORTH))


def test_a_pool_that_shares_nothing_has_a_year_of_its_own_circuits():
    sets = sets_of(switched_site(1))
    assert sets.own_years
    for mask in range(16):
        kwh = sets.soc_kwh(mask)
        whole = start_soc_kwh(run_year(with_on(switched_site(1), sets.names_of(mask))))[:, sets.starts]
        assert np.abs(kwh - whole).max() < 1e-8
    assert sets.n_years == 7  # four for each leg, one of them for both, instead of sixteen


def test_pools_that_share_surplus_solar_or_a_circuit_have_one_year_a_set():
    assert not sets_of(switched_site(1, solar=True)).own_years
    paired = [backed("Boiler", 0.1), candidate("Pump", 0.1, "AB", rate_transfer=True)]
    assert not sets_of(small_site(paired, locked_pair(), rate=TWO_PRICES, outage={"horizon_h": 40.0})).own_years


@pytest.mark.parametrize("solar", [False, True])
def test_no_start_exceeds_full_and_less_charge_never_lasts_longer(solar):
    sets = sets_of(switched_site(2, solar))
    for mask in range(16):
        for p in (0, 1):
            assert (sets.pool_kwh(p, mask) <= sets.most_kwh(p) + 1e-9).all()
            assert (sets.pool_lasts(p, mask) <= sets.pool_lasts(p, mask, full=True)).all()
        assert sets.meets(mask) <= sets.may_meet(mask)


def test_a_target_that_full_units_miss_runs_no_year():
    sets = sets_of(switched_site(1), hours=39.0)
    assert best_sets(sets) == []
    assert sets.n_years == 0


@pytest.mark.parametrize(("seed", "hours"), [(1, 10.0), (2, 12.0)])
def test_best_set_of_switched_circuits(seed, hours):
    assert_best(switched_site(seed), hours, 0.8)


def test_units_that_are_kept_full_start_every_set_alike():
    site = switched_site(1).with_values({"operation.plan": "keep-full"})
    assert sets_of(site).rate_bits == 0


def test_a_medical_circuit_without_supply_is_required_and_loud():
    circuits = [backed("Boiler", 0.1), candidate("Concentrator", 0.3, "B", if_lost="medical")]
    found = choose_circuits(small_site(circuits, [unit("A")], outage=SHORT), hours=4.0, **WINTER)
    assert "Concentrator" in found.required
    assert any(note.startswith("MEDICAL") and "leg without a unit" in note for note in found.notes)


@pytest.mark.parametrize("load_control", ["none", "automatic"])
def test_what_is_never_carried_is_not_proposed_to_be_switched_off(load_control):
    circuits = [backed("Boiler", 0.2, if_lost="heat"), backed("Pump", 0.3, "AB"), backed("Games", 0.3)]
    panel = {"load_control": load_control}
    site = small_site(circuits, [unit("A")], outage=SHORT, site=EDITION, subpanel=panel)
    assert choose_circuits(site, hours=20.0, **WINTER).switch_off == ("Games",)


def test_flood_and_heat_are_not_left_out_in_silence():
    """5 kWh for 20 h: 0.25 kW. The freezer fits, the pit beside it does not; two units would carry both."""
    circuits = [backed("Boiler", 0.1, if_lost="heat"), candidate("Freezer", 0.14, if_lost="food", priority=1)]
    circuits += [candidate("Pit", 0.3, if_lost="flood")]
    site = small_site(circuits, [unit("A")], outage=SHORT, site=EDITION)
    found = choose_circuits(site, hours=20.0, **WINTER)
    assert found.best.circuits == ("Freezer",) and found.dropped == ("Pit (flood)",)
    assert found.text.endswith("LEFT OUT: Pit (flood).")
    assert found.else_meets[0].startswith("with Boiler, Freezer, Pit: 90% of the outages last 9.2 h")
    assert not any("one more unit" in text for text in found.else_meets)  # 10 kWh for 0.54 kW: 18.5 h
    nearer = choose_circuits(site, hours=18.0, **WINTER)
    assert nearer.else_meets[1:] == ("one more unit on leg A would meet it",)
    assert found.document()["rows"][0]["circuits"] == ["Boiler", "Freezer"]


def test_a_higher_reserve_that_would_meet_the_target_is_named():
    """0.5 kW: full units last 10 h; with a reserve of 0.2 an outage after the evening peak finds less."""
    periods = [
        {"name": "on-peak", "price_per_kwh": 0.4, "days": "all", "hours": "16:00-21:00"},
        {"name": "off-peak", "price_per_kwh": 0.1, "days": "all", "hours": "00:00-24:00"},
    ]
    rate = {"season": [{"name": "all", "months": list(range(1, 13)), "periods": periods}]}
    operation = {"plan": "time-of-use", "reserve": 0.2}
    site = small_site([backed("Boiler", 0.5, rate_transfer=True)], [unit("A")], rate=rate, operation=operation)
    found = choose_circuits(site, hours=9.0, share=0.95)
    assert not found.best.met
    assert [text for text in found.else_meets if "reserve" in text] == ["a reserve of 90% would meet it"]


def test_nothing_else_is_said_where_the_target_is_met_and_nothing_grave_is_left_out():
    found = choose_circuits(small_site([backed("Boiler", 0.1)], [unit("A")], outage=SHORT), hours=10.0)
    assert (found.dropped, found.else_meets) == ((), ())
