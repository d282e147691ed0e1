"""A sheet photographed, by simulation: perspective, curl, lens, light, blur, noise, folds."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]


@dataclass(frozen=True)
class Shot:
    """How bad a photograph is. tilt and turn in degrees; curl in shares of the height; size: px of
    the picture for one of the drawing."""

    tilt_deg: float = 0.0
    pan_deg: float = 0.0
    turn_deg: float = 0.0
    curl: float = 0.0
    lens: float = 0.0
    light: float = 0.0
    blur_px: float = 0.0
    noise: float = 0.0
    jpeg: int = 95
    fold: float = 0.0
    writing: bool = False
    size: float = 1.0
    table: int = 70


def random_shot(chooser: np.random.Generator, *, size: float) -> Shot:
    """A photograph as they come: to 25 degrees off, curled, unevenly lit, a little blurred."""
    u = chooser.uniform
    return Shot(
        tilt_deg=u(-25, 25), pan_deg=u(-18, 18), turn_deg=u(-4, 4), curl=u(-0.03, 0.03),
        lens=u(-0.03, 0.03), light=u(0.1, 0.45), blur_px=u(0.4, 1.2), noise=u(1, 5),
        jpeg=int(u(70, 95)), fold=u(0, 0.012), writing=bool(chooser.integers(2)), size=size,
        table=int(u(30, 150)),
    )  # fmt: skip


def photograph(image: Image, shot: Shot, chooser: np.random.Generator) -> Image:
    """The picture that a camera takes of a sheet lying on a table."""
    height, width = image.shape[:2]
    if shot.writing:
        image = _written_on(image, chooser)
    out_w, out_h = round(width * shot.size * 1.12), round(height * shot.size * 1.35)
    x, y = np.meshgrid(np.arange(out_w), np.arange(out_h))
    # Camera coordinates about the centre, -1..1 along the longer side.
    half = max(out_w, out_h) / 2
    u, v = (x - out_w / 2) / half, (y - out_h / 2) / half
    r2 = u * u + v * v
    u, v = u * (1 + shot.lens * r2), v * (1 + shot.lens * r2)
    turn = np.radians(shot.turn_deg)
    u, v = u * np.cos(turn) + v * np.sin(turn), -u * np.sin(turn) + v * np.cos(turn)
    focus = 2.6
    a, b = np.radians(shot.tilt_deg), np.radians(shot.pan_deg)
    # The ray through (u, v, focus) meets the sheet's plane, tilted about both axes.
    normal = np.array([np.sin(b) * np.cos(a), np.sin(a), np.cos(a) * np.cos(b)])
    across = np.array([np.cos(b), 0.0, -np.sin(b)])
    down = np.cross(normal, across)
    distance = focus * normal[2] / (u * normal[0] + v * normal[1] + focus * normal[2])
    points = np.stack([u * distance, v * distance, focus * distance - focus])
    px = points[0] * across[0] + points[1] * across[1] + points[2] * across[2]
    py = points[0] * down[0] + points[1] * down[1] + points[2] * down[2]
    sx = px * half / shot.size + width / 2
    sy = py * half / shot.size + height / 2
    sy = sy + shot.curl * height * np.sin(np.pi * np.clip(sx / width, 0, 1) * 1.5)
    crease = 0.6 * width
    sy = sy + shot.fold * height * np.maximum(0, 1 - np.abs(sx - crease) / (0.12 * width))
    how = cv2.INTER_AREA if shot.size < 0.6 else cv2.INTER_LINEAR
    table = (shot.table, shot.table - 8, shot.table - 15)
    places = sx.astype(np.float32), sy.astype(np.float32)
    seen = cv2.remap(image, *places, how, borderMode=cv2.BORDER_CONSTANT, borderValue=table).astype(
        np.float32
    )
    angle = chooser.uniform(0, 2 * np.pi)
    slope = (np.cos(angle) * u + np.sin(angle) * v) * 0.5
    seen *= np.clip(1 - shot.light * (0.5 + slope), 0.2, 1.2)[:, :, None]
    if shot.fold:
        near = np.exp(-(((sx - crease) / (0.004 * width)) ** 2))
        seen *= (1 - 0.25 * near)[:, :, None]
    if shot.blur_px:
        seen = cv2.GaussianBlur(seen, (0, 0), shot.blur_px)
    seen += chooser.normal(0, shot.noise, seen.shape).astype(np.float32) if shot.noise else 0.0
    whole = np.clip(seen, 0, 255).astype(np.uint8)
    coded = cv2.imencode(".jpg", whole[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, shot.jpeg])[1]
    return np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[:, :, ::-1])


def scan(image: Image, chooser: np.random.Generator) -> Image:
    """A flat-bed scan: a little turned, even light, little noise."""
    shot = Shot(
        turn_deg=float(chooser.uniform(-1.2, 1.2)), blur_px=0.5, noise=1.5, jpeg=92, table=245
    )
    return photograph(image, shot, chooser)


def _written_on(image: Image, chooser: np.random.Generator) -> Image:
    """Handwriting: a few loops of pen beside and over the strip."""
    image = image.copy()
    height, width = image.shape[:2]
    for _ in range(3):
        x, y = chooser.uniform(0.1, 0.85) * width, chooser.uniform(0.1, 0.9) * height
        t = np.linspace(0, 6 * np.pi, 160)
        size = height * 0.02
        at = np.column_stack(
            [
                x + size * (t * 0.7 + np.sin(2.1 * t)),
                y + size * np.cos(t * 1.3) * chooser.uniform(0.5, 1.2),
            ]
        )
        cv2.polylines(
            image,
            [np.round(at * 16).astype(np.int32)],
            False,
            (30, 40, 120),
            max(2, height // 500),
            cv2.LINE_AA,
            4,
        )
    return image
