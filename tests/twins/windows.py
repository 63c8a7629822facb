"""Which circuits go over when in a peak, by trying every choice of one window each."""

import itertools
from fractions import Fraction


def best_choice(kw, burden, room, worth):
    """The saving of the best choice, and the sets of circuits of fewest members that reach it, exact in fractions.

    `kw[c][t]` is what a circuit draws, `burden[c][l][t]` what a limit sees of it, `room[l]` what the limit allows and
    `worth[t]` what a kW over for a step saves.
    """
    n_steps = len(worth)
    kw = [[Fraction(one) for one in row] for row in kw]
    worth = [Fraction(one) for one in worth]
    spans = [(0, 0)] + [(a, b) for a in range(n_steps) for b in range(a + 1, n_steps + 1)]
    best, sets = Fraction(0), {frozenset()}
    for choice in itertools.product(spans, repeat=len(kw)):
        if not all(fits(choice, burden, limit, room[limit], t) for limit in range(len(room)) for t in range(n_steps)):
            continue
        saves = sum(sum(kw[c][t] * worth[t] for t in range(a, b)) for c, (a, b) in enumerate(choice))
        over = frozenset(c for c, (a, b) in enumerate(choice) if b > a)
        if saves > best:
            best, sets = saves, {over}
        elif saves == best:
            sets.add(over)
    fewest = min(len(one) for one in sets)
    return best, {one for one in sets if len(one) == fewest}


def fits(choice, burden, limit: int, room, t: int) -> bool:
    """What is over in a step stays within a limit."""
    seen = sum(Fraction(burden[c][limit][t]) for c, (a, b) in enumerate(choice) if a <= t < b)
    return seen <= Fraction(room)
