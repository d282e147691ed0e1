"""Files to pictures: JPEG, PNG, TIFF with all pages, pages of a PDF; turned as the camera says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ebbline.errors import RecordingError
from ebbline.recording.files import check_file
from ebbline.recording.paper.flatten import Image

if TYPE_CHECKING:
    from PIL import Image as Pillow

MOST_PIXELS = 120_000_000
"""A picture of more is not opened (ours): a metre of strip at 600 dpi has about 80 million."""
MOST_PAGES = 40
PDF_DPI = 300


def pictures_of(path: Path) -> list[Image]:
    """Every picture of a file, red, green and blue. Raises RecordingError where there is none."""
    check_file(path)
    try:
        found = _pages(path) if path.suffix.casefold() == ".pdf" else _frames(path)
    except RecordingError:
        raise
    except Exception as error:
        # Damaged pictures fail in as many ways as there are kinds of them.
        raise _damaged(str(path), error) from error
    if not found:
        raise RecordingError("there is no page in this file.", where=str(path))
    return found


def picture_in(content: bytes, where: str) -> Image:
    """The picture of an encoded file's content, red, green and blue. Raises RecordingError."""
    from io import BytesIO

    from PIL import Image as Pillow
    from PIL import ImageOps

    Pillow.MAX_IMAGE_PIXELS = MOST_PIXELS
    try:
        with Pillow.open(BytesIO(content)) as opened:
            return _coloured(ImageOps.exif_transpose(opened))
    except Exception as error:
        raise _damaged(where, error) from error


def _damaged(where: str, error: Exception) -> RecordingError:
    return RecordingError(
        f"this picture cannot be opened: {error}.",
        where=where,
        remedy="Export it again as JPEG, PNG, TIFF or PDF.",
    )


def _too_large(path: Path, width: float, height: float) -> None:
    if width * height > MOST_PIXELS:
        raise RecordingError(
            f"the picture has {width * height / 1e6:.0f} million pixels; the most is "
            f"{MOST_PIXELS / 1e6:.0f} million.",
            where=str(path),
            remedy="Scan it at 300 dpi, or in parts that overlap.",
        )


def _frames(path: Path) -> list[Image]:
    from PIL import Image as Pillow
    from PIL import ImageOps, ImageSequence

    Pillow.MAX_IMAGE_PIXELS = MOST_PIXELS
    found = []
    with Pillow.open(path) as opened:
        for n, frame in enumerate(ImageSequence.Iterator(opened)):
            if n >= MOST_PAGES:
                break
            _too_large(path, *frame.size)
            found.append(_coloured(ImageOps.exif_transpose(frame)))
    return found


def _coloured(picture: Pillow.Image) -> Image:
    """Red, green and blue of 8 bits, whatever the picture has; what is transparent is white."""
    from PIL import Image as Pillow

    if picture.mode[0] in "IF":
        # Grey of 16 or 32 bits, or of fractions.
        grey = np.nan_to_num(np.asarray(picture, np.float64))
        most = float(grey.max(initial=0.0))
        white = next((one for one in (1.0, 255.0, 65535.0) if most <= one), max(most, 1.0))
        grey = np.clip(grey * (255.0 / white), 0.0, 255.0).astype(np.uint8)
        return np.ascontiguousarray(np.repeat(grey[:, :, None], 3, axis=2))
    if picture.has_transparency_data:
        clear = picture.convert("RGBA")
        ground = Pillow.new("RGBA", clear.size, "white")
        picture = Pillow.alpha_composite(ground, clear)
    return np.array(picture.convert("RGB"), dtype=np.uint8)


def _pages(path: Path) -> list[Image]:
    import pypdfium2

    found = []
    with pypdfium2.PdfDocument(path) as document:
        for n in range(min(len(document), MOST_PAGES)):
            page = document[n]
            width, height = page.get_size()
            _too_large(path, width * PDF_DPI / 72, height * PDF_DPI / 72)
            drawn = page.render(scale=PDF_DPI / 72).to_numpy()
            found.append(np.ascontiguousarray(drawn[:, :, 2::-1] if drawn.shape[2] >= 3 else drawn))
    return found
