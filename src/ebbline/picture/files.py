"""Documents to files, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from ebbline.errors import EbblineError
from ebbline.picture.canvas import Document

SUFFIXES = (".svg", ".pdf", ".png")


def write(
    document: Document, path: str | Path, *, dpi: int = 150, replace: bool = True
) -> list[Path]:
    """Write a document by the path's suffix: .svg, .pdf or .png (dpi dots per inch).

    A PDF holds all pages. SVG and PNG hold one page a file: of several pages the files are
    numbered (strip.svg gives strip-01.svg, strip-02.svg, ...). Returns the files written. Nothing
    appears under a name before all of it is on the disk. replace: whether files that are there
    may be replaced. Raises EbblineError for another suffix, a place that cannot be written to, or
    a page too large.
    """
    # The abdomen is drawn with this too, and the examination loads nothing of traces.
    from ebbline.recording.files import write_files

    contents = _contents(document, Path(path), dpi)
    write_files(contents, replace=replace)
    return list(contents)


def files_of(document: Document, path: str | Path) -> list[Path]:
    """The files that `write` makes of a document."""
    path = Path(path)
    one_file = path.suffix.lower() == ".pdf"
    return [path] if one_file else _targets(path, len(document.pages))


def _contents(document: Document, path: Path, dpi: int) -> dict[Path, bytes]:
    suffix = path.suffix.lower()
    targets = _targets(path, len(document.pages))
    match suffix:
        case ".pdf":
            from ebbline.picture.pdf import pdf

            return {path: pdf(document)}
        case ".svg":
            from ebbline.picture.svg import svg

            return {t: svg(p).encode() for t, p in zip(targets, document.pages, strict=True)}
        case ".png":
            from ebbline.picture.png import png

            return {t: png(p, dpi) for t, p in zip(targets, document.pages, strict=True)}
    raise EbblineError(
        "a picture is written as SVG, PDF or PNG.",
        where=str(path),
        remedy=f"End the name in one of {', '.join(SUFFIXES)}.",
    )


def _targets(path: Path, pages: int) -> list[Path]:
    if pages == 1:
        return [path]
    digits = max(2, len(str(pages)))
    return [path.with_name(f"{path.stem}-{i + 1:0{digits}}{path.suffix}") for i in range(pages)]
