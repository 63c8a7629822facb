"""Leg assignment: worked scenario S15 and enumeration as the oracle; panels invented."""

import io
import itertools
import tomllib

import numpy as np
import pytest
from rich.console import Console

from profiles.noun import BadInput
from simulate.designs.legs import assignment_document
from simulate.panel.checks.spaces import items_of, seats, slots_of
from simulate.panel.legs.balance import balance_legs, bench_of
from simulate.panel.legs.rewrite import check_copy, write_legs
from simulate.show.terminal.listing import show_assignment
from simulate.site.site import read_site
from tests.panel.panel_bench import bench, circuit, locked_pair, unit

PANEL = {"poles": 1, "max_breaker_a": 20}


def s15(legs="ABABA", **tables):
    watts = (800, 600, 500, 400, 300)
    loads = [circuit(f"Load {w}", 0.1, leg, running_w=w) for w, leg in zip(watts, legs, strict=True)]
    return bench(loads, **tables)


def test_s15_best_imbalance_is_nothing():
    """S15: 800, 600, 500, 400, 300 W go 1300/1300; alternating leaves 600 W."""
    assignment = balance_legs(s15())
    assert assignment.before.running_kw == pytest.approx((1.6, 1.0))
    assert assignment.after.running_kw == pytest.approx((1.3, 1.3))
    assert assignment.after.imbalance_frac == pytest.approx(0.0, abs=1e-9)


def test_fewest_moves_among_equals():
    """800 + 500 against 600 + 400 + 300: from alternating legs only the 300 W circuit changes."""
    assignment = balance_legs(s15())
    assert assignment.moved == ("Load 300",)
    assert balance_legs(s15("ABABB")).moved == ()


def enumerated(site, hours_of_leg=None):
    """The oracle: every choice of legs, judged one by one in the same order."""
    one = bench_of(site)
    ranked = []
    for choice in itertools.product((0, 1), repeat=len(one.items)):
        legs = one.legs(choice)
        figures = one.figures(legs)
        slots = slots_of(one.layout)
        left = len(seats(slots, items_of(one.layout, legs))[1]) if slots else 0
        hours = hours_of_leg(legs) if hours_of_leg else 0.0
        apart = abs(figures.running_kw[0] - figures.running_kw[1])
        ranked.append((left, round(figures.excess_kw, 6), -hours, round(apart, 6), one.moves(legs)))
    return min(ranked)


def outcome(site, hours_of_leg=None, **keys):
    assignment = balance_legs(site, hours_of_leg, **keys)
    after, one = assignment.after, bench_of(site)
    apart = abs(after.running_kw[0] - after.running_kw[1])
    items_left = len(seats(slots_of(one.layout), items_of(one.layout, assignment.legs))[1]) if assignment.slots else 0
    return items_left, round(after.excess_kw, 6), -(after.hours or 0.0), round(apart, 6), one.moves(assignment.legs)


def random_panel(rng, most=8):
    loads = []
    for k in range(rng.integers(2, most)):
        watts = int(rng.integers(1, 16)) * 100
        motor = {"motor": {"lra_a": float(rng.integers(5, 60)), "at_volts": 120.0}} if rng.random() < 0.4 else {}
        breaker = int(rng.choice([15, 20, 30]))
        loads.append(
            circuit(
                f"C{k}",
                0.1,
                "AB"[rng.integers(2)],
                running_w=watts,
                breaker_a=breaker,
                largest_w=watts + int(rng.integers(0, 9)) * 100,
                **motor,
            )
        )
    if rng.random() < 0.5 and len(loads) > 2:
        loads[0]["multiwire_with"], loads[1]["leg"] = "C1", "B" if loads[0]["leg"] == "A" else "A"
    if rng.random() < 0.5:
        loads.append(
            circuit("Pump", 0.1, "AB", running_w=900, motor={"hp": 0.5, "code_letter": "J", "at_volts": 240.0})
        )
    spaces = [
        PANEL | {"count": 3, "leg": "A"},
        PANEL | {"count": 3, "leg": "B"},
        PANEL | {"max_breaker_a": 30},
        {"poles": 2, "max_breaker_a": 30, "count": 2},
    ]
    panel = {"spaces": spaces} if rng.random() < 0.6 else {}
    kw, kva = float(rng.uniform(1.0, 4.0)), float(rng.uniform(3.0, 8.0))
    return bench(loads, locked_pair(continuous_kw=kw, surge_kva=kva, surge_s=2.0), subpanel=panel)


@pytest.mark.parametrize("seed", range(10))
def test_the_programme_equals_enumeration(seed):
    site = random_panel(np.random.default_rng(seed))
    assert outcome(site) == pytest.approx(enumerated(site), abs=2e-5)


@pytest.mark.hours
@pytest.mark.parametrize("seed", range(10, 250))
def test_the_programme_equals_enumeration_many_times(seed):
    test_the_programme_equals_enumeration(seed)


@pytest.mark.parametrize("seed", (25, 26))
def test_with_hours_it_equals_enumeration_where_all_are_compared(seed):
    with_hours(seed, most=5)


@pytest.mark.hours
@pytest.mark.parametrize("seed", range(28, 60))
def test_with_hours_it_equals_enumeration_many_times(seed):
    with_hours(seed, most=8)


def with_hours(seed, most):
    rng = np.random.default_rng(seed)
    site = random_panel(rng, most)
    kwh = {one.name: float(rng.uniform(0.1, 2.0)) for one in site.circuit}

    def hours_of_leg(legs):
        drain = [sum(kwh[name] for name, leg in legs.items() if leg == one) for one in "AB"]
        return round(10.0 / max(max(drain), 0.1), 6)

    assert balance_legs(site, hours_of_leg, candidates=256).complete
    assert outcome(site, hours_of_leg, candidates=256) == pytest.approx(enumerated(site, hours_of_leg), abs=2e-5)


def test_a_solver_error_is_no_proof_of_infeasibility(monkeypatch):
    """Some of these programmes end in an error after the solver's presolve: they are asked again without it."""
    import scipy.optimize

    milp, asked = scipy.optimize.milp, []

    def faulty(*args, options, **keys):
        asked.append(options["presolve"])
        result = milp(*args, options=options, **keys)
        if options["presolve"]:
            result.status, result.x = 4, None
        return result

    monkeypatch.setattr(scipy.optimize, "milp", faulty)
    assert balance_legs(s15()).after.imbalance_frac == pytest.approx(0.0, abs=1e-9)
    assert asked[:2] == [True, False]
    monkeypatch.setattr(scipy.optimize, "milp", lambda *a, **k: scipy.optimize.OptimizeResult(status=4, message="lost"))
    with pytest.raises(RuntimeError, match="the solver gave up on the assignment of legs: lost"):
        balance_legs(s15())


def test_limits_come_before_hours_and_hours_before_balance():
    """Two motors of 4 kVA on legs of 6 kVA: apart they fit, together they do not, whatever the hours say."""
    motor = {"lra_a": 40.0, "at_volts": 120.0}
    loads = [
        circuit("P", 0.1, "A", running_w=1500, motor=motor),
        circuit("Q", 0.1, "A", running_w=1500, motor=motor),
        circuit("Fridge", 0.1, "A", running_w=200),
    ]
    site = bench(loads, locked_pair(continuous_kw=5.0, surge_kva=6.0, surge_s=2.0))
    together = lambda legs: 10.0 if legs["P"] == legs["Q"] else 1.0 + (legs["Fridge"] == legs["Q"])
    assignment = balance_legs(site, together, candidates=8)
    assert assignment.legs["P"] != assignment.legs["Q"]
    assert assignment.after.excess_kw == 0.0
    assert (assignment.after.hours, assignment.before.hours) == (2.0, 10.0)
    assert assignment.legs["Fridge"] == assignment.legs["Q"]


def test_hours_are_compared_for_so_many_only_and_it_says_so():
    assignment = balance_legs(s15(), lambda legs: 1.0, candidates=3)
    assert (assignment.n_compared, assignment.complete) == (3, False)
    assert assignment.method.endswith("hours of 3 compared")
    assert balance_legs(s15(), lambda legs: 1.0, candidates=32).complete


def test_mates_stay_on_opposite_legs_in_one_two_pole_space():
    loads = [
        circuit("West", 0.1, "A", running_w=300, multiwire_with="East"),
        circuit("East", 0.1, "A", running_w=900),
        circuit("Den", 0.1, "A", running_w=600),
    ]
    panel = {"spaces": [PANEL, {"poles": 2, "max_breaker_a": 20}]}
    assignment = balance_legs(bench(loads, subpanel=panel))
    assert assignment.legs["West"] != assignment.legs["East"]
    assert assignment.legs["Den"] == assignment.legs["West"]
    assert [slot.circuits for slot in assignment.slots] == [("Den",), ("West", "East")]
    assert assignment.unplaced == ()


def test_what_has_no_space_is_named():
    panel = {"spaces": [PANEL | {"max_breaker_a": 15}]}
    assert balance_legs(bench([circuit("Den", 0.1, "A", running_w=600)], subpanel=panel)).unplaced == ("Den",)


def test_a_space_on_a_leg_decides():
    panel = {"spaces": [PANEL | {"count": 2, "leg": "B"}]}
    loads = [circuit("One", 0.1, "A", running_w=600), circuit("Two", 0.1, "A", running_w=600)]
    assert set(balance_legs(bench(loads, subpanel=panel)).legs.values()) == {"B"}


def test_one_leg_with_a_unit_takes_all():
    loads = [circuit("One", 0.1, "B", running_w=600), circuit("Two", 0.1, "A", running_w=600)]
    assert set(balance_legs(bench(loads, [unit("A", continuous_kw=2.0)])).legs.values()) == {"A"}


def test_permuting_equal_circuits_changes_nothing():
    loads = [circuit(f"L{k}", 0.1, "A", running_w=w) for k, w in enumerate((500, 500, 700, 300))]
    seen = {
        round(balance_legs(bench(list(p))).after.imbalance_frac, 9)
        for p in itertools.islice(itertools.permutations(loads), 0, 24, 5)
    }
    assert seen == {0.0}


def test_before_and_after_as_plain_data():
    table = balance_legs(s15()).table()
    assert table["columns"] == ["figure", "unit", "before", "after"]
    row = {name: (before, after) for name, _, before, after in table["rows"]}
    assert row["running, leg A"] == pytest.approx((1.6, 1.3))
    assert row["neutral, running"] == pytest.approx((5.0, 0.0), abs=1e-9)
    assert row["hours of the leg that dies first"] == (None, None)


def test_what_cannot_be_balanced_is_refused():
    with pytest.raises(BadInput, match='bench.toml: circuit "Den".running_w is missing; legs are balanced on power'):
        balance_legs(bench([circuit("Den", 0.1, "A")]))
    with pytest.raises(BadInput, match="has one leg, so there is nothing to balance"):
        balance_legs(bench([circuit("Den", 0.1, "A", running_w=9)], [unit("A")], service={"system": "120"}))


SITE = """# the head
[site]
name = "Bench"
latitude = 36.0
longitude = -80.0
timezone = "America/New_York"

[[circuit]]   # the first
name = "One"
breaker_a = 20   # seen on site
running_w = 800
load = { kw = 0.1 }
# a remark on the next

[[circuit]]
name = "Two"
leg = "A"   # measured
breaker_a = 20
running_w = 800
load = { kw = 0.1 }

[[battery]]
name = "L"
leg = "A"
locked_with = "R"
usable_kwh = 5.0
continuous_kw = 3.0
charging_circuit = { breaker_a = 30, volts = 120 }

[[battery]]
name = "R"
leg = "B"
usable_kwh = 5.0
continuous_kw = 3.0
charging_circuit = { breaker_a = 30, volts = 120 }

[rate]
price_per_kwh = 0.15
"""


def test_a_changed_copy_keeps_its_comments(tmp_path):
    path, out = tmp_path / "site.toml", tmp_path / "balanced.toml"
    path.write_text(SITE)
    assignment = balance_legs(read_site(path))
    assert assignment.moved == ("Two",) or assignment.moved == ("One",)
    assert write_legs(path, assignment, out) == out
    text = out.read_text()
    for line in SITE.splitlines():
        if not line.startswith("leg ="):
            assert line in text
    assert "   # measured" in text
    assert {one["name"]: one["leg"] for one in tomllib.loads(text)["circuit"]} == assignment.legs
    assert text.index('leg = "') < text.index("# a remark on the next")
    assert path.read_text() == SITE
    assert sorted(one.name for one in tmp_path.iterdir()) == ["balanced.toml", "site.toml"]
    again = balance_legs(read_site(out))
    assert again.moved == ()


def test_legs_that_are_already_there_change_nothing(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(SITE.replace("running_w = 800\nload", 'leg = "B"\nrunning_w = 800\nload', 1))
    before = path.read_bytes()
    write_legs(path, balance_legs(read_site(path)), tmp_path / "out.toml")
    assert (tmp_path / "out.toml").read_bytes() == before


def test_a_circuit_that_the_file_does_not_hold_is_refused(tmp_path):
    path = tmp_path / "other.toml"
    path.write_text(SITE.replace('"One"', '"Another"'))
    with pytest.raises(BadInput, match="circuit.name is not a circuit of the file, not 'Load 800'"):
        write_legs(path, balance_legs(s15()), tmp_path / "out.toml")
    assert not (tmp_path / "out.toml").exists()


def test_the_copy_is_refused_before_anything_is_worked_out(tmp_path):
    site = tmp_path / "job.toml"
    site.write_text("[site]\n", encoding="utf-8")
    for out, said in (
        (site, "must not be the site file"),
        (tmp_path, "is a folder"),
        (tmp_path / "none" / "x.toml", "a folder that is not there"),
    ):
        with pytest.raises(BadInput, match=said):
            check_copy(site, out)
    check_copy(site, tmp_path / "balanced.toml")


def test_what_was_not_compared_is_said():
    site = bench([circuit(f"C{k}", 0.1, "AB"[k % 2], running_w=100 + 10 * k) for k in range(6)])
    assignment = balance_legs(site, lambda legs: 1.0, candidates=3)
    console = Console(record=True, width=120, file=io.StringIO())
    show_assignment(assignment, console)
    said = " ".join(console.export_text().split())
    assert "hours of 3 compared; those with a worse running balance were not" in said
    assert assignment_document(assignment)["complete"] is False
