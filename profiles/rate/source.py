"""Where a rate is read from: the library, a file of keys, a public rate-structure record."""

from __future__ import annotations

from pathlib import Path

from profiles.files import read_toml
from profiles.noun import BadInput, read_noun
from profiles.rate.rate import Rate
from profiles.rate.record import read_rate_record

LIBRARY = Path(__file__).parents[1] / "library"


def read_rate(source: str | Path, folder: str | Path | None = None) -> Rate:
    """Read a rate from the library or from a file.

    Parameters
    ----------
    source : str or path
        "library:NAME", a TOML file that holds the rate's keys at its top or under [rate], or a public
        rate-structure record (JSON).
    folder : path, optional
        Where a relative path begins; the current folder by default.

    Raises
    ------
    BadInput
        No such rate or file, or a key that is wrong.

    Examples
    --------
    >>> read_rate("library:flat").price_per_kwh
    0.16
    """
    path = _rate_path(str(source), Path(folder or "."))
    if path.suffix.lower() == ".json":
        return read_rate_record(path)
    try:
        data = read_toml(path, file=path, key="rate.source")
    except OSError as error:
        raise BadInput(
            f"cannot be read ({error.strerror})", key="rate.source", value=str(path), way_out="check the path"
        ) from None
    table = data.get("rate", data)
    rate = read_noun(Rate, table, file=path, table="rate" if "rate" in data else "")
    if rate.source is not None:
        raise BadInput("names another rate", file=path, key="source", value=rate.source, way_out="name that one itself")
    return resolve_rate(rate, path.parent, file=path)


def resolve_rate(rate: Rate, folder: str | Path, file: object = None) -> Rate:
    """The rate itself where `rate` only names its source, with the paths that it holds made absolute.

    Parameters
    ----------
    rate : Rate
    folder : path
        Where relative paths begin: the folder of the file that holds the rate.
    file : path, optional
        Named in the message.

    Examples
    --------
    >>> resolve_rate(Rate(source="library:flat"), ".").name
    'Flat (invented)'
    """
    if rate.source is not None:
        return _changed(_source_of(rate.source, folder, file), rate, file)
    if rate.hourly_prices is None:
        return rate
    path = str((Path(folder) / rate.hourly_prices.csv).resolve())
    return rate.model_copy(update={"hourly_prices": rate.hourly_prices.model_copy(update={"csv": path})})


def _source_of(source: str, folder: str | Path, file: object) -> Rate:
    try:
        return read_rate(source, folder)
    except BadInput as error:
        if error.file is None:
            raise BadInput(error.rule, file=file, key=error.key, value=error.value, way_out=error.way_out) from None
        if file is None:
            raise
        rule = f"names {error.file}: {error.key} {error.rule}"
        raise BadInput(rule, file=file, key="rate.source", value=error.value, way_out=error.way_out) from None


def _changed(rate: Rate, by: Rate, file: object) -> Rate:
    """The rate with the keys that stand beside its source in place of its own."""
    keys = by.model_dump(exclude_unset=True, exclude={"source"})
    if not keys:
        return rate
    return read_noun(Rate, {**rate.model_dump(exclude_unset=True), **keys}, file=file, table="rate")


def library_rates() -> tuple[str, ...]:
    """Names of the rates that come along, as in "library:NAME".

    Examples
    --------
    >>> "flat" in library_rates()
    True
    """
    return tuple(sorted(path.stem.removeprefix("rate_") for path in LIBRARY.glob("rate_*.toml")))


def _rate_path(source: str, folder: Path) -> Path:
    if not source.startswith("library:"):
        return folder / source
    name = source.removeprefix("library:")
    if name not in library_rates():
        raise BadInput(
            "is not a rate of the library",
            key="rate.source",
            value=source,
            way_out="choose one of " + ", ".join(f"library:{known}" for known in library_rates()),
        )
    return LIBRARY / f"rate_{name}.toml"
