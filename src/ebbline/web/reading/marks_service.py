"""A reader's own marks and notes: kept beside the computed findings, compared, never mixed in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from ebbline.errors import EbblineError
from ebbline.store import Store, now
from ebbline.terms import Window
from ebbline.web.principal import Principal
from ebbline.web.reading.models import Mark
from ebbline.web.reading.schemas import DifferenceOut, ItemOut, MarkIn
from ebbline.web.reading.withdrawal import standing
from ebbline.web.recordings.blind_service import reads_blind

if TYPE_CHECKING:
    from ebbline.features.findings import Findings

SHORTEST_S, LONGEST_S = 2.0, 6 * 3600.0


@dataclass(frozen=True, slots=True)
class MarkKind:
    """What can be marked. group: what it is compared with; plot, tone, letter: how it is drawn."""

    key: str
    words: str
    group: str
    plot: str
    tone: str
    letter: str


KINDS = {
    kind.key: kind
    for kind in (
        MarkKind("acceleration", "acceleration", "acceleration", "heart", "own", "A"),
        MarkKind("early", "early deceleration", "deceleration", "heart", "own", "E"),
        MarkKind("late", "late deceleration", "deceleration", "heart", "own", "L"),
        MarkKind("variable", "variable deceleration", "deceleration", "heart", "own", "V"),
        MarkKind("prolonged", "prolonged deceleration", "deceleration", "heart", "own", "P"),
        MarkKind("contraction", "contraction", "contraction", "uterine", "own", "C"),
        MarkKind("baseline", "baseline", "baseline", "heart", "own", "B"),
        MarkKind("note", "note", "note", "heart", "own", "•"),
    )
}


class MarkError(EbblineError):
    """A mark that cannot be kept."""


def add_mark(store: Store, key: str, duration_s: float, who: Principal, mark: MarkIn) -> int:
    """Keep a mark. Raises MarkError for one that makes no sense on this recording."""
    return add_marks(store, key, duration_s, who, [mark])[0]


def add_marks(
    store: Store, key: str, duration_s: float, who: Principal, marks: Sequence[MarkIn]
) -> list[int]:
    """Keep marks, all of them or none. Raises MarkError."""
    kinds = [_checked(mark, duration_s) for mark in marks]
    blind = reads_blind(store, key, who.name)
    rows = [
        Mark(
            recording_id=key,
            fetus=mark.fetus,
            kind=kind.key,
            start_s=mark.start_s,
            turn_s=None,
            end_s=mark.end_s,
            value=mark.value if kind.key == "baseline" else None,
            note=mark.note.strip(),
            author=who.name,
            blind=blind,
        )
        for mark, kind in zip(marks, kinds, strict=True)
    ]
    with store.session() as session:
        session.add_all(rows)
        session.flush()
        return [row.id for row in rows]


def _checked(mark: MarkIn, duration_s: float) -> MarkKind:
    kind = KINDS.get(mark.kind)
    if kind is None:
        raise MarkError("this cannot be marked.", where=mark.kind)
    length = mark.end_s - mark.start_s
    if mark.start_s < 0 or mark.end_s > duration_s + 1 or not SHORTEST_S <= length <= LONGEST_S:
        raise MarkError(
            "the mark is too short, too long, or not on this recording.",
            remedy="Draw it again on the strip.",
        )
    if kind.key == "baseline" and (mark.value is None or not 30 <= mark.value <= 240):
        raise MarkError("a baseline needs a height from 30 to 240 bpm.")
    if kind.key == "note" and not mark.note.strip():
        raise MarkError("a note needs words.")
    return kind


def withdraw_mark(store: Store, key: str, number: int, who: Principal) -> None:
    """Take one's own mark back; the row stays, with who and when. An admin may take back any."""
    with store.session() as session:
        row = standing(session, Mark, key, number, who, "mark")
        row.withdrawn_at = now()
        row.withdrawn_by = who.name


def mark_items(store: Store, key: str, fetus: int, reader: str) -> list[ItemOut]:
    """All marks that stand, one's own as layer "own", those of others as "other"."""
    with store.session() as session:
        rows = session.scalars(
            select(Mark)
            .where(Mark.recording_id == key, Mark.fetus == fetus, Mark.withdrawn_at.is_(None))
            .order_by(Mark.start_s)
        ).all()
    return [_item(row, reader) for row in rows]


def _item(row: Mark, reader: str) -> ItemOut:
    kind = KINDS[row.kind]
    own = row.author == reader
    words = f"{row.value:.0f}" if row.value is not None else kind.words.split()[0]
    return ItemOut(
        id=f"mark-{row.id}",
        layer="own" if own else "other",
        plot=kind.plot,
        kind=kind.key,
        name=words,
        title=kind.words.capitalize(),
        letter=kind.letter,
        tone="own" if own else "other",
        start_s=row.start_s,
        end_s=row.end_s,
        value=row.value,
        value_mark=kind.key == "baseline",
        details=[
            *([("height", f"{row.value:.0f} bpm")] if row.value is not None else []),
            *([("made", "blind")] if row.blind else []),
        ],
        note=row.note,
        author=row.author,
        human=True,
    )


def differences(findings: Findings, marks: list[ItemOut], window: Window) -> list[DifferenceOut]:
    """One's own marks against the computed findings of a window, in order of time.

    Events are matched one to one by the time they share; a baseline is held against the computed
    ten minutes it covers most of.
    """
    from ebbline.features.event_matching import Span, match

    own = [m for m in marks if m.layer == "own" and window.overlaps(m.start_s, m.end_s)]
    found: list[DifferenceOut] = []
    computed = {
        "acceleration": [
            ("acceleration", a.onset_s, a.end_s) for a in findings.fetal.accelerations
        ],
        "deceleration": [(d.kind.value, d.onset_s, d.end_s) for d in findings.fetal.decelerations],
        "contraction": [("contraction", c.onset_s, c.end_s) for c in findings.uterine.contractions],
    }
    for group, events in computed.items():
        mine = [m for m in own if KINDS[m.kind].group == group]
        theirs = [e for e in events if e[2] > window.start_s and e[1] < window.end_s]
        paired = match([Span(m.start_s, m.end_s) for m in mine], [Span(s, e) for _, s, e in theirs])
        for one, other in paired.pairs:
            mark, (kind, start, end) = mine[one], theirs[other]
            same = mark.kind == kind
            found.append(
                DifferenceOut(
                    verdict="agree" if same else "other kind",
                    words=_title(group, kind) if same else f"You: {mark.kind}. Computed: {kind}",
                    start_s=min(mark.start_s, start),
                    end_s=max(mark.end_s, end),
                )
            )
        for index in paired.extra:
            found.append(
                DifferenceOut(
                    verdict="only yours",
                    words=_title(group, mine[index].kind),
                    start_s=mine[index].start_s,
                    end_s=mine[index].end_s,
                )
            )
        for index in paired.missed:
            kind, start, end = theirs[index]
            found.append(
                DifferenceOut(
                    verdict="only computed", words=_title(group, kind), start_s=start, end_s=end
                )
            )
    found += [_baseline(findings, m) for m in own if m.kind == "baseline"]
    return sorted(found, key=lambda one: one.start_s)


def _title(group: str, kind: str) -> str:
    words = f"{kind} deceleration" if group == "deceleration" and "," not in kind else kind
    return words[:1].upper() + words[1:]


AGREE_WITHIN_BPM = 5.0
"""A baseline within this of the computed one agrees: the step the standards round to."""


def _baseline(findings: Findings, mark: ItemOut) -> DifferenceOut:
    shared = [
        (min(mark.end_s, s.end_s) - max(mark.start_s, s.start_s), s.bpm)
        for s in findings.fetal.baseline
        if s.determinate
    ]
    best = max(shared, default=(0.0, 0.0))
    value = mark.value or 0.0
    if best[0] <= 0:
        verdict, words = "only yours", f"Baseline: you {value:.0f} bpm, computed indeterminate"
    else:
        verdict = "agree" if abs(best[1] - value) <= AGREE_WITHIN_BPM else "other height"
        words = f"Baseline: you {value:.0f} bpm, computed {best[1]:.0f} bpm"
    return DifferenceOut(verdict=verdict, words=words, start_s=mark.start_s, end_s=mark.end_s)
