"""A drawn figure on a page: print's own, its inks as variables that a dim room can turn."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ebbline.picture.canvas import Page

_INK = re.compile(r"#[0-9a-f]{6}")


def inked(page: Page, *, name: str = "") -> str:
    """The figure as SVG that takes its size from where it stands (inks: static/figure.css).

    name: begins the ids inside it, so that several figures may stand on one page.
    """
    from ebbline.picture.svg import svg

    text = _INK.sub(lambda ink: f"var(--fig-{ink.group()[1:]}, {ink.group()})", svg(page))
    size = f'width="{page.width:g}cm" height="{page.height:g}cm"'
    text = text.replace(size, 'class="figure" role="img"', 1)
    if name:
        text = text.replace('id="clip', f'id="{name}-clip')
        text = text.replace("url(#clip", f"url(#{name}-clip")
    return text
