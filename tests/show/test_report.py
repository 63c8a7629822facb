"""The report: its structure, its words, its escapes, sums that add, and files that stay on the machine."""

import hashlib
import io
import os
import re
from dataclasses import replace
from html.parser import HTMLParser

import html5lib
import pytest
from html5lib.filters.lint import Filter as Lint
from rich.console import Console

from profiles.hours import hours_of_year
from profiles.noun import BadInput
from simulate.bill.replay import PrintedBill
from simulate.document.study import study
from simulate.document.uncertainty import span_of
from simulate.document.worth import replay_of
from simulate.show.frames import months_frame
from simulate.show.plot import plates_of
from simulate.show.report import page as pages
from simulate.show.report import report
from simulate.show.report.page import pdf_of
from simulate.show.report.report import hashes_of, numbers_of, report_html, write_report
from simulate.show.report.sources import meters, sources
from simulate.show.report.tables import _storm_days, tables_of
from simulate.show.terminal.view import hours_text, show_bills, show_study
from simulate.site.site import read_site, site_toml
from tests.site.small_site import circuit, farmhouse, small_site, unit

VOID = {"meta", "link", "br", "hr", "img", "input"}
NASTY = '<script>alert(1)</script> & "quoted"'


def number(cell: str) -> float:
    """A printed number; "none" stands where there is no such line."""
    return 0.0 if cell == "none" else float(cell.replace(",", ""))


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
    return study(farmhouse())


@pytest.fixture(scope="module")
def html(demo):
    return report_html(demo, plates_of(demo))


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


class TestStructure:
    @pytest.mark.long
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
            name = title.removeprefix("plot-").removesuffix("-title").removesuffix("-narrow")
            assert attrs["role"] == "img"
            assert description == f"plot-{name}-desc"
            rows = page.tables[f"table-of-{name}"]
            assert len(rows) > 1
            assert {len(row) for row in rows} == {len(rows[0])}

    def test_figures_are_numbered_in_the_order_of_the_page(self, html):
        assert [int(n) for n in re.findall(r"<strong>Figure (\d+)\.", html)] == list(range(1, 16))

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

    @pytest.mark.long
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


class TestValid:
    """Parse errors of the HTML standard (html5lib, strict) and rules of its tree (its lint filter)."""

    def test_the_page_is_html(self, html):
        tree = html5lib.HTMLParser(strict=True).parse(html)
        walker = html5lib.getTreeWalker("etree")
        assert sum(1 for _ in Lint(walker(tree))) > 5000

    def test_the_validator_sees_what_is_wrong(self, html):
        for right, wrong in (
            ("</table>", ""),
            ("</caption>", "</td>"),
            ('<html lang="en">', '<html lang="en" lang="de">'),
        ):
            assert right in html
            with pytest.raises(html5lib.html5parser.ParseError):
                html5lib.HTMLParser(strict=True).parse(html.replace(right, wrong, 1))


class TestContrast:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text; 1.4.11: 3 to 1 for what must be seen."""

    def test_the_formula_knows_black_on_white(self):
        assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
        assert round(contrast("#767676", "#ffffff"), 2) == 4.54

    def test_in_light_in_dark_and_on_paper(self, html):
        themes = [
            dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))
            for block in re.findall(r":root \{(.*?)\}", html, re.S)
        ]
        assert len(themes) == 3
        for theme in themes:
            for text, ground in (
                ("ink", "paper"),
                ("ink", "shade"),
                ("soft", "paper"),
                ("soft", "shade"),
                ("link", "paper"),
                ("warn-ink", "warn"),
                ("loud-ink", "loud"),
            ):
                assert contrast(theme[text], theme[ground]) >= 4.5, (text, ground)
            for edge in ("warn-rule", "loud-rule", "link"):
                assert contrast(theme[edge], theme["paper"]) >= 3.0, edge


class TestWords:
    def test_the_first_page_answers(self, demo, html):
        first = Page(html[html.index('<section id="first"') : html.index("<nav")])
        assert re.search(
            r"If the power fails at a random hour in \w+, nine times in ten you have at least \d+ hours\.", first.text
        )
        for text in demo.document["answer"]["text"]:
            assert text in first.text
        assert "checks are not met" in first.text
        assert "licensed electrician" in first.text
        assert "They are estimates" in first.text
        rows = first.tables["table-seasons"]
        assert [row[0].split(",")[0] for row in rows[1:]] == [
            "winter (Dec to Feb)",
            "summer (Jun to Aug)",
            "hardest month",
        ]

    def test_the_answer_is_the_studys(self, demo, page):
        p10 = [month["p10"] for month in demo.document["outage"]["by_month"]]
        assert numbers_of(demo)[0][0] == f"{int(min(p10))} h"

    def test_storm_days_name_their_weather(self):
        one = study(farmhouse())
        day = {
            "why": "coldest",
            "date": "2019-01-20",
            "temp_c": -9.0,
            "ghi_kwh_m2": 1.0,
            "hours": {"min": 2.0, "p50": 3.0},
        }
        outage = one.document["outage"]
        with_document(one, outage=outage | {"reliability": {"storm_days": [day]}})
        assert _storm_days(one).caption == "Storm load on the hardest days of the modelled weather"
        object.__setattr__(one, "site", one.site.with_values({"weather.storm_years": "years"}))
        assert _storm_days(one).caption == "Storm load on the hardest days of the actual years"

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
        assert "not paid back within 15 years" in page.text

    def test_cautions_stand_beside_the_numbers_and_in_full(self, demo, page):
        for text in demo.document["cautions"]:
            assert text in page.text
        beside = [above for data, above in page.texts if "Not tax, legal or financial advice" in data]
        assert len(beside) >= 3

    def test_sections_without_content_are_left_out(self, demo):
        without_money = farmhouse().with_values({"money": None})
        bare = with_document(study(without_money), panel={"findings": [], "fail": 0, "not_assessed": 0})
        text = report_html(bare, ())
        assert "The site file has no [money] table" in text
        assert "table-money" not in text
        assert 'id="panel"' not in text
        assert Page(text).broken == []


class TestHowSure:
    def test_saving_hours_and_present_value_are_ranges(self, demo, page):
        rows = {row[0]: row[1:] for row in page.tables["table-ranges"][1:]}
        low, stated, high = span_of(demo.ranges.saving)
        assert rows["bill saving of a first year"][:3] == [f"{round(value):,} USD" for value in (low, stated, high)]
        assert stated == demo.bills.saving and low < stated < high
        low, stated, high = span_of(demo.ranges.npv)
        assert rows["net present value"][:3] == [f"{round(value):,} USD" for value in (low, stated, high)]
        assert stated == pytest.approx(demo.document["money"]["npv"], abs=1e-9)
        assert rows["hours, nine times in ten"][0] == hours_text(span_of(demo.ranges.hours)[0])

    def test_the_first_page_gives_no_bare_saving(self, demo):
        low, _, high = span_of(demo.ranges.saving)
        assert (
            f"{round(low):,} USD to {round(high):,} USD as uncertain inputs vary one at a time"
            in numbers_of(demo)[1][2]
        )

    def test_a_choice_is_drawn_but_in_no_range(self, demo, html):
        reserve = next(row for row in demo.ranges.saving if row.name == "reserve")
        assert min(reserve.at_low, reserve.at_high) < span_of(demo.ranges.saving)[0]
        assert "reserve (a choice)" in html
        assert "The reserve is a choice and not in the range." in html

    def test_tornado_tables_hold_every_input(self, demo, page):
        for name, rows in (("saving", demo.ranges.saving), ("hours", demo.ranges.hours), ("npv", demo.ranges.npv)):
            shown = page.tables[f"table-of-range-{name}"][1:]
            assert [row[0].split(" [")[0] for row in shown] == [row.name for row in rows]

    def test_a_long_study_says_how_to_get_ranges(self, demo, monkeypatch):
        monkeypatch.setattr("simulate.document.study.QUICK_STEPS", 0)
        assert replace(demo).ranges is None
        text = report_html(replace(demo), ())
        assert "Ranges are not worked out here" in text and "--ranges --out FOLDER" in text
        assert replace(demo, thorough=True).ranges.saving == demo.ranges.saving


class TestSources:
    def test_inputs_name_source_and_date(self, page):
        rows = {row[0]: row[1:] for row in page.tables["table-sources"][1:]}
        assert rows["site file"][:2] == ["Heron Creek farmhouse (invented)", "heron_creek.toml"]
        assert rows["weather"][1] == "library:piedmont"
        assert "RESNET" in rows["schedules of typical loads"][1]
        assert all(all(row) for row in rows.values())

    def test_the_demo_site_says_where_it_comes_from(self):
        rows = {row[0]: row[1:] for row in sources(study(read_site())).rows}
        assert rows["site file"] == ("Alder Lane house (invented)", "embedded demo site", "comes with keeplit")

    def test_a_file_of_ones_own_is_dated(self, tmp_path):
        path = tmp_path / "job.toml"
        path.write_text(site_toml(farmhouse()), encoding="utf-8")
        os.utime(path, (1_750_000_000, 1_750_000_000))  # 2025-06-15
        rows = {row[0]: row[1:] for row in sources(study(read_site(path))).rows}
        assert rows["site file"] == ("Heron Creek farmhouse (invented)", "job.toml", "2025-06-15")

    def test_defaults_name_where_they_come_from(self, page):
        assert "outage.reconnect_s = 300.0 (default: IEEE 1547)" in page.text

    def test_meters_are_listed_with_their_quality(self, tmp_path):
        stamps = hours_of_year(2025, "America/New_York").local_text
        lines = [f"{stamp},{0.5 if k != 100 else ''}" for k, stamp in enumerate(stamps)]
        (tmp_path / "usage.csv").write_text("start,kwh\n" + "\n".join(lines) + "\n", encoding="utf-8")
        site = small_site([circuit("Lights", 0.1)], [unit()], service={"whole_house": {"meter": "usage.csv"}})
        site._folder = tmp_path
        ((name, span, interval, readings, complete, _, issues),) = meters(study(site)).rows
        assert (name, interval, readings, complete) == ("usage.csv", "60", "8,759", "99.99%")
        assert span.startswith("2025-01-01T00:00") and "missing" in issues


class TestReplay:
    def test_printed_bills_stand_before_the_saving(self, demo):
        bill = PrintedBill.model_validate({"from": "2025-01-01", "to": "2025-02-01", "amount": 500.0, "kwh": 10.0})
        one = replace(demo, replayed=replay_of(demo.run, (bill,)))
        row = tables_of(one)["replay"].rows[0]
        assert row[:2] == ("2025-01-01 to 2025-02-01", "500.00") and "10.0 kWh are printed" in row[-1]
        assert "No printed bill was held against ours" not in report_html(one, ())


@pytest.fixture(scope="class")
def without_ranges():
    """Ranges have tests of their own; without them a report takes half the time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("simulate.document.study.QUICK_STEPS", 0)
        yield


@pytest.mark.usefixtures("without_ranges")
class TestLoud:
    def test_never_carried_is_the_first_thing_said(self):
        site = farmhouse().with_values(
            {'battery["Left unit"].locked_with': None, 'battery["Right unit"].locked_with': None}
        )
        one = study(site)
        text = report_html(one, ())
        assert text.index("Never carried: Jet pump. No wiring") < text.index('<ul class="numbers">')
        assert "never carried, 0 h" in [row[-1] for row in tables_of(one)["circuits"].rows if row[0] == "Jet pump"]

    def test_a_medical_circuit_has_its_caution_on_the_same_line(self):
        one = study(
            farmhouse().with_values(
                {
                    'circuit["Study and router"].if_lost': "medical",
                    'circuit["Study and router"].priority': 1,
                    'circuit["Study and router"].rate_transfer': False,
                }
            )
        )
        line = re.search(r"Medical circuits:[^<]*", report_html(one, ()))[0]
        assert "Study and router" in line and "units at the end of their warranty" in line
        assert "Do not rely on this system as the only power for life-sustaining equipment" in line

    def test_a_manual_transfer_says_from_when_hours_count(self):
        one = study(farmhouse().with_values({"subpanel.transfer.kind": "manual"}))
        text = report_html(one, ())
        assert text.index("Hours count from the moment somebody throws") < text.index("f the power fails")

    def test_printed_bills_and_their_difference_agree_everywhere(self):
        """An invented year whose saving in cents is not the difference of its rounded bills."""
        one = study(small_site([circuit("Lights", 0.15)], [unit(on_grid_w=15.0)], rate={"price_per_kwh": 0.16002}))
        without, with_ = (round(bill.total, 2) for bill in (one.bills.without_battery, one.bills.with_battery))
        assert round(one.bills.saving, 2) != round(without - with_, 2)  # else this site shows nothing
        assert tables_of(one)["bills"].rows[-1][1:] == (f"{without:,.2f}", f"{with_:,.2f}")
        assert f"{without:,.2f} USD without it, {with_:,.2f} USD with it" in numbers_of(one)[1][2]
        console = Console(width=160, record=True, file=io.StringIO())
        show_bills(one.bills, console)
        text = console.export_text()
        assert all(shown in text for shown in (f"{without:,.2f}", f"{with_:,.2f}", f"{with_ - without:+,.2f}"))

    def test_a_bound_below_nothing_is_said_as_it_is(self):
        one = study(small_site([circuit("Lights", 0.1)], [unit(on_grid_w=15.0)]))
        assert "However these units are run they add 20 USD a year or more to the bill." in report_html(one, ())

    def test_a_loss_is_printed_as_a_loss(self):
        flat = {"price_per_kwh": 0.2}
        one = study(farmhouse().with_values({"rate": flat, "operation.plan": "keep-full"}))
        figure, what, _ = numbers_of(one)[1]
        assert figure.startswith("-")
        assert "adds to the bill" in what


@pytest.mark.usefixtures("without_ranges")
class TestEscapes:
    @pytest.fixture(scope="class")
    @staticmethod
    def nasty():
        return study(
            farmhouse().with_values(
                {"site.name": NASTY, 'circuit["Sump pit"].name': f"Pit {NASTY}", "rate.name": "</style><b>"}
            )
        )

    @pytest.mark.long
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
        cents = [[round(number(cell) * 100) for cell in row[1:]] for row in rows]
        bills = demo.bills
        for k, bill in enumerate(bills.apart.values()):
            column = [row[k] for row in cents]
            assert sum(column[:-1]) == column[-1]
            assert column[-1] == round(bill.total * 100)
        assert not [
            cell for rows in page.tables.values() for row in rows for cell in row if re.fullmatch(r"-0(\.0*)?", cell)
        ]

    def test_months_add_up_to_the_year(self, page):
        _, *rows = page.tables["table-of-bills"]
        cents = [[round(float(cell.replace(",", "")) * 100) for cell in row[1:]] for row in rows]
        assert [sum(column) for column in zip(*cents[:-1], strict=True)] == cents[-1]

    def test_energy_in_and_out_adds_to_nothing(self, page):
        _, *rows = page.tables["table-energy"]
        assert sum(number(row[1]) for row in rows[:-1]) == 0.0

    def test_the_cash_flow_adds_up_in_both_directions(self, demo, page):
        header, *rows = page.tables["table-money-years"]
        parts = [
            k for k, name in enumerate(header) if k and name not in ("net", "sum so far", "sum, discounted", "capacity")
        ]
        so_far = 0
        for row in rows:
            cents = lambda k, row=row: round(number(row[k]) * 100)
            assert sum(map(cents, parts)) == cents(header.index("net"))
            so_far += cents(header.index("net"))
            assert so_far == cents(header.index("sum so far"))
        # each cell is rounded for itself, so that equal payments are printed equal: half a cent a cell at most
        assert abs(so_far - demo.document["money"]["by_year"][-1]["cumulative"] * 100) <= 0.5 * len(parts) * len(rows)

    def test_a_refill_that_never_ends_is_said_in_words(self):
        one = study(farmhouse())
        outage = one.document["outage"]
        back = outage["recharge"] | {"exceeds": True, "shared_from_empty_h": float("inf")}
        text = report_html(with_document(one, outage=outage | {"recharge": back}), ())
        assert "Shared so, the refill takes never" not in text and "Shared so, the units are never full again." in text
        assert not re.search(r"\binf\b", Page(text).text)

    def test_hours_to_refill_are_the_same_everywhere(self, demo, html):
        back = demo.document["outage"]["recharge"]
        text = f"{back['from_empty_h']:.1f} h"
        assert numbers_of(demo)[2][0] == text
        assert f"From the cutoff to full: {text} at" in html
        console = Console(width=160, record=True, file=io.StringIO())
        show_study(demo, console)
        assert f"Full again: {text} of charging from empty" in console.export_text()

    def test_the_three_numbers_of_the_saving_add(self, demo):
        saving, _, behind = numbers_of(demo)[1]
        without, with_ = (round(number(n) * 100) for n in re.findall(r"([\d,.]+) USD with", behind))
        assert without == round(demo.bills.without_battery.total * 100)
        assert round((without - with_) / 100) == int(saving.split()[0].replace(",", "")) == round(demo.bills.saving)


class TestFiles:
    def test_months_of_read_dates_hold_the_energy_of_their_cycle(self):
        """Billing cycles from New Year to 15 January, to 1 July and to the year's end, 0.1 kW all the time."""
        rate = {"price_per_kwh": 0.15, "read_dates": ["2025-01-15", "2025-07-01"]}
        frame = months_frame(study(small_site([circuit("Lights", 0.1)], [unit()], rate=rate)))
        assert frame["month"].tolist() == ["2025-01-15", "2025-07-01", "2026-01-01"]
        assert frame["load_kwh"].tolist() == pytest.approx([2.4 * 14, 0.1 * (24 * 167 - 1), 0.1 * (24 * 184 + 1)])
        assert frame["without_battery"].tolist() == pytest.approx([0.15 * kwh for kwh in frame["load_kwh"]])

    def test_the_hash_is_that_of_the_site_as_used(self, demo, page):
        used = hashlib.sha256(site_toml(demo.site).encode()).hexdigest()
        assert dict(hashes_of(demo))["site-used.toml"] == used
        assert used in page.text

    def test_files_that_the_site_names_are_hashed(self, tmp_path):
        one = study(farmhouse())
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
        monkeypatch.setattr(pages.shutil, "which", lambda _: None)
        with pytest.raises(BadInput, match="needs Chromium, which is not on this machine; open the HTML file"):
            pdf_of(tmp_path / "report.html", tmp_path / "report.pdf")

    def test_no_report_is_said_in_one_line(self, tmp_path, monkeypatch):
        monkeypatch.setattr(pages.shutil, "which", lambda _: "/bin/true")
        with pytest.raises(BadInput, match="is not there.*write the page first"):
            pdf_of(tmp_path / "none.html", tmp_path / "report.pdf")

    def test_a_print_that_fails_leaves_nothing(self, tmp_path, monkeypatch):
        (tmp_path / "report.html").write_text("<p>")
        monkeypatch.setattr(pages.shutil, "which", lambda _: "/bin/false")
        with pytest.raises(BadInput, match="could not be printed"):
            pdf_of(tmp_path / "report.html", tmp_path / "report.pdf")
        assert [one.name for one in tmp_path.iterdir()] == ["report.html"]
