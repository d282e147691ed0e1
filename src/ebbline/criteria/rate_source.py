"""Whose rate it is: suspicions of another rate than the fetus's that a class must not rest on.

FIGO 2015 (Ayres-de-Campos et al., Int J Gynecol Obstet 2015;131:13-24) asks to listen and to feel
the maternal pulse where the source of the rate is in doubt. How long a doubt must last is ours.
"""

from __future__ import annotations

from collections.abc import Iterator

from ebbline.criteria.window_view import stretch
from ebbline.features.findings import Artefact, ArtefactKind, Findings
from ebbline.terms import Window

DOUBTFUL_FROM_S = 60.0
"""Suspicions that last so long together are said above the class, the best class is withheld, and
the panel keeps silent (ours)."""

_MAY_BE = {
    ArtefactKind.MATERNAL: "the mother's",
    ArtefactKind.DOUBLING: "a slow one counted double",
    ArtefactKind.HALVING: "a fast one counted half",
}


def doubts_of_source(
    findings: Findings, window: Window, least_certain: float = 0.0
) -> Iterator[str]:
    """What is doubted of the rate in a window: "the rate from ... may be the mother's: ...".

    least_certain: suspicions of less certainty are left out. Said once, whatever it may be
    instead: one and the same stretch often looks like several.
    """
    doubted: dict[ArtefactKind, list[Artefact]] = {}
    for kind in _MAY_BE:
        found = [
            one
            for one in findings.fetal.artefacts
            if one.kind is kind
            and one.certainty >= least_certain
            and one.start_s < window.end_s
            and one.end_s > window.start_s
        ]
        if sum(one.end_s - one.start_s for one in found) >= DOUBTFUL_FROM_S:
            doubted[kind] = found
    if not doubted:
        return
    parts = sorted((one.start_s, one.end_s) for found in doubted.values() for one in found)
    apart = 1 + sum(
        start_s > max(end for _, end in parts[:n]) for n, (start_s, _) in enumerate(parts) if n
    )
    where = stretch(parts[0][0], max(end_s for _, end_s in parts))
    listen = "" if tuple(doubted) == (ArtefactKind.MATERNAL,) else "listen, "
    yield (
        f"the rate {f'in {apart} stretches ' if apart > 1 else ''}from {where} may be "
        f"{', or '.join(_MAY_BE[kind] for kind in doubted)}: {listen}feel her pulse"
    )
