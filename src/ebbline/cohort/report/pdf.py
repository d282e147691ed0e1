"""The report as PDF, A4, set by ReportLab's own page layout; figures as drawn."""

from __future__ import annotations

import io
from typing import Any
from xml.sax.saxutils import escape

from ebbline.cohort.report.model import ArchiveReport, Figure, ReportTable
from ebbline.picture.fonts import face, text_width
from ebbline.picture.png import png

_DPI = 200
_TEXT_WIDTH_CM = 17.0
_CELL = 8.5
_PADDING_CM = 0.45


def pdf(report: ArchiveReport) -> bytes:
    """The whole document."""
    from reportlab.lib.colors import HexColor
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.lib.units import cm
    from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer

    plain, bold = face(), face(bold=True)
    ink = HexColor("#14202e")
    body = ParagraphStyle("body", fontName=plain, fontSize=10, leading=13.5, textColor=ink)
    styles = {
        "body": body,
        "quiet": ParagraphStyle("quiet", body, textColor=HexColor("#44526a"), fontSize=9),
        "title": ParagraphStyle("title", body, fontName=bold, fontSize=20, leading=24),
        "head": ParagraphStyle(
            "head", body, fontName=bold, fontSize=14, leading=18, spaceBefore=14, spaceAfter=4
        ),
        "cell": ParagraphStyle("cell", body, fontSize=_CELL, leading=10.5),
        "top": ParagraphStyle("top", body, fontName=bold, fontSize=_CELL, leading=10.5),
        "caution": ParagraphStyle(
            "caution", body, fontName=bold, borderWidth=1, borderColor=ink, borderPadding=6,
            spaceBefore=10, spaceAfter=12,
        ),
    }  # fmt: skip
    flow: list[Any] = [
        Paragraph(escape(report.title), styles["title"]),
        Paragraph(escape(report.caution), styles["caution"]),
        *(Paragraph(escape(one), styles["quiet"]) for one in report.made),
    ]
    for section in report.sections:
        flow.append(Paragraph(escape(section.title), styles["head"]))
        for text in section.paragraphs:
            flow += [Paragraph(escape(text), body), Spacer(1, 4)]
        for figure in section.figures:
            flow += _figure(figure, styles)
        for table in section.tables:
            flow += _table(table, styles)
    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=A4,
        leftMargin=2 * cm,
        rightMargin=2 * cm,
        topMargin=1.8 * cm,
        bottomMargin=1.8 * cm,
        title=report.title,
        author="Ebbline",
        subject=report.caution,
        initialFontName=plain,
        lang="en",
    )
    document.build(flow, onFirstPage=_foot(report), onLaterPages=_foot(report))
    return buffer.getvalue()


def _foot(report: ArchiveReport) -> Any:
    def draw(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont(face(), 7.5)
        canvas.drawString(57, 30, report.caution)
        canvas.drawRightString(document.pagesize[0] - 57, 30, f"page {document.page}")
        canvas.restoreState()

    return draw


def _figure(figure: Figure, styles: dict[str, Any]) -> list[Any]:
    from reportlab.lib.units import cm
    from reportlab.platypus import Image, KeepTogether, Paragraph, Spacer

    drawing = figure.drawing
    image = Image(
        io.BytesIO(png(drawing, _DPI)), width=drawing.width * cm, height=drawing.height * cm
    )
    caption = Paragraph(escape(figure.caption), styles["quiet"])
    return [KeepTogether([Spacer(1, 8), image, caption]), *_table(figure.table, styles)]


def _table(table: ReportTable, styles: dict[str, Any]) -> list[Any]:
    from reportlab.lib.colors import HexColor
    from reportlab.lib.units import cm
    from reportlab.platypus import Paragraph, Spacer, Table

    cells = [[Paragraph(escape(one), styles["top"]) for one in table.heads]]
    cells += [[Paragraph(escape(one), styles["cell"]) for one in row] for row in table.rows]
    widths = [one * cm for one in _widths(table)]
    drawn = Table(cells, colWidths=widths, repeatRows=1, hAlign="LEFT")
    drawn.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, HexColor("#bcc7d5")),
            ("BACKGROUND", (0, 0), (-1, 0), HexColor("#f3f6f9")),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
        ]
    )
    note = [Paragraph(escape(table.note), styles["quiet"])] if table.note else []
    return [Spacer(1, 6), drawn, *note, Spacer(1, 6)]


def _widths(table: ReportTable) -> list[float]:
    """Widths of the columns, cm: no word is broken; what is left goes where the text is long."""
    columns = [(head, [row[at] for row in table.rows]) for at, head in enumerate(table.heads)]
    least = [
        _PADDING_CM
        + max(
            text_width(word, _CELL, bold=bold)
            for bold, cells in ((True, [head]), (False, rows))
            for cell in (*cells, "")
            for word in (cell.split() or [""])
        )
        for head, rows in columns
    ]
    wanted = [
        max([len(head) / 1.4, 5.0, *(min(len(row), 60) for row in rows)]) for head, rows in columns
    ]
    left = max(0.0, _TEXT_WIDTH_CM - sum(least))
    shrink = min(1.0, _TEXT_WIDTH_CM / sum(least))
    return [
        shrink * one + left * share / sum(wanted) for one, share in zip(least, wanted, strict=True)
    ]
