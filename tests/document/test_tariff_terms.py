"""A whole study on a rate that holds every term at once. The rate and the house are invented."""

import json
import math

import pytest

from simulate.document.study import study
from simulate.site.site import read_site, site_toml
from tests.site.small_site import circuit, small_site, unit

EVERY_MONTH = list(range(1, 13))
TERMS = {
    "event": [
        {"name": "critical", "dates": ["2025-07-14", "2025-08-20"], "hours": "16:00-20:00", "adder_per_kwh": 0.9},
        {"name": "save", "dates": ["2025-07-30"], "hours": "16:00-20:00", "rebate_per_kwh": 1.0},
    ],
    "credit": [
        {"name": "climate", "amount": 40.0, "dates": ["2025-04-10"], "beyond_bill": "carry"},
        {"name": "rebate", "frac": 0.1},
    ],
    "rider": [
        {"name": "fuel", "per_kwh": [0.01] * 12, "from": "02-10", "to": "10-20", "with_losses": True},
        {"name": "peak only", "per_kwh": 0.02, "periods": ["on"]},
        {"name": "blocks", "tiers": [{"up_to": 300.0, "per_kwh": 0.0}, {"per_kwh": 0.01}]},
    ],
    "tax": [{"name": "city", "frac": 0.03, "on": ["energy"]}, {"name": "state", "frac": 0.05, "on_taxes": ["city"]}],
    "demand": [{"name": "three days", "per_kw": 2.0, "days_meant": 3}],
    "fixed_by_use": [{"up_to": 500.0, "per_month": 4.0}, {"per_month": 9.0}],
    "loss_factor": 1.03,
    "holidays": ["new-year", "independence", "christmas"],
    "read_dates": [f"2025-{month:02d}-11" for month in EVERY_MONTH],
    "export": {
        "method": "net-billing",
        "credit_per_kwh": [0.05] * 12,
        "by_hour": [{"months": [8, 9], "credit_per_kwh": [0.03] * 17 + [0.3] * 3 + [0.03] * 4}],
    },
}
PERIODS = [{"name": "on", "price_per_kwh": 0.40, "hours": "16:00-21:00"}, {"name": "off", "price_per_kwh": 0.10}]
TIERS = [{"up_to": 400.0, "price_per_kwh": 0.12}, {"price_per_kwh": 0.25}]
TIERED = [{"name": "on", "tiers": TIERS}]


def site(mode, periods):
    season = [{"name": "all", "months": EVERY_MONTH, "periods": periods}]
    circuits = [circuit("Lights", 0.4), circuit("Office", 0.3, leg="B", rate_transfer=True, priority=2)]
    units = [unit("A", usable_kwh=5.0), unit("B", usable_kwh=5.0)]
    keys = {"rate": {"season": season, **TERMS}, "subpanel": {"mode": mode}, "service": {"other_load": {"kw": 0.5}}}
    return small_site(circuits, units, rate_today={"price_per_kwh": 0.2}, **keys)


@pytest.mark.parametrize(
    ("mode", "periods"), [("interactive", PERIODS), ("transfer", TIERED)], ids=["periods", "tiers"]
)
def test_a_study_on_every_term_adds_up(mode, periods):
    result = study(site(mode, periods))
    document = json.loads(json.dumps(result.document))
    bill = document["bill"]
    for name in ("today", "without_battery", "with_battery"):
        lines = [line["amount"] for line in bill["lines"] if line["bill"] == name]
        assert math.fsum(lines) == pytest.approx(bill[name], abs=1e-8)
    kinds = {line["kind"] for line in bill["lines"] if line["bill"] == "with_battery"}
    assert {"fixed", "energy", "rider", "demand", "tax", "credit"} <= kinds
    assert bill["change"] == pytest.approx(sum(step["change"] for step in bill["steps"]), abs=1e-9)
    assert bill["bound"] is None and "demand as a mean of several days" in " ".join(bill["notes"])
    assert abs(document["energy_kwh"]["residual"]) < 1e-6


def test_the_site_as_understood_reads_back_with_every_term(tmp_path):
    own = site("interactive", PERIODS)
    (tmp_path / "used.toml").write_text(site_toml(own))
    again = read_site(tmp_path / "used.toml")
    assert again.rate.model_dump(exclude_unset=False) == own.rate.model_dump(exclude_unset=False)
