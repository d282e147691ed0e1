"""Strips of real and invented labours in a random order, the key on the last page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bench.realism.windows import HZ, Window

A_PAGE = 5
MINUTES = 30


def draw(windows: Sequence[Window], path: Path, seed: int) -> None:
    """A PDF of up to half an hour of each window, shuffled; the last page tells which were real."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    from matplotlib.backends.backend_pdf import PdfPages

    rng = np.random.default_rng(seed)
    order = rng.permutation(len(windows))
    key = []
    with PdfPages(
        path, metadata={"Creator": None, "Producer": None, "CreationDate": None}
    ) as pages:
        for page in range(0, len(order), A_PAGE):
            figure, axes = plt.subplots(
                2 * A_PAGE, 1, figsize=(11.7, 8.3), gridspec_kw={"height_ratios": [2.2, 1] * A_PAGE}
            )
            for place in range(A_PAGE):
                top, low = axes[2 * place], axes[2 * place + 1]
                for axis in (top, low):
                    axis.set_xticks(range(MINUTES + 1), [])
                    axis.grid(alpha=0.3)
                    axis.set_xlim(0, MINUTES)
                    axis.tick_params(labelsize=6)
                top.set(ylim=(50, 210), yticks=(60, 100, 140, 180))
                low.set(ylim=(0, 100), yticks=(0, 50, 100))
                number = page + place
                if number >= len(order):
                    top.set_visible(False)
                    low.set_visible(False)
                    continue
                window = windows[order[number]]
                length = min(MINUTES * 60 * HZ, len(window.fhr))
                start = int(rng.integers(0, len(window.fhr) - length + 1))
                minutes = np.arange(length) / HZ / 60
                top.plot(minutes, window.fhr[start : start + length], "k", lw=0.5)
                low.plot(minutes, window.toco[start : start + length], "k", lw=0.5)
                top.set_title(f"{number + 1}", fontsize=7, loc="left", pad=1)
                said = (
                    f"real, recording {window.labour}"
                    if window.real
                    else f"invented, seed {window.labour}"
                )
                key.append(
                    f"{number + 1}: {said}, {window.stage} stage, from minute {start / HZ / 60:.0f}"
                )
            figure.subplots_adjust(left=0.03, right=0.995, top=0.98, bottom=0.02, hspace=0.2)
            pages.savefig(figure)
            plt.close(figure)
        figure = plt.figure(figsize=(11.7, 8.3))
        half = (len(key) + 1) // 2
        for column, lines in enumerate((key[:half], key[half:])):
            figure.text(0.05 + 0.48 * column, 0.95, "\n".join(lines), va="top", fontsize=9)
        pages.savefig(figure)
        plt.close(figure)
