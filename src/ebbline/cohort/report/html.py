"""The report as one HTML page that needs nothing else: no script, nothing fetched."""

from __future__ import annotations

from html import escape

from ebbline.cohort.report.model import ArchiveReport, Figure, ReportTable, Section
from ebbline.picture.svg import svg

_STYLE = """
:root { color-scheme: light dark; --ink: #14202e; --quiet: #44526a; --paper: #ffffff;
        --line: #bcc7d5; --plate: #f3f6f9; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e6edf5; --quiet: #b3c0d1; --paper: #10161f; --line: #3a4658; --plate: #182130; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 62rem; padding: 1.2rem; background: var(--paper);
       color: var(--ink); font: 1.05rem/1.5 'Source Sans 3', 'Source Sans Pro', Arial, sans-serif; }
h1 { font-size: 1.9rem; line-height: 1.2; } h2 { margin-top: 2.4rem; font-size: 1.45rem; }
p { max-width: 46rem; } .quiet { color: var(--quiet); }
.caution { border: 2px solid var(--ink); padding: .7rem 1rem; font-weight: 600; }
nav ol { columns: 2 18rem; padding-left: 1.3rem; } a { color: inherit; }
figure { margin: 1.4rem 0; } figcaption { color: var(--quiet); }
figure svg { width: 100%; height: auto; background: #fff; border-radius: .4rem; padding: .3rem; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; margin: .6rem 0; font-size: .98rem; }
th, td { border-bottom: 1px solid var(--line); padding: .35rem .8rem .35rem 0; text-align: left;
         vertical-align: top; }
th { background: var(--plate); padding-left: .4rem; } td { padding-left: .4rem; }
td:not(:first-child) { font-variant-numeric: tabular-nums; }
summary { cursor: pointer; padding: .4rem 0; }
@media print { details > :not(summary) { display: block; } }
"""


def html(report: ArchiveReport) -> str:
    """The whole page."""
    contents = "".join(
        f'<li><a href="#part-{n}">{escape(one.title)}</a></li>'
        for n, one in enumerate(report.sections, 1)
    )
    body = "".join(_section(n, one) for n, one in enumerate(report.sections, 1))
    made = "".join(f'<p class="quiet">{escape(one)}</p>' for one in report.made)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(report.title)}</title><style>{_STYLE}</style></head><body><main>"
        f'<h1>{escape(report.title)}</h1><p class="caution">{escape(report.caution)}</p>{made}'
        f'<nav aria-label="Parts"><ol>{contents}</ol></nav>{body}</main></body></html>\n'
    )


def _section(number: int, one: Section) -> str:
    words = "".join(f"<p>{escape(text)}</p>" for text in one.paragraphs)
    figures = "".join(_figure(f, f"{number}-{n}") for n, f in enumerate(one.figures))
    tables = "".join(_table(table) for table in one.tables)
    return (
        f'<section aria-labelledby="part-{number}"><h2 id="part-{number}">{escape(one.title)}</h2>'
        f"{words}{figures}{tables}</section>"
    )


def _figure(one: Figure, name: str) -> str:
    drawing = svg(one.drawing).replace("<svg ", '<svg role="img" ', 1)
    # Names of clips are unique in a drawing; on one page of many they must be so too.
    drawing = drawing.replace('id="clip', f'id="f{name}-clip').replace("#clip", f"#f{name}-clip")
    return (
        f"<figure>{drawing}<figcaption>{escape(one.caption)}</figcaption>"
        f"<details><summary>The numbers of this figure</summary>{_table(one.table)}</details>"
        "</figure>"
    )


def _table(one: ReportTable) -> str:
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in one.heads)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in one.rows
    )
    note = f'<p class="quiet">{escape(one.note)}</p>' if one.note else ""
    return (
        f'<div class="scroll"><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>'
        f"</div>{note}"
    )
