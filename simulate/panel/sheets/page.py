"""All sheets as one page to print: one file, no script, nothing fetched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

STYLE = """
body { font: 13px/1.35 sans-serif; color: #000; margin: 1.5em; }
h1 { font-size: 20px; } h2 { font-size: 16px; margin: 0 0 .4em; }
section.sheet { break-before: page; margin-top: 2em; }
section.sheet:first-of-type { break-before: auto; }
p.stop { border: 2px solid #000; padding: 4px 6px; margin: 0 0 .4em; font-weight: bold; }
.head { border: 1px solid #000; padding: 3px 6px; margin: 0 0 4px; font-weight: 600; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: calc(100% - 2px); }
th, td { border: 1px solid #666; padding: 3px 5px; text-align: left; vertical-align: top; font-size: 11px; }
th { background: #eee; } td.number { text-align: right; white-space: nowrap; }
tr { break-inside: avoid; } thead { display: table-header-group; }
nav li { display: inline-block; margin-right: 1em; }
@page { size: landscape; margin: 12mm; }
@media print {
  body { margin: 0; } nav { display: none; } .wide { overflow: visible; } svg { max-height: 147mm; }
  h1 { font-size: 14px; margin: 0 0 2mm; } section.sheet { margin-top: 0; break-inside: auto; }
  th, td { font-size: 10px; padding: 2px 3px; } ul.notes { margin: 2mm 0 0; font-size: 12px; }
  tr, .notes li { break-inside: avoid; }
}
"""


def sheets_page(made: Mapping[str, dict], title: str, head: Sequence[str] = ()) -> str:
    """The sheets of `sheets` as one HTML page that works offline and prints one sheet a page.

    Parameters
    ----------
    made : mapping of name to sheet
    title : str
        Name of the job; it is escaped.
    head : sequence of str
        What stands above every sheet: what must be put right before anything is built.
    """
    links = "".join(f'<li><a href="#{escape(name)}">{escape(one["title"])}</a></li>\n' for name, one in made.items())
    parts = [one["html"].replace("<section ", f'<section id="{escape(name)}" ', 1) for name, one in made.items()]
    above = "".join(f'<p class="head">{escape(text)}</p>\n' for text in head)
    parts = [part.replace("<h3>", f"{above}<h2>", 1).replace("</h3>", "</h2>", 1) for part in parts]
    wide = lambda name: f'<div class="wide" tabindex="0" role="region" aria-label="{escape(made[name]["title"])}">'
    body = "".join(
        part.replace("<table ", f"{wide(name)}<table ").replace("</table>", "</table></div>")
        for name, part in zip(made, parts, strict=True)
    )
    return (
        '<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style></head>\n<body>\n<header><h1>{escape(title)}</h1></header>\n"
        f'<nav aria-label="Sheets"><ul>\n{links}</ul></nav>\n<main>\n{body}</main>\n</body>\n</html>\n'
    )
