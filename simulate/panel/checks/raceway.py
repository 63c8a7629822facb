"""Raceways between the panels: conductors that are counted, fill, and the old panel's wiring space."""

from __future__ import annotations

from dataclasses import dataclass

from simulate.panel.checks.conductor import allowed_at, run_ampacity_a
from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.raceway_tables import (
    CONDUCTOR_IN2,
    RACEWAY_IN2,
    TRADE_SIZES,
    fill_frac,
    holds,
    least_trade_size,
)
from simulate.panel.checks.runs import Strand, counted, ends_c, strands_of
from simulate.panel.checks.tables import bundling_factor
from simulate.site.wiring import Raceway

NIPPLE_IN = 24.0
"""A raceway no longer than this needs no adjustment for bundling, NEC 310.15(C)(1). [in]"""

BUNDLE = "NEC {ambient}, {bundling}, {neutral-count}, {ampacity}"
FILL = "NEC Chapter 9, Tables 1, 4 and 5"
SPLICES = "NEC 312.8"
WIRING_SPACE_FRAC = 0.4
"""Share of the wiring space's cross section that conductors may take, NEC 312.8(A)."""


def raceway_findings(layout: Layout) -> list[Finding]:
    """Findings of `raceway`."""
    return _raceways(layout)


def _raceways(layout: Layout) -> list[Finding]:
    raceways = layout.site.subpanel.raceways
    if raceways is None:
        return [missing("raceway", "between the panels", ["subpanel.raceways"], BUNDLE)]
    out = []
    for k, raceway in enumerate(raceways):
        strands, keys = strands_of(layout, k + 1, raceway)
        one = Filled(f"raceway {k + 1}", f"subpanel.raceways[{k + 1}]", raceway, tuple(strands))
        out += [_raceway(layout, one, keys), *_count(one), *_fill(layout, one, keys)]
    return out + _wiring_space(layout, raceways)


@dataclass(frozen=True)
class Filled:
    """A raceway with what runs in it.

    Attributes
    ----------
    subject, key : str
        Its name in a finding and in the site file.
    raceway : Raceway
    strands : tuple of Strand
    """

    subject: str
    key: str
    raceway: Raceway
    strands: tuple[Strand, ...]

    @property
    def n(self) -> int:
        """Current-carrying conductors: as counted, or as stated where that is more."""
        return max(counted(self.strands), self.raceway.conductors or 0)

    @property
    def is_nipple(self) -> bool:
        return self.raceway.length_in <= NIPPLE_IN


def _raceway(layout: Layout, one: Filled, keys: list[str]) -> Finding:
    subject, raceway = one.subject, one.raceway
    n_together = 3 if one.is_nipple else one.n
    factor = bundling_factor(n_together)
    if n_together == 3 and one.n > 3 and raceway.ambient_c <= 30.0:
        figure = Figure(raceway.length_in, NIPPLE_IN, "in")
        text = f"{raceway.length_in:g} in is a nipple of 24 in at most: {one.n} conductors at 100%."
        return found("raceway", subject, "pass", figure, BUNDLE, text)
    if keys:
        known = f"{one.n} current-carrying conductors over {raceway.length_in:g} in: {factor:.0%}." if one.n else ""
        asked = [] if f"{one.key}.circuits" in keys or raceway.awg is not None else [f"{one.key}.awg"]
        return missing("raceway", subject, [*asked, *keys], BUNDLE, known)
    together = {"ambient_c": raceway.ambient_c, "n_conductors": n_together}
    together["ends_c"] = ends_c(layout, layout.site.subpanel.terminals_c)
    figures = []
    for strand in one.strands:
        if strand.role != "hot" or strand.awg is None:
            continue
        awg, material = strand.awg, strand.material
        allowed = allowed_at(layout, one.key, awg, material, plugged=strand.plugged, **together)
        ampacity = run_ampacity_a(awg, material, **together)
        figure = Figure(strand.breaker_a, allowed or ampacity, "A")
        figures.append((figure, strand.name, f"{awg} AWG {material}, {_takes(allowed, ampacity)}"))
    return _judged_raceway(one, factor, figures)


def _count(one: Filled) -> list[Finding]:
    """A stated count that is lower than what the wiring list comes to."""
    stated, n = one.raceway.conductors, counted(one.strands)
    if stated is None or stated >= n:
        return []
    figure = Figure(float(n), float(stated), "conductors")
    hots = sum(strand.n for strand in one.strands if strand.role == "hot")
    neutrals = n - hots
    text = f"{stated} current-carrying conductors are stated; the wiring list has {n}: {hots} hots"
    text += (
        f" and {neutrals} neutral{'s' if neutrals > 1 else ''} that count{'' if neutrals > 1 else 's'}"
        if neutrals
        else ""
    )
    if one.is_nipple:
        text += ". In a nipple of 24 in at most none of them is derated."
        return [found("raceway", f"{one.subject}, count", "marginal", figure, BUNDLE, text)]
    text += f": {bundling_factor(n):.0%} of the 90 degC column. Leave the count out."
    return [found("raceway", f"{one.subject}, count", "fail", figure, BUNDLE, text)]


def _fill(layout: Layout, one: Filled, keys: list[str]) -> list[Finding]:
    """Share of the raceway's area, Chapter 9; conductors taken as THHN."""
    sizes = [strand.awg for strand in one.strands for _ in range(strand.n)]
    if keys or not sizes or None in sizes:
        return []
    raceway, subject = one.raceway, f"{one.subject}, fill"
    most, least = (
        fill_frac(len(sizes), nipple=one.is_nipple),
        least_trade_size(raceway.type, sizes, nipple=one.is_nipple),
    )
    area = sum(CONDUCTOR_IN2[size] for size in sizes)
    text = f"{len(sizes)} conductors with neutral and ground, as THHN {area:.3f} in2; "
    needs = f"{raceway.type} of {least} in holds them at {most:.0%}." if least else "no size up to 2 in holds them."
    if raceway.trade_size is None:
        return [missing("raceway", subject, [f"{one.key}.trade_size"], FILL, text + needs)]
    whole = RACEWAY_IN2[raceway.type][TRADE_SIZES.index(raceway.trade_size)]
    met = holds(raceway.type, raceway.trade_size, sizes, nipple=one.is_nipple)
    figure = Figure(
        area / whole, max(most, area / whole) if met else most, "frac"
    )  # note 7 may round up to a whole one
    text += f"{figure.value:.0%} of {raceway.type} of {raceway.trade_size} in, at most {most:.0%}."
    text += "" if met else f" {needs[0].upper()}{needs[1:]}"
    return [found("raceway", subject, "pass" if met else "fail", figure, FILL, text)]


def _wiring_space(layout: Layout, raceways) -> list[Finding]:
    """Splices and wires of a pass-through in the old panel, 312.8."""
    if layout.site.subpanel.build == "fed" or not layout.circuits:
        return []
    strands = [one for k, raceway in enumerate(raceways) for one in strands_of(layout, k + 1, raceway)[0]]
    sizes = [one.awg for one in strands for _ in range(one.n)]
    if None in sizes or not sizes:
        return []
    splices = sum(circuit.poles for circuit in layout.circuits)
    area = sum(CONDUCTOR_IN2[size] for size in sizes)
    text = f"{len(sizes)} conductors of {area:.2f} in2 more and {splices} splices in the main panel"
    gutter_in2 = layout.site.service.gutter_in2
    if gutter_in2 is None:
        return [missing("raceway", "main panel, wiring space", ["service.gutter_in2"], SPLICES, f"{text}.")]
    figure = Figure(area, WIRING_SPACE_FRAC * gutter_in2, "in2")
    text += f": at most 40% of {gutter_in2:g} in2, with splices 75%; what is there already comes on top."
    return [found("raceway", "main panel, wiring space", pass_or_fail(figure), figure, SPLICES, text)]


def _takes(allowed: float, ampacity: float) -> str:
    """What a conductor carries and the breaker that it takes; 0 stands for none of the standard ratings."""
    if not allowed:
        return (
            f"carries {ampacity:.4g} A: with receptacles on it no next size up is allowed (240.4(B)), and no standard "
            "breaker is that small"
        )
    up = ", the next standard size up (240.4(B))" if allowed > ampacity + 1e-9 else ""
    return f"carries {ampacity:.4g} A and takes a breaker of {allowed:g} A{up}"


def _judged_raceway(one: Filled, factor: float, figures) -> Finding:
    if not figures:
        return missing("raceway", one.subject, ["circuit.wire"], BUNDLE)
    raceway = one.raceway
    worst, name, carries = min(figures, key=lambda figure: figure[0].margin)
    over = [figure[1] for figure in figures if not figure[0].met]
    text = (
        f"{one.n} current-carrying conductors over {raceway.length_in:g} in at {raceway.ambient_c:g} degC: "
        f"{factor:.0%} of the 90 degC column. Tightest: {name}, {carries}; fitted: {worst.value:g} A."
    )
    if over:
        text += " Too small: " + ", ".join(over) + ". Use larger wire, more raceways or a nipple of 24 in."
    return found("raceway", one.subject, pass_or_fail(worst), worst, BUNDLE, text)
