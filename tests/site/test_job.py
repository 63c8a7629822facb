"""Who a job is for: a day or none, and a clear word where a day is no day."""

import pytest

from profiles.noun import BadInput
from simulate.site.site import site_of
from tests.site.small_site import BASE, circuit, unit


def job_of(**job):
    return site_of(BASE | {"circuit": [circuit("Lights", 0.1)], "battery": [unit()], "job": job}, file="job.toml").job


def test_a_proposal_holds_so_many_days_from_its_own():
    assert job_of(date="2025-12-20", valid_days=30).valid_until == "2026-01-19"
    assert job_of(client="A. Client").valid_until is None


def test_a_day_that_is_none_is_refused():
    with pytest.raises(BadInput, match=r"job.toml: job.date must be an ISO date.*2025-03-01"):
        job_of(date="3 March")
