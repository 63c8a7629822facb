"""The contributor's page and the page of equations name files and functions that exist."""

import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "DEVELOPERS.md", ROOT / "notebooks" / "THEORY.md"]


def resolve(dotted: str):
    """The object of a dotted name."""
    parts = dotted.split(".")
    for k in range(len(parts), 0, -1):
        try:
            found = importlib.import_module(".".join(parts[:k]))
        except ModuleNotFoundError:
            continue
        for name in parts[k:]:
            found = getattr(found, name)
        return found
    raise AssertionError(dotted)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_path_that_is_named_exists(page):
    text = page.read_text("utf-8")
    paths = re.findall(r"`((?:simulate|profiles|tests|notebooks|benchmarks)/[\w./]*)`", text)
    assert paths or "THEORY" in page.name
    for path in paths:
        assert (ROOT / path).exists(), path


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_function_that_is_named_exists(page):
    names = re.findall(r"`((?:simulate|profiles)\.[\w.]+)`", page.read_text("utf-8"))
    assert names
    for name in names:
        resolve(name)


def test_every_room_stands_on_the_map():
    from tests.test_layers import ROOMS

    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for room in ROOMS:
        parts = room.split(".")
        assert f"`{'/'.join(parts)}/`" in text or f"`{parts[-1]}/`" in text or room == "simulate", room
