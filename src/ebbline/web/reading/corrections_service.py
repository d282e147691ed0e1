"""A reader's corrections of computed findings: applied in order, kept with who and when.

The computed findings stay as they are. A corrected reading is the computed findings with one
reader's corrections applied, each in the order it was made, and the criteria run again on them.
A baseline or variability is set for a stretch; events keep what was measured of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from ebbline.errors import EbblineError
from ebbline.store import Store, now
from ebbline.terms import Window
from ebbline.web.held import Held
from ebbline.web.principal import Principal
from ebbline.web.reading.models import Correction
from ebbline.web.reading.schemas import ChangeIn, CorrectionOut, ItemOut
from ebbline.web.reading.withdrawal import standing as standing_row

if TYPE_CHECKING:
    from ebbline.features.findings import Findings
    from ebbline.recording.model import Recording
    from ebbline.web.recordings.library import Library

HELD_CORRECTED = 48
LEVELS = ("baseline", "variability")
"""What is set for a stretch, rather than found, moved or taken out."""
SAME_FINDING = 0.5
"""Least shared time (Jaccard) at which a finding is the one a correction speaks of."""


class CorrectionError(EbblineError):
    """A correction that cannot be made."""


@dataclass(slots=True, eq=False)
class Corrected:
    """What one reader's corrections make of the findings.

    items: what was added or changed, as brackets; struck: computed id -> what became of it;
    lost: corrections that no longer fit (computed by another version, or taken back in between).
    """

    findings: Findings
    items: list[ItemOut] = field(default_factory=list)
    struck: dict[str, str] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)


class Corrections:
    """All readers' corrections: kept in the store, applied to the library's findings."""

    def __init__(self, store: Store, library: Library) -> None:
        self._store = store
        self._library = library
        self._applied: Held[Corrected] = Held(HELD_CORRECTED)

    def of(
        self, key: str, fetus: int, *, author: str | None = None, standing: bool = False
    ) -> list[CorrectionOut]:
        """Corrections in the order they were made. standing: without those taken back."""
        asked = select(Correction).where(Correction.recording_id == key, Correction.fetus == fetus)
        if author is not None:
            asked = asked.where(Correction.author == author)
        if standing:
            asked = asked.where(Correction.withdrawn_at.is_(None))
        with self._store.session() as session:
            rows = session.scalars(asked.order_by(Correction.id)).all()
        return [_told(row) for row in rows]

    def applied(self, key: str, fetus: int, author: str) -> Corrected | None:
        """The findings with one reader's corrections; None when there are none."""
        standing = self.of(key, fetus, author=author, standing=True)
        if not standing:
            return None
        which = tuple(one.id for one in standing)
        return self._applied.get(
            (key, self._library.version(key), fetus, which),
            lambda: apply_corrections(
                self._library.recording(key), self._library.findings_of(key, fetus), standing
            ),
        )

    def keep(self, key: str, fetus: int, who: Principal, change: ChangeIn) -> int:
        """Keep one correction; an error in words when it does not fit on those that stand."""
        computed = self._library.findings_of(key, fetus)
        standing = self.of(key, fetus, author=who.name, standing=True)
        _check(self._library.recording(key), computed, standing, change, who)
        row = Correction(recording_id=key, fetus=fetus, change=change.model_dump(), author=who.name)
        with self._store.session() as session:
            session.add(row)
            session.flush()
            return row.id

    def withdraw(self, key: str, number: int, who: Principal) -> None:
        """Take one's own correction back; it stays on record. An admin may take back any."""
        with self._store.session() as session:
            row = standing_row(session, Correction, key, number, who, "correction")
            row.withdrawn_by = who.name
            row.withdrawn_at = now()


def _told(row: Correction) -> CorrectionOut:
    change = ChangeIn(**row.change)
    return CorrectionOut(
        id=row.id,
        change=change,
        words=in_words(change),
        author=row.author,
        made_at=row.made_at,
        withdrawn_by=row.withdrawn_by,
        withdrawn_at=row.withdrawn_at,
    )


def _check(
    recording: Recording,
    computed: Findings,
    standing: Sequence[CorrectionOut],
    change: ChangeIn,
    who: Principal,
) -> None:
    tried = CorrectionOut(
        id=0,
        change=change,
        words=in_words(change),
        author=who.name,
        made_at=now(),
        withdrawn_by=None,
        withdrawn_at=None,
    )
    entries = _entries(computed)
    struck: dict[str, str] = {}
    for one in standing:
        with suppress(EbblineError):
            _apply(recording, computed, entries, struck, one)
    _apply(recording, computed, entries, struck, tried)


def in_words(change: ChangeIn) -> str:
    """'late deceleration added', 'contraction taken out'."""
    what = f"{change.kind} deceleration" if change.kind else change.group
    match change.action:
        case "delete":
            return f"{change.group} taken out"
        case "add":
            return f"{what} added"
        case "move":
            return f"ends of a {change.group} moved"
        case "rename":
            return f"deceleration named {change.kind}"
        case "set":
            return f"{change.group} set to {change.value or 0.0:.0f} bpm"


@dataclass(slots=True, eq=False)
class _Entry:
    """An event in the making. computed: its place among the computed, None when added."""

    event: Any
    computed: int | None = None
    kind: Any = None
    by: CorrectionOut | None = None


def _entries(computed: Findings) -> dict[str, list[_Entry]]:
    return {
        "acceleration": [_Entry(e, k) for k, e in enumerate(computed.fetal.accelerations)],
        "deceleration": [_Entry(e, k) for k, e in enumerate(computed.fetal.decelerations)],
        "contraction": [_Entry(e, k) for k, e in enumerate(computed.uterine.contractions)],
    }


def apply_corrections(
    recording: Recording, computed: Findings, corrections: Sequence[CorrectionOut]
) -> Corrected:
    """The computed findings with these corrections, in order."""
    made = Corrected(computed)
    entries = _entries(computed)
    for one in corrections:
        try:
            _apply(recording, computed, entries, made.struck, one)
        except EbblineError as error:
            made.lost.append(f"{one.words} ({one.author}): {error.what}")
    findings = _rebuilt(computed, entries)
    made.items = _items(findings, entries)
    for one in corrections:
        if one.change.group in LEVELS:
            with suppress(EbblineError):
                findings = _leveled(recording, findings, one.change)
                made.items.append(_level_item(one))
    made.findings = findings
    return made


def _leveled(recording: Recording, findings: Findings, change: ChangeIn) -> Findings:
    from ebbline.features.manual_levels import with_baseline, with_variability

    start_s, end_s = change.start_s, change.end_s
    if start_s is None or end_s is None or not 0 <= start_s < end_s <= recording.duration_s + 1:
        raise CorrectionError("its ends do not lie on this recording.", where=change.group)
    if change.value is None:
        raise CorrectionError("no value was given.", where=change.group, remedy="Say how many bpm.")
    laid = with_baseline if change.group == "baseline" else with_variability
    return laid(findings, Window(start_s, end_s), change.value)


def _level_item(one: CorrectionOut) -> ItemOut:
    change = one.change
    value = change.value or 0.0
    baseline = change.group == "baseline"
    return ItemOut(
        id=f"correction-{one.id}",
        layer="corrected",
        plot="heart",
        kind=change.group,
        name=f"{value:.0f}" if baseline else f"variability {value:.0f}",
        title=f"{change.group.capitalize()} set to {value:.0f} bpm",
        letter="B" if baseline else "v",
        tone="own",
        start_s=change.start_s or 0.0,
        end_s=change.end_s or 0.0,
        value=value if baseline else None,
        value_mark=baseline,
        details=[("set to", f"{value:.0f} bpm")],
        rule=f"Set by {one.author}; events keep what was measured of them.",
        note=change.note,
        author=f"{one.words}, {one.author}",
        human=True,
    )


def _apply(
    recording: Recording,
    computed: Findings,
    entries: dict[str, list[_Entry]],
    struck: dict[str, str],
    one: CorrectionOut,
) -> None:
    change = one.change
    if change.group in LEVELS or change.action == "set":
        if change.group not in LEVELS or change.action != "set":
            raise CorrectionError("this cannot be done to that.", where=change.group)
        # Tried here, so that what cannot be is refused; laid over the events in the end.
        _leveled(recording, computed, change)
        return
    group = entries[change.group]
    if change.action == "add":
        entry = _Entry(_measured(recording, computed, change))
        entry.kind = _kind(change)
        group.append(entry)
    else:
        entry = _target(group, change)
        if change.action == "delete":
            group.remove(entry)
        elif change.action == "move":
            entry.event = _measured(recording, computed, change)
        else:
            entry.kind = _kind(change)
        if entry.computed is not None:
            done = {"delete": "taken out", "move": "moved"}.get(
                change.action, f"named {change.kind}"
            )
            struck[f"{change.group}-{entry.computed}"] = f"{done} by {one.author}"
    entry.by = one
    if entry.kind is not None:
        entry.event = replace(entry.event, kind=entry.kind)


def _kind(change: ChangeIn) -> Any:
    from ebbline.features.findings import DecelerationKind

    if change.group != "deceleration" or change.kind is None:
        return None
    return DecelerationKind(change.kind)


def _measured(recording: Recording, computed: Findings, change: ChangeIn) -> Any:
    from ebbline.features import manual_events

    start_s, end_s = change.start_s, change.end_s
    if start_s is None or end_s is None or not 0 <= start_s < end_s <= recording.duration_s + 1:
        raise CorrectionError("its ends do not lie on this recording.", where=change.group)
    measure: Any = {
        "acceleration": manual_events.acceleration_between,
        "deceleration": manual_events.deceleration_between,
        "contraction": manual_events.contraction_between,
    }[change.group]
    return measure(recording, computed, start_s, end_s)


def _target(group: list[_Entry], change: ChangeIn) -> _Entry:
    from ebbline.features.event_matching import Span, shared_time

    if change.target_start_s is None or change.target_end_s is None:
        raise CorrectionError("which finding is meant was not said.", where=change.group)
    wanted = Span(change.target_start_s, change.target_end_s)
    best, most = None, 0.0
    for entry in group:
        shared = shared_time(wanted, Span(entry.event.onset_s, entry.event.end_s))
        if shared > most:
            best, most = entry, shared
    if best is None or most < SAME_FINDING:
        raise CorrectionError(
            f"there is no {change.group} there any more.", remedy="Load the page again."
        )
    return best


def _rebuilt(computed: Findings, entries: dict[str, list[_Entry]]) -> Findings:
    from ebbline.features.manual_events import with_contractions

    for group in entries.values():
        group.sort(key=lambda entry: entry.event.onset_s)
    events = {name: tuple(e.event for e in group) for name, group in entries.items()}
    fetal = replace(
        computed.fetal,
        accelerations=events["acceleration"],
        decelerations=events["deceleration"],
    )
    findings = replace(computed, fetal=fetal)
    if events["contraction"] == computed.uterine.contractions:
        return findings
    findings = with_contractions(findings, events["contraction"])
    named = tuple(
        event if entry.kind is None else replace(event, kind=entry.kind)
        for event, entry in zip(findings.fetal.decelerations, entries["deceleration"], strict=True)
    )
    return replace(findings, fetal=replace(findings.fetal, decelerations=named))


def _items(findings: Findings, entries: dict[str, list[_Entry]]) -> list[ItemOut]:
    from ebbline.web.reading.presenters import finding_items

    drawn = {item.id: item for item in finding_items(findings)}
    items = []
    for name, group in entries.items():
        for place, entry in enumerate(group):
            if entry.by is None:
                continue
            item = drawn[f"{name}-{place}"]
            rule = f"Named by {entry.by.author}. {item.rule}" if entry.kind else item.rule
            items.append(
                item.model_copy(
                    update={
                        "id": f"correction-{entry.by.id}",
                        "layer": "corrected",
                        "tone": "own",
                        "human": True,
                        "rule": rule,
                        "note": entry.by.change.note,
                        "author": f"{entry.by.words}, {entry.by.author}",
                    }
                )
            )
    return items
