"""A house by its twelve bills beside the same house by its meter; the house is invented."""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.shapes import hourly_shape_kw
from profiles.noun import BadInput
from profiles.weather.weather import read_weather, weather_on
from simulate.document.study import study
from simulate.house.house import house_of
from simulate.show.report.sources import known
from simulate.site.named_files import contents
from simulate.site.site import read_site, site_toml

ZONE = "America/New_York"
SITE = """
[site]
name = "Tanner Lane"
latitude = 36.1
longitude = -79.95
timezone = "America/New_York"
year = 2025
[weather]
source = "library:piedmont"
[service]
whole_house = {{ {whole_house} }}
[[circuit]]
name = "Refrigerator"
breaker_a = 20
load = {{ shape = "refrigerator", annual_kwh = 600 }}
[[circuit]]
name = "Plugs"
breaker_a = 20
load = {{ kw = {plugs_kw} }}
[[battery]]
usable_kwh = 9.0
continuous_kw = 4.8
charging_circuit = {{ breaker_a = 30, volts = 240 }}
leg = "both"
[subpanel]
mode = "interactive"
[rate]
[[rate.season]]
name = "all year"
months = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]
[[rate.season.periods]]
name = "on-peak"
hours = "16:00-21:00"
price_per_kwh = 0.34
[[rate.season.periods]]
name = "off-peak"
price_per_kwh = 0.16
"""


def house_kw():
    """A schedule, and heating and cooling by the library's weather, with days and hours of its own noise."""
    hours = hours_of_year(2025, ZONE)
    temp_c = weather_on(read_weather("library:piedmont"), hours).temp_c
    noise = 1.0 + 0.25 * np.sin(0.7 * hours.day) + 0.3 * np.sin(hours.minute / 90.0 + hours.day)
    base = hourly_shape_kw("whole-house", 6000.0, hours) * np.maximum(noise, 0.2)
    return hours, base + 0.06 * np.maximum(18.0 - temp_c, 0.0) + 0.12 * np.maximum(temp_c - 21.0, 0.0)


def site_of(tmp_path, whole_house, plugs_kw=0.1, name="site.toml"):
    path = tmp_path / name
    path.write_text(SITE.format(whole_house=whole_house, plugs_kw=plugs_kw))
    return read_site(path)


def by_month(hours, kw):
    return ", ".join(f"{value:.1f}" for value in np.bincount(hours.month - 1, weights=kw))


def test_twelve_bills_run_the_whole_job_and_every_result_says_so(tmp_path):
    hours, kw = house_kw()
    site = site_of(tmp_path, f"monthly_kwh = [{by_month(hours, kw)}], degree_days = true")
    found = study(site)
    document = found.document
    assert document["energy_kwh"]["load"] == pytest.approx(kw.sum(), abs=1.0)
    assert any(text.startswith("from bills: twelve months") and "(R2 0.9" in text for text in document["assumptions"])
    assert any(text.startswith("from bills: ") for text in document["cautions"])
    assert ("whole house", "from bills") in known(found).rows
    again = tmp_path / "again.toml"
    again.write_text(site_toml(site))
    assert house_of(read_site(again)).load_kw == pytest.approx(found.run.house.load_kw)


def test_circuits_are_cut_to_the_bills_as_to_a_meter(tmp_path):
    hours, kw = house_kw()
    site = site_of(tmp_path, f"monthly_kwh = [{by_month(hours, kw)}]", plugs_kw=1.6)
    house = house_of(site)
    assert (house.rest_kw < -0.1).any()
    assert any("meter minus circuits is below -0.1 kW" in note for note in house.notes)
    assert house.load_kw.sum() == pytest.approx(kw.sum(), abs=1.0)


def test_a_file_of_bills_belongs_to_the_site(tmp_path):
    dates = [f"2025-{month:02d}-05" for month in range(1, 13)]
    spans = list(zip(["2024-12-05", *dates], [*dates, "2026-01-05"], strict=True))
    text = "\n".join(
        f'[[bill]]\nfrom = "{a}"\nto = "{b}"\nkwh = {500 + 20 * k}\namount = 90.0' for k, (a, b) in enumerate(spans)
    )
    (tmp_path / "bills.toml").write_text(text)
    site = site_of(tmp_path, 'bills = "bills.toml"')
    house = house_of(site)
    february = (house.hours.day >= 35) & (house.hours.day < 63)
    assert house.load_kw[february].sum() == pytest.approx(540.0)
    assert list(contents(site, {})) == ["bills.toml"]
    assert str(tmp_path / "bills.toml") in site_toml(site)
    with pytest.raises(BadInput, match=r"site.toml: service.whole_house names .*not-there.toml: cannot be read"):
        house_of(site_of(tmp_path, 'bills = "not-there.toml"'))


def test_bills_against_the_same_house_s_meter(tmp_path):
    """How far twelve bills lead from the meter: bill within 3 %, hours of the same circuits alike, saving within 15 %."""
    hours, kw = house_kw()
    (tmp_path / "usage.csv").write_text(
        "\n".join(["start,kWh", *(f"{a},{b!r}" for a, b in zip(hours.local_text, kw.tolist(), strict=True))])
    )
    metered = study(site_of(tmp_path, 'meter = "usage.csv"'))
    billed = study(site_of(tmp_path, f"monthly_kwh = [{by_month(hours, kw)}], degree_days = true", name="b.toml"))
    theirs, ours = metered.document["bill"], billed.document["bill"]
    assert ours["without_battery"] == pytest.approx(theirs["without_battery"], rel=0.03)
    assert ours["saving"] == pytest.approx(theirs["saving"], rel=0.15)
    hours_of = lambda found: found.document["outage"]["hours"]["p10"]
    assert hours_of(billed) == pytest.approx(hours_of(metered), rel=0.05)
