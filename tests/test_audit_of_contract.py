"""The public names, arguments, defaults and keys that are promised to others; a change here breaks their work."""

import inspect
from dataclasses import fields

import numpy as np
import pytest

import profiles
import simulate
from tests.site.small_site import circuit, small_site, unit

PROMISED = {
    "hours_survived": "load_kw, pool, *, solar_kw=None, soc_kwh, step_h=1.0, horizon_h=336.0, wrap=True",
    "run_plan": "load_kw, reach_kw, solar_kw, targets_kwh, pool, *, soc_kwh, step_h=1.0",
    "best_targets": "load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pool, *, floor_kwh, start_kwh, end_kwh, "
    "wear_per_kwh=0.0, export=False, step_h=1.0",
    "price_bill": "import_kw, export_kw, rate, hours",
    "sweep": "site, vary, *, executor=None, out=None",
}
ENERGIES = {
    "load",
    "backed_up",
    "solar",
    "import",
    "export",
    "charge",
    "discharge",
    "loss",
    "curtailed",
    "stored_change",
    "residual",
}
SPREAD = {"min", "p10", "p50", "p90", "max", "mean"}


@pytest.mark.parametrize("name", PROMISED)
def test_arguments_and_defaults(name):
    given = inspect.signature(getattr(simulate, name)).parameters
    asked = inspect.signature(eval(f"lambda {PROMISED[name]}: None")).parameters
    assert list(given)[: len(asked)] == list(asked)
    for key, one in asked.items():
        assert (given[key].kind, given[key].default) == (one.kind, one.default), key


def test_names_that_can_be_imported():
    for name in (
        "read_site",
        "study",
        "run_year",
        "ride_through",
        "best_year",
        "compare_units",
        "choose_circuits",
        "check_panel",
        "sweep",
        "Pool",
        "hours_survived",
        "run_plan",
        "best_targets",
        "price_bill",
    ):
        assert callable(getattr(simulate, name)), name
    for name in ("read_meter", "read_weather", "load_kw", "solar_kw", "read_rate", "hours_of_year"):
        assert callable(getattr(profiles, name)), name


def test_a_pool_has_no_hidden_losses():
    defaults = {field.name: field.default for field in fields(simulate.Pool) if field.name != "usable_kwh"}
    assert list(defaults.items())[:8] == [
        ("charge_kw", np.inf),
        ("discharge_kw", np.inf),
        ("charge_efficiency", 1.0),
        ("discharge_efficiency", 1.0),
        ("no_load_kw", 0.0),
        ("takes_back_kw", np.inf),
        ("taper", None),
        ("restart_kwh", 0.0),
    ]
    assert all(value == 0.0 for value in list(defaults.values())[8:])


def test_keys_of_the_document():
    outage = {"start_soc": "full", "horizon_h": 20.0}
    document = simulate.study(small_site([circuit("Lights", 0.1)], [unit()], outage=outage)).document
    assert set(document["energy_kwh"]) == ENERGIES
    assert {
        "currency",
        "today",
        "without_battery",
        "with_battery",
        "saving",
        "lines",
        "bound",
        "best_net",
        "bound_method",
        "captured_frac",
        "by_month",
    } <= set(document["bill"])
    assert [row["month"] for row in document["bill"]["by_month"]] == [f"2025-{m:02d}" for m in range(1, 13)]
    hours = document["outage"]
    assert set(hours["hours"]) == SPREAD == set(hours["by_season"]["winter"])
    assert (set(hours["by_season"]), len(hours["by_month"])) == ({"winter", "spring", "summer", "autumn"}, 12)
    assert hours["lasting_frac"] == {"4": 1.0, "8": 1.0, "12": 1.0, "24": None, "72": None, "168": None}
    assert (hours["censored_frac"], hours["why"], hours["never_carried"]) == (1.0, {}, [])
    assert {"charge_kw", "from_empty_h", "service_a"} <= set(hours["recharge"])
    keys = {"check", "subject", "verdict", "value", "limit", "margin", "unit", "basis", "text"}
    assert all(keys <= set(one) for one in document["panel"]["findings"])
    verdicts = [one["verdict"] for one in document["panel"]["findings"]]
    counts = document["panel"]["not_assessed"], document["panel"]["fail"]
    assert counts == (verdicts.count("not-assessed"), verdicts.count("fail"))
    assert document["money"] is None
    assert document["assumptions"] and document["cautions"]
