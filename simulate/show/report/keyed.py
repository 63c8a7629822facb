"""Numbers and sentences of a page, each marked with the key of the document that it was read from."""

from __future__ import annotations

import calendar
from dataclasses import dataclass

from simulate.document.words import hours_text

LEGS = {"AB": "both", "both": "both"}


def value_at(document: dict, key: str):
    """What stands under a dotted key; a number is a place in a list.

    Examples
    --------
    >>> value_at({"rows": [{"a": 1}, {"a": 2}]}, "rows.1.a")
    2
    """
    for part in key.split("."):
        document = document[int(part)] if isinstance(document, list | tuple) else document[part]
    return document


def told(value, form: str, horizon_h: float = float("inf")) -> str:
    """A value in the words of a page.

    Examples
    --------
    >>> told(24.96, "hours"), told(-186.0, "whole"), told(186.4, "signed"), told(0.0493, "percent"), told(7, "month")
    ('24 h', '-186', '+186', '4.9%', 'July')
    """
    words = {
        "text": str,
        "hours": lambda x: hours_text(x, horizon_h),
        "whole": lambda x: f"{x:,.0f}",
        "signed": lambda x: f"{x:+,.0f}",
        "size": lambda x: f"{x:,.0f}".removeprefix("-"),
        "percent": "{:.1%}".format,
        "three": "{:.3g}".format,
        "month": lambda x: calendar.month_name[x],
        "leg": lambda x: LEGS.get(x, x),
    }
    return words[form](value)


@dataclass(frozen=True)
class Keyed:
    """Marks what a page prints of a document."""

    document: dict

    def __call__(self, key: str, form: str = "text", tag: str = "span"):
        """The value under a key in an element that names both."""
        import markupsafe

        text = told(value_at(self.document, key), form, self.document["outage"]["horizon_h"])
        mark = '<{tag} data-key="{key}" data-form="{form}">{text}</{tag}>'
        return markupsafe.Markup(mark).format(tag=tag, key=key, form=form, text=text)

    def word(self, key: str, form: str = "text", blank: str = "________"):
        """The value under a key, or a line to be filled in by hand."""
        return blank if value_at(self.document, key) is None else self(key, form)
