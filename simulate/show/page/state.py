"""A design of the page as a line of text: what stands in the page's address, and what a request asks for."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import parse_qsl, urlencode

from profiles.noun import BadInput
from simulate.designs.draft import Draft

KEYS = ("on", "u", "r", "p", "c")
"""Circuits on the sub-panel as hexadecimal bits in file order, units by leg, reserve in per cent, plan, load case."""
MOST_TEXT = 600
"""Letters that a design may take: 200 circuits and twelve reserves fit."""


def text_of(draft: Draft) -> str:
    """A design as text; what is left to its default is left out.

    Examples
    --------
    >>> text_of(Draft().changed(reserve=0.2, plan=None))
    'on=ff&u=1%2C1&r=20&p=&c=usual'
    """
    on = sum(1 << k for k, circuit in enumerate(draft.site.circuit) if circuit.on == "sub-panel")
    operation = draft.site.operation
    given = {
        "on": f"{on:x}",
        "u": ",".join(str(n) for n in draft.units.values()),
        "r": reserve_text(operation.reserve),
        "p": operation.plan or "",
        "c": draft.site.outage.load_case,
    }
    return urlencode(given)


def reserve_text(reserve) -> str:
    """A reserve in per cent, one or twelve; "" for the default.

    Examples
    --------
    >>> reserve_text(0.2), reserve_text(None), reserve_text((0.1,) * 12)
    ('20', '', '10,10,10,10,10,10,10,10,10,10,10,10')
    """
    if reserve is None or isinstance(reserve, str):
        return reserve or ""
    values = reserve if isinstance(reserve, tuple) else (reserve,)
    return ",".join(f"{100.0 * value:.10g}" for value in values)


def draft_of(first: Draft, text: str) -> Draft:
    """The design that a text asks for, from a draft of the same site.

    Raises
    ------
    BadInput
        Text that is none, or a design that the site file does not take.

    Examples
    --------
    >>> draft_of(Draft(), "on=fe&u=2,1&r=50&c=storm").units
    {'A': 2, 'B': 1}
    """
    if len(text) > MOST_TEXT:
        raise BadInput(f"is longer than {MOST_TEXT} letters", key="design")
    given = dict(parse_qsl(text, keep_blank_values=True))
    strange = [key for key in given if key not in KEYS]
    if strange:
        raise BadInput("is not a key of a design", key=strange[0], way_out="known: " + ", ".join(KEYS))
    return first.changed(**_change(first, given))


def _change(first: Draft, given: Mapping[str, str]) -> dict:
    change: dict = {}
    if "on" in given:
        change["circuits"] = _circuits(first, given["on"])
    if "u" in given:
        counts, legs = given["u"].split(","), tuple(first.units)
        if len(counts) != len(legs):
            raise BadInput(f"must be {len(legs)} numbers", key="u", value=given["u"])
        change["units"] = {leg: _whole(n, "u") for leg, n in zip(legs, counts, strict=True)}
    if "r" in given:
        change["reserve"] = _reserve(given["r"])
    if "p" in given:
        change["plan"] = given["p"] or None
    if given.get("c"):
        change["load_case"] = given["c"]
    return change


def _circuits(first: Draft, text: str) -> dict[str, bool]:
    try:
        bits = int(text, 16)
    except ValueError:
        raise BadInput("must be a hexadecimal number", key="on", value=text) from None
    names = [circuit.name for circuit in first.site.circuit]
    if not 0 <= bits < 1 << len(names):
        raise BadInput(f"must be the bits of {len(names)} circuits", key="on", value=text)
    return {name: bool(bits >> k & 1) for k, name in enumerate(names)}


def _whole(text: str, key: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 4:
        raise BadInput("must be a whole number", key=key, value=text)
    return int(text)


def _reserve(text: str):
    """None for the default, "best", a share, or twelve."""
    if text in ("", "best"):
        return text or None
    try:
        shares = tuple(float(part) / 100.0 for part in text.split(","))
    except ValueError:
        raise BadInput("must be per cent, one number or twelve", key="r", value=text) from None
    return shares[0] if len(shares) == 1 else shares
