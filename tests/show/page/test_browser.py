"""The page in a real browser: by mouse and by keyboard alone, on a narrow screen, in dark, in grey, in two tabs."""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

from simulate.document.study import study
from simulate.show.page.board import Board
from simulate.show.page.sent import write_page
from simulate.show.page.state import text_of
from simulate.show.report.page import CHROMIUM
from tests.house.test_year import peaks
from tests.show.page.served import served
from tests.site.small_site import circuit, locked_pair, small_site

CHROME = next(filter(None, map(shutil.which, CHROMIUM)), None)
pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(CHROME is None, reason="chromium is not on this machine (apt-get install chromium)"),
]
ANSWERED = "body:not([aria-busy])[data-answered]"
SECONDS = 200_000.0
NAME_OF_FOCUS = """(e => e.id || (e.name ? e.name + e.value : e.getAttribute("aria-label") || e.className))
    (document.activeElement)"""


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROME, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture(scope="module")
def page_of_demo():
    with served() as one:  # whatever has to be compiled is compiled before a browser waits for it
        one.board.first_answer("")
        one.board.second_answer("", [])
        one.board.third_answer("")
        yield one


def opened(browser, url: str, **screen):
    """A new page, and what it said to the console."""
    context = browser.new_context(**({"viewport": {"width": 1280, "height": 900}} | screen))
    page, said = context.new_page(), []
    page.set_default_timeout(SECONDS)
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(url)
    page.wait_for_selector(ANSWERED)
    return page, said


def settled(page, act) -> None:
    """Do something that asks for a design, and wait for all of its answer."""
    before = int(page.get_attribute("body", "data-asked"))
    act()
    for more in range(1, 40):
        page.wait_for_selector(f'body[data-answered="{before + more}"]:not([aria-busy])')
        if int(page.get_attribute("body", "data-asked")) == before + more:
            return


def sentence(page) -> str:
    return page.inner_text("#answer .hours")


def design(page) -> str:
    return page.evaluate("new URLSearchParams(location.hash.slice(1)).get('d')")


def plain(text: str) -> str:
    return " ".join(text.split())


def test_every_control_by_mouse(browser, page_of_demo):
    page, said = opened(browser, page_of_demo.url)
    first = page_of_demo.board.first
    assert sentence(page) == plain(first.study.answer["hours"]["text"])
    name = first.site.circuit[0].name
    settled(page, lambda: page.click(f'.row:has-text("{name}")'))
    settled(page, lambda: page.click('button[aria-label="units on leg A: more"]'))
    settled(page, lambda: page.select_option("#plan", "keep-full"))
    settled(page, lambda: page.click('label:has-text("as in a storm")'))
    settled(page, lambda: page.click('button[aria-label="reserve [%]: more"]'))
    if page.get_attribute("#twelve", "open") is None:
        page.click("#twelve summary")
    settled(page, lambda: (page.fill('input[aria-label="reserve in Mar [%]"]', "77"), page.keyboard.press("Tab")))
    draft = page_of_demo.board.draft(design(page))
    assert name not in draft.backed_up and draft.units["A"] == first.units["A"] + 1 and draft.plan == "keep-full"
    assert draft.site.outage.load_case == "storm" and draft.site.operation.reserve[2] == 0.77
    assert sentence(page) == plain(study(draft.site).answer["hours"]["text"])
    settled(page, lambda: page.click("#pin"))
    assert page.locator("#pins tbody tr").count() == 2
    settled(page, lambda: page.click("#back"))
    assert design(page) == page_of_demo.board.written
    assert "Against the pinned design" in page.inner_text("#answer")
    settled(page, lambda: page.select_option("#base", ""))
    assert "This is the pinned design" in page.inner_text("#answer")
    settled(page, lambda: page.click("#unpin"))
    assert page.locator("#pins tbody tr").count() == 1
    page.click("#map tbody tr:nth-child(3) td:nth-of-type(5)")
    assert page.inner_text("#say").startswith("March, 04:00: nine times in ten")
    assert not said


def test_every_control_by_keyboard_alone(browser, page_of_demo):
    page, said = opened(browser, page_of_demo.url)
    stops = []
    for _ in range(90):
        page.keyboard.press("Tab")
        stops.append(page.evaluate(NAME_OF_FOCUS))
        if stops[-1] == "write":
            break
    assert "skip" in stops[0] and stops[-1] == "write"
    circuits = page_of_demo.board.first.site.circuit
    assert {f"on{k}" for k in range(len(circuits))} <= set(stops)
    assert {"units-A", "units-B", "reserve", "plan", "base", "pin"} <= set(stops)
    page.focus('input[name=on][value="0"]')
    settled(page, lambda: page.keyboard.press("Space"))
    assert page_of_demo.board.draft(design(page)).backed_up == tuple(
        one.name for one in circuits[1:] if one.on == "sub-panel"
    )
    assert page.evaluate("document.activeElement.value") == "0"
    page.focus("#units-A")
    settled(page, lambda: page.keyboard.press("ArrowUp"))
    page.focus("#plan")
    settled(page, lambda: (page.keyboard.type("keep"), page.keyboard.press("Tab")))
    page.focus('input[name=c][value="usual"]')
    settled(page, lambda: page.keyboard.press("ArrowRight"))
    draft = page_of_demo.board.draft(design(page))
    assert draft.units["A"] == 2 and draft.plan == "keep-full" and draft.site.outage.load_case == "frugal"
    page.focus("#map td[tabindex='0']")
    for key in ("ArrowRight", "ArrowDown", "ArrowDown"):
        page.keyboard.press(key)
    grid = draft.ride.hours[(draft.ride.house.hours.month == 3) & (draft.ride.house.hours.minute // 60 == 1)]
    hours = float(np.quantile(grid, 0.1, method="lower"))
    text = page.inner_text("#say")
    assert text.startswith("March, 01:00: nine times in ten ")
    assert float(re.findall(r"([\d.]+) h", text)[0]) <= hours
    page.focus("#pin")
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.locator("#pins tbody tr").count() == 2 and not said


def test_sentences_of_fifty_random_designs_are_those_of_the_study(browser, page_of_demo):
    rng, first = np.random.default_rng(50), page_of_demo.board.first
    page, said = opened(browser, page_of_demo.url)
    for _ in range(50):
        draft = first.changed(
            circuits={one.name: bool(rng.random() < 0.7) for one in first.site.circuit},
            units={leg: int(rng.integers(0, 4)) for leg in first.units},
            reserve=float(rng.integers(0, 21)) / 20.0,
            plan=str(rng.choice(["keep-full", "time-of-use", "self-consumption"])),
            load_case=str(rng.choice(["usual", "frugal", "storm"])),
        )
        text = text_of(draft)
        page.evaluate("text => { location.hash = new URLSearchParams([['d', text], ['base', '']]); }", text)
        settled_at(page, text)
        answer = study(draft.site).answer
        assert sentence(page) == plain(answer["hours"]["text"]), text
        assert page.inner_text("#answer .paid") == plain(answer["money"]["text"]), text
        stops = [plain(one) for one in page.locator(".stop li").all_inner_texts()]
        assert stops == [plain(one["text"]) for one in answer["stop"]], text
    assert not said


def settled_at(page, text: str) -> None:
    """Wait until the answer of a design that was put into the address is there."""
    page.wait_for_selector(ANSWERED)
    page.wait_for_timeout(30)
    page.wait_for_selector(ANSWERED)
    assert design(page) == text


def test_nothing_is_wider_than_a_narrow_screen(browser, page_of_demo):
    for width in (390, 768, 1280):
        page, said = opened(browser, page_of_demo.url, viewport={"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator(".row input").first.bounding_box()["height"] >= 16
        assert not said


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing(browser, page_of_demo, scheme, width):
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.set_default_timeout(SECONDS)
    page.goto(page_of_demo.url)
    page.wait_for_selector(ANSWERED)
    settled(page, lambda: page.click('button[aria-label="units on leg A: more"]'))
    found = Axe().run(page)
    assert [
        (one["id"], [node["html"][:120] for node in one["nodes"]][:4]) for one in found.response["violations"]
    ] == []


def test_shades_of_the_map_are_told_apart_in_grey():
    css = Path(__file__).parents[3].joinpath("simulate/show/page/templates/page.css").read_text("utf-8")
    shades = re.findall(r"\.b\d \{ background: #([0-9a-f]{6}); color: #([0-9a-f]{6})", css)
    light = [[luminance(one) for one in pair] for pair in shades]
    assert len(light) == 9
    for (low, ink), (high, _) in zip(light[:-1], light[1:], strict=True):
        assert high > 1.12 * low + 0.004
        assert (max(low, ink) + 0.05) / (min(low, ink) + 0.05) >= 4.5


def luminance(colour: str) -> float:
    """Relative luminance of sRGB, as WCAG 2.2 defines it."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_two_tabs_and_a_reload_keep_their_designs(browser, page_of_demo):
    one, _ = opened(browser, page_of_demo.url)
    two = one.context.new_page()
    two.set_default_timeout(SECONDS)
    two.goto(page_of_demo.url)
    two.wait_for_selector(ANSWERED)
    settled(one, lambda: one.click('button[aria-label="units on leg A: more"]'))
    settled(two, lambda: two.click('button[aria-label="units on leg B: less"]'))
    settled(one, lambda: one.click("#pin"))
    kept, other = design(one), design(two)
    assert kept != other and page_of_demo.board.draft(kept).units != page_of_demo.board.draft(other).units
    said = sentence(one)
    one.reload()
    one.wait_for_selector(ANSWERED)
    assert design(one) == kept and sentence(one) == said
    assert one.input_value("#units-A") == "2" and one.locator("#pins tbody tr").count() == 2
    assert two.input_value("#units-B") == "0"


def test_rapid_clicks_end_with_the_last_design(browser, page_of_demo):
    page, said = opened(browser, page_of_demo.url)
    before = int(page.get_attribute("body", "data-asked"))
    for _ in range(4):
        page.click('button[aria-label="units on leg B: more"]')
    page.wait_for_selector(f'body[data-answered="{before + 4}"]:not([aria-busy])')
    draft = page_of_demo.board.draft(design(page))
    assert draft.units["B"] == 5 and sentence(page) == plain(draft.study.answer["hours"]["text"])
    assert all("409" in text or "Conflict" in text for text in said)


def test_a_design_that_the_file_does_not_take_is_said(browser, page_of_demo):
    page, _ = opened(browser, page_of_demo.url)
    page.fill("#reserve", "140")
    page.keyboard.press("Tab")
    page.wait_for_selector("#refused:not([hidden])")
    assert "reserve" in page.inner_text("#refused")
    settled(page, lambda: (page.fill("#reserve", "40"), page.keyboard.press("Tab")))
    assert page.is_hidden("#refused")


def test_a_program_that_has_ended_is_said(browser):
    site = small_site([circuit("Left", 0.3), circuit("Right", 0.2, "B")], locked_pair())
    with served(site) as one:
        page, _ = opened(browser, one.url)
        one.stop()
        page.click(".row >> nth=0")
        page.wait_for_selector("#gone:not([hidden])")
        assert "has ended" in page.inner_text("#gone")


def test_hostile_names_stay_text(browser):
    nasty = '<img src=x onerror="document.title=1"><script>document.title=2</script>"\'&'
    site = small_site(
        [circuit(nasty, 0.3), circuit("</svg><svg onload=alert(1)>", 0.2, "B", priority=2)], locked_pair()
    )
    site = site.model_copy(update={"site": site.site.model_copy(update={"name": nasty})})
    with served(site) as one:
        page, said = opened(browser, one.url)
        settled(page, lambda: page.click(".row >> nth=1"))
        assert page.title() == f"{nasty}: drawing board" and page.inner_text("h1") == nasty
        assert page.locator("img").count() == 0 and page.locator("body script").count() == 1
        assert nasty in page.inner_text(".row >> nth=0") and not said


def test_the_page_asks_nobody_else(browser, page_of_demo):
    context = browser.new_context()
    page, asked = context.new_page(), []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(page_of_demo.url)
    page.wait_for_selector(ANSWERED, timeout=SECONDS)
    assert asked and all(url.startswith(f"http://127.0.0.1:{page_of_demo.port}/") for url in asked)
    assert context.cookies() == []


def test_a_design_is_written_from_the_page(browser, tmp_path):
    with served(None, tmp_path) as one:
        page, _ = opened(browser, one.url)
        settled(page, lambda: page.click('button[aria-label="units on leg A: more"]'))
        page.click("#write")
        page.wait_for_selector("#written:has-text('Written:')", timeout=180_000)
        assert (tmp_path / "demo-design-1.toml").exists() and (tmp_path / "demo-design-1" / "report.html").exists()
        summary = json.loads((tmp_path / "demo-design-1" / "summary.json").read_text("utf-8"))
        assert plain(summary["answer"]["hours"]["text"]) == sentence(page)


def test_a_file_looks_every_design_up_without_a_request(browser, tmp_path):
    loads = [circuit("Left", 0.3), circuit("Right <b>", 0.2, "B", priority=2), circuit("Main", 0.4, on="main")]
    site = small_site(loads, locked_pair(), operation={"plan": "time-of-use"}, rate=peaks())
    sent = write_page(site, tmp_path / "page.html", workers=0)
    context = browser.new_context(viewport={"width": 390, "height": 800})
    page, asked, said = context.new_page(), [], []
    page.set_default_timeout(SECONDS)
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(sent.path.as_uri())
    page.wait_for_selector("#answer .hours")
    board = Board(site)
    assert sentence(page) == plain(board.first.study.answer["hours"]["text"])
    page.click('.row:has-text("Right")')
    page.select_option("#units", "1")
    page.select_option("#reserve", "2")
    units, reserve = sent.grid.units[1], sent.grid.reserves[2]
    draft = board.first.changed(circuits={"Right <b>": False}, units=units, reserve=reserve)
    assert sentence(page) == plain(study(draft.site).answer["hours"]["text"])
    assert page.is_disabled('input[name=on][value="2"]')
    page.focus("#map td[tabindex='0']")
    page.keyboard.press("ArrowDown")
    assert page.inner_text("#say").startswith("February, 00:00")
    kept = page.url
    page.reload()
    page.wait_for_selector("#answer .hours")
    assert page.url == kept and sentence(page) == plain(draft.study.answer["hours"]["text"])
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert {url.split("#")[0] for url in asked} == {sent.path.as_uri()} and not said
    bypass = browser.new_context(bypass_csp=True).new_page()
    bypass.goto(sent.path.as_uri())
    bypass.wait_for_selector("#answer .hours")
    assert [one["id"] for one in Axe().run(bypass).response["violations"]] == []
