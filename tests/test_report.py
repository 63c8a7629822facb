"""The report: its structure, its words, its escapes, sums that add, and files that stay on the machine."""

import hashlib
import re
from html.parser import HTMLParser

import pytest

from profiles.noun import BadInput
from simulate import report
from simulate.document import study
from simulate.panel.check import check_panel
from simulate.plot import plates_of
from simulate.report import hashes_of, numbers_of, pdf_of, report_html, write_report
from simulate.report_tables import tables_of, warnings_of
from simulate.site import read_site, site_toml

VOID = {"meta", "link", "br", "hr", "img", "input"}
NASTY = '<script>alert(1)</script> & "quoted"'


class Page(HTMLParser):
    """What a reader of the page meets: tags with their ancestors, texts, tables."""

    def __init__(self, text: str):
        super().__init__(convert_charrefs=True)
        self.stack, self.tags, self.texts, self.tables, self.broken = [], [], [], {}, []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.append((tag, attrs, tuple(name for name, _ in self.stack)))
        if tag == "table":
            self.tables[attrs.get("id")] = []
        if tag == "tr":
            self.tables[list(self.tables)[-1]].append([])
        if tag in ("td", "th"):
            self.tables[list(self.tables)[-1]][-1].append("")
        if tag not in VOID:
            self.stack.append((tag, attrs))

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs), tuple(name for name, _ in self.stack)))

    def handle_endtag(self, tag):
        if not self.stack or self.stack.pop()[0] != tag:
            self.broken.append(tag)

    def handle_data(self, data):
        names = [name for name, _ in self.stack]
        if "style" not in names:
            self.texts.append((data, tuple(names)))
        if names and names[-1] in ("td", "th"):
            self.tables[list(self.tables)[-1]][-1][-1] += data

    @property
    def text(self) -> str:
        return " ".join(" ".join(data for data, _ in self.texts).split())

    def having(self, name: str) -> list[str]:
        return [attrs[name] for _, attrs, _ in self.tags if attrs.get(name)]


def with_document(one, **parts):
    """A study whose document holds other parts, as if the simulation had found them."""
    one.__dict__["document"] = {**one.document, **parts}
    return one


@pytest.fixture(scope="module")
def demo():
    one = study(read_site())
    findings = [vars(finding) for finding in check_panel(one.site)]
    panel = {
        "findings": findings,
        "fail": sum(f["verdict"] == "fail" for f in findings),
        "not_assessed": sum(f["verdict"] == "not-assessed" for f in findings),
    }
    years = [{"year": k, "saving": 40.0 * (k > 0), "net": 40.0 if k else -9600.0} for k in range(16)]
    return with_document(one, panel=panel, money={"npv": -9000.0, "simple_payback_y": 240.0, "by_year": years})


@pytest.fixture(scope="module")
def html(demo):
    return report_html(demo, plates_of(demo))


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


class TestStructure:
    def test_tags_close_and_ids_are_unique(self, page):
        assert page.broken == []
        assert page.stack == []
        ids = page.having("id")
        assert len(ids) == len(set(ids))

    def test_every_reference_leads_somewhere(self, page):
        ids = set(page.having("id"))
        links = [link for link in page.having("href") if link.startswith("#")]
        assert len(links) > 20
        assert {link[1:] for link in links} <= ids
        for named in page.having("aria-labelledby"):
            assert set(named.split()) <= ids

    def test_headings_are_nested(self, page):
        levels = [int(tag[1]) for tag, _, _ in page.tags if re.fullmatch("h[1-6]", tag)]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))

    def test_every_figure_has_title_description_and_table(self, page):
        drawings = [attrs for tag, attrs, above in page.tags if tag == "svg"]
        assert len(drawings) >= 10
        for attrs in drawings:
            title, description = attrs["aria-labelledby"].split()
            name = title.removeprefix("plot-").removesuffix("-title")
            assert attrs["role"] == "img"
            assert description == f"plot-{name}-desc"
            rows = page.tables[f"table-of-{name}"]
            assert len(rows) > 1
            assert {len(row) for row in rows} == {len(rows[0])}

    def test_figures_are_numbered_in_the_order_of_the_page(self, html):
        assert [int(n) for n in re.findall(r"<strong>Figure (\d+)\.", html)] == list(range(1, 13))

    def test_nothing_is_fetched_and_nothing_runs(self, html, page):
        assert "http:" not in html
        assert "https:" not in html
        assert not {tag for tag, _, _ in page.tags} & {"script", "link", "iframe", "object", "embed", "form"}
        assert not [attrs for _, attrs, _ in page.tags if any(name.startswith("on") for name in attrs)]
        assert not [link for link in page.having("src") + page.having("href") if not link.startswith(("#", "data:"))]
        assert "@import" not in html
        assert set(re.findall(r"url\((.)", html)) <= {"#"}
        assert "default-src 'none'" in html

    def test_rows_and_columns_are_named_for_screen_readers(self, page):
        heads = [attrs.get("scope") for tag, attrs, above in page.tags if tag == "th"]
        assert set(heads) == {"row", "col"}
        assert sum(tag == "caption" for tag, _, _ in page.tags) == len(page.tables)

    def test_the_skip_link_comes_first_and_what_scrolls_takes_the_focus(self, page):
        first = next(attrs for tag, attrs, _ in page.tags if tag == "a")
        assert first == {"class": "skip", "href": "#main"}
        scrolls = [attrs for _, attrs, _ in page.tags if "scroll" in (attrs.get("class") or "").split()]
        assert scrolls
        assert {attrs.get("tabindex") for attrs in scrolls} == {"0"}
        assert not [value for value in page.having("tabindex") if int(value) > 0]

    def test_it_is_small(self, html):
        assert len(html.encode()) < 2_000_000

    def test_language_and_title(self, page, demo):
        assert page.tags[0][1] == {"lang": "en"}
        assert demo.site.site.name in page.text


def luminance(code: str) -> float:
    """Relative luminance, WCAG 2.2."""
    rgb = [int(code[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a: str, b: str) -> float:
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


class TestContrast:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text; 1.4.11: 3 to 1 for what must be seen."""

    def test_the_formula_knows_black_on_white(self):
        assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
        assert round(contrast("#767676", "#ffffff"), 2) == 4.54

    def test_in_light_in_dark_and_on_paper(self, html):
        themes = [dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block)) for block in re.findall(r":root \{(.*?)\}", html, re.S)]
        assert len(themes) == 3
        for theme in themes:
            for text, ground in (("ink", "paper"), ("ink", "shade"), ("soft", "paper"), ("soft", "shade"), ("link", "paper"),
                                 ("warn-ink", "warn"), ("loud-ink", "loud")):  # fmt: skip
                assert contrast(theme[text], theme[ground]) >= 4.5, (text, ground)
            for edge in ("warn-rule", "loud-rule", "link"):
                assert contrast(theme[edge], theme["paper"]) >= 3.0, edge


class TestWords:
    def test_the_first_page_answers(self, demo, html):
        first = Page(html[html.index('<section id="first"') : html.index("<nav")])
        assert re.search(r"If the power fails at a random hour in \w+, nine times in ten you have at least \d+ hours\.", first.text)
        assert len([1 for tag, _, above in first.tags if tag == "li" and "ul" in above]) == 3
        assert len([1 for tag, attrs, _ in first.tags if tag == "li" and attrs.get("class") == "warn"]) == 3
        assert "licensed electrician" in first.text
        assert "They are estimates" in first.text
        rows = first.tables["table-seasons"]
        assert [row[0].split(",")[0] for row in rows[1:]] == ["winter (Dec to Feb)", "summer (Jun to Aug)", "hardest month"]

    def test_the_answer_is_the_studys(self, demo, page):
        p10 = [month["p10"] for month in demo.document["outage"]["by_month"]]
        assert numbers_of(demo)[0][0] == f"{int(min(p10))} h"

    def test_no_promise_is_made(self, page):
        assert not re.search(r"\bsafe\b|code[- ]compliant|guaranteed|whole-home|will run", page.text, re.IGNORECASE)

    def test_solar_is_said_to_be_off(self, page):
        assert "Solar is off in an outage" in page.text

    def test_fails_and_what_is_not_assessed_stand_side_by_side(self, demo, page):
        panel = demo.document["panel"]
        assert f"{panel['fail']} not met, {panel['not_assessed']} not assessed" in page.text
        verdicts = [row[0] for row in page.tables["table-findings"][1:]]
        assert len(verdicts) == len(panel["findings"])
        order = [("fail", "not-assessed", "marginal", "pass").index(verdict) for verdict in verdicts]
        assert order == sorted(order)

    def test_what_does_not_pay_is_said_so(self, page):
        assert "Bought for outages" in page.text
        assert "does not pay for the equipment in 15 years" in page.text

    def test_cautions_stand_beside_the_numbers_and_in_full(self, demo, page):
        for text in demo.document["cautions"]:
            assert text in page.text
        beside = [above for data, above in page.texts if "Not tax, legal or financial advice" in data]
        assert len(beside) >= 3

    def test_sections_without_content_are_left_out(self, demo):
        bare = with_document(study(demo.site), money=None, panel={"findings": [], "fail": 0, "not_assessed": 0})
        text = report_html(bare, ())
        assert 'id="money"' not in text
        assert 'id="panel"' not in text
        assert Page(text).broken == []


class TestLoud:
    def test_never_carried_is_the_first_thing_said(self):
        site = read_site().with_values({'battery["Left unit"].locked_with': None, 'battery["Right unit"].locked_with': None})
        one = study(site)
        text = report_html(one, ())
        assert text.index("Never carried: Jet pump. No wiring") < text.index("If the power fails")
        assert "NEVER CARRIED, 0 h" in [row[-1] for row in tables_of(one)["circuits"].rows if row[0] == "Jet pump"]

    def test_a_medical_circuit_has_its_caution_on_the_same_line(self):
        one = study(read_site().with_values({'circuit["Study and router"].if_lost': "medical",
                                             'circuit["Study and router"].priority': 1,
                                             'circuit["Study and router"].rate_transfer': False}))  # fmt: skip
        line = next(text for text in warnings_of(one) if text.startswith("Medical circuits"))
        assert "Do not rely on this system as the only power for life-sustaining equipment" in line
        assert len(warnings_of(one)) == 3

    def test_a_manual_transfer_says_from_when_hours_count(self):
        one = study(read_site().with_values({"subpanel.transfer.kind": "manual"}))
        text = report_html(one, ())
        assert text.index("Hours count from the moment somebody throws") < text.index("If the power fails")

    def test_a_loss_is_printed_as_a_loss(self):
        flat = {"price_per_kwh": 0.2}
        one = study(read_site().with_values({"rate": flat, "operation.plan": "keep-full"}))
        figure, what, _ = numbers_of(one)[1]
        assert figure.startswith("-")
        assert "adds to the bill" in what
        assert any("adds about" in text for text in warnings_of(one))


class TestEscapes:
    @pytest.fixture(scope="class")
    @staticmethod
    def nasty():
        return study(read_site().with_values({"site.name": NASTY, 'circuit["Sump pit"].name': f"Pit {NASTY}",
                                              "rate.name": "</style><b>"}))  # fmt: skip

    def test_names_from_the_file_are_shown_and_never_run(self, nasty):
        text = report_html(nasty, plates_of(nasty))
        page = Page(text)
        assert "<script" not in text
        assert page.broken == []
        assert not [tag for tag, _, _ in page.tags if tag in ("script", "b")]
        assert NASTY in page.text
        assert f"Pit {NASTY}" in [row[0] for row in page.tables["table-circuits"]]
        assert next(data for data, above in page.texts if above[-1:] == ("title",)).startswith(NASTY)


class TestSums:
    def test_printed_lines_add_up_to_the_cent(self, demo, page):
        head, *rows = page.tables["table-bills"]
        cents = [[round(float(cell.replace(",", "")) * 100) for cell in row[1:]] for row in rows]
        bills = demo.bills
        for k, bill in enumerate((bills.today, bills.without_battery, bills.with_battery)):
            column = [row[k] for row in cents]
            assert sum(column[:-1]) == column[-1]
            assert column[-1] == round(bill.total * 100)
        assert not [cell for rows in page.tables.values() for row in rows for cell in row if re.fullmatch(r"-0(\.0*)?", cell)]

    def test_months_add_up_to_the_year(self, page):
        _, *rows = page.tables["table-of-bills"]
        cents = [[round(float(cell.replace(",", "")) * 100) for cell in row[1:]] for row in rows]
        assert [sum(column) for column in zip(*cents[:-1], strict=True)] == cents[-1]

    def test_energy_in_and_out_adds_to_nothing(self, page):
        _, *rows = page.tables["table-energy"]
        assert sum(float(row[1].replace(",", "")) for row in rows[:-1]) == 0.0

    def test_the_three_numbers_of_the_saving_add(self, demo):
        saving, _, behind = numbers_of(demo)[1]
        without, with_ = (round(float(n.replace(",", "")) * 100) for n in re.findall(r"([\d,.]+) USD", behind))
        assert without == round(demo.bills.without_battery.total * 100)
        assert round((without - with_) / 100) == int(saving.split()[0].replace(",", "")) == round(demo.bills.saving)


class TestFiles:
    def test_the_hash_is_that_of_the_site_as_used(self, demo, page):
        used = hashlib.sha256(site_toml(demo.site).encode()).hexdigest()
        assert dict(hashes_of(demo))["site-used.toml"] == used
        assert used in page.text

    def test_files_that_the_site_names_are_hashed(self, tmp_path):
        one = study(read_site())
        (tmp_path / "roof.csv").write_text("1,2,3")
        object.__setattr__(one, "site", one.site.with_values({"site.name": "roof.csv"}))
        one.site._folder = tmp_path
        assert ("roof.csv", hashlib.sha256(b"1,2,3").hexdigest()) in hashes_of(one)

    def test_the_file_is_whole_or_not_there(self, demo, tmp_path, monkeypatch):
        path = tmp_path / "report.html"
        write_report(demo, path, figures=())
        before = path.read_bytes()
        assert before.rstrip().endswith(b"</html>")
        assert [one.name for one in tmp_path.iterdir()] == ["report.html"]
        monkeypatch.setattr(report, "report_html", lambda *_: "\ud800")  # cannot be written as UTF-8
        with pytest.raises(UnicodeEncodeError):
            write_report(demo, path, figures=())
        assert path.read_bytes() == before
        assert [one.name for one in tmp_path.iterdir()] == ["report.html"]

    def test_the_same_study_gives_the_same_bytes(self, demo, html):
        assert report_html(demo, plates_of(demo)) == html

    def test_no_chromium_is_said_in_one_line(self, tmp_path, monkeypatch):
        monkeypatch.setattr(report.shutil, "which", lambda _: None)
        with pytest.raises(BadInput, match="needs Chromium, which is not on this machine; open report.html"):
            pdf_of(tmp_path / "report.html", tmp_path / "report.pdf")

    def test_no_report_is_said_in_one_line(self, tmp_path, monkeypatch):
        monkeypatch.setattr(report.shutil, "which", lambda _: "/bin/true")
        with pytest.raises(BadInput, match="is not there.*write the report first"):
            pdf_of(tmp_path / "none.html", tmp_path / "report.pdf")

    def test_a_print_that_fails_leaves_nothing(self, tmp_path, monkeypatch):
        (tmp_path / "report.html").write_text("<p>")
        monkeypatch.setattr(report.shutil, "which", lambda _: "/bin/false")
        with pytest.raises(BadInput, match="could not be printed"):
            pdf_of(tmp_path / "report.html", tmp_path / "report.pdf")
        assert [one.name for one in tmp_path.iterdir()] == ["report.html"]
