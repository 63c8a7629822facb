"""Every case of this folder as a table, or with --json as a list; name kinds to run some only: lanes outage best."""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import sys

import benchmarks

MINUTES = ("page", "sweep_designs")
"""Modules that run where they are named only: they take minutes."""


def cases(kinds: tuple[str, ...] = ()):
    """Every `case_*` function of the modules of this folder, by module and name."""
    for module in sorted(info.name for info in pkgutil.iter_modules(benchmarks.__path__)):
        if module.startswith("_") or (module not in kinds if kinds else module in MINUTES):
            continue
        held = importlib.import_module(f"benchmarks.{module}")
        for name in vars(held):
            if name.startswith("case_"):
                yield f"{module}.{name}", getattr(held, name)


WIDE = 72


def heading() -> str:
    """What is named on the right took so many times as long as ours."""
    return f"{'case':{WIDE}}  {'median ms':>10}  {'us/design':>10}  rival time / ours"


def lines_of(rows: list[dict]) -> str:
    """The rows as text."""
    lines, wide = [], WIDE
    for row in rows:
        versus = "  ".join(f"{name} {ratio:,.3g}" for name, ratio in row["versus"].items())
        each = "" if row["per_design_us"] is None else f"{row['per_design_us']:,.2f}"
        lines.append(f"{row['case']:{wide}}  {row['median_ms']:10,.2f}  {each:>10}  {versus}")
    return "\n".join(lines)


def main() -> None:
    asked = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    asked.add_argument("--json", action="store_true", help="a list of cases as JSON")
    told = f"modules to run, such as lanes outage best; without any all but {', '.join(MINUTES)}"
    asked.add_argument("kinds", nargs="*", help=told)
    given = asked.parse_args()
    rows = []
    if not given.json:
        print(heading())
    for name, case in cases(tuple(given.kinds)):
        print(f"running {name}", file=sys.stderr)
        found = case()
        rows += (found := found if isinstance(found, list) else [found])
        if not given.json:
            print(lines_of(found), flush=True)
    if given.json:
        print(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main()
