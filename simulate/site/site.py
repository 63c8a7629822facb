"""A site: the strict reader and writer of site files."""

from __future__ import annotations

import tomllib
from functools import cached_property
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from pydantic import ConfigDict, Field, PrivateAttr, field_validator

from profiles.files import read_toml
from profiles.lines import with_line
from profiles.loads.circuit import Circuit
from profiles.noun import BadInput, Noun, either, nearest, read_noun
from profiles.rate.rate import Rate
from profiles.rate.source import resolve_rate
from profiles.solar.roof import Solar
from profiles.weather.weather import WeatherSource
from simulate.site.editions import named_year
from simulate.site.glance import site_html
from simulate.site.job import Job
from simulate.site.money import Money
from simulate.site.operation import Operation
from simulate.site.outage import Outage
from simulate.site.quote import Quote
from simulate.site.templates import filled, filled_from, is_filled
from simulate.site.unit import Battery
from simulate.site.wiring import Generator, Service, Subpanel

DEFAULT_YEAR = 2025


class Place(Noun):
    """Where the job is and which year is simulated."""

    name: str = Field(min_length=1, description="name of the job")
    latitude: float = Field(ge=-90, le=90, description="north positive [deg]")
    longitude: float = Field(ge=-180, le=180, description="east positive [deg]")
    altitude_m: float = Field(0.0, ge=-500, le=9000, description="above sea level [m]")
    timezone: str = Field(description='IANA zone such as "America/New_York"')
    year: int | None = Field(None, ge=1970, le=2100, description="calendar year that is simulated")
    step_min: Literal[60, 30, 15, 5, 1] = Field(60, description="60, 30, 15, 5 or 1 [min]")
    code_edition: str | None = Field(None, description='edition of the Code adopted there, such as "NEC 2023"')

    @field_validator("code_edition")
    @classmethod
    def _names_a_year(cls, value):
        if value is not None and named_year(value) is None:
            raise BadInput("must name an edition by its year", value=value, way_out='write "NEC 2023"')
        return value


RATE_SOURCES = ("rate.source", "rate_today.source")
"""A source stands for the whole rate: the site's own, read already, must not lie over it."""


class Site(Noun):
    """One job: place, service, sub-panel, circuits, battery units, solar, rate and how it is run."""

    model_config = ConfigDict(json_schema_extra=either(("circuit",), ("circuit_file",)))

    schema_: Literal[1] = Field(1, alias="schema", description="version of the site file")
    site: Place = Field(description="where the job is")
    job: Job = Field(Job(), description="who it is for and who does it, for the proposal and the sheets")
    weather: WeatherSource | None = Field(None, description="typical or actual weather year")
    service: Service = Field(Service(), description="the service and the main panel")
    subpanel: Subpanel = Field(Subpanel(), description="the backed-up sub-panel")
    circuit: tuple[Circuit, ...] = Field(min_length=1, description="branch circuits, one table each")
    circuit_file: str | None = Field(
        None, description="or beside them: a CSV file, a circuit a row, its keys as columns"
    )
    battery: tuple[Battery, ...] = Field(min_length=1, description="groups of equal battery units")
    solar: Solar | None = Field(None, description="solar")
    generator: Generator | None = Field(None, description="generator")
    rate: Rate = Field(description="the rate that the system runs on")
    rate_today: Rate | None = Field(None, description="what the client pays now")
    operation: Operation = Field(Operation(), description="how the system is run")
    outage: Outage = Field(Outage(), description="what outages are asked about")
    money: Money | None = Field(None, description="prices and years")
    quote: Quote | None = Field(None, description="prices of the material list, labour and markup")

    _file: str = PrivateAttr("the site")
    _folder: Path = PrivateAttr(Path("."))

    @property
    def file(self) -> str:
        """Path of the site file, for messages."""
        return self._file

    @property
    def folder(self) -> Path:
        """Folder that paths in the site file are relative to."""
        return self._folder

    @cached_property
    def is_medical(self) -> bool:
        """A circuit that is backed up feeds a medical device."""
        return any(circuit.is_medical for circuit in self.circuit if circuit.on != "main")

    def with_values(self, values: dict[str, Any]) -> Site:
        """A copy with other values, by dotted key such as "battery.count" or 'circuit["Well pump"].priority'.

        A key of a table that repeats without a name in brackets means all of them. Another "rate.source" is another
        rate: nothing of the one before is kept.

        Raises
        ------
        BadInput
            An unknown key or a value that the key does not take.
        """
        data = self.model_dump(by_alias=True, exclude_unset=True)
        for key in RATE_SOURCES:
            if key in values:
                data[key.removesuffix(".source")] = {}
        for key, value in values.items():
            _put(data, key, value)
        return site_of(data, file=self._file, folder=self._folder)

    def _repr_html_(self) -> str:
        return site_html(self)


def read_site(path: str | Path | None = None) -> Site:
    """Read a site file, or the embedded demo site without a path.

    Parameters
    ----------
    path : str or Path, optional
        TOML file; the key names are those of `keeplit new` and `keeplit schema`.

    Raises
    ------
    BadInput
        One line that names file, key, rule, value and way out.

    Examples
    --------
    >>> read_site().site.step_min
    60
    """
    if path is None:
        folder = resources.files("profiles.library")
        return site_of(
            tomllib.loads((folder / "demo_site.toml").read_text("utf-8")), file="demo site", folder=Path(".")
        )
    try:
        data = read_toml(path)
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror or error}", file=path, way_out="check the path") from None
    except BadInput as error:
        raise with_line(error) from None
    try:
        return site_of(data, file=str(path), folder=Path(path).parent)
    except BadInput as error:
        raise with_line(error) from None


def site_of(data: dict, *, file: str = "the site", folder: Path = Path(".")) -> Site:
    """A site from the tables of a site file; see `read_site`."""
    whole = filled(data, Path(folder), file)
    try:
        site = read_noun(Site, _named(whole.data), file=file)
    except BadInput as error:
        raise whole.of_source(error) from None
    whole.mark(site)
    rates = {"rate": resolve_rate(site.rate, folder, file)}
    if site.rate_today is not None:
        rates["rate_today"] = resolve_rate(site.rate_today, folder, file)
    site = site.model_copy(update=rates)
    site._file, site._folder = str(file), Path(folder)
    _check_names(site)
    _check_batteries(site)
    _check_operation(site)
    return site


def _named(data: dict) -> dict:
    """Battery groups without a name become "battery 1", "battery 2", ..."""
    groups = data.get("battery")
    if not isinstance(groups, list | tuple) or not all(isinstance(group, dict) for group in groups):
        return data
    named = [
        group if group.get("name") is not None else {**group, "name": f"battery {k + 1}"}
        for k, group in enumerate(groups)
    ]
    return {**data, "battery": named}


def _check_names(site: Site) -> None:
    for table, nouns in (("circuit", site.circuit), ("battery", site.battery)):
        names = [noun.name for noun in nouns]
        for name in names:
            if names.count(name) > 1:
                raise BadInput(
                    "must be there once only",
                    file=site.file,
                    key=f"{table}.name",
                    value=name,
                    way_out="give each its own name",
                )
    circuits = {circuit.name: circuit for circuit in site.circuit}
    for circuit in site.circuit:
        partner = circuit.multiwire_with
        key = f'circuit "{circuit.name}".multiwire_with'
        if partner is None:
            continue
        if partner not in circuits or partner == circuit.name:
            raise BadInput(
                "must name another circuit of the file",
                file=site.file,
                key=key,
                value=partner,
                way_out=nearest(partner, [name for name in circuits if name != circuit.name]),
            )
        if circuits[partner].multiwire_with not in (None, circuit.name):
            raise BadInput(
                "must be mutual",
                file=site.file,
                key=key,
                value=partner,
                way_out=f'"{partner}" names "{circuits[partner].multiwire_with}"',
            )
        if 2 in (circuit.poles, circuits[partner].poles):
            raise BadInput(
                "must join two single-pole circuits, and one of them has poles = 2",
                file=site.file,
                key=key,
                value=partner,
                way_out="a two-pole circuit has its own common disconnect",
            )


def _check_batteries(site: Site) -> None:
    groups = {group.name: group for group in site.battery}
    legs = {group.leg for group in site.battery if group.count}
    if "both" in legs and len(legs) > 1:
        raise BadInput(
            'cannot stand beside "A" or "B" yet',
            file=site.file,
            key="battery.leg",
            value="both",
            way_out="give all units on both legs, or one group for each leg",
        )
    for group in site.battery:
        key = f'battery "{group.name}"'
        if group.locked_with is not None:
            other = groups.get(group.locked_with)
            if other is None or other is group:
                raise BadInput(
                    "must name another battery group",
                    file=site.file,
                    key=f"{key}.locked_with",
                    value=group.locked_with,
                    way_out=nearest(group.locked_with, [*groups]),
                )
            if {group.leg, other.leg} != {"A", "B"}:
                raise BadInput(
                    "must name a group on the other leg",
                    file=site.file,
                    key=f"{key}.locked_with",
                    value=group.locked_with,
                    way_out=f'it is on leg "{other.leg}"',
                )
        if site.service.system == "120" and group.leg != "A":
            raise BadInput(
                'must be "A" on a service of system "120"', file=site.file, key=f"{key}.leg", value=group.leg
            )
    for leg in ("A", "B", "both"):
        _check_equal(site, [group for group in site.battery if group.leg == leg and group.count])


def _check_equal(site: Site, pool: list[Battery]) -> None:
    for group in pool[1:]:
        for name in ("eta_charge", "eta_discharge", "taper", "after_trip"):
            if abs_differs(getattr(group, name), getattr(pool[0], name)):
                key = name.replace("eta_", "") + "_efficiency" if name.startswith("eta") else name
                raise BadInput(
                    f'must equal that of "{pool[0].name}": groups on one leg form one pool',
                    file=site.file,
                    key=f'battery "{group.name}".{key}',
                    value=getattr(group, name),
                )


def abs_differs(a, b) -> bool:
    """True where two values differ, numbers by more than rounding."""
    return abs(a - b) > 1e-12 if isinstance(a, float) and isinstance(b, float) else a != b


def _check_operation(site: Site) -> None:
    reserve = site.operation.reserve
    if isinstance(reserve, tuple) and len(reserve) != 12:
        raise BadInput(
            "must be one number or twelve by month",
            file=site.file,
            key="operation.reserve",
            value=len(reserve),
            way_out="give 12 values, January first",
        )
    if site.subpanel.export and site.subpanel.mode != "interactive":
        raise BadInput(
            'must be false where mode = "transfer"',
            file=site.file,
            key="subpanel.export",
            value=True,
            way_out='a transferred circuit never exports; set mode = "interactive" if the utility agrees',
        )
    if site.service.other_load is not None and site.service.whole_house is not None:
        raise BadInput(
            "must not stand beside whole_house",
            file=site.file,
            key="service.other_load",
            way_out="the rest of a metered house is the meter minus the listed circuits",
        )


def _put(data: dict, key: str, value: Any) -> None:
    """Set a dotted key in the tables of a site file."""
    import re

    match = re.fullmatch(r'(\w+)(?:\["([^"]*)"\])?((?:\.\w+)*)', key)
    if not match:
        raise BadInput(
            "is not a key of the site file", key=key, way_out='write battery.count or circuit["Pump"].priority'
        )
    table, name, rest = match[1], match[2], [part for part in match[3].split(".") if part]
    if table not in Site.model_fields or table == "schema":
        raise BadInput("is not a table of the site file", key=key, way_out=nearest(table, [*Site.model_fields]))
    if not rest:
        data[table] = value
        return
    targets = data.setdefault(table, {})
    if isinstance(targets, list | tuple):
        targets = [dict(one) for one in targets]
        data[table] = targets
        chosen = [one for one in targets if name is None or one.get("name") == name]
        if not chosen:
            names = [str(one.get("name")) for one in targets]
            raise BadInput(f'names no "{name}"', key=key, way_out=nearest(str(name), names))
    else:
        data[table] = dict(targets)
        chosen = [data[table]]
    for one in chosen:
        for part in rest[:-1]:
            one[part] = dict(one.get(part) or {})
            one = one[part]
        one[rest[-1]] = value


def site_toml(site: Site) -> str:
    """The site as it was understood, defaults filled in, as a site file that can be read from any folder."""
    import tomlkit

    data = _with_whole_paths(site.model_dump(by_alias=True, exclude_none=True), site.folder)
    for rate in (data["rate"], data.get("rate_today", {})):
        if rate.get("export", {}).get("method") == "none":  # it pays nothing, so its other keys have no meaning
            rate["export"] = {"method": "none"}
    return tomlkit.dumps(_plain(data))


FILE_KEYS = ("meter", "bills", "csv", "source", "storm_years", "years")
"""Keys that hold the path of a file or a folder, or a name of the library."""


def _with_whole_paths(value: Any, folder: Path) -> Any:
    """The same tables with every path made absolute."""
    if isinstance(value, list | tuple):
        return [_with_whole_paths(one, folder) for one in value]
    if not isinstance(value, dict):
        return value
    out = {key: _with_whole_paths(one, folder) for key, one in value.items()}
    for key in FILE_KEYS:
        if isinstance(out.get(key), str) and not out[key].startswith("library:"):
            out[key] = str((folder / out[key]).resolve())
    return out


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        scalars = {key: _plain(one) for key, one in value.items() if not _is_table(one)}
        return scalars | {key: _plain(one) for key, one in value.items() if _is_table(one)}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return str(value) if isinstance(value, Path) else value


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list | tuple) and any(isinstance(one, dict) for one in value))


def defaults_used(site: Site) -> list[str]:
    """Every default that the site file left to us, one line each."""
    lines: list[str] = []
    _list_defaults(site, "", lines)
    return lines


def _list_defaults(noun: Noun, path: str, lines: list[str]) -> None:
    for name, field in type(noun).model_fields.items():
        value = getattr(noun, name)
        key = field.alias or name
        label = f"{path}.{key}" if path else key
        if name == "count" and isinstance(noun, Circuit):
            continue
        if is_filled(noun, name):
            lines.append(f"{label} = {_told(value)} ({filled_from(noun)})")
            continue
        if isinstance(value, Noun) and (name in noun.model_fields_set or label in ("service", "subpanel", "operation")):
            _list_defaults(value, label, lines)
        elif isinstance(value, tuple) and value and isinstance(value[0], Noun):
            for k, one in enumerate(value):
                title = getattr(one, "name", None)
                _list_defaults(one, f'{label} "{title}"' if title else f"{label}[{k + 1}]", lines)
        elif name not in noun.model_fields_set and value is not None and not isinstance(value, Noun) and value != ():
            lines.append(f"{label} = {_shown(value)} (default)")
        elif isinstance(value, Noun):
            _list_defaults(value, label, lines)


def _told(value: Any) -> str:
    """A value that was filled in, tables as they would be written."""
    if isinstance(value, Noun):
        pairs = ", ".join(f"{k} = {_told(v)}" for k, v in value.model_dump(exclude_unset=True, by_alias=True).items())
        return f"{{ {pairs} }}"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(map(_told, value)) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_told(v)}" for k, v in value.items()) + " }"
    return _shown(value)


def _shown(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else f'"{value}"' if isinstance(value, str) else f"{value}"
