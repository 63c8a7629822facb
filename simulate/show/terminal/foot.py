"""What stands under every answer: what to do next, and the cautions as two lines, in full where they are asked for."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from simulate.show.terminal.view import BESIDE, plain
from simulate.site.cautions import ALWAYS, MONEY

if TYPE_CHECKING:
    from rich.console import Console

FOOT = (
    "Modelled estimate, no guarantee. Licensed electrician; local authority decides.",
    "De-energize first. Never the only power for life support.",
)
POWER = ("running_w", "largest_w")
"""Keys that come first: the checks of power, and the trips, hang on them."""
MOST_NAMED = 3


def show_foot(cautions: list[str], console: Console, full: bool = False) -> None:
    """The usual cautions in two lines; all of them word by word with `--cautions`."""
    if full:
        for text in cautions:
            console.print(f"- {plain(text)}")
        return
    own = [text for text in cautions if text not in (*ALWAYS, MONEY) and not text.startswith(BESIDE)]
    more = f" {len(own)} more: --cautions." if own else " In full: --cautions."
    console.print(f"[dim]{FOOT[0]}\n{FOOT[1]}{more}[/dim]")


def next_lines(document: dict) -> list[str]:
    """What to do next: what is not met, what is missing for most checks, what to switch off.

    Examples
    --------
    >>> row = {"check": "space", "subject": "sub-panel", "verdict": "fail", "text": "Too few."}
    >>> next_lines({"panel": {"findings": [row]}})
    ['Next: 1 check is not met: space, sub-panel (keeplit panel says what it takes).']
    """
    findings = document.get("panel", {}).get("findings", [])
    lines = [_fails(findings), _not_assessed(findings)]
    steps = document.get("outage", {}).get("switch_off", {}).get("steps", [])
    lines.append(f"In an outage switch off first: {steps[0]['text']}." if steps else "")
    lines = [line for line in lines if line]
    return [f"Next: {lines[0]}", *lines[1:]] if lines else []


def _fails(findings: list[dict]) -> str:
    fails = [f"{one['check']}, {one['subject']}" for one in findings if one["verdict"] == "fail"]
    if not fails:
        return ""
    named = "; ".join(fails[:MOST_NAMED]) + (f"; and {len(fails) - MOST_NAMED} more" if len(fails) > MOST_NAMED else "")
    counted = "1 check is" if len(fails) == 1 else f"{len(fails)} checks are"
    return f"{counted} not met: {named} (keeplit panel says what it takes)."


def _not_assessed(findings: list[dict]) -> str:
    """How many checks lack an input, and the key that most of them ask for."""
    texts = [one["text"] for one in findings if one["verdict"] == "not-assessed"]
    if not texts:
        return ""
    keys = Counter(key for text in texts for key in asked_keys(text)[:1])
    counted = "1 check is" if len(texts) == 1 else f"{len(texts)} checks are"
    ranked = sorted(keys, key=lambda key: (not key.endswith(POWER), -keys[key]))
    return f"{counted} not assessed: give {key_words(ranked[0])} first." if ranked else f"{counted} not assessed."


def key_words(key: str) -> str:
    """A key with its owner behind it.

    Examples
    --------
    >>> key_words('circuit "Kitchen counter".running_w'), key_words("service.free_spaces")
    ('running_w of Kitchen counter', 'service.free_spaces')
    """
    match = re.fullmatch(r'(?:circuit|battery) "(.+)"\.([\w.]+)', key)
    return f"{match[2]} of {match[1]}" if match else key


def asked_keys(text: str) -> list[str]:
    """Keys that a check asks for.

    Examples
    --------
    >>> asked_keys('Not assessed: give circuit "Pump".gfci, circuit "Pump".afci. A moved circuit keeps its GFCI.')
    ['circuit "Pump".gfci', 'circuit "Pump".afci']
    """
    match = re.match(r"Not assessed: give (.+?)\.(?: |$)", text)
    return match[1].split(", ") if match else []
