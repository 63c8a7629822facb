"""The proposal: its numbers are those of summary.json, its pages are two, and nothing that stops the job is left out."""

import html.parser
import json
import math
import re
import shutil
import subprocess

import pytest

from simulate.document.study import study
from simulate.show.report.outputs import write_study
from simulate.show.report.page import pdf_of
from simulate.show.report.proposal import proposal_html
from simulate.site.site import read_site
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site

SMALLEST_PT = 7.0
needs_printer = pytest.mark.skipif(
    not (shutil.which("chromium") and shutil.which("pdfinfo")), reason="needs Chromium and poppler"
)


class Keyed(html.parser.HTMLParser):
    """(key, form, text) of every marked element, and the text outside of them."""

    def __init__(self, text: str):
        super().__init__()
        self.marked, self.loose, self.inside, self.hidden = [], [], None, 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if "data-key" in attrs:
            self.inside = [attrs["data-key"], attrs["data-form"], ""]
        self.hidden += tag in ("style", "title", "desc")

    def handle_endtag(self, tag):
        self.hidden -= tag in ("style", "title", "desc")
        if self.inside and tag in ("span", "tspan"):
            self.marked.append(tuple(self.inside))
            self.inside = None

    def handle_data(self, data):
        if self.inside:
            self.inside[2] += data
        elif not self.hidden:
            self.loose.append(data)


def under(document, key):
    for part in key.split("."):
        document = document[int(part)] if isinstance(document, list) else document[part]
    return document


def number_of(text: str) -> float:
    return float(re.sub(r"[^\d.\-]", "", text))


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    folder = tmp_path_factory.mktemp("out")
    write_study(study(read_site()), folder)
    return folder


@pytest.mark.long
def test_every_number_of_the_page_is_in_the_summary_under_its_key(out):
    document = json.loads((out / "summary.json").read_text("utf-8"))
    page = Keyed((out / "proposal.html").read_text("utf-8"))
    assert len(page.marked) > 90
    for key, form, text in page.marked:
        value = under(document, key)
        if form in ("text", "leg"):
            assert text == {"AB": "both"}.get(value, value), key
        elif form == "hours":  # rounded down: whole hours, tenths below ten
            assert 0.0 <= value - number_of(text) < (1.0 if value >= 10.0 else 0.1), key
        elif form in ("whole", "signed"):
            assert number_of(text) == round(value), key
        elif form == "percent":
            assert math.isclose(number_of(text), 100.0 * value, abs_tol=0.051), key
        elif form == "three":
            assert math.isclose(number_of(text), value, rel_tol=0.005), key
    assert not [data for data in page.loose if re.search(r"\d", data.replace("SHA-256", ""))]


def test_printed_steps_add_up_and_are_the_bills(out):
    document = json.loads((out / "summary.json").read_text("utf-8"))
    steps, bills = document["proposal"]["steps"], document["bill"]["steps"]
    for step, before, bill in zip(steps[1:], steps[:-1], bills[1:], strict=True):
        assert step["total"] == before["total"] + step["change"]
        assert abs(step["total"] - bill["total"]) <= 0.5
    assert document["proposal"]["change"] == steps[-1]["total"] - steps[0]["total"]
    price, money = document["proposal"]["price"], document["money"]
    assert price["installed"] == money["installed_price"] + money["other_installed_price"]
    assert price["left"] == -money["by_year"][0]["net"]


def test_hours_of_months_and_circuits_are_those_of_the_outages(out):
    document = json.loads((out / "summary.json").read_text("utf-8"))
    said, month = document["proposal"], document["answer"]["hours"]["month"]
    assert said["hours_by_month"] == [row["p10"] for row in document["outage"]["by_month"]]
    hours = {one["name"]: one["hours"] for one in said["circuits"]}
    assert min(hours.values()) == pytest.approx(said["hours_by_month"][month - 1], abs=1e-9)


def crowded():
    """Sixteen circuits, three of them as wrong as can be, and a job that names everybody."""
    names = [f"Circuit of some length, number {k + 1}" for k in range(16)]
    circuits = [circuit(name, 0.03, "AB"[k % 2] if k else "AB") for k, name in enumerate(names)]
    circuits[1] |= {"leg": "A", "multiwire_with": names[2]}
    circuits[2] |= {"leg": "A", "multiwire_with": names[1]}
    units = [{**one, "locked_with": None} for one in locked_pair()]
    job = {
        "client": "A client of a long name",
        "address": "1 Long Lane, Somewhere",
        "firm": "A firm",
        "date": "2025-03-03",
    }
    return study(small_site(circuits, units, job=job, rate_today={"price_per_kwh": 0.2}))


def test_every_caution_and_every_stop_line_is_printed_whole():
    one = crowded()
    texts = [text for _, _, text in Keyed(proposal_html(one)).marked]
    stop = [row["text"] for row in one.document["answer"]["stop"]]
    assert len(stop) >= 3
    assert set(stop + one.document["cautions"]) <= set(texts)
    assert {circuit.name for circuit in one.site.circuit} <= set(texts)


@needs_printer
@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_sixteen_circuits_and_three_stop_lines_fit_two_pages(paper, tmp_path):
    one = crowded()
    pages, text, smallest = printed(one, paper, tmp_path)
    assert pages == 2
    assert smallest >= SMALLEST_PT
    said = " ".join(text.split())
    for row in one.document["answer"]["stop"]:
        assert " ".join(row["text"].split()) in said


@pytest.mark.long
@needs_printer
@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_the_farmhouse_fits_two_pages(paper, tmp_path):
    pages, text, smallest = printed(study(farmhouse()), paper, tmp_path)
    assert pages == 2 and smallest >= SMALLEST_PT
    assert "signature" in text and "SHA-256" in text


def printed(one, paper, folder):
    """Pages, text, and the height of the lowest word in points (never below its type size)."""
    (folder / "p.html").write_text(proposal_html(one, paper=paper), "utf-8")
    pdf_of(folder / "p.html", folder / "p.pdf")
    ask = lambda *words: subprocess.run(words, capture_output=True, text=True, check=True).stdout
    pages = int(re.search(r"Pages:\s+(\d+)", ask("pdfinfo", folder / "p.pdf"))[1])
    boxes = ask("pdftotext", "-bbox", folder / "p.pdf", "-")
    heights = [float(b) - float(a) for a, b in re.findall(r'yMin="([\d.]+)" xMax="[\d.]+" yMax="([\d.]+)"', boxes)]
    return pages, ask("pdftotext", folder / "p.pdf", "-"), min(heights)
