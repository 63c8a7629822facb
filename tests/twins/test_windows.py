"""The windows of service of a peak against every choice there is."""

import random

import numpy as np
import pytest

from simulate.plans.windows import best_windows
from tests.twins.windows import best_choice

SMALL = 1e-9


def peak(seed: int):
    """Up to three circuits on two legs in a peak of up to four steps; loads of quarters, so that ties are real."""
    draw = random.Random(seed)
    n_circuits, n_steps = draw.randint(1, 3), draw.randint(1, 4)
    kw = [[draw.choice([0.0, 0.25, 0.5, 1.0, 1.5]) for _ in range(n_steps)] for _ in range(n_circuits)]
    legs = [draw.choice([(1.0, 0.0), (0.0, 1.0), (0.5, 0.5)]) for _ in range(n_circuits)]
    burden = [[[share * one for one in row] for share in leg] for row, leg in zip(kw, legs, strict=True)]
    room = [draw.choice([0.5, 1.0, 1.75, 9.0]) for _ in range(2)]
    worth = [draw.choice([-0.25, 0.0, 0.125, 0.25, 0.5]) for _ in range(n_steps)]
    return kw, burden, room, worth


@pytest.mark.parametrize("block", range(4))
def test_windows_save_as_much_as_the_best_of_all_choices(block):
    """The saving of every choice is tried; of equal ones the fewest circuits; every limit holds in every step."""
    for seed in range(block * 15, block * 15 + 15):
        kw, burden, room, worth = peak(seed)
        found = best_windows(np.array(kw), np.array(burden), room, np.array(worth))
        best, sets = best_choice(kw, burden, room, worth)
        assert found.missed == 0.0
        assert abs(found.gain - float(best)) < SMALL, seed
        over = frozenset(np.flatnonzero(found.end > found.begin).tolist())
        assert over in sets, (seed, over, sets)
        saves = sum(kw[c][t] * worth[t] for c in over for t in range(found.begin[c], found.end[c]))
        assert abs(saves - float(best)) < SMALL, seed
        for limit in range(2):
            for t in range(len(worth)):
                seen = sum(burden[c][limit][t] for c in over if found.begin[c] <= t < found.end[c])
                assert seen <= room[limit] + SMALL, seed
