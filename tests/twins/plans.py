"""What a plan of the calendar asks for: four states of charge a step, worked out anew from the price calendar."""

from tests.twins.branches import seen
from tests.twins.pools import Cells


def shares_kept(site: dict, stamps, texts) -> list[float]:
    """The reserve at the end of each step, a share of full: a month's is there when the month begins."""
    operation = site["operation"]
    reserve = operation.get("reserve", 0.2)
    n = len(stamps)
    if isinstance(reserve, list):
        seen("reserve by month")
        month = [reserve[stamp.month - 1] for stamp in stamps]
        kept = [max(month[t], month[(t + 1) % n]) for t in range(n)]
    else:
        kept = [reserve] * n
    for hold in operation.get("hold_full", ()):
        for t, text in enumerate(texts):
            if seen("held full", hold["from"] <= text < hold["to"]):
                kept[t] = 1.0
    return kept


def turns(prices: list[float], round_trip: float, wear: float):
    """When one stored kWh is bought and when it is sold for the largest gain, in a calendar that goes round.

    Two states (empty, full) and the steps of three rounds, from the end back; ends full. Returns for the middle round
    the steps of filling, of serving, and the price at which what is used is bought back.
    """
    n, three = len(prices), prices * 3
    worth_empty, worth_full = [0.0] * (3 * n + 1), [0.0] * (3 * n + 1)
    worth_empty[3 * n] = float("-inf")
    for t in range(3 * n - 1, -1, -1):
        worth_full[t] = max(worth_full[t + 1], three[t] - wear + worth_empty[t + 1])
        worth_empty[t] = max(worth_empty[t + 1], worth_full[t + 1] - three[t] / round_trip)
    trades, full = [], True
    for t in range(3 * n):
        if full and three[t] - wear + worth_empty[t + 1] > worth_full[t + 1] + 1e-12:
            trades.append(("sell", t))
            full = False
        elif not full and worth_full[t + 1] - three[t] / round_trip >= worth_empty[t + 1] - 1e-12:
            trades.append(("buy", t))
            full = True
    return spread_to_equals(three, trades, n, round_trip, wear)


def spread_to_equals(three, trades, n: int, round_trip: float, wear: float):
    """Every step that is as cheap as the purchase, between two peaks, fills; every one as dear as the sale serves."""
    fill, serve, refill = [False] * (3 * n), [False] * (3 * n), [0.0] * (3 * n)
    sales = [t for kind, t in trades if kind == "sell"]
    buys = [t for kind, t in trades if kind == "buy"]
    if not sales:
        seen("no price pays")
        low = min(three)
        return [price == low for price in three[:n]], serve[:n], refill[:n]
    peak_end = -1
    for k, sale in enumerate(sales):
        low_from, high_to = (buys[k - 1] if k else 0), (buys[k] if k < len(buys) else 3 * n)
        same = [t for t in range(max(low_from, peak_end + 1), high_to) if three[t] == three[sale]]
        if k:
            between(three, fill, serve, refill, range(peak_end + 1, same[0]), three[low_from], round_trip, wear)
        back_at = three[buys[k]] if k < len(buys) else three[-1]
        for t in range(same[0], same[-1] + 1):
            refill[t] = back_at
        for t in same:
            serve[t] = True
        peak_end = same[-1]
    return fill[n : 2 * n], serve[n : 2 * n], refill[n : 2 * n]


def between(three, fill, serve, refill, gap, low: float, round_trip: float, wear: float) -> None:
    """From one peak to the next: fill where it is cheapest; before the first such step what is left still serves."""
    filled = False
    for t in gap:
        if three[t] == low:
            fill[t] = filled = True
        elif not filled:
            refill[t] = low
            serve[t] = three[t] > low / round_trip + wear + 1e-12
        if not filled:
            refill[t] = low


def floor_ahead(floor: list[float], fill: list[bool], cells: Cells, h: float) -> list[float]:
    """The least energy at each step's end from which every later floor can still be met by filling; goes round."""
    n = len(floor)
    need = list(floor)
    for _ in range(2):
        for t in range(n - 1, -1, -1):
            ahead = (t + 1) % n
            gain = cells.charge_kw * cells.eta_c * h if fill[ahead] else 0.0
            if need[ahead] - gain > need[t]:
                seen("floor rises ahead")
                need[t] = need[ahead] - gain
    return need


def targets_of(plan: str, site: dict, cells: Cells, kept, calendar, on, sell, h: float) -> list[tuple]:
    """Export down to, serve down to, fill from solar up to, fill from the utility up to; a tuple a step. [kWh]

    `calendar` is (fill, serve, refill price) and `on[t]` whether anything is switched over (always in parallel).
    """
    seen(f"plan {plan}")
    full, n = cells.kwh, len(kept)
    utility = not seen("only the sun charges", site["operation"].get("charge_from", "any") == "solar")
    floor = [share * full for share in kept]
    if plan == "keep-full":
        return [(full, full, full, full if utility else 0.0)] * n
    fill, serve, refill = calendar
    if plan == "self-consumption":
        targets = [(full, floor[t], full, floor[t] if utility else 0.0) for t in range(n)]
    else:
        targets = time_of_use(site, cells, floor, fill, serve, on, utility, h)
    if not (site["subpanel"].get("export") and site["subpanel"]["mode"] == "interactive"):
        return targets
    seen("units may export")
    wear = site["operation"].get("wear_per_kwh", 0.0)
    return [with_export(targets[t], floor[t], serve[t], sell[t], refill[t], cells, wear) for t in range(n)]


def time_of_use(site, cells, floor, fill, serve, on, utility: bool, h: float) -> list[tuple]:
    full, n = cells.kwh, len(floor)
    parallel = site["subpanel"]["mode"] == "interactive"
    if utility and len(set(floor)) > 1:
        floor = floor_ahead(floor, fill, cells, h)
    found = []
    for t in range(n):
        keeps = floor[t]
        if not parallel and serve[t] and t and serve[t - 1]:
            keeps = max(keeps, found[t - 1][4])  # a floor that falls inside a period brings nothing back in it
        serves = serve[t] and (parallel or on[t])
        to = keeps if serves else full
        by_sun = full if parallel or not serves else keeps
        by_utility = (full if fill[t] else keeps) if utility else 0.0
        found.append((full, to, by_sun, by_utility, keeps))
    return [one[:4] for one in found]


def with_export(target, floor: float, serves: bool, sell: float, refill: float, cells: Cells, wear: float):
    seen("wear counts", wear > 0.0)
    pays = serves and sell > refill / (cells.eta_c * cells.eta_d) + wear / cells.eta_d
    return (floor, *target[1:]) if pays else target
