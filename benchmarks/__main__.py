"""Every case of this folder as a table, or with --json as a list; name kinds to run some only: lanes outage best."""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import sys

import benchmarks


def cases(kinds: tuple[str, ...] = ()):
    """Every `case_*` function of the modules of this folder, by module and name."""
    for module in sorted(info.name for info in pkgutil.iter_modules(benchmarks.__path__)):
        if module.startswith("_") or (kinds and module not in kinds):
            continue
        held = importlib.import_module(f"benchmarks.{module}")
        for name in vars(held):
            if name.startswith("case_"):
                yield f"{module}.{name}", getattr(held, name)


def table(rows: list[dict]) -> str:
    """The rows as text: what is named on the right took so many times as long as ours."""
    wide = max((len(row["case"]) for row in rows), default=0)
    lines = [f"{'case':{wide}}  {'median ms':>10}  {'us/design':>10}  rival time / ours"]
    for row in rows:
        versus = "  ".join(f"{name} {ratio:,.3g}" for name, ratio in row["versus"].items())
        each = "" if row["per_design_us"] is None else f"{row['per_design_us']:,.2f}"
        lines.append(f"{row['case']:{wide}}  {row['median_ms']:10,.2f}  {each:>10}  {versus}")
    return "\n".join(lines)


def main() -> None:
    asked = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    asked.add_argument("--json", action="store_true", help="a list of cases as JSON")
    asked.add_argument("kinds", nargs="*", help="modules to run, such as lanes outage best; all without any")
    given = asked.parse_args()
    rows = []
    for name, case in cases(tuple(given.kinds)):
        print(f"running {name}", file=sys.stderr)
        found = case()
        rows += found if isinstance(found, list) else [found]
    print(json.dumps(rows, indent=1) if given.json else table(rows))


if __name__ == "__main__":
    main()
