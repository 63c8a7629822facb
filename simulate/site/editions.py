"""Editions of the Code that are held, and where each subject stands in each: the only table of section numbers.

Numbers were read in excerpts or are from memory; they are printed with the site's edition, to be confirmed in the one
adopted. An edition that does not hold a subject prints the subject without a number.
"""

from __future__ import annotations

import re

EDITIONS_HELD = (2011, 2014, 2017, 2020, 2023, 2026)
"""Editions of the NEC whose values the tables of the checks are held to be good for."""

SECTIONS: dict[str, tuple[str, dict[int, str | None]]] = {
    "afci-extension": ("extended circuits and AFCI", {2011: "210.12(B)", 2017: "210.12(D)", 2023: "210.12(E)"}),
    "ambient": ("ambient correction", {2011: "310.15(B)(2)(a)", 2020: "310.15(B)(1)"}),
    "bundling": ("adjustment for bundling", {2011: "310.15(B)(3)(a)", 2020: "310.15(C)(1)"}),
    "ampacity": ("table of ampacities", {2011: "310.15(B)(16)", 2020: "310.16"}),
    "neutral-count": ("neutrals that count", {2011: "310.15(B)(5)", 2020: "310.15(E)"}),
    "source-output": ("output circuits of sources", {2011: "705.60", 2020: "705.28"}),
    "busbar": ("sources on a busbar", {2011: "705.12(D)", 2017: "705.12(B)"}),
    "power-control": ("power control systems", {2011: None, 2020: "705.13"}),
    "load-side-bond": ("no bond on the load side of the service", {2011: "250.24(A)(5)", 2023: "250.24"}),
    "stand-alone": ("capacity of a stand-alone source", {2011: None, 2017: "710.15(A)"}),
    "single-120": ("one 120 V source", {2011: "690.10(C)", 2017: "710.15(C)"}),
    "storage-disconnect": ("disconnect of the battery", {2011: None, 2017: "706.7", 2020: "706.15"}),
    "emergency-disconnect": ("emergency disconnect of a dwelling", {2011: None, 2020: "230.85"}),
    "surge": ("surge protection of a dwelling's panel", {2011: None, 2020: "230.67", 2023: "215.18"}),
    "load-calculation": ("load calculation", {2011: "Article 220", 2026: "Article 120"}),
    "optional": ("optional method, new dwelling", {2011: "220.82", 2026: "120.82"}),
    "existing": ("optional method, existing dwelling", {2011: "220.83", 2026: "120.83"}),
    "measured": ("measured demand", {2011: "220.87", 2026: "120.87"}),
    "ranges": ("demand of ranges", {2011: "Table 220.55", 2026: "Table 120.55"}),
    "fixed-demand": ("four or more appliances in place", {2011: "220.53", 2026: "120.53"}),
    "vehicle": ("electric vehicle supply", {2011: "625.41", 2014: "625.42", 2023: "220.57", 2026: "120.57"}),
}
"""Subject: its name in words, and its number from each edition on (None: the Code does not hold it yet)."""


def edition_year(code_edition: str | None) -> int | None:
    """Year of an edition that we hold, else None.

    Examples
    --------
    >>> edition_year("NEC 2023"), edition_year("2023 NEC"), edition_year("NEC 1999"), edition_year(None)
    (2023, 2023, None, None)
    """
    year = named_year(code_edition)
    return year if year in EDITIONS_HELD else None


def named_year(code_edition: str | None) -> int | None:
    """Year that the name of an edition holds, whether we hold the edition or not; None where it is no such name.

    Examples
    --------
    >>> named_year("NEC 1999"), named_year("NFPA 70-2020"), named_year("the latest")
    (1999, 2020, None)
    """
    name = r"(?:NEC|NFPA\s*70)"
    match = re.fullmatch(rf"\s*{name}?[\s,-]*(\d{{4}})[\s,-]*{name}?\s*", code_edition or "", re.IGNORECASE)
    return int(match[1]) if match else None


def since(table: dict[int, object], year: int):
    """What holds in an edition, of a table by the first edition that each value holds from."""
    return table[max(first for first in table if first <= year)]


def section(subject: str, year: int | None) -> str:
    """Number of a subject in an edition; its name where the edition has none or is not held.

    Examples
    --------
    >>> section("afci-extension", 2017), section("bundling", 2014), section("bundling", None)
    ('210.12(D)', '310.15(B)(3)(a)', 'adjustment for bundling')
    """
    words, numbers = SECTIONS[subject]
    number = since(numbers, year) if year is not None else None
    return number or words


def numbered(text: str, year: int | None) -> str:
    """A text with its subjects in braces replaced by their numbers in an edition.

    Examples
    --------
    >>> numbered("NEC {ampacity}, 110.14(C)", 2017)
    'NEC 310.15(B)(16), 110.14(C)'
    """
    return re.sub(r"\{([a-z0-9-]+)\}", lambda m: section(m[1], year) if m[1] in SECTIONS else m[0], text)
