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
    half = np.float32(max(out_w, out_h) / 2)
    # Camera coordinates about the centre, -1..1 along the longer side.
    u = ((np.arange(out_w, dtype=np.float32) - out_w / 2) / half)[None, :]
    v = ((np.arange(out_h, dtype=np.float32) - out_h / 2) / half)[:, None]
    stretch = 1 + shot.lens * (u * u + v * v)
    u, v = u * stretch, v * stretch
    turn = np.radians(shot.turn_deg)
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    u, v = u * cos + v * sin, v * cos - u * sin
    focus = 2.6
    a, b = np.radians(shot.tilt_deg), np.radians(shot.pan_deg)
    # The ray through (u, v, focus) meets the sheet's plane, tilted about both axes.
    normal = np.array([np.sin(b) * np.cos(a), np.sin(a), np.cos(a) * np.cos(b)], np.float32)
    across = np.array([np.cos(b), 0.0, -np.sin(b)], np.float32)
    down = np.cross(normal, across).astype(np.float32)
    focal = np.float32(focus)
    distance = focal * normal[2] / (u * normal[0] + v * normal[1] + focal * normal[2])
    deep = focal * distance - focal
    u, v = u * distance, v * distance
    size = np.float32(shot.size)
    sx = (u * across[0] + v * across[1] + deep * across[2]) * (half / size)
    sy = (u * down[0] + v * down[1] + deep * down[2]) * (half / size)
    sx, sy = sx + np.float32(width / 2), sy + np.float32(height / 2)
    crease = np.float32(0.6 * width)
    if shot.curl:
        sy += np.float32(shot.curl * height) * np.sin(
            np.float32(np.pi * 1.5) * np.clip(sx / np.float32(width), 0, 1)
        )
    if shot.fold:
        near = np.abs(sx - crease) / np.float32(0.12 * width)
        sy += np.float32(shot.fold * height) * np.maximum(0, 1 - near)
    how = cv2.INTER_AREA if shot.size < 0.6 else cv2.INTER_LINEAR
    table = (shot.table, shot.table - 8, shot.table - 15)
    printed = cv2.remap(image, sx, sy, how, borderMode=cv2.BORDER_CONSTANT, borderValue=table)
    seen = printed.astype(np.float32)
    if shot.light:
        angle = chooser.uniform(0, 2 * np.pi)
        slope = (np.float32(np.cos(angle)) * u + np.float32(np.sin(angle)) * v) * np.float32(0.5)
        seen *= np.clip(1 - np.float32(shot.light) * (np.float32(0.5) + slope), 0.2, 1.2)[..., None]
    if shot.fold:
        near = np.exp(-(((sx - crease) / np.float32(0.004 * width)) ** 2))
        seen *= (1 - np.float32(0.25) * near)[:, :, None]
    if shot.blur_px:
        seen = cv2.GaussianBlur(seen, (0, 0), shot.blur_px)
    if shot.noise:
        seen += chooser.standard_normal(seen.shape, dtype=np.float32) * np.float32(shot.noise)
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
