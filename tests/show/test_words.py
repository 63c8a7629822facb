"""One thing has one name: the words that no screen, page, sheet or figure may use, and what is said instead."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROOMS = ("simulate/show", "simulate/document", "simulate/panel", "simulate/designs", "simulate/house", "simulate/site")
INSTEAD = {
    r"\b9/10\b|\bp10\b": "nine times in ten",
    r"\bnine in ten\b": "nine times in ten",
    r"\bin the middle\b|\bmiddle hours\b": "half of the outages last at least",
    r"[Ff]irst circuit lost": "goes dead (a leg), is lost (a circuit)",
    r"NEVER CARRIED|MISSES": "never carried, missed",
    r"\b\d+ %": "per cent without a space",
    r"\bworst month\b": "hardest month",
    r"\bruntime\b|\bautonomy\b": "hours survived",
    r"\bbacked-up loads?\b": "backed-up circuits",
    r"\bsafe\b|\bguaranteed\b|\bcode[- ]compliant\b": "modelled; no promise is made",
    r"battery units cure": "more units help only where the units ran empty",
    r"\bfeed circuit\b|\bcharging feed\b": "charging circuit",
    r"\bcapture rate\b|\barbitrage\b": "saving",
}
KEPT = ("out_hours_p10", "hours_p10", "end_of_warranty_p10", "storm_p10", "hardest_month_p10", "p10", ".p10")
"""Keys of the document and columns of a sweep, which are no words."""


def literals(path: Path):
    """Texts of a source file: no docstrings, no keys."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.lineno, node.value


def texts():
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            for line, text in literals(path):
                if not text.endswith(KEPT) and not re.fullmatch(r"[\w.]+", text):
                    yield f"{path.relative_to(ROOT)}:{line}", text
        for path in sorted((ROOT / room).rglob("*.html")):
            for line, text in enumerate(path.read_text("utf-8").splitlines(), start=1):
                yield f"{path.relative_to(ROOT)}:{line}", re.sub(r"{[{%#].*?[}%#]}", "", text)


@pytest.mark.parametrize("word", INSTEAD)
def test_no_text_uses_a_word_that_has_another_name(word):
    found = [f"{where}: {text.strip()[:90]}" for where, text in texts() if re.search(word, text)]
    assert not found, f"say: {INSTEAD[word]}\n" + "\n".join(found)


def test_the_scan_sees_texts_and_templates():
    seen = [where for where, _ in texts()]
    assert len(seen) > 2000
    assert any(where.endswith(tuple("0123456789")) and ".html" in where for where in seen)
    assert re.search(next(iter(INSTEAD)), "leg A 9/10")
