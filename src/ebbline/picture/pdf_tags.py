"""The structure of a PDF that a screen reader follows: headings, paragraphs, figures with words.

ReportLab draws pages and knows nothing of structure; here marked content goes around what is
drawn, and a structure tree into the file. Source: ISO 32000-1, 14.6 to 14.8 (Tagged PDF).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

HEADING_PT, TITLE_PT = 11.0, 15.0
"""Bold words of such a size and more are headings, of the second and first level."""


class Tags:
    """Collects the structure of one file while its pages are drawn."""

    def __init__(self, canvas: Any) -> None:
        self._canvas = canvas
        self._document = canvas._doc
        self._pages: list[list[tuple[str, str]]] = []
        self._open = False
        add_page = self._document.addPage

        def with_structure(page: Any) -> None:
            page.__NoDefault__ = [*page.__NoDefault__, "StructParents"]
            page.StructParents = len(self._pages) - 1
            add_page(page)

        self._document.addPage = with_structure

    def new_page(self) -> None:
        """What is drawn from now on lies on the next page."""
        self._pages.append([])

    @contextmanager
    def marked(self, kind: str, words: str = "") -> Iterator[None]:
        """What is drawn inside is one element. kind: P, H1, H2, Figure. words: of a figure."""
        if self._open:
            yield
            return
        page = self._pages[-1]
        self._canvas._code.append(f"/{kind} <</MCID {len(page)}>> BDC")
        page.append((kind, words))
        self._open = True
        try:
            yield
        finally:
            self._open = False
            self._canvas._code.append("EMC")

    @contextmanager
    def decoration(self) -> Iterator[None]:
        """What is drawn inside is for the eye alone."""
        if self._open:
            yield
            return
        self._canvas._code.append("/Artifact BMC")
        self._open = True
        try:
            yield
        finally:
            self._open = False
            self._canvas._code.append("EMC")

    def finish(self, language: str = "en") -> None:
        """Put the structure tree into the file."""
        from reportlab.pdfbase.pdfdoc import (
            PDFArray,
            PDFDictionary,
            PDFName,
            PDFObjectReference,
            PDFString,
        )

        document = self._document
        root, whole = PDFObjectReference("StructRoot"), PDFObjectReference("StructWhole")
        kids: list[Any] = []
        parents: list[Any] = []
        for number, page in enumerate(self._pages):
            mine = []
            for mark, (kind, words) in enumerate(page):
                name = f"Struct{number}.{mark}"
                element = {
                    "Type": PDFName("StructElem"),
                    "S": PDFName(kind),
                    "P": whole,
                    "Pg": PDFObjectReference(f"Page{number + 1}"),
                    "K": mark,
                }
                if words:
                    element["Alt"] = PDFString(words)
                document.Reference(PDFDictionary(element), name)
                mine.append(PDFObjectReference(name))
            kids += mine
            parents += [number, PDFArray(mine)]
        all_of_it = {"Type": PDFName("StructElem"), "S": PDFName("Document"), "P": root}
        document.Reference(PDFDictionary(all_of_it | {"K": PDFArray(kids)}), "StructWhole")
        tree = PDFDictionary({"Nums": PDFArray(parents)})
        document.Reference(tree, "StructParentTree")
        document.Reference(
            PDFDictionary(
                {
                    "Type": PDFName("StructTreeRoot"),
                    "K": whole,
                    "ParentTree": PDFObjectReference("StructParentTree"),
                    "ParentTreeNextKey": len(self._pages),
                }
            ),
            "StructRoot",
        )
        catalog = document.Catalog
        catalog.Lang = PDFString(language)
        catalog.MarkInfo = PDFDictionary({"Marked": "true"})
        catalog.StructTreeRoot = root
        catalog.ViewerPreferences = PDFDictionary({"DisplayDocTitle": "true"})


def date_file(canvas: Any, at: datetime) -> None:
    """Write a time into the file as that of its making."""
    stamp = canvas._doc._timeStamp
    offset = at.utcoffset()
    minutes = 0 if offset is None else round(offset.total_seconds() / 60)
    stamp.t = at.timestamp()
    stamp.lt = at.timetuple()
    stamp.YMDhms = tuple(at.timetuple())[:6]
    stamp.dhh, stamp.dmm = int(minutes / 60), abs(minutes) % 60
