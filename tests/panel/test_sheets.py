"""The sheets as plain data, CSV, HTML and SVG; panels invented."""

import csv
import json
from xml.etree import ElementTree

import pytest

from simulate.panel.checks.check import check_panel
from simulate.panel.sheets.sheets import sheets, stopped, write_sheets
from simulate.site.site import read_site
from tests.panel.panel_bench import bench, both_unit, circuit, locked_pair, unit
from tests.site.small_site import farmhouse

NAMES = [
    "one-line",
    "schedule",
    "legs",
    "spaces",
    "directory-main",
    "directory-sub",
    "wiring",
    "neutrals",
    "charging",
    "load-calculation",
    "checks",
    "labels",
    "materials",
    "replacing",
    "commissioning",
    "client",
    "site-visit",
]
SPACES = [{"poles": 1, "max_breaker_a": 20, "count": 3}, {"poles": 2, "max_breaker_a": 30, "count": 2}]


def house(batteries=None, **tables):
    loads = [
        circuit(
            "Fridge",
            0.1,
            "A",
            kind="receptacle",
            running_w=190,
            largest_w=190,
            gfci="none",
            afci="none",
            wire={"awg": "12", "length_ft": 40.0},
            motor={"lra_a": 11.0, "at_volts": 115.0},
            if_lost="food",
        ),
        circuit("West", 0.1, "A", running_w=300, multiwire_with="East", priority=3),
        circuit("East", 0.1, "B", running_w=300, priority=3),
        circuit("Oxygen", 0.1, "B", kind="medical", running_w=350, priority=1),
        circuit("Pump", 0.1, "AB", kind="motor", running_w=1450, priority=2, motor={"hp": 1.0, "code_letter": "H"}),
        circuit("Dryer", 0.1, "AB", on="main", breaker_a=30, running_w=5000),
    ]
    tables["subpanel"] = {"spaces": SPACES, "neutral": "solid"} | tables.get("subpanel", {})
    return bench(loads, batteries, **tables)


def column(made, name):
    k = made["columns"].index(name)
    return [row[k] for row in made["rows"]]


def row_of(made, first):
    return dict(zip(made["columns"], next(row for row in made["rows"] if row[0] == first), strict=True))


def text_of(made):
    return json.dumps([made["rows"], made["notes"]])


def test_all_sheets_are_plain_data():
    site = house()
    made = sheets(site, check_panel(site))
    assert list(made) == NAMES
    assert json.loads(json.dumps(made)) == made
    for one in made.values():
        assert set(one) == {"title", "columns", "rows", "notes", "svg", "html"}
        assert all(len(row) == len(one["columns"]) for row in one["rows"])


def test_the_schedule_holds_every_circuit_before_and_after():
    made = sheets(house())["schedule"]
    assert column(made, "circuit") == ["Fridge", "West", "East", "Oxygen", "Pump", "Dryer"]
    fridge = row_of(made, "Fridge")
    assert (fridge["before"], fridge["after"], fridge["sub-panel space"], fridge["wire"]) == (
        "main panel",
        "sub-panel",
        1,
        "12 AWG Cu NM",
    )
    assert fridge["start [A]"] == "11"
    assert row_of(made, "Pump")["start [A]"] == "29-32"
    assert row_of(made, "West")["shares neutral with"] == "East"
    dryer = row_of(made, "Dryer")
    assert (dryer["after"], dryer["sub-panel space"], dryer["leg"]) == ("main panel", "-", "A+B")


def test_what_is_not_known_is_blank_and_never_guessed():
    site = bench([{"name": "Den", "breaker_a": 20, "load": {"kw": 0.1}}], [unit("A")])
    made = sheets(site)
    den = row_of(made["schedule"], "Den")
    for name in (
        "wire",
        "length [ft]",
        "running [W]",
        "GFCI",
        "AFCI",
        "sub-panel space",
        "main panel space",
        "verified by switching off",
    ):
        assert den[name] == "", name
    assert row_of(made["charging"], "Unit A")["wire"] == ""
    assert column(made["spaces"], "space") == [""]
    assert 'class="fill"' in made["schedule"]["html"]


def test_the_space_map_shows_number_leg_and_circuit():
    made = sheets(house())["spaces"]
    assert column(made, "space") == [1, 2, 3, 4, 5]
    assert column(made, "circuit") == ["Fridge", "Oxygen", "free", "West / East", "Pump"]
    assert column(made, "leg") == ["A", "B", "either", "A+B", "A+B"]
    short = sheets(house(subpanel={"spaces": SPACES[:1]}))["spaces"]
    assert short["rows"][-1][:2] + short["rows"][-1][4:] == ["", 2, "Pump", "20 A 2-pole"]


def test_the_legs_before_and_after():
    """Fridge 190 and West 300 on A against East 300 and Oxygen 350 on B, and half of 1,450 W on each."""
    from simulate.panel.legs.balance import balance_legs

    site = house()
    before = sheets(site)["legs"]
    assert row_of(before, "running, leg A") == {"figure": "running, leg A", "unit": "kW", "before": 1.215, "after": "-"}
    assignment = balance_legs(site)
    made = sheets(site, assignment=assignment)["legs"]
    assert row_of(made, "running, leg A")["after"] == round(assignment.after.running_kw[0], 4)
    moved = [row for row in made["rows"] if row[0] == "leg"]
    assert [row[1] for row in moved] == list(assignment.moved)
    blank = sheets(bench([circuit("Den", 0.1)]))["legs"]
    assert column(blank, "before") == ["", ""]
    one = bench([circuit("Den", 0.1)], [unit("A")], service={"system": "120"})
    assert sheets(one)["legs"]["notes"] == ["The service has one leg."]


def test_heat_on_the_sub_panel_is_pointed_out():
    heat = circuit("Wall heater", 0.1, kind="heat", running_w=1500)
    assert "left off" not in text_of(sheets(house())["schedule"])
    assert "leave off, or drop by load control: Wall heater." in text_of(sheets(bench([heat]))["schedule"])


def test_the_site_visit_asks_for_what_is_missing():
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "main-panel"}
    site = house(solar=solar, generator={"kw": 4.0, "connection": "interlocked-inlet"}, service={"main_breaker_a": 200})
    made = sheets(site)["site-visit"]
    assert (
        row_of(made, "circuit West")["question"]
        == "still to find: kind of circuit, wire, GFCI, AFCI, what else is on the wire"
    )
    known = {(row[0], row[1]): row[2] for row in made["rows"]}
    assert known["service", "main breaker"] == "200 A"
    assert known["service", "bus rating"] == ""
    assert known["goal", "who depends on a medical device, and on which circuit"] == "Oxygen"
    assert known["solar", "connected at"] == "main-panel"
    assert known["generator", "neutral"] == ""
    assert set(column(made, "checked")) == {""}


def test_wiring_out_and_back_or_from_its_own_breaker():
    through = sheets(house())["wiring"]
    out, back = row_of(through, "Fridge, out"), row_of(through, "Fridge, back")
    assert (out["from breaker"], out["to space"], out["label"]) == ("main panel, 20 A", "space 1", "1-A in")
    assert (back["to load"], back["wire"], back["label"]) == (
        "Fridge, spliced in the main panel",
        "1 x 12 AWG Cu",
        "1-A out",
    )
    branch = row_of(through, "Fridge, branch")
    assert (branch["wire"], branch["neutral"], branch["length [ft]"]) == ("12 AWG Cu NM", "in the cable", 40.0)
    assert row_of(through, "Unit A, output")["to space"] == "source lugs, leg A"
    assert any("lock out and tag" in note for note in through["notes"])
    feeder = {"breaker_a": 60, "awg": "6", "length_ft": 8.0}
    fed = sheets(house(subpanel={"build": "fed", "feeder": feeder}))["wiring"]
    assert row_of(fed, "Fridge, branch")["from breaker"] == "sub-panel, 20 A"
    assert row_of(fed, "feeder")["wire"] == "2 x 6 AWG Cu conduit"
    assert row_of(sheets(house(subpanel={"build": "fed"}))["wiring"], "feeder")["wire"] == ""


def test_neutrals_and_the_one_bond():
    made = sheets(house(locked_pair(neutral_bond="floating")))["neutrals"]
    assert row_of(made, "West")["shared with"] == "East"
    assert row_of(made, "Fridge")["neutral lands on"] == "main panel, neutral bar"
    assert "Bond on battery: at the service, the neutral is solid." in text_of(made)
    bonded = sheets(house(locked_pair(neutral_bond="bonded")))["neutrals"]
    assert "and in a unit: that is one too many" in text_of(bonded)
    switched = house(locked_pair(neutral_bond="floating"), subpanel={"neutral": "switched"})
    assert "none: that is one too few" in text_of(sheets(switched)["neutrals"])
    assert "________ (not stated)" in text_of(sheets(house())["neutrals"])


def test_charging_circuits_state_the_setting():
    made = sheets(house([both_unit(charge_kw=7.0, charge_adjustable=True)]))["charging"]
    row = row_of(made, "Unit both")
    assert (row["set charger to [kW]"], row["expected [A]"], row["at most for 3 h [A]"]) == (5.76, 24.0, 24.0)
    assert row_of(sheets(house([both_unit(charge_kw=4.8)]))["charging"], "Unit both")["set charger to [kW]"] == "-"
    assert len(sheets(house([both_unit(count=3)]))["charging"]["rows"]) == 3


def test_the_load_calculation_by_the_method_that_is_named():
    """The lines of Annex D, example D1(a); the standard itself is checked in published/."""
    rows = {
        "floor_area_ft2": 1500.0,
        "appliances": [
            {"name": "range", "va": 12000.0, "kind": "range"},
            {"name": "dryer", "va": 5500.0, "kind": "dryer"},
        ],
    }

    def lines(**service):
        made = sheets(house(service={"calculation": rows, **service}))["load-calculation"]
        return {row[0]: tuple(row[1:]) for row in made["rows"]}

    standard = lines(load_method="standard")
    assert standard["calculated load, standard method, Article 220"] == (18600.0, 77.5)
    assert standard["of this, on the neutral"] == (14550.0, 60.6)
    optional = lines(load_method="220.82")
    assert optional["calculated load, optional method, 220.82"][0] == 10000.0 + 0.4 * (9000 + 17500 - 10000)
    given = sheets(house(service={"calculation": rows, "calculated_load_va": 21400, "load_method": "220.83"}))
    assert ["calculated load, as given, 220.83", 21400, 89.17] in given["load-calculation"]["rows"]
    later = sheets(house(service={"calculation": rows}, site={"code_edition": "NEC 2026"}))["load-calculation"]
    assert "The 2026 figures (2 VA/ft2, first 8 kVA) are from trade-press notes." in later["notes"]
    assert "Article 120, NEC 2026: confirm in the adopted edition." in later["notes"]


def test_labels_warn_where_one_source_feeds_both_legs():
    one = text_of(sheets(house([unit("A", place="garage")]))["labels"])
    assert "Single 120 V supply. Do not connect multiwire branch circuits" in one
    assert "battery units, garage" in one
    two = text_of(sheets(house())["labels"])
    assert "Single 120 V supply" not in two
    assert "Oxygen, 20 A, leg B. Not the only power for life-sustaining equipment" in two
    assert "output to leg A of the sub-panel, locked with Unit B" in two
    generator = house(generator={"kw": 4.0, "connection": "interlocked-inlet"})
    assert "carbon monoxide kills" in text_of(sheets(generator)["labels"])


def test_a_mate_left_behind_is_loud_on_the_label_too():
    west = circuit("West", 0.1, "A", multiwire_with="East")
    text = text_of(sheets(bench([west, circuit("East", 0.1, "B", on="main")]))["labels"])
    assert "DO NOT ENERGISE UNTIL CORRECTED." in text


def test_material_counts():
    feeder = {"breaker_a": 60, "awg": "6", "length_ft": 8.0}
    wire = {"charging_circuit": {"breaker_a": 30, "volts": 240, "wire": {"awg": "10", "length_ft": 35.0}}}
    raceways = [{"length_in": 20.0, "conductors": 4}]
    panel = {"build": "fed", "feeder": feeder, "raceways": raceways}
    made = sheets(house([both_unit(count=2, output_breaker_a=35, **wire)], subpanel=panel))["materials"]
    rows = {(row[0], row[3]): row[1] for row in made["rows"]}
    assert rows["breaker 30 A 2-pole", "charging, main panel"] == 2
    assert rows["breaker 35 A 2-pole", "unit outputs"] == 2
    assert rows["breaker 20 A 1-pole", "sub-panel"] == 2
    assert rows["breaker 20 A 2-pole", "sub-panel"] == 2, "the pump, and West with East"
    assert rows["breaker 60 A 2-pole", "feeder, main panel"] == 1
    assert rows["NM cable 10/2 with ground, Cu", "charging circuits"] == 70.0
    assert rows["wire 6 AWG Cu, hot, black", "feeder"] == rows["wire 6 AWG Cu, hot, red", "feeder"] == 8.0
    assert rows["wire 6 AWG Cu, neutral, white", "feeder"] == rows["wire 10 AWG Cu, ground, green", "feeder"] == 8.0
    assert rows["EMT 1/2 in", "raceway between the panels"] == 1.7
    assert rows["connector, EMT 1/2 in, with locknut", "raceway between the panels"] == 2
    unknown = {row[0]: row[1] for row in sheets(house())["materials"]["rows"]}
    assert unknown["wire ________"] == ""


def test_replacing_says_what_goes_dark():
    made = sheets(house())["replacing"]
    space = row_of(made, "space 4")
    assert space["dark meanwhile"] == "West, East"
    assert space["open first"] == "main panel breaker of West and East, output of Unit A, output of Unit B"
    leg_a = row_of(made, "Unit A")["served by the utility, not backed up meanwhile"]
    assert leg_a == "Fridge, West, Pump"
    two = row_of(sheets(house([both_unit(count=2)]))["replacing"], "Unit both no. 1")
    assert two["served by the utility, not backed up meanwhile"] == "-"
    fed = sheets(house(subpanel={"build": "fed"}))["replacing"]
    assert row_of(fed, "space 1")["dark meanwhile"] == "Fridge, West, East, Oxygen, Pump"


@pytest.mark.parametrize(
    ("reserve", "text"), [("best", "as chosen by the study"), ([0.2] * 11 + [0.5], "50%"), (0.4, "40%")]
)
def test_sheets_print_every_kind_of_reserve(reserve, text):
    made = sheets(house(locked_pair(), operation={"reserve": reserve}))
    form = dict(zip(column(made["commissioning"], "test"), column(made["commissioning"], "expected"), strict=True))
    assert form["reserve is honoured in daily operation"].endswith(text)
    assert text in str(made["client"])


def test_the_commissioning_form_carries_expected_values():
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "main-panel"}
    battery = locked_pair(charge_kw=2.4, neutral_bond="floating")
    site = house(battery, solar=solar, subpanel={"transfer": {"break_ms": 60.0}}, operation={"reserve": 0.4})
    made = sheets(site)["commissioning"]
    expected = dict(zip(column(made, "test"), column(made, "expected"), strict=True))
    assert expected["charging current of Unit A, each unit"] == "20.0 A expected, 24.0 A at most"
    assert expected["charging current of all units together, service leg A"] == "20.0 A"
    assert expected["outage test by opening the main: break at transfer"] == "60 ms"
    assert expected["start of Pump with the base load on, clamp reading"] == "29-32 A"
    assert expected["current of leg A on battery"].startswith("10.1 A running (1.22 kW running")  # 490 W, 1450 at 240 V
    assert expected["solar on loss of the utility"] == "drops within 2 s, stays off as wired"
    assert expected["reserve is honoured in daily operation"] == "40%"
    assert expected["low-battery cutoff and restart"] == "empty stays dark until the utility returns"
    assert expected["after an overload trip"] == "dark until reset by hand"
    bonds = expected["bonds of neutral and ground, counted on the utility and on battery"]
    assert bonds == "1 each way (from the site file: 1 on the utility, 1 on battery)"
    assert set(column(made, "measured")) == set(column(made, "seen by")) == {""}
    assert column(made, "no.") == list(range(1, len(made["rows"]) + 1))


def test_the_client_page_keeps_life_support_on_the_line():
    answers = {"Winter": "nine times in ten at least 9 h"}
    made = sheets(house(), (), answers)["client"]
    assert made["rows"][0] == ["How long (modelled)", "Winter", "nine times in ten at least 9 h"]
    oxygen = next(row for row in made["rows"] if row[1] == "Oxygen")
    assert oxygen[2].startswith("priority 1. Do not rely on this system as the only power")
    assert ["Not backed up", "Dryer", "dark in an outage"] in made["rows"]
    order = [row[2] for row in made["rows"] if row[0] == "Switch off first"]
    assert order == ["West", "East", "Pump"]  # never the first priority
    told = sheets(house(), (), answers, switch_off=["West off: 2 h -> 3 h"])["client"]["rows"]
    assert [row[2] for row in told if row[0] == "Switch off first"] == ["West off: 2 h -> 3 h"]
    assert any("portable heater" in row[2] for row in made["rows"] if row[0] == "Do not run")
    blank = sheets(house())["client"]
    assert ["How long (modelled)", "winter", ""] in blank["rows"]


def test_the_client_is_told_what_not_to_run_and_what_happens():
    said = lambda site: {
        row[1]: row[2]
        for row in sheets(site, check_panel(site))["client"]["rows"]
        if row[0] in ("Do not run", "What happens")
    }
    plain = said(house())
    assert plain["when the units are empty"] == "Empty units stay dark until the utility returns."
    assert "stay dark until someone resets it" in plain["after a trip"]
    assert "to the roof" not in plain
    weak = [one | {"continuous_kw": 1.6} for one in locked_pair()]
    assert "Fridge" in said(house(weak))["a heater on these: it trips a unit"]
    sun = {"dc_kw": 3.0, "connected_at": "sub-panel", "tilt_deg": 30.0, "azimuth_deg": 180.0}
    units = [one | {"takes_back_kw": 2.0, "after_trip": "retries"} for one in locked_pair()]
    returns = said(house(units, solar=sun, outage={"restart_soc": 0.1}))
    assert returns["when the units are empty"].startswith("Loads are dropped at 10%")
    assert "comes back by itself" in returns["after a trip"]
    assert "five minutes" in returns["to the roof"]


def test_the_check_sheet_begins_with_what_fails():
    made = sheets(house(), check_panel(house()))["checks"]
    verdicts = column(made, "verdict")
    order = ["fail", "not-assessed", "marginal", "pass"]
    assert verdicts == sorted(verdicts, key=order.index)


def test_checks_are_counted_and_never_summed_up():
    site = house()
    findings = check_panel(site)
    made = sheets(site, findings)["checks"]
    assert len(made["rows"]) == len(findings)
    assert made["notes"][0].endswith("There is no overall verdict.")
    fails = sum(one.verdict == "fail" for one in findings)
    assert made["notes"][0].startswith(f"{fails} fail, ")


SVG = "{http://www.w3.org/2000/svg}"


def drawing(site):
    return ElementTree.fromstring(sheets(site)["one-line"]["svg"])


def test_the_one_line_diagram_names_everything():
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "main-panel", "breaker_a": 20}
    root = drawing(house(solar=solar, generator={"kw": 4.0, "connection": "interlocked-inlet"}))
    words = " ".join(one.text for one in root.iter(f"{SVG}tspan"))
    for part in (
        "Fridge",
        "12 AWG Cu NM, 40 ft",
        "space 1, leg A",
        "20 A 2-pole",
        "____ AWG, ____ ft",
        "utility, 120/240 V",
        "neutral, solid",
        "solar 3.6 kW DC, at the main panel",
        "generator 4 kW",
        "Dryer, stays",
        "Unit A",
        "main breaker ____ A",
    ):
        assert part in words, part


@pytest.mark.parametrize(("solar_at", "runs"), [("sub-panel", 1), ("battery", 2), ("main-panel", 0)])
def test_every_source_has_a_line_to_where_it_lands(solar_at, runs):
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": solar_at, "breaker_a": 20}
    root = drawing(house(solar=solar))
    from_sources = [one for one in root.iter(f"{SVG}polyline") if one.get("stroke-dasharray") == "10 3 2 3"]
    assert len(from_sources) == runs
    inlet = drawing(house(generator={"kw": 4.0, "connection": "unit-inlet"}))
    assert sum(one.get("stroke-dasharray") == "10 3 2 3" for one in inlet.iter(f"{SVG}polyline")) == 2


def test_the_title_block_is_for_the_hand():
    made = sheets(house())["one-line"]
    block = row_of(made, "Test bench")
    assert (block["job"], block["edition of the Code adopted"], block["drawn by"]) == ("Test bench", "NEC 2023", "")
    named = sheets(house(job={"prepared_by": "J. Doe", "date": "2025-03-01"}))["one-line"]
    assert (row_of(named, "Test bench")["drawn by"], row_of(named, "Test bench")["date"]) == ("J. Doe", "2025-03-01")
    assert len(made["rows"]) == 1, "one row, so that it stays on the page of the drawing"


def test_the_one_line_diagram_is_accessible():
    root = drawing(house())
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "One-line diagram, Test bench"
    description = root.find(f"{SVG}desc").text
    assert "Pump: 20 A 2-pole, leg A+B, on the sub-panel." in description
    assert "1 x Unit A feeds leg A, charged by 30 A at 120 V from the main panel." in description
    assert root.get("aria-labelledby") == "one-line-title one-line-desc"
    dashed = [one for one in root.iter(f"{SVG}line") if one.get("stroke-dasharray") == "7 4"]
    assert dashed, "leg B is told apart without colour"


@pytest.mark.parametrize("where", ["sub-panel", "battery"])
def test_the_diagram_shows_where_solar_is_connected(where):
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": where}
    site = house(
        [both_unit(count=2)], solar=solar, subpanel={"build": "fed"}, generator={"kw": 4.0, "connection": "unit-inlet"}
    )
    words = " ".join(one.text for one in drawing(site).iter(f"{SVG}tspan"))
    assert {"sub-panel": "at the sub-panel", "battery": "on the cells"}[where] in words
    assert "at the units' inlet" in words
    assert "feeder, ____ A" in words


def test_names_are_escaped_everywhere():
    """A name out of a file stays text: no tag of it reaches the page, in HTML, SVG title, description or text."""
    bad = '<script>alert("x")</script>'
    loads = [circuit(bad, 0.1, "A", also_on_wire=bad, motor={"hp": 0.1}), circuit("Mate", 0.1, "B", multiwire_with=bad)]
    site = bench(loads, [unit("A") | {"name": bad}], site={"name": bad})
    made = sheets(site, check_panel(site), {bad: bad})
    for name, one in made.items():
        assert "<script" not in one["html"], name
        assert "<script" not in one["svg"], name
    assert "&lt;script&gt;" in made["schedule"]["html"]
    ElementTree.fromstring(made["one-line"]["svg"])


def test_no_drawing_carries_a_script():
    site = house()
    for one in sheets(site, check_panel(site)).values():
        assert "<script" not in one["html"]
        assert "javascript:" not in one["html"]
        assert "http" not in one["html"].replace("http://www.w3.org/2000/svg", "")


def test_no_word_that_promises():
    site = house()
    words = json.dumps({k: [v["rows"], v["notes"]] for k, v in sheets(site, check_panel(site)).items()}).lower()
    for promise in ("compliant", "guaranteed", " safe"):
        assert promise not in words


def test_sheets_are_written_whole(tmp_path):
    site = house()
    made = sheets(site, check_panel(site))
    paths = write_sheets(made, tmp_path / "sheets")
    there = sorted(one.name for one in (tmp_path / "sheets").iterdir())
    assert there == sorted([f"{name}.csv" for name in NAMES] + ["one-line.svg", "directory-sub.svg", "sheets.html"])
    assert sorted(one.name for one in paths) == there
    with open(tmp_path / "sheets" / "schedule.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0] == made["schedule"]["columns"]
    assert [row[0] for row in rows[1:]] == ["Fridge", "West", "East", "Oxygen", "Pump", "Dryer"]
    ElementTree.parse(tmp_path / "sheets" / "one-line.svg")


def test_the_page_to_print_is_whole_and_offline(tmp_path):
    site = house()
    write_sheets(sheets(site, check_panel(site)), tmp_path)
    page = (tmp_path / "sheets.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    assert "<title>Sheets, Test bench</title>" in page
    assert page.count('<section id="') == page.count("</section>") == len(NAMES)
    for name in NAMES:
        assert f'href="#{name}"' in page
        assert f'<section id="{name}" class="sheet">' in page
    assert page.count("<table") == page.count('<div class="wide" ') == page.count("</table></div>")
    for word in ("<script", "src=", "@import", "url("):
        assert word not in page


def test_csv_keeps_its_digits(tmp_path):
    site = house()
    write_sheets(sheets(site, check_panel(site)), tmp_path)
    with open(tmp_path / "checks.csv", encoding="utf-8", newline="") as file:
        rows = {(row["check"], row["about"]): row for row in csv.DictReader(file)}
    value = next(one.value for one in check_panel(site) if (one.check, one.subject) == ("motor-start", "Pump"))
    assert float(rows["motor-start", "Pump"]["value"]) == pytest.approx(value, rel=1e-11)


@pytest.mark.parametrize("site", [farmhouse(), read_site()], ids=["farmhouse", "demo"])
def test_a_whole_site_has_all_its_sheets(site):
    made = sheets(site, check_panel(site))
    assert list(made) == NAMES
    assert all(one["rows"] for one in made.values())


def test_two_pole_solar_and_generator_are_drawn_as_such():
    """Solar to the sub-panel thick, the generator's inlet double, and one pole where it gives 120 V."""
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "sub-panel", "breaker_a": 20}
    inlet = {"kw": 4.0, "connection": "interlocked-inlet", "inlet_a": 30}
    root = drawing(house(solar=solar, generator=inlet))
    words = " ".join(one.text for one in root.iter(f"{SVG}tspan"))
    assert "20 A 2-pole solar" in words.replace("  ", " ")
    assert "30 A 2-pole interlocked inlet" in words.replace("  ", " ")
    run = next(one for one in root.iter(f"{SVG}polyline") if one.get("stroke-dasharray") == "10 3 2 3")
    assert run.get("stroke-width") == "3"
    one_pole = drawing(house(generator=inlet | {"volts": 120}))
    assert "30 A 1-pole" in " ".join(one.text for one in one_pole.iter(f"{SVG}tspan"))


def test_solar_and_the_inlet_are_runs_of_the_wiring_list():
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "sub-panel", "breaker_a": 20}
    inlet = {"kw": 4.0, "connection": "interlocked-inlet", "inlet_a": 30}
    made = sheets(house(solar=solar, generator=inlet))["wiring"]
    assert row_of(made, "solar")["from breaker"] == "sub-panel, 20 A 2-pole"
    assert row_of(made, "solar")["ground"] == "1 x 12 AWG Cu at least"
    assert row_of(made, "generator inlet")["from breaker"] == "interlocked breaker, main panel, 30 A 2-pole"


def test_the_one_line_diagram_shows_sizes():
    raceways = [{"length_in": 36.0, "awg": "12"}]
    batteries = locked_pair(output_breaker_a=35, output_wire_awg="8", output_length_ft=6.0)
    root = drawing(house(batteries, subpanel={"raceways": raceways}))
    words = " ".join(one.text for one in root.iter(f"{SVG}tspan"))
    for part in (
        "out and back, 2 x 12 AWG Cu, 3",
        "out and back, 4 x 12 AWG Cu, 3",
        "neutral, solid, 8 AWG Cu",
        "ground, 12 AWG Cu",
        "hot and neutral ____ AWG",
        "35 A, 1 x 8 AWG Cu",
    ):
        assert part in words, part


def test_what_stops_the_job_is_first_on_every_sheet():
    stop = ["Do not build this as drawn: <Pump> is never carried."]
    made = stopped(sheets(house()), stop)
    for name, one in made.items():
        assert one["notes"][0] == stop[0], name
        assert "Do not build this as drawn: &lt;Pump&gt;" in one["html"].split("<table")[0], name
        assert one["html"].count("Do not build") == 1, name
    assert stopped(sheets(house()), []) == sheets(house())
