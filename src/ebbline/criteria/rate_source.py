"""Whose rate it is: suspicions of another rate than the fetus's that a class must not rest on.

FIGO 2015 (Ayres-de-Campos et al., Int J Gynecol Obstet 2015;131:13-24) asks to listen and to feel
the maternal pulse where the source of the rate is in doubt. How long a doubt must last is ours.
"""

from __future__ import annotations

from collections.abc import Iterator

from ebbline.criteria.window_view import stretch
from ebbline.features.findings import ArtefactKind, Findings
from ebbline.terms import Window

DOUBTFUL_FROM_S = 60.0
"""Suspicions that last so long together are said above the class, the best class is withheld, and
the panel keeps silent (ours)."""

_NOT_THE_FETUS = (
    ((ArtefactKind.MATERNAL,), "may be the mother's: feel her pulse"),
    ((ArtefactKind.DOUBLING,), "may be a slow one counted double: listen, feel her pulse"),
    ((ArtefactKind.HALVING,), "may be a fast one counted half: listen, feel her pulse"),
)


def doubts_of_source(findings: Findings, window: Window) -> Iterator[str]:
    """What is doubted of the rate in a window: "the rate from ... may be the mother's: ..."."""
    for kinds, may_be in _NOT_THE_FETUS:
        found = [
            one
            for one in findings.fetal.artefacts
            if one.kind in kinds and one.start_s < window.end_s and one.end_s > window.start_s
        ]
        if sum(one.end_s - one.start_s for one in found) >= DOUBTFUL_FROM_S:
            where = stretch(found[0].start_s, found[-1].end_s)
            parts = f"in {len(found)} stretches " if len(found) > 1 else ""
            yield f"the rate {parts}from {where} {may_be}"
