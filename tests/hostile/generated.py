"""Site files drawn at random and then spoilt: a key taken away, misspelt, doubled, or given what it does not take."""

import copy
import random

from tests.twins.random_site import random_site

VALUES = (
    None, True, False, -1, 0, 1, 2, 7, 13, 99, 1e-12, 0.5, -0.0, 1e300, -1e300, 10**18, 10**400, float("nan"), float("inf"),
    "", " ", "x", "A", "AB", "none", "all", "5", "1_000", "١٢", "24:00-25:00", "08:00-08:00", "00:00-24:00", "2025-13-40",
    "library:none", "../../etc/passwd", "/dev/zero", "a" * 5000, "=1+1", "Ü\u00a0", "\u202e", "\n", [], [[]], [1, 2], [0] * 12,
    [None], ["a"], {}, {"kw": 1.0}, {"a": {"b": 1}}, [{}], [{"kw": 1.0}, 5],
)  # fmt: skip
WORDS = ("kw", "name", "usable_kwh", "colour", "price_per_kwh", "Battery", "window", "leg", "", "battery.count", "ü")


def spoilt_site(seed: int) -> dict:
    """Tables of a site with one to three faults; now and then with none."""
    draw = random.Random(seed)
    site = random_site(seed)
    if "solar" in site:
        site["solar"] = {
            "connected_at": site["solar"]["connected_at"],
            "dc_kw": 3.0,
            "tilt_deg": 20.0,
            "azimuth_deg": 180.0,
        }
        site["weather"] = {"source": "library:piedmont"}
    for _ in range(draw.choice([0, 1, 1, 1, 2, 3])):
        spoil(draw, site)
    return site


def spoil(draw, site: dict) -> None:
    """One fault at a place drawn at random."""
    table, key = place(draw, site)
    kind = draw.random()
    if kind < 0.2:
        table.pop(key, None)
    elif kind < 0.35:
        table[misspelt(draw, key)] = table.pop(key)
    elif kind < 0.45:
        table[draw.choice(WORDS)] = copy.deepcopy(draw.choice(VALUES))
    elif kind < 0.55 and isinstance(table[key], list) and table[key]:
        table[key] = table[key] * draw.choice([0, 2, 3])
    elif kind < 0.7 and isinstance(table[key], int | float):
        table[key] = table[key] * draw.choice([-1, 0, 10, 1000, 1e6, 1e9])
    else:
        table[key] = copy.deepcopy(draw.choice(VALUES))


def place(draw, site: dict) -> tuple[dict, str]:
    """A table of the site, however deep, and one of its keys."""
    found = []

    def walk(table):
        for key, value in table.items():
            found.append((table, key))
            for one in value if isinstance(value, list) else [value]:
                if isinstance(one, dict):
                    walk(one)

    walk(site)
    return draw.choice(found)


def misspelt(draw, key: str) -> str:
    """The key with a sign taken away, doubled or changed."""
    k = draw.randrange(max(len(key), 1))
    return draw.choice([key[:k] + key[k + 1 :], key[:k] + "x" + key[k:], key.upper(), key + "s"])


def keys_of(data) -> set[str]:
    """Every key that stands in the tables."""
    if isinstance(data, dict):
        return {str(key) for key in data} | {name for value in data.values() for name in keys_of(value)}
    if isinstance(data, list):
        return {name for value in data for name in keys_of(value)}
    return set()
