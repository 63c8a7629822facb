"""Battery tables of a site file as pools of energy on legs; which circuits each can carry."""

from dataclasses import dataclass, field

from tests.twins.branches import seen

CONTINUOUS_FRAC = 0.8  # of a breaker, NEC 210.20(A): a load of three hours or more is taken at 125 %


@dataclass
class Cells:
    """A pool: units that share their energy. kWh and kW are DC in the cells and AC at the terminals."""

    legs: str
    kwh: float = 0.0
    charge_kw: float = 0.0
    out_kw: float = 0.0
    leg_kw: float = 0.0
    eta_c: float = 1.0
    eta_d: float = 1.0
    no_load_kw: float = 0.0
    on_grid_kw: float = 0.0
    takes_back_kw: float = 0.0
    taper: dict | None = None
    latches: bool = True
    names: list = field(default_factory=list)

    @property
    def eta_serving(self) -> float:
        """AC out over DC used by a unit that follows a load: its no-load draw in proportion to what it delivers."""
        return 1.0 / (1.0 / self.eta_d + self.no_load_kw / self.out_kw)

    def taper_frac(self, kwh: float) -> float:
        """Share of the full charging power that the cells take at this energy."""
        if self.taper is None or kwh <= self.taper["from_soc"] * self.kwh:
            return 1.0
        start = self.taper["from_soc"]
        return 1.0 - (1.0 - self.taper["to_frac"]) * (kwh / self.kwh - start) / (1.0 - start)


def pools_of(site: dict) -> list[Cells]:
    """Pools in the order leg A, leg B, both."""
    pools = {}
    for unit in site["battery"]:
        leg, count = unit.get("leg", "A"), unit.get("count", 1)
        cells = pools.setdefault(leg, Cells("AB" if leg == "both" else leg))
        seen("two groups on one leg", bool(cells.names))
        circuit = unit["charging_circuit"]
        circuit_kw = CONTINUOUS_FRAC * circuit["breaker_a"] * circuit["volts"] / 1000
        charger_kw = unit.get("charge_kw", circuit_kw)
        seen("charger below its circuit", charger_kw < circuit_kw)
        seen("circuit below its charger", circuit_kw < charger_kw)
        volts = 240 if leg == "both" else 120
        out_kw = unit["continuous_kw"]
        if "output_breaker_a" in unit:
            breaker_kw = CONTINUOUS_FRAC * unit["output_breaker_a"] * volts / 1000
            seen("output breaker limits", breaker_kw < out_kw)
            out_kw = min(out_kw, breaker_kw)
        cells.kwh += count * unit["usable_kwh"]
        cells.charge_kw += count * min(charger_kw, circuit_kw)
        cells.out_kw += count * out_kw
        cells.leg_kw += count * (out_kw / 2 if leg == "both" else out_kw)
        cells.no_load_kw += count * unit["no_load_w"] / 1000
        cells.on_grid_kw += count * unit["on_grid_w"] / 1000
        cells.takes_back_kw += count * unit.get("takes_back_kw", 0.0)
        cells.eta_c, cells.eta_d = unit["charge_efficiency"], unit["discharge_efficiency"]
        cells.taper = unit.get("taper")
        cells.latches = unit.get("after_trip", "latches") == "latches"
        cells.names.append(unit["name"])
        seen(f"pool on leg {leg}" if leg != "both" else "pool on both legs")
    return [pools[leg] for leg in ("A", "B", "both") if leg in pools]


def is_locked(site: dict) -> bool:
    """The units on leg A and on leg B are phase-locked, as the site file says."""
    leg = {unit["name"]: unit.get("leg", "A") for unit in site["battery"]}
    pairs = [(unit.get("leg", "A"), leg.get(unit.get("locked_with"))) for unit in site["battery"]]
    return ("A", "B") in pairs or ("B", "A") in pairs


def feeders_of(circuit: dict, pools: list[Cells], locked: bool) -> list[int]:
    """The pools that must be up for a circuit; none where no wiring can serve it."""
    if circuit.get("poles", 1) == 2:
        if [cells.legs for cells in pools] == ["AB"]:
            return [0]
        if len(pools) == 2:
            seen("locked pair" if locked else "two legs not locked")
            return [0, 1] if locked else []
        return []
    return [k for k, cells in enumerate(pools) if leg_of(circuit, pools) in cells.legs]


def leg_of(circuit: dict, pools: list[Cells]) -> str:
    """The stated leg, else the only one that has a unit, else A."""
    if circuit.get("poles", 1) == 2:
        return "AB"
    return circuit.get("leg") or ("B" if [cells.legs for cells in pools] == ["B"] else "A")
