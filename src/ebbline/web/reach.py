"""The addresses under which phones reach this workbench, and their pictures to be photographed."""

from __future__ import annotations

from functools import lru_cache

from starlette.requests import Request

from ebbline.web.settings import LOOPBACK_NAMES


def join_addresses(request: Request) -> tuple[str, ...]:
    """Addresses without a path; none where only this computer reaches it."""
    settings = request.app.state.settings
    if settings.reach:
        reach: tuple[str, ...] = settings.reach
        return reach
    if request.url.hostname in LOOPBACK_NAMES:
        return ()
    return (str(request.base_url).rstrip("/"),)


@lru_cache(maxsize=64)
def picture(address: str) -> str:
    """The QR picture of an address, as SVG that takes the page's colours; "" without segno."""
    try:
        import segno
    except ImportError:
        return ""
    made = segno.make(address, error="m", micro=False)
    size = made.symbol_size(scale=1, border=4)[0]
    squares = "".join(
        f"M{x} {y}h1v1h-1z"
        for y, row in enumerate(made.matrix_iter(border=4))
        for x, dark in enumerate(row)
        if dark
    )
    return (
        f'<svg class="qr" viewBox="0 0 {size} {size}" role="img" '
        f'aria-label="The address as a picture for a phone\'s camera" shape-rendering="crispEdges">'
        f'<rect width="{size}" height="{size}" fill="#fff"/><path d="{squares}" fill="#000"/></svg>'
    )
