"""Who the page answers to, what it refuses, and that it never changes a site file."""

import json
import re
import signal
import subprocess
import sys
import threading
import time
import tomllib
from urllib.parse import quote

import pytest

from simulate.document.study import study
from simulate.show.page.guard import MOST_BODY, MOST_QUERY
from simulate.site.site import read_site
from tests.show.page.served import TOKEN, served
from tests.site.small_site import circuit, locked_pair, small_site

TEXT = """# invented, with remarks that must stay
[site]
name = "Small"
latitude = 36.0
longitude = -80.0
timezone = "America/New_York"

[rate] # one price
price_per_kwh = 0.15

[[circuit]]
name = "Pump" # in the cellar
breaker_a = 15
leg = "A"
load = { kw = 0.3 }

[[circuit]]
name = "Freezer"
breaker_a = 15
leg = "B"
priority = 2
load = { kw = 0.1 }
# remark before the units

[[battery]]
name = "Left"
leg = "A"
usable_kwh = 5.0
continuous_kw = 2.0
charging_circuit = { breaker_a = 20, volts = 120 }

[[battery]]
name = "Right"
leg = "B"
usable_kwh = 5.0
continuous_kw = 2.0
charging_circuit = { breaker_a = 20, volts = 120 }
"""


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    path = folder / "small.toml"
    path.write_text(TEXT, "utf-8")
    with served(read_site(path)) as one:
        one.path = path
        yield one


WITH_PINS = "/second?d=&pin=" + quote("on=1&u=1,1&r=&p=&c=usual")


@pytest.mark.parametrize("path", ["/", "/page.css", "/page.js", "/icon.svg", "/first?d=", "/third?d=", WITH_PINS])
def test_the_page_answers_whoever_holds_the_token_and_keeps_to_itself(page, path):
    status, headers, text = page.ask(path)
    assert status == 200 and text
    assert headers["content-security-policy"].startswith("default-src 'self'")
    assert headers["referrer-policy"] == "no-referrer" and headers["cache-control"] == "no-store"
    assert "set-cookie" not in headers


@pytest.mark.parametrize("path", ["/", "/page.css", "/page.js", "/first?d=", "/second?d=", "/write"])
@pytest.mark.parametrize("token", [None, "", "wrong", TOKEN[:-1], TOKEN + "x", "\u00e9"])
def test_without_the_token_nothing_is_answered(page, path, token):
    method, body = ("POST", b"on=1&u=1,1&r=&p=&c=usual") if path == "/write" else ("GET", None)
    status, _, text = page.ask(path, method=method, body=body, token=token)
    assert status == 403 and "token" in text
    assert list(page.path.parent.iterdir()) == [page.path]


@pytest.mark.parametrize("host", [None, "", "example.org", "127.0.0.1", "127.0.0.1:1", "localhost.example.org:80"])
def test_another_name_of_the_host_is_refused(page, host):
    assert page.ask("/", host=host)[0] in (400, 421)


def test_this_machine_by_its_name_is_answered(page):
    assert page.ask("/", host=f"localhost:{page.port}")[0] == 200


def test_a_request_from_another_page_is_refused(page):
    assert page.ask("/first?d=", origin="http://example.org")[0] == 403
    assert page.ask("/first?d=", origin=f"http://127.0.0.1:{page.port}")[0] == 200


GARBAGE = [
    "/first?d=%00", "/first?d=on%3D1%26x%3D2", "/first?d=on%3Dzz", "/first?d=on%3D-1", "/first?d=on%3Dffff",
    "/first?d=u%3D1", "/first?d=u%3D1%2C-1", "/first?d=u%3D1%2C1000", "/first?d=u%3D1%2C%C2%B2", "/first?d=r%3D101",
    "/first?d=r%3Dnan", "/first?d=r%3Dinf", "/first?d=r%3D1%2C2", "/first?d=p%3Dguess", "/first?d=c%3Dcalm",
    "/first?d=&n=x", "/first?d=&b=on%3Dzz", "/first?d=" + "0" * 700, "/second?d=&pin=q%3D1",
]  # fmt: skip


@pytest.mark.parametrize("path", GARBAGE)
def test_garbage_is_refused_in_one_line(page, path):
    status, _, text = page.ask(path)
    assert status == 400
    assert "\n" not in json.loads(text)["refused"] and "Traceback" not in text


def test_what_is_too_large_is_refused(page):
    assert page.ask("/first?d=" + "0" * MOST_QUERY)[0] == 414
    assert page.ask("/write", method="POST", body=b"0" * (MOST_BODY + 1))[0] == 413
    assert page.ask("/write", method="POST", body=b"\xff\xfe")[0] == 400
    assert page.ask("/nothing")[0] == 404
    assert page.ask("/first?d=", method="POST", body=b"")[0] == 405
    assert list(page.path.parent.iterdir()) == [page.path]


def test_the_answer_is_that_of_the_study(page):
    design = "on=1&u=2,1&r=40&p=&c=usual"
    answer = json.loads(page.ask("/first?d=" + quote(design))[2])
    site = page.board.draft(design).site
    assert study(site).answer["hours"]["text"] in answer["answer"]


def test_the_newest_request_of_a_tab_wins(page):
    """While one request is worked on, those that were asked before the newest of their tab are let go."""
    statuses = {}
    desk_is_busy = threading.Event()
    slow = page.board.draft

    def waits(text):
        if not desk_is_busy.is_set():
            desk_is_busy.set()
            time.sleep(0.6)
        return slow(text)

    page.board.draft = waits
    try:
        ask = lambda n: statuses.update({n: page.ask(f"/first?d=&tab=t&n={n}")[0]})
        threads = [threading.Thread(target=ask, args=(n,)) for n in (1, 2, 3)]
        for thread in threads:
            thread.start()
            time.sleep(0.1)
        for thread in threads:
            thread.join()
    finally:
        page.board.draft = slow
    assert statuses == {1: 200, 2: 409, 3: 200}
    assert page.ask("/first?d=&tab=other&n=1")[0] == 200


def test_a_design_is_written_beside_the_file_with_its_remarks(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(TEXT, "utf-8")
    with served(read_site(path)) as page:
        design = "on=1&u=2,0&r=30&p=&c=storm"
        status, _, text = page.ask("/write", method="POST", body=design.encode())
        assert status == 200, text
        draft = page.board.draft(design)
    assert path.read_text("utf-8") == TEXT
    new = tmp_path / "small-design-1.toml"
    assert str(new) in json.loads(text)["text"]
    for remark in re.findall("#.*", TEXT):
        assert remark in new.read_text("utf-8")
    changed = tomllib.loads(new.read_text("utf-8"))
    assert [one.get("on") for one in changed["circuit"]] == [None, "main"]
    assert [one.get("count") for one in changed["battery"]] == [2, 0]
    document = study(read_site(new)).document
    assert document["outage"] == draft.study.document["outage"]
    summary = json.loads((tmp_path / "small-design-1" / "summary.json").read_text("utf-8"))
    assert summary["answer"] == document["answer"]
    assert (tmp_path / "small-design-1" / "report.html").exists()


def test_names_with_markup_are_text():
    nasty = '<img src=x onerror="alert(1)">&"\'{{ 7*7 }}'
    site = small_site([circuit(nasty, 0.2), circuit("</script><b>", 0.1, "B", priority=2)], locked_pair())
    with served(site) as page:
        pieces = [page.ask("/")[2], *json.loads(page.ask("/first?d=on%3D1")[2]).values()]
    whole = "".join(piece for piece in pieces if isinstance(piece, str))
    assert "<img" not in whole and "</script><b>" not in whole and "&lt;img" in whole and "{{ 7*7 }}" in whole


@pytest.mark.long
def test_ctrl_c_ends_the_page_cleanly(tmp_path):
    command = [sys.executable, "-m", "simulate.cli", "page", "--no-open", "--json"]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        url = json.loads(running.stdout.readline())["url"]
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/\?token=[\w-]{20,}", url)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
    finally:
        running.kill()
    assert running.returncode == 0 and not out and not err


def test_a_port_that_is_taken_is_refused(page):
    from typer.testing import CliRunner

    from profiles.noun import BadInput
    from simulate.cli import app

    result = CliRunner().invoke(app, ["page", "--no-open", "--port", str(page.port)])
    assert isinstance(result.exception, BadInput) and "--port cannot be used" in str(result.exception)


def test_the_neighbours_of_a_design_are_worked_out_while_nothing_is_asked(page):
    design = "on=3&u=3,1&r=20&p=&c=frugal"
    near = "on=2&u=3%2C1&r=20&p=&c=frugal"
    assert page.ask("/first?tab=w&n=1&d=" + quote(design))[0] == 200
    assert page.ask("/third?tab=w&n=1&d=" + quote(design))[0] == 200
    for _ in range(200):
        if near in page.board._drafts and "study" in vars(page.board._drafts[near]):
            break
        time.sleep(0.1)
    assert "answer" in vars(page.board._drafts[near].study)
