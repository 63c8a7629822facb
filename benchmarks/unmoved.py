"""Has a number moved? What ten sites give, stored once and compared later.

    python -m benchmarks.unmoved store  FOLDER [SITE ...]
    python -m benchmarks.unmoved compare FOLDER [SITE ...]

Stored are `summary.json` (bills and findings in it), `year.csv` and `outages.csv` of eight sites made from the
invented farmhouse of the tests, and of each site file that is named. `compare` names every value that differs, bit
for bit.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import tomlkit

FARMHOUSE = Path(__file__).parents[1] / "tests/site/heron_creek.toml"
KEPT = ("summary.json", "year.csv", "outages.csv")
FLAT_DEMAND = [{"name": "evening", "per_kw": 9.0, "window_min": 60, "days": "weekday", "hours": "16:00-21:00"}]


def _farmhouse() -> dict:
    return tomlkit.parse(FARMHOUSE.read_text("utf-8")).unwrap()


def _interactive_solar(site: dict) -> None:
    site["subpanel"] |= {"mode": "interactive", "export": True}
    site["solar"] |= {"dc_kw": 6.0, "ac_kw": 5.0}
    site["operation"] = {"plan": "self-consumption", "reserve": 0.2}


def _load_control(site: dict) -> None:
    site["subpanel"]["load_control"] = "automatic"
    site["circuit"][4]["load"] = {"kw": 2.9}
    site["circuit"][5]["load"] = {"kw": 1.7}


def _sub_panel_solar(site: dict) -> None:
    site["solar"]["connected_at"] = "sub-panel"
    for battery in site["battery"]:
        battery["takes_back_kw"] = 3.0
    site["outage"]["restart_soc"] = 0.1


def _wye(site: dict) -> None:
    site["service"]["system"] = "120/208"


def _quarter_hours(site: dict) -> None:
    site["site"]["step_min"] = 15


def _demand(site: dict) -> None:
    site["rate"]["demand"] = FLAT_DEMAND
    site["operation"] = {"plan": "demand-limit", "reserve": 0.3}


def _medical(site: dict) -> None:
    site["circuit"][0] |= {"kind": "medical", "if_lost": "medical"}
    site["circuit"][0].pop("rate_transfer", None)
    site.pop("operation")


CHANGES = {
    "farmhouse": lambda site: None,
    "interactive-solar": _interactive_solar,
    "load-control": _load_control,
    "sub-panel-solar": _sub_panel_solar,
    "wye": _wye,
    "quarter-hours": _quarter_hours,
    "demand": _demand,
    "medical": _medical,
}


def site_files(folder: Path, more: list[str]) -> dict[str, Path]:
    """The sites as files, by name."""
    found = {Path(name).stem: Path(name).resolve() for name in more}
    for name, change in CHANGES.items():
        site = _farmhouse()
        change(site)
        path = folder / f"{name}.toml"
        path.write_text(tomlkit.dumps(site), "utf-8")
        found[name] = path
    return found


def store(folder: Path, more: list[str]) -> None:
    """Run every site and keep what it gives."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        for name, path in site_files(Path(scratch), more).items():
            run = [sys.executable, "-c", "from simulate.cli import main; main()", "study", str(path)]
            subprocess.run([*run, "--out", f"{scratch}/{name}"], check=True, stdout=subprocess.DEVNULL)
            for kept in KEPT:
                (folder / f"{name}.{kept}").write_bytes(Path(scratch, name, kept).read_bytes())


def moved(before: Path, after: Path) -> list[str]:
    """One line for each value that differs."""
    lines = []
    for path in sorted(before.iterdir()):
        old, new = path.read_text("utf-8"), (after / path.name).read_text("utf-8")
        if old == new:
            continue
        if path.suffix == ".json":
            found = _differences(json.loads(old), json.loads(new))
            lines += [f"{path.name}: {key}: {a!r} -> {b!r}" for key, a, b in found]
        else:
            pairs = zip(old.splitlines(), new.splitlines(), strict=False)
            first = next((f"{a} -> {b}" for a, b in pairs if a != b), "another number of lines")
            lines.append(f"{path.name}: {first}")
    return lines


def _differences(old, new, key: str = ""):
    if isinstance(old, dict) and isinstance(new, dict):
        for name in [*old, *(n for n in new if n not in old)]:
            yield from _differences(old.get(name, "absent"), new.get(name, "absent"), f"{key}.{name}".lstrip("."))
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for k, (a, b) in enumerate(zip(old, new, strict=True)):
            yield from _differences(a, b, f"{key}[{k}]")
    elif old != new:
        yield key, old, new


def main() -> int:
    asked = argparse.ArgumentParser(prog="python -m benchmarks.unmoved", description=__doc__.splitlines()[0])
    asked.add_argument("what", choices=["store", "compare"])
    asked.add_argument("folder", type=Path)
    asked.add_argument("site", nargs="*", help="further site files")
    given = asked.parse_args()
    if given.what == "store":
        store(given.folder, given.site)
        return 0
    with tempfile.TemporaryDirectory() as scratch:
        store(Path(scratch), given.site)
        lines = moved(given.folder, Path(scratch))
    print("\n".join(lines) or f"{len(list(given.folder.iterdir()))} files, nothing moved")
    return bool(lines)


if __name__ == "__main__":
    sys.exit(main())
