"""One finding of one check, and what stands in its way when the adopted edition is not known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from simulate.site.editions import EDITIONS_HELD, edition_year, numbered

Verdict = Literal["pass", "marginal", "fail", "not-assessed"]

PHYSICS = frozenset(
    {
        "motor-start",
        "inverter-continuous",
        "one-heater",
        "two-pole-source",
        "transfer-rating",
        "leg-balance",
        "solar-on-island",
    }
)
"""Checks that need no edition of the Code."""

COMMON_PRACTICE = "common practice"
PHYSICAL = "physics, from the ratings in the site file"
CONFIRM = "confirm in the adopted edition"


@dataclass(frozen=True)
class Finding:
    """What one check found about one subject; there is no overall pass and no score.

    Attributes
    ----------
    check : str
        Name of the check, such as "motor-start".
    subject : str
        Circuit, battery group, leg or panel that it is about.
    verdict : {"pass", "marginal", "fail", "not-assessed"}
    value, limit, margin : float or None
        The figure, what it is held against, and what is left: the margin is negative where it is not met. [unit]
    unit : str
    basis : str
        The rule with its edition, or "common practice".
    text : str
        One or two sentences for the electrician.
    """

    check: str
    subject: str
    verdict: Verdict
    value: float | None
    limit: float | None
    margin: float | None
    unit: str
    basis: str
    text: str


@dataclass(frozen=True)
class Figure:
    """A value and the limit it is held against: at most, or at least."""

    value: float | None = None
    limit: float | None = None
    unit: str = ""
    at_least: bool = False

    @property
    def margin(self) -> float | None:
        if self.value is None or self.limit is None:
            return None
        return self.value - self.limit if self.at_least else self.limit - self.value

    @property
    def met(self) -> bool:
        """True within rounding; an exact fit is met."""
        return self.margin is not None and self.margin >= -1e-9


NOTHING = Figure()


def found(check: str, subject: str, verdict: Verdict, figure: Figure, basis: str, text: str) -> Finding:
    """A finding from a figure."""
    return Finding(check, subject, verdict, figure.value, figure.limit, figure.margin, figure.unit, basis, text)


def missing(check: str, subject: str, keys: list[str], basis: str, known: str = "") -> Finding:
    """A check that an input is missing for, with the keys to give."""
    text = "Not assessed: give " + ", ".join(dict.fromkeys(keys)) + "." + (f" {known}" if known else "")
    return found(check, subject, "not-assessed", NOTHING, basis, text)


def pass_or_fail(figure: Figure) -> Verdict:
    """Pass where the figure is met."""
    return "pass" if figure.met else "fail"


def pass_or_marginal(figure: Figure) -> Verdict:
    """For informational notes and common practice, which are at worst marginal."""
    return "pass" if figure.met else "marginal"


def by_edition(finding: Finding, code_edition: str | None) -> Finding:
    """The finding with its edition; without one that we hold, the Code's own checks are not assessed."""
    year = edition_year(code_edition)
    basis, said = numbered(finding.basis, year), numbered(finding.text, year)
    if finding.check in PHYSICS:
        return replace(finding, basis=basis, text=said)
    edition = code_edition.strip() if code_edition else "edition not given"
    if basis != COMMON_PRACTICE:
        adopted = edition if basis.startswith("NEC") else f"site adopts {edition}"
        basis = f"{basis}; {adopted}; {CONFIRM}"
    if year is not None or finding.verdict == "not-assessed":
        return replace(finding, basis=basis, text=said)
    why = "give site.code_edition"
    if code_edition:
        why = f'site.code_edition "{edition}" is not held (NEC {EDITIONS_HELD[0]} to NEC {EDITIONS_HELD[-1]} are)'
    text = f"Not assessed: {why}. As computed: {said}"
    return replace(finding, verdict="not-assessed", basis=basis, text=text)
