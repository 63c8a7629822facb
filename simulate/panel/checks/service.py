"""The service: headroom for all chargers at once, and the busbars."""

from __future__ import annotations

from dataclasses import dataclass

from simulate.house.recharge import charging_leg_a, charging_legs
from simulate.panel.checks.finding import Figure, Finding, Verdict, found, missing, pass_or_fail
from simulate.panel.checks.layout import LEG_VOLTS, Layout
from simulate.site.load_calculation import ServiceLoad, service_load

HEADROOM = "NEC {load-calculation}, 215.3, 230.42"
BUSBAR = "NEC {busbar}"
SOURCE_BUS = "NEC 408.36, 110.3(B): what feeds the bus"
PARALLEL = "NEC 110.3(B): the listing of the units"
SUM_NOTE = (
    "125% used as a sizing margin; many authorities accept 100% in the calculation; others take charging as a "
    "continuous load at 125%."
)
FULL_BUS, OPPOSITE_END_BUS = 1.0, 1.2


def service_findings(layout: Layout) -> list[Finding]:
    """Findings of `service-headroom` and `busbar`."""
    return [*_headroom(layout), *_busbars(layout)]


@dataclass(frozen=True)
class Chargers:
    """All charging circuits on the service.

    Attributes
    ----------
    amps : dict of leg to float
        Charging current with all units at full rate, by service leg. [A]
    kw : float
        Together. [kW]
    n : dict of leg to int
        Battery units that charge from each leg.
    """

    amps: dict[str, float]
    kw: float
    n: dict[str, int]


def chargers(layout: Layout) -> Chargers:
    """Charging current by leg, every unit at the limit of its circuit and its charger."""
    by_leg = charging_leg_a(layout.groups, layout.site.service.system)
    amps = {leg: by_leg[leg] for leg in layout.legs}
    n = {leg: sum(g.count for g in layout.groups if leg in charging_legs(g)) for leg in layout.legs}
    return Chargers(amps, sum(group.count * group.unit_charge_kw for group in layout.groups), n)


def fitting_frac(main_a: float, house_a: float, charging_a: float) -> float:
    """Share of the full charging rate that fits beside the house, charging taken at 125 %.

    Examples
    --------
    100 A, a house of 7,500 VA at 240 V and three chargers of 24 A: 55 of 72 A fit.

    >>> round(fitting_frac(100.0, 31.25, 72.0) * 72.0, 9)
    55.0
    """
    if charging_a <= 0.0:
        return 1.0
    return min(max(main_a - house_a, 0.0) / 1.25 / charging_a, 1.0)


def _headroom(layout: Layout) -> list[Finding]:
    if not layout.groups:
        return []
    main_a, load = layout.site.service.main_breaker_a, service_load(layout.site)
    keys = ["service.main_breaker_a"] if main_a is None else []
    keys += load.missing
    bank = chargers(layout)
    leg = max(bank.amps, key=bank.amps.get)
    peak = _peak(layout)
    if keys:
        known = f"All units together draw {bank.amps[leg]:.1f} A on leg {leg}. {peak}"
        return [missing("service-headroom", "service", keys, HEADROOM, known.strip())]
    figure = Figure(load.amps + 1.25 * bank.amps[leg], main_a, "A")
    text = f"{_headroom_text(load, bank, leg, figure)} {peak}".strip()
    if not figure.met:
        text += " " + _what_fits(layout.groups, bank, leg, load.amps, figure.limit)
    verdict = _headroom_verdict(load, bank.amps[leg], figure)
    if load.not_in_rows and verdict != "fail":
        return [missing("service-headroom", "service", list(load.not_in_rows), HEADROOM, text)]
    return [found("service-headroom", "service", verdict, figure, HEADROOM, text)]


def _headroom_verdict(load: ServiceLoad, charging_a: float, figure: Figure) -> Verdict:
    """Fail above the main breaker at 100 % of the charging current, marginal from there to 125 % of it."""
    if load.amps + charging_a > figure.limit + 1e-9:
        return "fail"
    return "pass" if figure.met and not load.doubts else "marginal"


def _headroom_text(load: ServiceLoad, bank: Chargers, leg: str, figure: Figure) -> str:
    text = (
        f"Calculated load {load.amps:.2f} A ({load.how}; legs alike) and 125% of {bank.amps[leg]:.1f} A charging on "
        f"leg {leg} is {figure.value:.2f} A of {figure.limit:g} A. At 100% it is {load.amps + bank.amps[leg]:.2f} A. "
        f"{SUM_NOTE}"
    )
    doubts = [f"{one[0].upper()}{one[1:]}." for one in load.doubts]
    asked = [f"Not in the rows: {', '.join(load.not_in_rows)}."] if load.not_in_rows else []
    return " ".join([text, *doubts, *load.notes, *asked])


def _peak(layout: Layout) -> str:
    peak_kw = layout.simulated.house_peak_kw
    return "" if peak_kw is None else f"Simulated peak of the house {peak_kw:.2f} kW, beside it and not the verdict."


def _what_fits(groups, bank: Chargers, leg: str, house_a: float, main_a: float) -> str:
    frac = fitting_frac(main_a, house_a, bank.amps[leg])
    at_once = int(frac * bank.n[leg] + 1e-9)
    units = sum(group.count for group in groups)
    return (
        f"Shared limit that fits: {frac * bank.kw:.1f} kW, "
        f"{frac * bank.kw / units:.2f} kW a unit, held by a listed power control; or staggered: "
        f"{at_once or 'none'} of {bank.n[leg]} on leg {leg} at full rate at once."
    )


def source_amps(layout: Layout, *, sub_panel: bool) -> float:
    """Output current of the sources that feed a bus in parallel with the utility, on its heaviest leg. [A]

    Batteries count in interactive mode only; on the main bus all of them and all AC solar, on the sub-panel bus what is
    connected there.
    """
    site, system = layout.site, layout.site.service.system
    amps = dict.fromkeys(layout.legs, 0.0)
    if site.subpanel.mode == "interactive":
        for group in layout.groups:
            for leg in layout.legs if group.leg == "both" else (group.leg,):
                amps[leg] += group.count * group.continuous_kw * 1000.0 / group.output_volts(system)
    total = max(amps.values())
    counted = ("sub-panel",) if sub_panel else ("sub-panel", "main-panel")
    if site.solar is not None and site.solar.connected_at in counted:
        total += site.solar.ac_kw * 1000.0 / (layout.line_volts or LEG_VOLTS)
    return total


def _busbars(layout: Layout) -> list[Finding]:
    site = layout.site
    solar_at = None if site.solar is None else site.solar.connected_at
    interactive = site.subpanel.mode == "interactive"
    out = [] if interactive else _on_battery(layout)
    if not interactive and solar_at in (None, "battery"):
        return out
    if solar_at not in (None, "battery") and site.solar.ac_kw is None:
        return [missing("busbar", "main panel", ["solar.ac_kw"], BUSBAR), *out]
    buses = [_main_bus(layout)]
    if interactive or solar_at == "sub-panel":
        buses.append(_sub_bus(layout))
    return buses + out


def _on_battery(layout: Layout) -> list[Finding]:
    """On battery: the units' output breakers on a leg against the bus that they feed, and units in parallel."""
    out = []
    for leg in layout.fed_legs:
        groups, subject = layout.groups_on(leg), f"sub-panel on battery, leg {leg}"
        keys = [f'battery "{g.name}".output_breaker_a' for g in groups if g.output_breaker_a is None]
        keys += ["subpanel.bus_a"] if layout.site.subpanel.bus_a is None else []
        if keys:
            out.append(missing("busbar", subject, keys, SOURCE_BUS))
        else:
            solar_a = _solar_breaker_a(layout)
            amps = sum(g.count * g.output_breaker_a for g in groups) + solar_a
            figure = Figure(amps, layout.site.subpanel.bus_a, "A")
            too = f", solar's {solar_a:g} A too," if solar_a else ""
            text = f"Output breakers on leg {leg}{too}: {figure.value:g} A in all onto a bus of {figure.limit:g} A."
            out.append(found("busbar", subject, pass_or_fail(figure), figure, SOURCE_BUS, text))
        out += _in_parallel(layout, leg, sum(group.count for group in groups))
    return out


def _solar_breaker_a(layout: Layout) -> float:
    """Breaker of solar that feeds the sub-panel's bus beside the units. [A]"""
    solar = layout.site.solar
    return solar.breaker_a or 0.0 if solar is not None and solar.connected_at == "sub-panel" else 0.0


def _in_parallel(layout: Layout, leg: str, units: int) -> list[Finding]:
    if units < 2:
        return []
    subject, listed = f"units in parallel, leg {leg}", layout.site.subpanel.parallel_units
    if listed is None:
        return [missing("busbar", subject, ["subpanel.parallel_units"], PARALLEL, f"{units} units on leg {leg}.")]
    text = f"{units} units in parallel on leg {leg}: the listing " + (
        "takes them." if listed else "does not take them."
    )
    return [found("busbar", subject, "pass" if listed else "fail", Figure(), PARALLEL, text)]


def _main_bus(layout: Layout) -> Finding:
    service, solar = layout.site.service, layout.site.solar
    keys = [f"service.{key}" for key in ("main_breaker_a", "bus_a") if getattr(service, key) is None]
    at_main = solar is not None and solar.connected_at == "main-panel"
    if at_main and solar.opposite_end is None:
        keys.append("solar.opposite_end")
    if keys:
        return missing("busbar", "main panel", keys, BUSBAR)
    share = FULL_BUS if at_main and not solar.opposite_end else OPPOSITE_END_BUS
    amps = source_amps(layout, sub_panel=False)
    return _bus(layout, "main panel", (service.main_breaker_a, service.bus_a), amps, share)


def _sub_bus(layout: Layout) -> Finding:
    panel = layout.site.subpanel
    keys = ["subpanel.bus_a"] if panel.bus_a is None else []
    keys += ["subpanel.feeder"] if panel.feeder is None else []
    if keys:
        return missing("busbar", "sub-panel", keys, BUSBAR)
    amps = source_amps(layout, sub_panel=True)
    return _bus(layout, "sub-panel", (panel.feeder.breaker_a, panel.bus_a), amps, OPPOSITE_END_BUS)


def _bus(layout: Layout, subject: str, ratings: tuple[float, float], sources_a: float, share: float) -> Finding:
    main_a, bus_a = ratings
    figure = Figure(main_a + 1.25 * sources_a, share * bus_a, "A")
    ends = "at opposite ends" if share > 1.0 else "not at opposite ends"
    text = (
        f"{subject[0].upper()}{subject[1:]}: {main_a:g} A and 125% of {sources_a:.1f} A of sources is "
        f"{figure.value:.1f} A of {share:.0%} of {bus_a:g} A, {figure.limit:.0f} A, {ends}."
    )
    if not figure.met and layout.site.subpanel.power_control:
        text += " Held by a listed power control system ({power-control}): record its setting."
        return found("busbar", subject, "pass", Figure(figure.value, None, "A"), "NEC {busbar}, {power-control}", text)
    if not figure.met:
        text += " A smaller main breaker, a larger bus, or a listed power control system."
    return found("busbar", subject, pass_or_fail(figure), figure, BUSBAR, text)
