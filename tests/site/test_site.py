"""Site files: what is read, what is refused and how it is said, what is written back."""

import json
import tomllib

import pytest

from profiles.noun import BadInput
from simulate.house.year import run_year
from simulate.site.site import Site, defaults_used, read_site, site_of, site_toml
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site, unit

LEAST = """
[site]
name = "Cabin"
latitude = 36.1
longitude = -79.95
timezone = "America/New_York"

[[circuit]]
name = "Lights"
breaker_a = 15
load = { kw = 0.1 }

[[battery]]
usable_kwh = 3.0
continuous_kw = 2.4
charging_circuit = { breaker_a = 30, volts = 120 }

[rate]
price_per_kwh = 0.16
"""

SEASONS = '[[rate.season]]\nname = "s"\nmonths = {months}\nperiods = [{{ name = "p", price_per_kwh = 0.1, hours = "{hours}" }}]'
ALL = "[1,2,3,4,5,6,7,8,9,10,11,12]"


def refusal(tmp_path, text) -> str:
    """The one line with which a site file is refused, wherever on the way to a year that is."""
    path = tmp_path / "job.toml"
    path.write_text(text)
    with pytest.raises(BadInput) as error:
        run_year(read_site(path))
    line = str(error.value)
    assert "\n" not in line
    assert "job.toml" in line or line.startswith(str(tmp_path))  # a meter file names itself
    return line


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("usable_kwh", "usabel_kwh", ['battery "battery 1".usabel_kwh', "did you mean usable_kwh?", "3.0"]),
        ("breaker_a = 15", 'breaker_a = "15"', ['circuit "Lights".breaker_a', "number", "'15'", "breaker rating [A]"]),
        ("breaker_a = 15", "breaker_a = 17", ["NEC 240.6(A)", "17", "use 15 or 20 A"]),
        ("kw = 0.1", "kw = nan", ['circuit "Lights".load.kw', "finite", "nan"]),
        ("kw = 0.1", "kw = -0.1", ['circuit "Lights".load.kw', "at least 0", "-0.1"]),
        ("usable_kwh = 3.0", "usable_kwh = -3.0", ["battery", "usable_kwh", "-3.0"]),
        ("latitude = 36.1", "latitude = 96.1", ["site.latitude", "at most 90", "96.1"]),
        ('"America/New_York"', '"America/New_Yrok"', ["site.timezone", "IANA", "America/New_Yrok"]),
        ("[site]", "[sites]", ["sites", "did you mean site?"]),
        ("price_per_kwh = 0.16", SEASONS.format(months="[1,2]", hours="00:00-24:00"), ["rate", "2025-03-01"]),
        ("price_per_kwh = 0.16", SEASONS.format(months=ALL, hours="00:00-23:00"), ["rate", "23:00"]),
        ("price_per_kwh = 0.16", SEASONS.format(months=ALL, hours="00:30-00:00"), ["site.step_min = 30"]),
        ("price_per_kwh = 0.16", 'source = "library:nowhere"', ["nowhere", "three_period"]),
        (
            "[rate]",
            '[weather]\nsource = "no.epw"\n[solar]\nconnected_at="main-panel"\ndc_kw=3.0\ntilt_deg=20.0\nazimuth_deg=180.0\n[rate]',
            ["no.epw"],
        ),
        (
            "[rate]",
            '[solar]\nconnected_at="main-panel"\ndc_kw=3.0\ntilt_deg=20.0\nazimuth_deg=180.0\n[rate]',
            ["weather.source", "library:south-florida"],
        ),
        ("kw = 0.1", "heating_kw_per_degc = 0.02, balance_c = 16.0", ["weather.source", "library:south-florida"]),
        ("kw = 0.1", 'shape = "refrigerater", annual_kwh = 10', ["refrigerater", "refrigerator"]),
        ("kw = 0.1", 'meter = "usage.xml"', ["usage.xml"]),
        ("breaker_a = 15", 'breaker_a = 15\nmultiwire_with = "Ligths 2"', ["multiwire_with", "Ligths 2"]),
        ("usable_kwh = 3.0", 'usable_kwh = 3.0\nlocked_with = "Leg Z"', ["locked_with", "Leg Z"]),
        (
            "usable_kwh = 3.0",
            "usable_kwh = 3.0\ncharge_efficiency = 0.9\nround_trip_efficiency = 0.8",
            ["one or the other"],
        ),
        ("price_per_kwh = 0.16", "price_per_kwh = 0.16\n[operation]\nreserve = 1.2", ["operation.reserve", "1.2"]),
        (
            "price_per_kwh = 0.16",
            "price_per_kwh = 0.16\n[operation]\nreserve = [0.1, 0.2]",
            ["operation.reserve", "12"],
        ),
        ("price_per_kwh = 0.16", "price_per_kwh = 0.16\n[subpanel]\nexport = true", ["subpanel.export", "interactive"]),
        ("price_per_kwh = 0.16", "price_per_kwh = ", ["TOML"]),
        ("[[battery]]", "[battery]", ["battery"]),
        ('name = "Lights"', 'name = "Lights"\npoles = 2\nleg = "A"', ["leg", "two-pole"]),
        (
            "price_per_kwh = 0.16",
            "price_per_kwh = 0.16\n[outage]\nhorizon_h = 0",
            ["outage.horizon_h", "above 0"],
        ),
        ('timezone = "America/New_York"', 'timezone = "Australia/Lord_Howe"', ["site.step_min = 30"]),
    ],
)
def test_bad_input_is_one_line(tmp_path, old, new, words):
    line = refusal(tmp_path, LEAST.replace(old, new, 1))
    for word in words:
        assert word in line, line


def test_duplicate_names_are_refused(tmp_path):
    twice = LEAST + '\n[[circuit]]\nname = "Lights"\nbreaker_a = 15\nload = { kw = 0.1 }\n'
    assert "once only" in refusal(tmp_path, twice)


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(BadInput, match="cannot be read"):
        read_site(tmp_path / "absent.toml")
    (tmp_path / "junk.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadInput, match="not UTF-8"):
        read_site(tmp_path / "junk.toml")


def test_least_site_takes_the_defaults(tmp_path):
    (tmp_path / "job.toml").write_text(LEAST)
    site = read_site(tmp_path / "job.toml")
    run = run_year(site)
    assert run.hours.year == 2025
    assert run.asked.plan == "keep-full"  # a flat rate
    group = site.battery[0]
    assert (group.name, group.count, group.no_load_w, group.on_grid_w) == ("battery 1", 1, 50.0, 15.0)
    assert group.eta_charge * group.eta_discharge == pytest.approx(0.85, abs=1e-12)
    lines = defaults_used(site)
    assert any(line.startswith('battery "battery 1".no_load_w = 50') for line in lines)
    assert not any("usable_kwh" in line for line in lines)


def test_a_flat_rate_costs_the_on_grid_draw():
    """15 W on the utility are 131.4 kWh a year; on a flat rate that is all that the battery does to the bill."""
    from simulate.document.study import study

    site = small_site([circuit("Lights", 0.1)], [unit(on_grid_w=15.0)])
    assert study(site).bills.saving == pytest.approx(-131.4 * 0.15, abs=1e-9)


def test_medical_circuits_keep_the_units_full():
    rate = {
        "season": [
            {
                "name": "all",
                "months": list(range(1, 13)),
                "periods": [
                    {"name": "on", "price_per_kwh": 0.4, "hours": "16:00-21:00"},
                    {"name": "off", "price_per_kwh": 0.1},
                ],
            }
        ]
    }
    loads = [circuit("Concentrator", 0.3, if_lost="medical"), circuit("Lights", 0.1, rate_transfer=True)]
    run = run_year(small_site(loads, [unit()], rate=rate))
    assert run.asked.plan == "keep-full"
    assert run.asked.reserve == 1.0
    assert run.year.pool_kwh.min() == run.year.pool_kwh.max() == 5.0
    plain = run_year(small_site([circuit("Lights", 0.1, rate_transfer=True)], [unit()], rate=rate))
    assert plain.asked.plan == "least-cost"


def test_medical_circuits_are_never_switched_for_the_rate():
    with pytest.raises(BadInput, match="medical"):
        small_site([circuit("Concentrator", 0.3, if_lost="medical", rate_transfer=True)], [unit()])


def test_medical_hours_are_the_shortest_with_units_at_the_end_of_their_warranty():
    from simulate.document.study import study

    loads = [circuit("Concentrator", 0.35, if_lost="medical")]
    units = [unit(warranty={"retention_frac": 0.7})]
    found = study(small_site(loads, units, subpanel={"transfer": {"break_ms": 40}})).document["outage"]["medical"]
    assert found == {"circuits": ["Concentrator"], "hours_min": pytest.approx(0.7 * 5.0 / 0.35), "break_ms": 40.0}
    with pytest.raises(BadInput, match="priority"):
        small_site([circuit("Concentrator", 0.3, kind="medical", priority=2)], [unit()])


def test_groups_on_one_leg_need_equal_efficiencies():
    with pytest.raises(BadInput, match="one pool"):
        small_site([circuit("L", 0.1)], [unit(), {**unit(charge_efficiency=0.9), "name": "Other"}])


def test_both_beside_a_single_leg_is_refused():
    with pytest.raises(BadInput, match="both"):
        small_site([circuit("L", 0.1)], [unit("both"), unit("A")])


def test_what_is_written_back_is_the_same_site():
    site = farmhouse()
    again = site_of(tomllib.loads(site_toml(site)), file="again.toml")
    assert again.model_dump() == site.model_dump()


def test_schema_comes_from_the_same_definitions():
    schema = Site.model_json_schema(by_alias=True)
    assert set(schema["required"]) == {"site", "battery", "rate"}
    assert schema["anyOf"] == [{"required": ["circuit"]}, {"required": ["circuit_file"]}]
    assert schema["additionalProperties"] is False
    json.dumps(schema, allow_nan=False)


def test_with_values_changes_named_and_all_groups():
    site = small_site([circuit("L", 0.1), circuit("M", 0.1, "B")], locked_pair())
    both = site.with_values({"battery.usable_kwh": 7.0})
    one = site.with_values({'battery["Unit B"].usable_kwh': 7.0, 'circuit["M"].priority': 3, "operation.reserve": 0.5})
    assert [group.usable_kwh for group in both.battery] == [7.0, 7.0]
    assert [group.usable_kwh for group in one.battery] == [5.0, 7.0]
    assert (one.circuit[1].priority, one.operation.reserve) == (3, 0.5)
    assert [group.usable_kwh for group in site.battery] == [5.0, 5.0]
    for key in ('circuit["N"].priority', "battry.count", "battery.cuont", "circuit[0].leg"):
        with pytest.raises(BadInput):
            site.with_values({key: 1})


@pytest.mark.parametrize(
    ("old", "new", "who"),
    [
        ("{ kw = 0.1 }", "{ heating_kw_per_degc = 0.02, balance_c = 16.0 }", "a load that follows the weather"),
        (
            "usable_kwh = 3.0",
            'usable_kwh = 3.0\nplace = "garage"\ntemperature = { min_charge_c = 0.0 }',
            "limit of battery",
        ),
        (
            "[rate]",
            '[solar]\ndc_kw = 3.0\ntilt_deg = 20.0\nazimuth_deg = 180.0\nconnected_at = "main-panel"\n[rate]',
            "a roof",
        ),
    ],
)
def test_missing_weather_names_who_asks_and_lists_the_library(tmp_path, old, new, who):
    line = refusal(tmp_path, LEAST.replace(old, new, 1))
    for word in ("weather.source is missing", who, "library:piedmont", "library:alaska-coast", "library:south-florida"):
        assert word in line, line


@pytest.mark.parametrize("year", ["", "year = 2025\n"])
def test_a_meter_that_is_not_there_is_named_with_its_key(tmp_path, year):
    text = LEAST.replace("[site]\n", f"[site]\n{year}").replace("{ kw = 0.1 }", '{ meter = "absent.csv" }')
    line = refusal(tmp_path, text)
    assert "absent.csv" in line
    assert 'circuit "Lights".load' in line


def test_what_is_written_back_can_be_read_from_another_folder(tmp_path):
    """An invented log beside the site file is found from the folder of site-used.toml."""
    import pandas as pd

    from simulate.house.house import house_of

    stamps = pd.date_range("2025-01-01", "2026-01-01", freq="h", inclusive="left", tz="UTC")
    rows = [f"{stamp:%Y-%m-%dT%H:%M}+00:00,1.5" for stamp in stamps]
    (tmp_path / "log.csv").write_text("time,kw\n" + "\n".join(rows) + "\n")
    (tmp_path / "prices.toml").write_text("price_per_kwh = 0.2\n")
    solar = '[solar]\nconnected_at = "main-panel"\nseries = { csv = "log.csv", column = "kw" }\n'
    rate = '[rate]\nsource = "prices.toml"\n'
    text = LEAST.replace('"America/New_York"', '"UTC"').split("[rate]")[0] + rate + solar
    (tmp_path / "job.toml").write_text(text)
    site = read_site(tmp_path / "job.toml")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "site-used.toml").write_text(site_toml(site), encoding="utf-8")
    again = read_site(tmp_path / "out" / "site-used.toml")
    assert house_of(again).solar_kw.tolist() == house_of(site).solar_kw.tolist()
    assert again.rate == site.rate
