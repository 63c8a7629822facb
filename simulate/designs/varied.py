"""What a sweep varies: lists, ranges and distributions of site keys, as a grid or as a sample."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod

import numpy as np

from profiles.noun import BadInput
from profiles.numerals import real, whole

METHODS = ("latin", "sobol")
DEFAULT_SAMPLES = 256
INTEGER = re.compile(r"[+-]?[0-9]+")
KEY_IS = re.compile(r'\s*(\w+(?:\["[^"]*"\])?(?:\.\w+)*)\s*=(.*)', re.DOTALL)
CALL = re.compile(r"(\w+)\s*\(([^()]*)\)")
KINDS = {"uniform": 2, "triangular": 3, "normal": 2}
MOST_VALUES = 1_000_000
"""Values of one range; a longer one is a slip of the pen, and would fill the memory before anything runs."""


@dataclass(frozen=True)
class Distribution:
    """A number that is drawn: uniform(low, high), triangular(low, likely, high) or normal(mean, deviation).

    Examples
    --------
    >>> uniform(2, 8).at(np.array([0.0, 0.5])).tolist()
    [2.0, 5.0]
    """

    kind: str
    numbers: tuple[float, ...]

    def __post_init__(self):
        good = len(self.numbers) == KINDS.get(self.kind) and all(np.isfinite(self.numbers))
        rises = all(a <= b for a, b in zip(self.numbers, self.numbers[1:], strict=False))
        spreads = self.numbers[-1] > (0.0 if self.kind == "normal" else self.numbers[0])
        if not (good and spreads and (rises or self.kind == "normal")):
            raise BadInput(
                "must be uniform(low, high), triangular(low, likely, high) or normal(mean, deviation)",
                key=self.kind,
                value=self.numbers,
            )

    def at(self, quantile: np.ndarray) -> np.ndarray:
        """Values at quantiles in 0 to 1, shape as given."""
        if self.kind == "uniform":
            low, high = self.numbers
            return low + (high - low) * quantile
        from scipy.stats import norm, triang

        if self.kind == "normal":
            return norm(*self.numbers).ppf(quantile)
        low, likely, high = self.numbers
        return triang((likely - low) / (high - low), low, high - low).ppf(quantile)


def uniform(low: float, high: float) -> Distribution:
    """Every value between two numbers alike."""
    return Distribution("uniform", (float(low), float(high)))


def triangular(low: float, likely: float, high: float) -> Distribution:
    """Between two numbers, likeliest at a third."""
    return Distribution("triangular", (float(low), float(likely), float(high)))


def normal(mean: float, deviation: float) -> Distribution:
    """About a mean."""
    return Distribution("normal", (float(mean), float(deviation)))


def values_of(text: str) -> list:
    """The values that a text such as "2,4,8", "1:6" or "0:1:0.25" names.

    Parameters
    ----------
    text : str
        `a,b,c`, `a:b` (integers, both included) or `a:b:step` (both included, `round(a + k * step, 12)`).

    Raises
    ------
    BadInput
        Nothing, a range that holds no value, or a step of 0.

    Examples
    --------
    >>> values_of("1:3"), values_of("0.1:0.3:0.1"), values_of("time-of-use, keep-full")
    ([1, 2, 3], [0.1, 0.2, 0.3], ['time-of-use', 'keep-full'])
    """
    parts = [part.strip() for part in text.split(":")]
    if len(parts) > 1 and "," not in text and _is_numeric(parts[0]):
        return _range(parts, text)
    return _some([_value(part) for part in text.split(",")] if text.strip(" ,") else [], text)


def _is_numeric(text: str) -> bool:
    try:
        real(text)
    except ValueError:
        return False
    return True


def _range(parts: list[str], text: str) -> list:
    """The values of `a:b` or `a:b:step`, both ends included."""
    rule = "must be a:b with whole numbers, or a:b:step"
    if not all(_is_numeric(part) and np.isfinite(float(part)) for part in parts) or len(parts) > 3:
        raise BadInput(rule, key="--vary", value=text, way_out="write 1:6 or 2:8:0.5, or a text in double quotes")
    if len(parts) == 2 and not all(INTEGER.fullmatch(part) for part in parts):
        raise BadInput(rule, key="--vary", value=text, way_out=f"write {parts[0]}:{parts[1]}:0.5")
    low, high, step = (*(_value(part) for part in parts), 1)[:3]
    if not step > 0:
        raise BadInput("must have a step above 0", key="--vary", value=text, way_out="write 2:8:0.5")
    if high < low:
        turned = ":".join([parts[1], parts[0], *parts[2:]])
        raise BadInput("must rise", key="--vary", value=text, way_out=f"write {turned}")
    n = int(np.floor(round((high - low) / step, 9))) + 1
    if n > MOST_VALUES:
        raise BadInput(f"must name {MOST_VALUES:,} values or fewer", key="--vary", value=text, way_out="widen the step")
    return [round(low + k * step, 12) for k in range(n)]


def _some(values: list, text: str) -> list:
    if not values or "" in values:
        raise BadInput(
            "must name a value" if not values else "must not have an empty value",
            key="--vary",
            value=text,
            way_out="write a,b,c or a:b or a:b:step",
        )
    return values


def _value(text: str):
    text = text.strip()
    if text in ("true", "false"):
        return text == "true"
    for kind in (whole, real):
        try:
            number = kind(text)
        except ValueError:
            continue
        if np.isfinite(number):
            return number
    return text[1:-1] if len(text) > 1 and text[0] == text[-1] == '"' else text


def vary_of(texts: Iterable[str]) -> dict:
    """What `KEY=VALUES` texts vary; VALUES may also be a distribution such as uniform(2, 8).

    Examples
    --------
    >>> vary_of(["battery.count=1:3", 'circuit["Well pump"].priority=1,2'])
    {'battery.count': [1, 2, 3], 'circuit["Well pump"].priority': [1, 2]}
    """
    vary = {}
    for text in texts:
        match = KEY_IS.fullmatch(text)
        if not match:
            raise BadInput("must be KEY=VALUES", key="--vary", value=text, way_out="write battery.count=1:6")
        key, values = match[1], match[2]
        if key in vary:
            raise BadInput("must name each key once", key="--vary", value=key)
        call = CALL.fullmatch(values.strip())
        vary[key] = _drawn(call[1], call[2]) if call else values_of(values)
    return vary


def _drawn(kind: str, numbers: str) -> Distribution:
    """A distribution as it is written."""
    texts = numbers.split(",")
    if kind not in KINDS:
        raise BadInput("must be a distribution: " + ", ".join(KINDS), key="--vary", value=f"{kind}({numbers})")
    if not all(_is_numeric(one) for one in texts):
        raise BadInput("must have numbers", key="--vary", value=f"{kind}({numbers})", way_out="write uniform(2, 8)")
    return Distribution(kind, tuple(map(float, texts)))


@dataclass(frozen=True)
class Grid:
    """Every combination of the values; the last key changes fastest."""

    vary: dict[str, tuple]

    @property
    def values(self) -> dict[str, tuple]:
        """Every value of each key."""
        return self.vary

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(self.vary)

    def __len__(self) -> int:
        return prod(len(values) for values in self.vary.values())

    def rows(self, first: int, last: int) -> list[tuple]:
        """Values of the designs from `first` to before `last`, in the order of `keys`."""
        shape = tuple(len(values) for values in self.vary.values()) or (1,)
        index = np.unravel_index(np.arange(first, last), shape)
        columns = [[values[k] for k in one] for values, one in zip(self.vary.values(), index, strict=False)]
        return list(zip(*columns, strict=True)) if columns else [()] * (last - first)

    def told(self) -> dict:
        """For the record of a sweep: plain data."""
        return {"grid": {key: list(values) for key, values in self.vary.items()}}


@dataclass(frozen=True, eq=False)
class Table:
    """Designs as they are listed, or drawn; `origin` is plain data that says how, `labels` go along with them."""

    columns: dict[str, Sequence]
    origin: dict
    labels: dict[str, Sequence] = field(default_factory=dict)

    @property
    def values(self) -> dict[str, Sequence]:
        """Every value of each key."""
        return {key: _plain(values) for key, values in self.columns.items()}

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(self.columns)

    def __len__(self) -> int:
        return len(next(iter(self.columns.values()), ()))

    def rows(self, first: int, last: int) -> list[tuple]:
        """Values of the designs from `first` to before `last`, in the order of `keys`."""
        return list(zip(*(_plain(values[first:last]) for values in self.columns.values()), strict=True))

    def told(self) -> dict:
        """For the record of a sweep: plain data."""
        return self.origin


def _plain(values) -> list:
    """A list of Python's own numbers, which the strict site reader takes."""
    return [v.item() if isinstance(v, np.generic) else v for v in values]


def designs_of(vary, *, n: int | None = None, method: str = "latin", seed: int = 0) -> Grid | Table:
    """The designs that `vary` names: a grid of lists, or a sample as soon as one value is a distribution.

    Parameters
    ----------
    vary : mapping, DataFrame, Fleet, Grid or Table
        Site keys and their values; a DataFrame or a fleet lists one design a row.
    n : int, optional
        Designs to draw; 256 unless given. A grid has as many as it has.
    method : "latin" or "sobol"
        Latin hypercube, or scrambled Sobol points (n a power of two).
    seed : int

    Raises
    ------
    BadInput
        No keys, an empty list, an n that the method does not take.

    Examples
    --------
    >>> designs_of({"battery.count": [1, 2], "operation.reserve": [0.2, 0.4]}).rows(0, 3)
    [(1, 0.2), (1, 0.4), (2, 0.2)]
    """
    if isinstance(vary, Grid | Table):
        return vary
    if hasattr(vary, "designs") and hasattr(vary, "labels"):
        return _listed(vary.designs, vary.labels)
    if hasattr(vary, "to_dict") and hasattr(vary, "columns"):
        return _listed(vary)
    if not isinstance(vary, Mapping) or not vary:
        raise BadInput(
            "must name a key and its values", key="vary", value=vary, way_out='such as {"battery.count": [1, 2]}'
        )
    held = {key: v if isinstance(v, Distribution) else values_in(key, v) for key, v in vary.items()}
    if n is None and not any(isinstance(v, Distribution) for v in held.values()):
        return Grid(held)
    return _sample(held, DEFAULT_SAMPLES if n is None else n, method, seed)


def values_in(key: str, values) -> tuple:
    if isinstance(values, str):
        return tuple(values_of(values))
    try:
        held = tuple(_plain(values))
    except TypeError:
        held = (values,)
    if not held:
        raise BadInput("must have a value", key=key, value=values)
    return held


def _listed(frame, labels=None) -> Table:
    if not len(frame) or not len(frame.columns):
        raise BadInput("must list a design", key="vary", value=frame.shape)
    each = lambda table: {str(key): table[key].to_numpy(dtype=object) for key in table.columns}
    columns, named = each(frame), {} if labels is None else each(labels)
    told = {"listed": list(columns), "rows": len(frame), "sha256": _digest(frame)}
    return Table(columns, told | ({"labels": [*named, _digest(labels)]} if named else {}), named)


def _digest(frame) -> str:
    import hashlib

    text = frame.to_json(orient="split", index=False, double_precision=15, date_format="iso", default_handler=str)
    return hashlib.sha256(text.encode()).hexdigest()


def _sample(vary: dict, n: int, method: str, seed: int) -> Table:
    from scipy.stats import qmc

    if method not in METHODS:
        raise BadInput("must be latin or sobol", key="method", value=method)
    if not n >= 1 or (method == "sobol" and n & (n - 1)):
        raise BadInput(
            "must be a power of two" if n >= 1 else "must be 1 or above", key="n", value=n, way_out="take 256 or 1024"
        )
    if seed < 0:
        raise BadInput("must be 0 or above", key="seed", value=seed)
    rng = np.random.default_rng(seed)
    if method == "sobol":
        points = qmc.Sobol(len(vary), rng=rng).random_base2(n.bit_length() - 1)
    else:
        points = qmc.LatinHypercube(len(vary), rng=rng).random(n)
    columns = {key: at_quantile(values, points[:, k]) for k, (key, values) in enumerate(vary.items())}
    told = {key: [v.kind, *v.numbers] if isinstance(v, Distribution) else list(v) for key, v in vary.items()}
    return Table(columns, {"sample": told, "n": n, "method": method, "seed": seed})


def at_quantile(values, quantile: np.ndarray):
    """Values of a distribution, or of a list whose members are equally likely, at quantiles in 0 to 1."""
    if isinstance(values, Distribution):
        return values.at(quantile)
    index = np.minimum((quantile * len(values)).astype(int), len(values) - 1)
    return [values[k] for k in index]
