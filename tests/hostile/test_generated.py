"""Site files spoilt at random: a refusal in one line that points right, or a study without a hole; never a traceback."""

import json
import math
import re

import pytest

from profiles.noun import BadInput
from simulate import study
from simulate.site.site import site_of
from tests.hostile.generated import keys_of, spoilt_site

FILE = "spoilt.toml"


def reader_complaints(seed: int) -> tuple[object, list[str]]:
    """The site where it is read, and what is wrong with the refusal where it is not."""
    data = spoilt_site(seed)
    try:
        return site_of(data, file=FILE), []
    except BadInput as refusal:
        return None, [f"{seed}: {one} in {str(refusal)[:300]!r}" for one in refusal_faults(refusal, data)]


def refusal_faults(refusal: BadInput, data: dict) -> list[str]:
    """What a refusal lacks: one line, the file, a key of the user's, a rule, and a value or a way out."""
    text, faults = str(refusal), []
    if "\n" in text or len(text) > 1200:
        faults.append("more than a line")
    if not text.startswith((FILE, "library")):
        faults.append("no file")
    if not refusal.rule:
        faults.append("no rule")
    if refusal.value is ... and not refusal.way_out:
        faults.append("neither value nor way out")
    names = re.sub(r'"[^"]*"', "", refusal.key).replace("[", ".").replace("]", "").split(".")
    names = [name.strip() for name in names if name.strip() and not name.strip().isdigit()]
    told = "missing" in refusal.rule or "must be given" in refusal.rule or "needs" in refusal.rule
    if names and not told and names[-1] not in keys_of(data) and names[0] not in keys_of(data):
        faults.append(f"a key {names} that the file does not hold")
    return faults


def study_complaints(seed: int) -> list[str]:
    """What is wrong with the study of a site that the reader takes."""
    site, faults = reader_complaints(seed)
    if site is None:
        return faults
    site = site.with_values({"site.step_min": 60, "outage.horizon_h": 24.0})
    try:
        document = study(site).document
    except BadInput as refusal:
        return [f"{seed}: {one} in {str(refusal)[:300]!r}" for one in refusal_faults(refusal, spoilt_site(seed))]
    text = json.dumps(document, allow_nan=True)
    if re.search(r"\bNaN\b|\bInfinity\b", text):
        faults.append(f"{seed}: a number that is none")
    if not abs(document["energy_kwh"]["residual"]) <= 1e-6:
        faults.append(f"{seed}: residual {document['energy_kwh']['residual']}")
    bill = document["bill"]
    if bill["bound"] is not None and not bill["saving"] <= bill["bound"] + 1e-6 + 1e-9 * math.fabs(bill["bound"]):
        faults.append(f"{seed}: saving {bill['saving']} above the bound {bill['bound']}")
    return faults


def test_three_hundred_spoilt_sites_are_refused_in_one_line_that_points_right():
    faults = [one for seed in range(300) for one in reader_complaints(seed)[1]]
    assert not faults, "\n".join(faults)


@pytest.mark.long
def test_twenty_spoilt_sites_through_a_study():
    faults, seed, read = [], 2 * 10**6, 0
    while read < 20:
        read += reader_complaints(seed)[0] is not None
        faults += study_complaints(seed)
        seed += 1
    assert not faults, "\n".join(faults)


@pytest.mark.hours
@pytest.mark.parametrize("block", range(100))
def test_a_hundred_thousand_spoilt_sites_at_the_reader(block):
    faults = [one for seed in range(block * 1000, block * 1000 + 1000) for one in reader_complaints(seed)[1]]
    assert not faults, "\n".join(faults[:20])


@pytest.mark.hours
@pytest.mark.parametrize("block", range(200))
def test_five_thousand_spoilt_sites_through_a_study(block):
    faults, seed, read = [], 10**6 + block * 1000, 0
    while read < 25:
        read += reader_complaints(seed)[0] is not None
        faults += study_complaints(seed)
        seed += 1
    assert not faults, "\n".join(faults[:20])
