"""Paragraphs and tables as HTML, for what a bare name at the end of a notebook cell shows."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape


def lines_html(texts: Iterable[str]) -> str:
    """One paragraph, a text a line."""
    return "<p>" + "<br>".join(map(escape, texts)) + "</p>"


def table_html(header: Iterable[str], rows: Iterable[tuple[str, ...]]) -> str:
    """A table whose first column is text and whose others are numbers or short words."""
    side = lambda k: "left" if k == 0 else "right"
    cell = lambda tag, k, text: f'<{tag} style="text-align:{side(k)}">{escape(text)}</{tag}>'
    line = lambda tag, texts: "<tr>" + "".join(cell(tag, k, text) for k, text in enumerate(texts)) + "</tr>"
    body = "".join(line("td", row) for row in rows)
    return f"<table><thead>{line('th', header)}</thead><tbody>{body}</tbody></table>"
