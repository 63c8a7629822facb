"""The files that a site names: found, hashed by their bytes, and part of what a sweep is."""

import hashlib
import os

import pytest

from profiles.noun import BadInput
from simulate.designs.row import input_hash
from simulate.designs.sweep import sweep
from simulate.site.named_files import NOT_THERE, content_of, contents, files_in
from tests.designs.test_sweep import bench

METER = "start,kwh\n" + "".join(
    f"2025-{m:02d}-{d:02d}T{h:02d}:00:00,{{kwh}}\n" for m in range(1, 13) for d in range(1, 29) for h in range(24)
)
HOURLY = 'name = "by the hour"\nhourly_prices = { csv = "prices.csv", price_column = "price" }\n'


def rate_text(price: float) -> str:
    return f'name = "flat"\nprice_per_kwh = {price}\n'


def test_paths_are_found_wherever_they_stand():
    text = (
        '{"a": [{"meter": "x/\\"y\\".csv"}], "weather": {"source": "w.epw"}, "b": {"csv":"log.csv"}, "name": "meter"}'
    )
    assert files_in(text) == ('x/"y".csv', "w.epw", "log.csv")
    assert files_in('{"source": "library:piedmont"}') == ()


def test_the_hash_is_that_of_the_bytes(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"one")
    assert content_of("a.csv", tmp_path) == hashlib.sha256(b"one").hexdigest()[:16]
    (tmp_path / "a.csv").write_bytes(b"two")
    os.utime(tmp_path / "a.csv", ns=(1, 1))
    assert content_of("a.csv", tmp_path) == hashlib.sha256(b"two").hexdigest()[:16]
    assert content_of("b.csv", tmp_path) == NOT_THERE and content_of("bad\0name", tmp_path) == NOT_THERE


def test_files_of_varied_keys_and_of_varied_rates_count(tmp_path):
    (tmp_path / "hourly.toml").write_text(HOURLY)
    (tmp_path / "prices.csv").write_text("price\n1\n")
    site = bench()
    site._folder = tmp_path
    varied = {
        "rate.source": ["hourly.toml", "hourly.toml", "gone.toml"],
        'circuit["Fridge"].load': [{"meter": "m.csv"}],
        "weather.source": ["w.csv", "library:piedmont", 3],
        "battery.count": [1, 2],
    }
    found = contents(site, varied)
    names = {os.path.basename(name) for name in found}
    assert names == {"hourly.toml", "prices.csv", "gone.toml", "m.csv", "w.csv"}
    assert found["gone.toml"] == NOT_THERE and found["hourly.toml"] != NOT_THERE


def test_a_file_that_has_changed_makes_another_sweep(tmp_path):
    for name, price in (("a.toml", 0.2), ("b.toml", 0.3)):
        (tmp_path / name).write_text(rate_text(price))
    site, vary, out = bench(), {"rate.source": ["a.toml", "b.toml"]}, tmp_path / "swept"
    site._folder = tmp_path
    first = sweep(site, vary, outages=False, out=out)
    assert first["out_without_battery"][1] == pytest.approx(1.5 * first["out_without_battery"][0])
    assert len(sweep(site, vary, outages=False, out=out)) == 2
    (tmp_path / "b.toml").write_text(rate_text(0.4))
    with pytest.raises(BadInput) as refused:
        sweep(site, vary, outages=False, out=out)
    assert "what is in b.toml has changed" in str(refused.value) and "--out holds another sweep" in str(refused.value)
    (tmp_path / "b.toml").write_text(rate_text(0.3))
    assert len(sweep(site, vary, outages=False, out=out)) == 2


def test_the_hash_of_a_design_follows_the_bytes_of_its_files(tmp_path):
    (tmp_path / "m.csv").write_text(METER.format(kwh=0.5))
    site = bench().with_values({'circuit["Fridge"].load': {"meter": "m.csv"}})
    site._folder = tmp_path
    before = input_hash(site)
    assert input_hash(site) == before
    (tmp_path / "m.csv").write_text(METER.format(kwh=0.25))
    assert input_hash(site) != before


def test_a_varied_rate_stands_for_the_whole_rate(tmp_path):
    (tmp_path / "a.toml").write_text(rate_text(0.2))
    site = bench()
    site._folder = tmp_path
    table = sweep(site, {"rate.source": ["a.toml"], "rate.fixed_per_month": [1.0, 2.0]}, outages=False)
    own = site.with_values({"rate": {"price_per_kwh": 0.2, "name": "flat", "fixed_per_month": 2.0}})
    alone = sweep(own, {"battery.count": [1]}, outages=False)
    assert table["error"].isna().all()
    assert table["out_with_battery"][1] == pytest.approx(alone["out_with_battery"][0], rel=1e-12)
    assert table["out_with_battery"].diff()[1] == pytest.approx(12.0)
