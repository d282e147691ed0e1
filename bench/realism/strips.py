"""Strips of real and invented labours in a random order, the key at the end."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import Generator

from bench.realism.windows import HZ, Window

A_PAGE = 5
MINUTES = 30


def _pyplot() -> Any:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    return plt


def _page(windows: Sequence[Window], first: int, rng: Generator, size: tuple[float, float]) -> Any:
    """A figure of some windows, numbered from first; half an hour of each, from any minute."""
    figure, axes = _pyplot().subplots(
        2 * len(windows), 1, figsize=size, gridspec_kw={"height_ratios": [2.2, 1] * len(windows)}
    )
    for place, window in enumerate(windows):
        top, low = axes[2 * place], axes[2 * place + 1]
        length = min(MINUTES * 60 * HZ, len(window.fhr))
        start = int(rng.integers(0, len(window.fhr) - length + 1))
        minutes = np.arange(length) / HZ / 60
        top.plot(minutes, window.fhr[start : start + length], "k", lw=0.5)
        low.plot(minutes, window.toco[start : start + length], "k", lw=0.5)
        top.set(ylim=(50, 210), yticks=(60, 100, 140, 180))
        low.set(ylim=(0, 100), yticks=(0, 50, 100))
        top.set_title(f"{first + place}", fontsize=7, loc="left", pad=1)
        for axis in (top, low):
            axis.set_xticks(range(MINUTES + 1), [])
            axis.set_xlim(0, MINUTES)
            axis.tick_params(labelsize=6)
            axis.grid(alpha=0.3)
    figure.subplots_adjust(left=0.03, right=0.995, top=0.98, bottom=0.04, hspace=0.2)
    return figure


def _told(windows: Sequence[Window]) -> list[str]:
    return [
        f"{k}: {'real, recording' if w.real else 'invented, seed'} {w.labour}, {w.stage} stage"
        for k, w in enumerate(windows, 1)
    ]


def draw(windows: Sequence[Window], path: Path, seed: int) -> None:
    """A PDF of the windows, shuffled; the last page tells which were real."""
    from matplotlib.backends.backend_pdf import PdfPages

    plt = _pyplot()
    rng = np.random.default_rng(seed)
    mixed = [windows[k] for k in rng.permutation(len(windows))]
    with PdfPages(path, metadata={"Creator": None, "Producer": None, "CreationDate": None}) as pdf:
        for first in range(0, len(mixed), A_PAGE):
            figure = _page(mixed[first : first + A_PAGE], first + 1, rng, (11.7, 8.3))
            pdf.savefig(figure)
            plt.close(figure)
        figure = plt.figure(figsize=(11.7, 8.3))
        key = _told(mixed)
        half = (len(key) + 1) // 2
        for column, lines in enumerate((key[:half], key[half:])):
            figure.text(0.05 + 0.48 * column, 0.95, "\n".join(lines), va="top", fontsize=9)
        pdf.savefig(figure)
        plt.close(figure)


def picture(windows: Sequence[Window], path: Path, seed: int) -> None:
    """A PNG of a few windows, shuffled, the key in small print below."""
    rng = np.random.default_rng(seed)
    mixed = [windows[k] for k in rng.permutation(len(windows))]
    figure = _page(mixed, 1, rng, (13, 2.1 * len(mixed)))
    key = _told(mixed)
    half = (len(key) + 1) // 2
    figure.text(0.03, 0.005, "\n".join("   ".join(k) for k in (key[:half], key[half:])), fontsize=8)
    figure.savefig(path, dpi=85, metadata={"Software": None})
    _pyplot().close(figure)
