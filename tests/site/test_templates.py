"""Less to type: appliances, circuit files, counts, units and panels from files; starters; refusals with their line."""

import re
import tomllib

import pytest
from typer.testing import CliRunner

from profiles.loads.appliances import appliances
from profiles.noun import BadInput
from simulate.cli import app
from simulate.document.study import study
from simulate.panel.checks.motor import start_of
from simulate.site.described import schema_text
from simulate.site.site import Site, defaults_used, read_site, site_of, site_toml
from simulate.site.starter import TYPICAL, starter_from, starter_of, starter_text
from simulate.site.templates import circuit_templates, library_sources

HEAD = """[site]
name = "Bench"
latitude = 36.0
longitude = -80.0
timezone = "America/New_York"
[rate]
price_per_kwh = 0.15
"""
UNIT = """[[battery]]
usable_kwh = 5.0
continuous_kw = 3.0
charging_circuit = { breaker_a = 20, volts = 120 }
"""
SUMP = '[[circuit]]\nname = "Pit"\nappliance = "sump-pump"\n'
LAMP = '[[circuit]]\nname = "Lamp"\nbreaker_a = 15\nload = { kw = 0.1 }\n'


def read(tmp_path, *parts, **files):
    for name, text in files.items():
        (tmp_path / name.replace("__", ".")).write_text(text, "utf-8")
    (tmp_path / "job.toml").write_text("".join((HEAD, *parts)), "utf-8")
    return read_site(tmp_path / "job.toml")


def refusal(tmp_path, *parts, **files) -> str:
    with pytest.raises(BadInput) as caught:
        read(tmp_path, *parts, **files)
    return str(caught.value).replace(str(tmp_path) + "/", "")


def n_keys(value) -> int:
    """Keys that somebody typed: those that hold no table."""
    if isinstance(value, dict):
        return sum(map(n_keys, value.values()))
    if isinstance(value, list) and any(isinstance(one, dict) for one in value):
        return sum(map(n_keys, value))
    return 1


def test_an_appliance_gives_kind_watts_motor_and_load_and_a_key_beside_it_wins(tmp_path):
    site = read(tmp_path, SUMP + "running_w = 640\n", UNIT)
    (pit,) = site.circuit
    assert (pit.kind, pit.if_lost, pit.running_w, pit.load.minutes_per_hour) == ("motor", "flood", 640.0, 2.0)
    assert pit.motor.start_va_range == tuple(appliances()["sump-pump"].start_va_range)
    told = [line for line in defaults_used(site) if line.startswith('circuit "Pit"')]
    assert 'circuit "Pit".load = { running_w = 800.0, minutes_per_hour = 2.0 } (appliance "sump-pump")' in told
    assert not any("running_w = 640" in line for line in told)
    assert site_of(site.model_dump(by_alias=True, exclude_unset=True)).circuit == site.circuit
    assert "running_w" not in read(tmp_path, SUMP, UNIT).circuit[0].model_fields_set


def test_every_appliance_with_a_circuit_makes_one_that_can_be_studied(tmp_path):
    names = list(circuit_templates())
    text = "".join(f'[[circuit]]\nname = "{name}"\nappliance = "{name}"\n' for name in names)
    site = read(tmp_path, text, UNIT)
    assert [circuit.name for circuit in site.circuit] == names
    assert study(site).document["energy_kwh"]["load"] > 0.0


def test_the_start_of_an_appliance_is_a_range_and_never_trusted(tmp_path):
    """1,300 to 2,500 VA at 115 V are 11.3 to 21.7 A, raised to 120 V."""
    start = start_of(read(tmp_path, SUMP, UNIT).circuit[0], 120.0)
    assert (start.low_a, start.high_a) == pytest.approx((1300 / 115 * 120 / 115, 2500 / 115 * 120 / 115))
    assert not start.trusted


def test_equal_circuits_are_counted(tmp_path):
    site = read(tmp_path, LAMP + "count = 3\n", UNIT)
    assert [circuit.name for circuit in site.circuit] == ["Lamp 1", "Lamp 2", "Lamp 3"]
    none = refusal(tmp_path, LAMP.replace("load", "count = 0\nload"), UNIT)
    assert none.startswith('job.toml line 11: circuit "Lamp".count must be a whole number from 1 to 40, not 0')


def test_a_circuit_file_stands_beside_the_tables(tmp_path):
    rows = "name,breaker_a,leg,load.kw,wire.awg,appliance,rate_transfer\nHall,15,A,0.2,12,,true\nPit,,B,,,sump-pump,\n"
    (tmp_path / "directory.csv").write_text(rows)
    (tmp_path / "job.toml").write_text('circuit_file = "directory.csv"\n' + HEAD + LAMP + UNIT)
    site = read_site(tmp_path / "job.toml")
    assert [circuit.name for circuit in site.circuit] == ["Lamp", "Hall", "Pit"]
    hall, pit = site.circuit[1:]
    assert (hall.load.kw, hall.wire.awg, hall.rate_transfer, pit.if_lost) == (0.2, "12", True, "flood")
    assert site_of(tomllib.loads(site_toml(site))).circuit == site.circuit


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (
            "name,braker_a\nA,15\n",
            'directory.csv line 1: braker_a is not a key of a circuit; did you mean "breaker_a"?',
        ),
        ("breaker_a\n15\n", "directory.csv line 1: needs a column name"),
        ("name,breaker_a\nA,15,9\n", "directory.csv line 2: has more cells than the first line, not 3"),
        ("name,breaker_a\n,15\n", "directory.csv line 2: name is missing"),
    ],
)
def test_a_circuit_file_is_refused_by_its_own_line(tmp_path, rows, said):
    (tmp_path / "directory.csv").write_text(rows)
    (tmp_path / "job.toml").write_text('circuit_file = "directory.csv"\n' + HEAD + UNIT)
    with pytest.raises(BadInput) as caught:
        read_site(tmp_path / "job.toml")
    assert said in str(caught.value)


def test_a_unit_is_described_once(tmp_path):
    unit = "usable_kwh = 4.0\ncontinuous_kw = 2.0\ncharging_circuit = { breaker_a = 20, volts = 120 }\n"
    groups = '[[battery]]\nname = "L"\nsource = "unit.toml"\n[[battery]]\nleg = "B"\nsource = "unit.toml"\nusable_kwh = 8.0\n'
    site = read(tmp_path, LAMP, groups, unit__toml=unit)
    assert [(group.leg, group.usable_kwh, group.continuous_kw) for group in site.battery] == [
        ("A", 4.0, 2.0),
        ("B", 8.0, 2.0),
    ]
    more = site.with_values({"battery.count": 2})
    assert [group.count for group in more.battery] == [2, 2] and more.battery[0].usable_kwh == 4.0
    assert any(line.startswith('battery "L".usable_kwh = 4.0 (unit.toml)') for line in defaults_used(site))


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        (
            "usable_kwh = 4.0\ncontinous_kw = 2.0\n",
            "unit.toml line 2: continous_kw is not a key of [battery]; did you mean",
        ),
        ("usable_kwh = -4.0\n", "unit.toml line 1: usable_kwh must be above 0, not -4.0"),
        ("usable_kwh = 4.0\n\ncontinuous_kw = \n", "unit.toml line 3: continuous_kw is not TOML"),
    ],
)
def test_a_linked_file_is_refused_by_its_own_line(tmp_path, unit, said):
    line = refusal(tmp_path, LAMP, '[[battery]]\nsource = "unit.toml"\n', unit__toml=unit)
    assert said in line, line


def test_units_and_panels_that_come_along_are_invented_and_can_be_used(tmp_path):
    assert library_sources()
    for name in library_sources():
        if name.startswith("unit_"):
            site = read(tmp_path, LAMP, f'[[battery]]\nsource = "library:{name}"\n')
            assert site.battery[0].usable_kwh > 0.0
        else:
            site = read(tmp_path, LAMP, UNIT, f'[subpanel]\nsource = "library:{name}"\n')
            assert site.subpanel.spaces
    line = refusal(tmp_path, LAMP, '[[battery]]\nsource = "library:unit_5kw"\n')
    assert 'battery "battery 1".source does not come along' in line and "library:unit_5kwh_120v" in line


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("breaker_a = 15", "breaker_a = 17", 'job.toml line 10: circuit "Lamp".breaker_a must be a standard rating'),
        ("breaker_a = 15", "breakr_a = 15", 'job.toml line 10: circuit "Lamp".breakr_a is not a known key'),
        ("load = { kw = 0.1 }", "load = { kw = 0.1 }\nwire = { awg = 12 }", 'write "12"'),
        ('name = "Lamp"', "name = 7", 'line 9: circuit "7".name should be a valid string, not 7; write "7"'),
        ("load = { kw = 0.1 }\n", "", 'job.toml line 8: circuit "Lamp".load is missing'),
        (
            "usable_kwh = 5.0",
            "usable_kwh = 0",
            'job.toml line 13: battery "battery 1".usable_kwh must be above 0',
        ),
        (
            "price_per_kwh = 0.15",
            'price_per_kwh = "0.15"',
            "job.toml line 7: rate.price_per_kwh should be a valid number",
        ),
        ("longitude = -80.0", "longitude -80.0", "job.toml line 4: is not TOML"),
        (
            '"America/New_York"',
            '"America/New_York"\ncode_edition = "latest"',
            "line 6: site.code_edition must name an edition",
        ),
    ],
)
def test_a_refusal_names_file_line_and_key(tmp_path, old, new, said):
    text = HEAD + LAMP + UNIT
    assert old in text
    (tmp_path / "job.toml").write_text(text.replace(old, new, 1))
    with pytest.raises(BadInput) as caught:
        read_site(tmp_path / "job.toml")
    line = str(caught.value).replace(str(tmp_path) + "/", "")
    assert said in line and len(line.splitlines()) == 1, line


def test_the_command_names_the_line_too(tmp_path):
    (tmp_path / "job.toml").write_text(HEAD + LAMP.replace("0.1", '"much"') + UNIT)
    done = CliRunner().invoke(app, ["study", str(tmp_path / "job.toml")])
    assert isinstance(done.exception, BadInput) and "line 11" in str(done.exception)


def test_the_starter_is_short_and_shows_what_jobs_hold():
    text = starter_text()
    assert len(text.splitlines()) <= 80
    site = site_of(tomllib.loads(text))
    assert {group.leg for group in site.battery} == {"A", "B"}
    assert any(circuit.poles == 2 for circuit in site.circuit)
    assert any(circuit.motor for circuit in site.circuit) and any(circuit.wire for circuit in site.circuit)


def test_ten_circuits_take_few_keys(tmp_path):
    """309 keys by hand before; the generated file has fewer than 90 and says what it takes for granted."""
    text = starter_of(10)
    assert n_keys(tomllib.loads(text)) <= 90
    site = site_of(tomllib.loads(text))
    assert len(site.circuit) == 10 and not study(site).answer["stop"]
    with pytest.raises(BadInput, match="--circuits must be a whole number"):
        starter_of(len(TYPICAL) + 1)


def test_a_panels_directory_becomes_a_site_file(tmp_path):
    rows = "name,breaker_a,poles,leg,on\nSump pit,15,1,B,sub-panel\nKitchen fridge,20,1,A,\nSpare,20,1,A,\n"
    (tmp_path / "panel.csv").write_text(rows)
    text = starter_from(tmp_path / "panel.csv")
    site = site_of(tomllib.loads(text))
    named = [(circuit.name, circuit.appliance, circuit.on) for circuit in site.circuit]
    assert named == [("Sump pit", "sump-pump", "sub-panel"), ("Kitchen fridge", "refrigerator", "candidate")]
    assert '# name = "Spare"' in text and text.count("# guessed from its name") == 2
    (tmp_path / "bad.csv").write_text("circuit\nA\n")
    with pytest.raises(BadInput, match="bad.csv line 1: needs a column name"):
        starter_from(tmp_path / "bad.csv")


def test_the_schema_in_words_has_every_key_and_each_kind_of_load_once():
    text = schema_text()
    for name in Site.model_fields:
        assert f"  {name.removesuffix('_')}:" in text
    headings = re.findall(r"^\[([^\]]*)\] (.*)$", text, re.MULTILINE)
    assert len(headings) == len(set(headings))
    assert text.count("minutes_per_hour:") == 1
    with pytest.raises(BadInput, match='did you mean "battery"'):
        schema_text("battry")
