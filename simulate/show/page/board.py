"""What the page answers: the fragments of one design, from a draft, as plain data and HTML."""

from __future__ import annotations

import calendar
import contextlib
from collections import OrderedDict
from functools import cached_property, lru_cache
from pathlib import Path

import jinja2
import markupsafe

from profiles.noun import BadInput
from simulate.designs.draft import Draft
from simulate.designs.shared_row import shared_row
from simulate.document.money_answer import bound_text
from simulate.document.words import hours_text, tenths
from simulate.house.asked import prices_of
from simulate.house.targets import causal_plans
from simulate.show.page.figures import (
    band_texts,
    hours_change,
    lists_of,
    map_of,
    rulers_of,
    scale_h,
    steps_of,
)
from simulate.show.page.state import draft_of, reserve_text, text_of
from simulate.site.site import Site

TEMPLATES = Path(__file__).parent / "templates"
MOST_DRAFTS = 200
MOST_PINS = 5
WRITTEN = "as written"
CASES = {"usual": "as usual", "frugal": "people save", "storm": "as in a storm"}


@lru_cache
def environment() -> jinja2.Environment:
    """Templates in which every text of a site file is escaped."""
    known = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    known.filters["px"] = lambda value: f"{value:.1f}"
    return known


def part(name: str, **values) -> str:
    """One fragment as HTML."""
    return environment().get_template(f"{name}.html").render(**values)


class Board:
    """The designs of one site as the page asks for them.

    Parameters
    ----------
    site : Site, optional
        The embedded demo site without one.
    """

    def __init__(self, site: Site | None = None):
        self.first = Draft(site)
        self.lists = lists_of(self.first.site, self.first.house.pools)
        self._drafts: OrderedDict[str, Draft] = OrderedDict()

    @cached_property
    def written(self) -> str:
        """The design of the site file as text."""
        return text_of(self.first)

    def draft(self, text: str) -> Draft:
        """The design that a text asks for; drafts that were met last are kept.

        Raises
        ------
        BadInput
            Text that is none, or a design that the site file does not take.
        """
        if text in ("", self.written):
            return self.first
        if text not in self._drafts:
            self._drafts[text] = draft_of(self.first, text)
            while len(self._drafts) > MOST_DRAFTS:
                self._drafts.popitem(last=False)
        return self._drafts[text]

    def prepare(self, text: str) -> dict:
        """Work out a design beforehand; what it answers."""
        return self.draft(text).study.answer

    def page(self, **more) -> str:
        """The page before any request, with the controls of the written design; `more` is its style and script."""
        site, draft = self.first.site, self.first
        return part(
            "page",
            **more,
            site=site,
            file=site.file,
            year=draft.house.hours.year,
            lists=self.lists,
            legs=[leg for leg in "AB" if leg == "A" or site.service.system != "120"],
            backed_up=draft.backed_up,
            units=draft.units,
            reserve=reserve_text(draft.reserve),
            months=calendar.month_abbr[1:],
            plans=self.plans,
            plan=site.operation.plan,
            cases=CASES,
            written=self.written,
            cautions=draft.study.cautions,
            bands=band_texts(),
            most_pins=MOST_PINS,
        )

    def first_answer(self, text: str, base: str = "") -> dict:
        """What is seen at once: the sentences, the rulers, the map, the bills, the checks."""
        draft, pinned = self.draft(text), self.draft(base)
        return {
            "answer": part("answer", answer=draft.study.answer, against=against(draft, pinned)),
            **self._rulers(draft, pinned),
            "map": part("map", rows=map_of(draft.ride), months=calendar.month_name[1:]),
            "bills": part("bills", steps=steps_of(draft), currency=draft.site.rate.currency),
            "checks": part("checks", **checks_of(draft, pinned)),
            "reserve": reserve_text(draft.reserve),
            "plan": draft.plan,
            "default_plan": self.default_plan,
        }

    @cached_property
    def plans(self) -> list[str]:
        """Plans that do something on the site's rate."""
        return list(causal_plans(self.first.house, prices_of(self.first.house)))

    @cached_property
    def default_plan(self) -> str:
        """The plan that is run where none is stated."""
        return self.first.changed(plan=None).plan

    def _rulers(self, draft: Draft, pinned: Draft) -> dict:
        rulers = rulers_of(draft, self.lists, scale_h(draft.ride, pinned.ride))
        drawn = {leg: part("ruler", **one) for leg, one in rulers["legs"].items()}
        month = calendar.month_name[rulers["month"]]
        return {"rulers": drawn, "rows": rulers["rows"], "month": month}

    def second_answer(self, text: str, pins: list[str]) -> dict:
        """What follows: the other plans, and the pinned designs side by side."""
        draft = self.draft(text)
        rows = [row_of(self.draft(pin), f"design {k + 1}") for k, pin in enumerate(pins[:MOST_PINS])]
        rows = [row_of(self.first, WRITTEN), *rows]
        if text not in ("", self.written, *pins):
            rows.append(row_of(draft, "this design"))
        return {
            "plans": part("plans", rows=plan_lines(draft), currency=draft.site.rate.currency),
            "pins": part("pins", rows=rows, currency=draft.site.rate.currency, storm=any(row["storm"] for row in rows)),
        }

    def third_answer(self, text: str) -> dict:
        """What follows last: what no plan can beat."""
        return {"bound": part("bound", lines=bound_lines(self.draft(text)))}

    def neighbours(self, text: str) -> list[str]:
        """The designs that one more click would ask for, circuits first; those that the site file takes."""
        draft = self.draft(text)
        changes: list[dict] = [{"circuits": {one.name: one.on != "sub-panel"}} for one in draft.site.circuit]
        for leg, n in draft.units.items():
            changes += [{"units": {leg: n + 1}}] + [{"units": {leg: n - 1}}] * bool(n)
        out = []
        for change in changes:
            with contextlib.suppress(BadInput):
                out.append(text_of(draft.changed(**change)))
        return out


def page_of(board: Board, token: str) -> str:
    """The page as the server gives it: style and script by their addresses."""
    href = {name: markupsafe.escape(f"{name}?token={token}") for name in ("page.css", "page.js", "icon.svg")}
    return board.page(
        icon=markupsafe.Markup('<link rel="icon" href="{icon}">'.replace("{icon}", href["icon.svg"])),
        style=markupsafe.Markup('<link rel="stylesheet" href="{page.css}">'.replace("{page.css}", href["page.css"])),
        script=markupsafe.Markup('<script src="{page.js}"></script>'.replace("{page.js}", href["page.js"])),
    )


def against(draft: Draft, pinned: Draft) -> dict | None:
    """What changed against the pinned design, as printed numbers; None where it is the same design."""
    if draft is pinned:
        return None
    now, then = (one.study.answer["hours"]["p10"] for one in (draft, pinned))
    money, before = (one.study.answer["money"]["change"] for one in (draft, pinned))
    out = {"hours": (tenths(then), tenths(now), hours_change(now, then)), "change": None}
    if money is not None and before is not None:
        cents = round(money, 2) - round(before, 2)
        out["change"] = (f"{before:+,.2f}", f"{money:+,.2f}", f"{cents:+,.2f}", draft.site.rate.currency)
    return out


def checks_of(draft: Draft, pinned: Draft) -> dict:
    """Checks that fail here and not in the pinned design, how many fail in both, and how many are not assessed."""
    failing = lambda one: {(f.check, f.subject): f for f in one.study.findings if f.verdict == "fail"}
    now, then = failing(draft), failing(pinned)
    return {
        "new": [one for key, one in now.items() if key not in then],
        "gone": [one for key, one in then.items() if key not in now],
        "both": [one for key, one in now.items() if key in then],
        "not_assessed": sum(one.verdict == "not-assessed" for one in draft.study.findings),
    }


def bound_lines(draft: Draft) -> list[str]:
    """What no way of running these units can beat, and what that leaves out or why it is not given."""
    text = bound_text(draft.bound, draft.site.rate.currency)
    return [*([text] if text else []), *draft.bound.notes]


def plan_lines(draft: Draft) -> list[dict]:
    """Every plan that the site can run, the one that is run first: dollars against hours."""
    hours = lambda row, key: hours_text(row[key], draft.ride.horizon_h)
    return [
        {
            "plan": row["plan"],
            "chosen": row["chosen"],
            "saving": f"{row['saving']:+,.0f}",
            "hours": hours(row, "hours_p10"),
            "hardest": hours(row, "hardest_month_p10"),
            "breaks": f"{row['breaks_per_year']:,}" if row["breaks_per_year"] else "none",
        }
        for row in sorted(draft.study.plans, key=lambda row: not row["chosen"])
    ]


def row_of(draft: Draft, name: str) -> dict:
    """A design as a row of the table of pinned designs: `shared_row` and the hardest month in words."""
    row, horizon = shared_row(draft.study), draft.ride.horizon_h
    hours = lambda value: None if value is None else hours_text(value, horizon)
    price, change, amperes = row["price"], row["change"], row["service_a"]
    return {
        "name": name,
        "stop": bool(draft.study.answer["stop"]),
        "units": ", ".join(f"{n} on {'both legs' if leg == 'both' else leg}" for leg, n in draft.units.items()),
        "circuits": ", ".join(row["circuits"]) or "none",
        "reserve": _reserve_words(row["reserve"]),
        "plan": draft.plan,
        "hardest": hours(draft.study.answer["hours"]["p10"]),
        "hours": hours(row["hours_p10"]),
        "end": hours(row["end_of_warranty_p10"]),
        "storm": hours(row["storm_p10"]),
        "never": ", ".join(row["never_carried"]) or "none",
        "fails": row["fails"],
        "not_assessed": row["not_assessed"],
        "price": "not stated" if price is None else f"{price:,.0f}",
        "change": "does not apply" if change is None else f"{change:+,.2f}",
        "service_a": "does not apply" if amperes is None else f"{amperes:.0f} A",
    }


def _reserve_words(reserve) -> str:
    text = reserve_text(reserve)
    return f"{text}%" if "," not in text and text != "best" else "by month" if "," in text else text
