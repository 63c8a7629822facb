"""Fleet files: a home in each row with its own weather, meter and rate; what is no such file is refused in one line."""

import io

import pandas as pd
import pytest

from profiles.noun import BadInput
from simulate.designs.fleet import by_group, read_fleet
from simulate.designs.sweep import sweep
from simulate.show.terminal.sweep import sweep_command
from tests.designs.test_sweep import bench
from tests.site.small_site import farmhouse

HOURS = pd.date_range("2025-01-01", "2026-01-01", freq="h", tz="America/New_York", inclusive="left")


def meter_text(kw: float) -> str:
    frame = pd.DataFrame({"start": HOURS.strftime("%Y-%m-%dT%H:%M:%S%z"), "kwh": kw})
    text = io.StringIO()
    frame.to_csv(text, index=False)
    return text.getvalue()


@pytest.fixture
def homes(tmp_path):
    """Three homes with meters, weather and rates of their own; one names a meter that is not there."""
    (tmp_path / "small.csv").write_text(meter_text(0.5))
    (tmp_path / "large.csv").write_text(meter_text(1.5))
    (tmp_path / "dear.toml").write_text('name = "dear"\nprice_per_kwh = 0.5\n')
    frame = pd.DataFrame(
        {
            "home": ["01", "02", "03", "NA"],
            "street": ["Elm", "Oak", "Elm", None],
            "service.whole_house.meter": ["small.csv", "large.csv", "gone.csv", "small.csv"],
            "weather.source": ["library:piedmont", "library:south-florida", None, None],
            "rate.source": [None, "dear.toml", None, None],
            "battery.count": [1, 2, 1, None],
        }
    )
    frame.to_csv(tmp_path / "homes.csv", index=False)
    read = read_fleet(tmp_path / "homes.csv")
    read.labels.join(read.designs).to_parquet(tmp_path / "homes.parquet")
    site = bench()
    site._folder = tmp_path
    return site, tmp_path


@pytest.mark.parametrize("name", ["homes.csv", "homes.parquet"])
def test_homes_have_their_own_meter_weather_and_rate(homes, name):
    site, folder = homes
    table = sweep(site, read_fleet(folder / name), outages=False)
    assert table["out_load_kwh"].tolist()[:2] == pytest.approx([0.5 * 8760, 1.5 * 8760])
    assert table["error"].isna().tolist() == [True, True, False, True] and "gone.csv" in table["error"][2]
    assert table["out_without_battery"][1] == pytest.approx(0.5 * 1.5 * 8760)
    assert table["label_home"].tolist() == ["01", "02", "03", "NA"]
    alone = site.with_values(
        {
            "service.whole_house": {"meter": "large.csv"},
            "rate": {"source": "dear.toml"},
            "weather": {"source": "library:south-florida"},
            "battery.count": 2,
        }
    )
    one = sweep(alone, {"battery.count": [2]}, outages=False)
    assert table["out_saving"][1] == pytest.approx(one["out_saving"][0], rel=1e-9, abs=1e-9)


def test_the_command_sums_up_by_group(homes):
    site, folder = homes
    told = sweep_command(site, [str(folder / "homes.csv")], folder / "swept", outages=False, by="street")
    assert told["designs"] == 4 and told["refused"] == 1
    elm = told["groups"][0]
    assert (elm["street"], elm["homes"], elm["refused"]) == ("Elm", 2, 1)
    assert [row["street"] for row in told["groups"]] == ["Elm", "Oak", None]
    written = pd.read_csv(folder / "swept" / "_by_street.csv")
    assert written["out_import_kwh_sum"][1] == pytest.approx(told["groups"][1]["out_import_kwh_sum"])
    assert len(pd.read_parquet(folder / "swept")) == 4
    with pytest.raises(BadInput, match="--by is not a label of the fleet, not 'town'; known: home, street"):
        sweep_command(site, [str(folder / "homes.csv")], folder / "other", outages=False, by="town")
    with pytest.raises(BadInput, match="none, since no fleet is swept"):
        sweep_command(site, ["battery.count=1,2"], folder / "other", outages=False, by="town")
    assert not (folder / "other").exists()


def test_a_changed_meter_of_a_home_makes_another_sweep(homes):
    site, folder = homes
    sweep(site, read_fleet(folder / "homes.csv"), outages=False, out=folder / "swept")
    (folder / "large.csv").write_text(meter_text(1.75))
    with pytest.raises(BadInput, match="what is in large.csv has changed"):
        sweep(site, read_fleet(folder / "homes.csv"), outages=False, out=folder / "swept")


def test_changed_labels_make_another_sweep(homes):
    site, folder = homes
    sweep(site, read_fleet(folder / "homes.csv"), outages=False, out=folder / "swept")
    text = (folder / "homes.csv").read_text().replace("Oak", "Ash")
    (folder / "homes.csv").write_text(text)
    with pytest.raises(BadInput, match="holds another sweep: vary.labels"):
        sweep(site, read_fleet(folder / "homes.csv"), outages=False, out=folder / "swept")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "cannot be read"),
        ("home,street\na,Elm\n", "a column for each site key"),
        ("home,battery.count\n", "a row for each home"),
        ("battery.count,battery.count\n1,2\n", "must stand there once"),
        ("battery.count,\n1,2\n", "must stand there once, with a name"),
        ("a,battery.count\n1,2\n3,4,5\n", "cannot be read"),
        ("a\0b,battery.count\n1,2\n", ""),
    ],
)
def test_what_is_no_fleet_is_refused_in_one_line(tmp_path, text, told):
    (tmp_path / "homes.csv").write_text(text)
    if not told:
        read_fleet(tmp_path / "homes.csv")
        return
    with pytest.raises(BadInput) as refused:
        read_fleet(tmp_path / "homes.csv")
    assert told in str(refused.value) and "\n" not in str(refused.value) and "homes.csv" in str(refused.value)


def test_files_of_other_kinds_are_refused(tmp_path):
    (tmp_path / "homes.csv").write_bytes(b"PK\x03\x04\xff\xfe\x00rubbish")
    (tmp_path / "homes.parquet").write_bytes(b"PAR1rubbishPAR1")
    for path in (tmp_path / "homes.csv", tmp_path / "homes.parquet", tmp_path / "none.csv", tmp_path):
        with pytest.raises(BadInput, match="cannot be read|is a folder"):
            read_fleet(path)


def test_cells_keep_their_kind(tmp_path):
    (tmp_path / "homes.csv").write_bytes(
        "\ufeffhome;x,battery.count,operation.plan,subpanel.export,operation.reserve\n"
        "007,2,NA,false,0.25\nNone,,keep-full,true,1\n".encode()
    )
    fleet = read_fleet(tmp_path / "homes.csv")
    assert fleet.labels["home;x"].tolist() == ["007", "None"]
    assert fleet.designs["battery.count"].tolist() == [2, None] and isinstance(fleet.designs["battery.count"][0], int)
    assert fleet.designs["operation.plan"].tolist() == ["NA", "keep-full"]
    table = sweep(bench(), fleet, outages=False)
    assert "operation.plan" in table["error"][0] and "subpanel.export" in table["error"][1]


def test_a_key_that_no_home_can_take_is_refused_before_anything_runs(tmp_path):
    (tmp_path / "homes.csv").write_text("avg. income,battery.count\n3,1\n")
    with pytest.raises(BadInput, match="avg. income"):
        sweep(farmhouse(), read_fleet(tmp_path / "homes.csv"))


def test_groups_without_a_label_stand_apart():
    table = pd.DataFrame({"label_a": ["x", None, "x"], "out_saving": [1.0, 2.0, 3.0], "error": [None, "bad", None]})
    groups = by_group(table, "a")
    assert groups["homes"].tolist() == [2, 1] and groups["refused"].tolist() == [0, 1]
    assert groups["out_saving_sum"].tolist() == [4.0, 2.0]
