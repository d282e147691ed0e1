"""The drawing model and its three writers."""

from __future__ import annotations

import struct
import xml.etree.ElementTree as ET
import zlib
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from ebbline.errors import EbblineError
from ebbline.picture import Document, Page, write
from ebbline.picture.canvas import (
    Anchor,
    Circle,
    Group,
    Line,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
    contrast,
    ellipse,
    hatch,
    points,
    smooth,
)
from ebbline.picture.fonts import shortened, text_width, wrapped
from ebbline.picture.svg import svg

INK = Stroke("#102030", 0.8)
SVG = "{http://www.w3.org/2000/svg}"
EVERY_SHAPE: tuple[Shape, ...] = (
    Line(1, 1, 4, 1, INK),
    Polyline(points([(1, 1), (2, 2), (3, 1)]), Stroke("#102030", 1, (0.2, 0.1), True)),
    Polygon(points([(1, 1), (2, 2), (3, 1)]), "#ddeeff", INK),
    Rect(1, 2, 3, 1, "#ddeeff", INK, 0.1),
    Circle(2, 2, 0.5, None, INK),
    Text(2, 3, "gap < 30 s & more", 9, bold=True, anchor=Anchor.END),
    Text(0.5, 3, "turned", 9, italic=True, turn=-90),
    Group((Circle(2, 2, 3, "#000000"),), clip=Rect(1, 1, 1, 1), title="a clip", name="clipped"),
    hatch(Polygon(ellipse(3, 3, 1, 0.5)), INK),
)


def one_page(*shapes: Shape) -> Document:
    return Document("A test", (Page(10, 5, shapes, "a page"),))


@pytest.mark.parametrize("suffix", [".svg", ".pdf", ".png", ".PDF"])
def test_every_shape_is_written_in_every_format(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"try{suffix}"
    assert write(one_page(*EVERY_SHAPE), path) == [path]
    start = {".svg": b"<svg", ".pdf": b"%PDF", ".png": b"\x89PNG"}[suffix.lower()]
    assert path.read_bytes().startswith(start)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_a_centimetre_is_a_centimetre_in_svg() -> None:
    root = ET.fromstring(svg(one_page(Line(1, 1, 4, 1, INK)).pages[0]))
    assert root.get("width") == "10cm"
    units_per_cm = float(root.get("viewBox", "").split()[2]) / 10
    line = root.find(f"{SVG}line")
    assert line is not None
    length = float(line.get("x2", "")) - float(line.get("x1", ""))
    assert length == pytest.approx(3 * units_per_cm)


def test_a_centimetre_is_a_centimetre_in_pdf(tmp_path: Path) -> None:
    """One centimetre is 72/2.54 units of the page (ISO 32000-1, 8.3.2.3)."""
    write(one_page(Line(1, 1, 4, 1, INK)), tmp_path / "try.pdf")
    page = PdfReader(tmp_path / "try.pdf").pages[0]
    assert float(page.mediabox.width) == pytest.approx(10 / 2.54 * 72, abs=1e-3)
    contents = page.get_contents()
    assert contents is not None
    words = contents.get_data().split()
    end = words.index(b"l")
    begin = words.index(b"m")
    assert float(words[end - 2]) - float(words[begin - 2]) == pytest.approx(85.039, abs=1e-2)
    assert float(words[begin - 1]) == pytest.approx(4 / 2.54 * 72, abs=1e-2)


def test_png_carries_its_resolution(tmp_path: Path) -> None:
    """The chunk as the PNG specification, 11.3.4.3, lays it out."""
    write(one_page(*EVERY_SHAPE), tmp_path / "try.png", dpi=200)
    image = (tmp_path / "try.png").read_bytes()
    at = image.index(b"pHYs")
    across, down, unit = struct.unpack(">IIB", image[at + 4 : at + 13])
    assert (across, down, unit) == (7874, 7874, 1)
    assert struct.unpack(">I", image[at + 13 : at + 17])[0] == zlib.crc32(image[at : at + 13])
    width, height = struct.unpack(">II", image[16:24])
    assert (width, height) == (round(10 / 2.54 * 200), round(5 / 2.54 * 200))


def test_typeface_is_embedded_so_that_it_looks_the_same_everywhere(tmp_path: Path) -> None:
    write(one_page(*EVERY_SHAPE), tmp_path / "try.pdf")
    fonts = PdfReader(tmp_path / "try.pdf").pages[0]["/Resources"]["/Font"]  # type: ignore[index]
    for font in fonts.values():
        assert "/FontFile2" in font.get_object()["/FontDescriptor"].get_object()


def test_text_reads_back_from_pdf_and_svg(tmp_path: Path) -> None:
    words = "baseline ≥ 110 bpm, – 15 · Zoë <1>"
    document = one_page(Text(1, 1, words))
    write(document, tmp_path / "try.pdf")
    assert words in PdfReader(tmp_path / "try.pdf").pages[0].extract_text()
    text = ET.fromstring(svg(document.pages[0])).find(f"{SVG}text")
    assert text is not None
    assert text.text == words


def test_names_of_typefaces_that_are_no_identifiers_are_quoted() -> None:
    """An unquoted name with a digit makes a browser ignore the whole list (CSS Fonts 4, 2.1)."""
    families = ET.fromstring(svg(one_page(INK_DOT).pages[0])).get("font-family", "").split(", ")
    assert families[0] == "'Source Sans Pro'"
    assert all(name.startswith("'") or name.replace("-", "").isalpha() for name in families)


def test_control_characters_do_not_break_the_file() -> None:
    root = ET.fromstring(
        svg(one_page(Text(1, 1, "a\x00b\nc\ufffe"), Group((), title="\x1b")).pages[0])
    )
    assert "".join(root.itertext()).count("b") == 1


def test_pages_become_numbered_files(tmp_path: Path) -> None:
    page = one_page(INK_DOT).pages[0]
    document = Document("Two", (page, page))
    names = [path.name for path in write(document, tmp_path / "strip.svg")]
    assert names == ["strip-01.svg", "strip-02.svg"]
    assert write(document, tmp_path / "strip.pdf") == [tmp_path / "strip.pdf"]
    assert len(PdfReader(tmp_path / "strip.pdf").pages) == 2


INK_DOT = Circle(1, 1, 0.1, "#000000")


def test_another_suffix_is_told_in_words(tmp_path: Path) -> None:
    with pytest.raises(EbblineError, match=r"SVG, PDF or PNG.*End the name in"):
        write(one_page(INK_DOT), tmp_path / "strip.gif")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "name",
    ["none/strip.pdf", "folder.png", "x" * 300 + ".svg", "nul\0.svg", "folder.png/../a/b.svg"],
)
def test_a_place_that_cannot_be_written_is_told_in_words(tmp_path: Path, name: str) -> None:
    (tmp_path / "folder.png").mkdir()
    with pytest.raises(EbblineError, match=r"a directory|too long|no path can hold"):
        write(one_page(INK_DOT), tmp_path / name)
    assert [path.name for path in tmp_path.rglob("*")] == ["folder.png"]


def test_nothing_is_left_half_written(tmp_path: Path) -> None:
    """The second of two pages cannot be placed: the first must not appear either."""
    (tmp_path / "strip-02.svg").mkdir()
    page = one_page(INK_DOT).pages[0]
    with pytest.raises(EbblineError):
        write(Document("Two", (page, page)), tmp_path / "strip.svg")
    assert [path.name for path in tmp_path.iterdir()] == ["strip-02.svg"]


def test_an_older_file_stays_when_the_new_one_cannot_be_drawn(tmp_path: Path) -> None:
    path = tmp_path / "strip.png"
    path.write_bytes(b"older")
    with pytest.raises(EbblineError, match="too many"):
        write(Document("Long", (Page(5000, 20, (), ""),)), path)
    assert path.read_bytes() == b"older"


def test_an_older_file_is_replaced_by_renaming_never_written_over(tmp_path: Path) -> None:
    """Whoever holds the older file open, or another name of it, keeps it whole."""
    path, other_name = tmp_path / "strip.svg", tmp_path / "kept.svg"
    path.write_text("older")
    other_name.hardlink_to(path)
    write(one_page(INK_DOT), path)
    assert other_name.read_text() == "older"
    assert path.read_text().startswith("<svg")


def test_a_symbolic_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "link.svg").symlink_to(tmp_path / "strip.svg")
    write(one_page(INK_DOT), tmp_path / "link.svg")
    assert (tmp_path / "link.svg").is_symlink()
    assert (tmp_path / "strip.svg").read_text().startswith("<svg")


def test_same_document_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one.pdf", "two.pdf", "one.png", "two.png"):
        write(one_page(*EVERY_SHAPE), tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()
    assert (tmp_path / "one.png").read_bytes() == (tmp_path / "two.png").read_bytes()


def test_contrast_of_black_and_white_is_21() -> None:
    """WCAG 2.2, contrast ratio: 21:1 at most."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


def test_wrapped_lines_fit_and_keep_every_word() -> None:
    text = "late decelerations with more than half of the contractions " + "x" * 80
    lines = wrapped(text, 3, 8)
    assert all(text_width(line, 8) <= 3 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_shortened_text_says_that_it_was_cut() -> None:
    assert shortened("short", 5, 8) == "short"
    cut = shortened("a long name of a recording", 1.5, 8)
    assert cut.endswith("…")
    assert text_width(cut, 8) <= 1.5


@pytest.mark.parametrize("closed", [True, False])
def test_smooth_curve_passes_through_its_corners(closed: bool) -> None:
    corners = points([(0, 0), (2, 1), (3, 4), (1, 5)])
    curve = smooth(corners, closed=closed)
    nearest = np.linalg.norm(curve[:, None] - corners[None], axis=2).min(axis=0)
    assert nearest == pytest.approx(np.zeros(4), abs=1e-9)
