"""The files that a site names (meters, weather, prices, logs) and what is in them."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

from profiles.files import FEED_MB, plain_file
from profiles.noun import BadInput
from profiles.rate.rate import Rate
from profiles.rate.source import resolve_rate
from profiles.weather.years import SUFFIXES
from simulate.site.site import Site

NAMES = re.compile(r'"(meter|bills|csv|source|years)":\s*("(?:[^"\\]|\\.)*")')
"""Keys whose value is the path of a file."""
COMES_ALONG = "library:"
NOT_THERE = "not there"


def files_in(text: str) -> tuple[str, ...]:
    """Paths that a site, or a part of one, names as JSON; what comes along with keeplit is left out.

    Examples
    --------
    >>> files_in('{"load": {"meter": "a.csv"}, "weather": {"source": "library:piedmont"}}')
    ('a.csv',)
    """
    names = dict.fromkeys(json.loads(name) for _, name in NAMES.findall(text))
    return tuple(name for name in names if not name.startswith(COMES_ALONG))


def content_of(name: str, folder: str | Path) -> str:
    """Hash of the bytes of a file, or of all weather files of a folder, or "not there".

    Parameters
    ----------
    name : str
        Path, relative to the folder of the site file unless it is absolute.
    folder : str or Path
    """
    path = Path(folder) / Path(name).expanduser()
    if path.is_dir():
        files = [one.name for one in sorted(path.iterdir()) if one.suffix.lower() in SUFFIXES and one.is_file()]
        told = [f"{one} {content_of(one, path)}" for one in files]
        return hashlib.sha256("\n".join(told).encode()).hexdigest()[:16] if told else NOT_THERE
    try:
        told = plain_file(path, FEED_MB).stat()
        return _digest(str(path), told.st_size, told.st_mtime_ns)
    except (OSError, ValueError):
        return NOT_THERE


@lru_cache(maxsize=4096)
def _digest(path: str, size: int, changed_ns: int) -> str:
    """Hash of a file; read again once its size or its time of change is another."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()[:16]


def contents(site: Site, varied: dict[str, Iterable]) -> dict[str, str]:
    """What is in every file that a site or a varied value names, by path.

    Parameters
    ----------
    site : Site
    varied : dict
        Site key -> its values.

    Returns
    -------
    dict
        Path as it is written -> hash of its bytes.
    """
    names = dict.fromkeys(files_in(site.model_dump_json(by_alias=True, exclude_none=True)))
    for key, values in varied.items():
        leaf = key.rpartition(".")[2]
        for value in _texts(values):
            own = files_in(json.dumps({leaf: value}, default=str))
            names |= dict.fromkeys(own) | dict.fromkeys(_prices_of(own, key, site.folder))
    return {name: content_of(name, site.folder) for name in names}


def _texts(values: Iterable) -> list:
    """The values that can name a file, each once."""
    texts = {json.dumps(v, default=str): None for v in values if isinstance(v, str | dict | list | tuple)}
    return [json.loads(text) for text in texts]


def _prices_of(names: tuple[str, ...], key: str, folder: Path) -> list[str]:
    """Files of hourly prices that varied rates name."""
    found = []
    for name in names if key.startswith("rate") else ():
        try:
            hourly = resolve_rate(Rate(source=name), folder).hourly_prices
        except BadInput:
            continue  # the row of the design says what is wrong with it
        found += [] if hourly is None else [hourly.csv]
    return found
