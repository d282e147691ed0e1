"""A class as its pages show it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from ebbline.web.classroom.schemas import ClassOut, PlayedOut, ShareOut, StripOut, TruthOut

if TYPE_CHECKING:
    from ebbline.web.classroom.service import OpenClass


def shown(found: OpenClass, token: str = "") -> ClassOut:
    """The class now. The split is told when the answering is closed, the truth when it is told."""
    from ebbline.teach.class_session import Phase

    session = found.session
    told = session.phase is Phase.TRUTH
    closed = len(session.rounds) - (session.phase is Phase.OPEN)
    right = set(session.question.right)
    splits = [
        [
            ShareOut(
                option=one.option,
                count=one.count,
                share=one.share,
                right=one.option in right if told else None,
            )
            for one in session.split(number)
        ]
        for number in range(closed)
    ]
    last = session.rounds[-1] if session.rounds else {}
    return ClassOut(
        code=found.code,
        mode=found.mode.value,
        phase=session.phase.value,
        round=len(session.rounds),
        question=session.question.words,
        options=list(session.question.options),
        answered=len(last),
        learners=len(session.learners),
        splits=splits,
        truth=_truth(found) if told else None,
        strip=_strip(found),
        mine=last.get(token, ""),
        name=session.learners.get(token, ""),
    )


def _strip(found: OpenClass) -> StripOut | None:
    strip, running = found.strip, found.running
    if strip is None:
        return None
    return StripOut(
        number=found.number,
        title=strip.title,
        who=strip.who,
        scene=strip.scene,
        shown_s=running.now_s(),
        ends_s=running.ends_s,
        speed=running.speed,
        runs=running.since is not None and running.now_s() < running.ends_s,
    )


def _truth(found: OpenClass) -> TruthOut | None:
    strip = found.strip
    if strip is None:
        return None
    moved = found.session.moved()
    return TruthOut(
        right=list(found.session.question.right),
        rule=list(strip.rule),
        panel=strip.panel,
        afterword=strip.afterword,
        to_right=moved.to_right if moved else 0,
        from_right=moved.from_right if moved else 0,
        both=moved.learners if moved else 0,
    )


def played(found: OpenClass) -> PlayedOut:
    """How far a class is whose learners play alone."""
    finished = found.teaching.finished()
    begun = found.teaching.begun_by()
    first: dict[str, float] = {}
    said: Counter[str] = Counter()
    for attempt in finished:
        if attempt.learner not in first:
            first[attempt.learner] = attempt.score.share
            said[attempt.said_class or "not answered"] += 1
    return PlayedOut(
        learners=len(found.session.learners),
        begun=len(begun),
        finished=len(first),
        shares=sorted(first.values()),
        said=dict(said.most_common()),
        true=finished[0].true_class if finished else "",
    )
