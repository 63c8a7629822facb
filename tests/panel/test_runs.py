"""What runs between the panels: counts derived from the wiring list, neutral and ground, fill; panels invented.

Scenario S55 worked by hand; NEC 310.15(E), 250.122, Chapter 9 and 312.8 from memory, Annex C Table C.1 for nine 12 AWG.
"""

import pytest

from profiles.noun import BadInput
from simulate.panel.checks.check import check_panel
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.raceway_tables import ground_awg, least_trade_size
from simulate.panel.checks.runs import counted, neutral_counts, strands_of
from simulate.panel.sheets.sheets import sheets
from tests.panel.panel_bench import bench, both_unit, circuit, findings, locked_pair, only, unit

FIVE = [
    circuit(name, 0.1, leg, kind="lighting", running_w=100, wire={"awg": "12", "length_ft": 40.0})
    for name, leg in (("One", "A"), ("Two", "B"), ("Three", "A"), ("Four", "B"), ("Five", "A"))
]


def through(batteries=None, length_in=36.0, circuits=FIVE, **raceway):
    """Five circuits whose breakers stay in the main panel."""
    raceways = [{"length_in": length_in, "awg": "12", **raceway}]
    batteries = batteries or [both_unit(output_breaker_a=30, output_wire_awg="10")]
    return bench(circuits, batteries, subpanel={"raceways": raceways, "neutral": "solid"})


def n_counted(site):
    return counted(strands_of(Layout(site), 1, site.subpanel.raceways[0])[0])


def test_s55_five_circuits_are_ten_hots():
    """Out and back: 10 hots, 50 %; the neutral of both legs of 120/240 V is not counted."""
    assert n_counted(through()) == 10
    assert "10 current-carrying conductors over 36 in" in only(through(), "raceway", "raceway 1").text
    assert "50% of the 90 degC column" in only(through(), "raceway", "raceway 1").text


def test_s55_a_stated_six_is_no_input():
    one = only(through(conductors=6), "raceway", "raceway 1, count")
    assert (one.verdict, one.value, one.limit) == ("fail", 10.0, 6.0)
    assert "10 current-carrying conductors over 36 in" in only(through(conductors=6), "raceway", "raceway 1").text
    assert findings(through(conductors=12), "raceway")[0].text.startswith("12 current-carrying")


def test_a_stated_six_in_a_nipple_is_marginal():
    """24 in or less: no derating applies whatever the count."""
    assert only(through(length_in=24.0, conductors=6), "raceway", "raceway 1, count").verdict == "marginal"


@pytest.mark.parametrize(
    ("batteries", "system", "counts"),
    [
        ([both_unit()], "120/240", False),
        (locked_pair(), "120/240", False),
        ([unit("A"), unit("B")], "120/240", True),
        ([unit("A")], "120/240", True),
        ([both_unit(charging_circuit={"breaker_a": 30, "volts": 208})], "120/208", True),
    ],
    ids=["120/240 V unit", "locked pair", "legs not locked", "one leg", "two legs of a wye"],
)
def test_which_neutral_is_counted(batteries, system, counts):
    """310.15(E): only the neutral that carries the unbalance of both legs of 120/240 V is not."""
    site = bench(FIVE, batteries, service={"system": system}, subpanel={"raceways": [{"length_in": 36.0, "awg": "12"}]})
    assert neutral_counts(Layout(site)) == counts
    assert n_counted(site) == 10 + counts


def test_charging_circuits_that_run_along_are_counted():
    """A 240 V charging circuit adds two hots."""
    site = through(charging=["Unit both"])
    assert n_counted(site) == 12
    with pytest.raises(BadInput, match="names no battery group"):
        check_panel(through(charging=["Nobody"]))


def test_several_raceways_say_which_circuits_run_in_each():
    raceways = [{"length_in": 36.0, "awg": "12"}, {"length_in": 36.0, "awg": "12"}]
    site = bench(FIVE, [both_unit()], subpanel={"raceways": raceways})
    assert "give subpanel.raceways[1].circuits" in only(site, "raceway", "raceway 1").text
    rows = {row[0]: row[6:8] for row in sheets(site)["wiring"]["rows"]}
    assert (rows["raceway 2, neutral"], rows["raceway 2, ground"]) == (["", "-"], ["-", ""]), "blank, and not left out"
    raceways[0]["circuits"], raceways[1]["circuits"] = ["One", "Two"], ["Three", "Four", "Five"]
    site = bench(FIVE, [both_unit()], subpanel={"raceways": raceways})
    assert only(site, "raceway", "raceway 1").text.startswith("4 current-carrying")
    assert only(site, "raceway", "raceway 2").text.startswith("6 current-carrying")


def test_neutral_and_ground_are_on_the_lists():
    """Three 20 A circuits on leg A, a 30 A output: the neutral carries 30 A, 10 AWG; ground behind 20 A, 12 AWG."""
    made = sheets(through())
    rows = {row[0]: dict(zip(made["wiring"]["columns"], row, strict=True)) for row in made["wiring"]["rows"]}
    assert rows["raceway 1, neutral"]["neutral"] == "1 x 10 AWG Cu"
    assert rows["raceway 1, ground"]["ground"] == "1 x 12 AWG Cu"
    assert rows["raceway 1, neutral"]["length [ft]"] == 3.0
    assert rows["Unit both, output"]["wire"] == "2 x 10 AWG Cu"
    materials = {(row[0], row[3]): row[1] for row in made["materials"]["rows"]}
    assert materials["wire 12 AWG Cu, hot, black", "between the panels"] == 6 * (3.0 + 6.0), "three circuits on leg A"
    assert materials["wire 12 AWG Cu, hot, red", "between the panels"] == 4 * (3.0 + 6.0)
    assert materials["wire 10 AWG Cu, neutral, white", "between the panels"] == 9.0
    assert materials["wire 12 AWG Cu, ground, green", "between the panels"] == 9.0
    assert materials["wire connector", "splices in the main panel, one a pole"] == 5


def test_grounds_by_breaker():
    """Table 250.122: 15 A 14 AWG, 20 A 12, 30 to 60 A 10, 100 A 8, 200 A 6, copper."""
    assert [ground_awg(a) for a in (15, 20, 30, 60, 100, 200)] == ["14", "12", "10", "10", "8", "6"]


def test_fill_by_chapter_9():
    """Table C.1: nine 12 AWG THHN in 1/2 in EMT, sixteen in 3/4, twenty-six in 1."""
    assert [least_trade_size("EMT", ["12"] * n) for n in (9, 10, 16, 17, 26)] == ["1/2", "3/4", "3/4", "1", "1"]
    small = only(through(trade_size="1/2"), "raceway", "raceway 1, fill")
    assert (small.verdict, "EMT of 3/4 in holds them at 40%" in small.text) == ("fail", True)
    assert only(through(trade_size="3/4"), "raceway", "raceway 1, fill").verdict == "pass"
    assert "raceways[1].trade_size" in only(through(), "raceway", "raceway 1, fill").text


def test_the_wiring_space_of_the_old_panel():
    """312.8: conductors at most 40 % of the cross section; 10 x 0.0133 + 0.0211 + 0.0133 in2 against 0.4 of it."""
    area = 10 * 0.0133 + 0.0211 + 0.0133
    site = bench(
        FIVE,
        [both_unit(output_breaker_a=30)],
        service={"gutter_in2": 0.4},
        subpanel={"raceways": [{"length_in": 36.0, "awg": "12"}]},
    )
    one = only(site, "raceway", "main panel, wiring space")
    assert (one.verdict, one.value, one.limit) == ("fail", pytest.approx(area), pytest.approx(0.16))
    assert "5 splices" in one.text


def test_terminals_marked_75_at_both_ends():
    """110.14(C): 60 degC up to 100 A unless both ends are marked: 8 AWG takes 40 A then 50 A."""
    charging = {"breaker_a": 50, "volts": 240, "wire": {"awg": "8", "method": "conduit"}}
    marked = both_unit(terminals_c=75, charging_circuit=charging)
    name = ("charging-circuit", "Unit both, conductor")
    assert only(bench(FIVE, [marked]), *name).limit == 40.0
    assert only(bench(FIVE, [marked], service={"terminals_c": 75}), *name).limit == 50.0
    cable = both_unit(terminals_c=75, charging_circuit=charging | {"wire": {"awg": "8", "method": "NM"}})
    assert only(bench(FIVE, [cable], service={"terminals_c": 75}), *name).limit == 40.0, (
        "334.80: NM by its 60 degC column"
    )


def test_a_pair_has_one_two_pole_breaker_on_every_list():
    """210.4(B): one two-pole breaker or a tied pair opens both hots of a shared neutral."""
    pair = [circuit("West", 0.1, "A", multiwire_with="East"), circuit("East", 0.1, "B")]
    for build in ("pass-through", "fed"):
        spaces = [{"poles": 2, "max_breaker_a": 30}]
        made = sheets(bench(pair, locked_pair(), subpanel={"build": build, "spaces": spaces}))
        pieces = " ".join(str(row[0]) for row in made["materials"]["rows"])
        assert "breaker 20 A 2-pole" in pieces
        assert "breaker 20 A 1-pole" not in pieces.replace("breaker 30 A", "")
        assert "20 A, 2-pole with East" in " ".join(map(str, made["wiring"]["rows"]))
        assert made["directory-sub"]["rows"][0][2:5] == [
            "West / East",
            "20 A, 2-pole with East",
            "shared neutral: both open together",
        ]


MAIN = {"spaces": 12, "free_at": [9, 10, 11, 12], "main_breaker_a": 200, "free_spaces": 4}


def numbered(charging_volts=240, free=(9, 10, 11, 12), **more):
    loads = [circuit("One", 0.1, "A", main_space=1), circuit("Pump", 0.1, "AB", main_space=4, breaker_a=30)]
    battery = both_unit(charging_circuit={"breaker_a": 30, "volts": charging_volts})
    return bench(loads, [battery], service=MAIN | {"free_at": list(free)}, **more)


def test_the_main_panel_by_number():
    """Stabs alternate from row to row: 1 and 2 on A, 3 and 4 on B; two poles take 4 and 6."""
    rows = {row[0]: row for row in sheets(numbered())["directory-main"]["rows"]}
    assert rows[1][1:5] == ["A", "One", "20 A", "One, backed up"]
    assert rows[4][2] == rows[6][2] == "Pump"
    assert (rows[9][4], rows[11][4], rows[10][4]) == ("Charging, Unit both", "Charging, Unit both", "free")
    assert [rows[p][1] for p in (1, 2, 3, 4)] == ["A", "A", "B", "B"]


def test_two_poles_need_adjacent_free_spaces():
    assert only(numbered(), "space", "main panel, numbers").verdict == "pass"
    apart = only(numbered(free=(9, 12)), "space", "main panel, numbers")
    assert (apart.verdict, "two poles need adjacent spaces" in apart.text) == ("fail", True)


def test_numbers_that_contradict_each_other_are_named():
    loads = [circuit("One", 0.1, "A", main_space=9), circuit("Pump", 0.1, "AB", main_space=7)]
    one = only(bench(loads, [both_unit()], service=MAIN | {"free_at": [7, 13]}), "space", "main panel, read again")
    assert (one.verdict, one.value) == ("fail", 3.0)
    assert "space 9 is that of One and of Pump" in one.text
    assert "space 7 is free and that of Pump" in one.text
    assert "there is no space 13 among 12" in one.text


def test_a_leg_that_its_space_does_not_have_is_asked_about():
    loads = [circuit("One", 0.1, "B", main_space=1)]
    one = only(bench(loads, [both_unit()], service=MAIN), "space", "main panel, legs")
    assert (one.verdict, "One in space 1 on leg B" in one.text) == ("marginal", True)


def test_a_sub_panel_with_stabs_alternates_legs():
    """Four single-pole spaces: two on A, two on B; three circuits on A do not fit."""
    spaces = [{"poles": 1, "max_breaker_a": 20, "count": 4}, {"poles": 2, "max_breaker_a": 30}]
    loads = [circuit(f"{k}", 0.1, "A") for k in range(3)] + [circuit("Pump", 0.1, "AB")]
    site = bench(loads, locked_pair(), subpanel={"build": "fed", "spaces": spaces})
    assert only(site, "space", "single-pole spaces").verdict == "fail"
    rows = sheets(site)["directory-sub"]["rows"]
    assert [(row[0], row[1]) for row in rows][:2] == [("1", "A"), ("2", "A")]
    assert rows[-1][:3] == ["5/7", "A+B", "Pump"]
