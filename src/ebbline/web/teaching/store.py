"""What teaching keeps in the workbench's store: cases, assignments, attempts, what to practise.

Of a learner it keeps the account's name, the steps of each attempt, its score, and when a skill
falls due; nothing else. A learner can take all of it along (`everything_of`) and have it erased
(`erase`).
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Protocol

from sqlalchemy import delete, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from ebbline.errors import EbblineError
from ebbline.store import now
from ebbline.web.teaching.models import (
    TeachAssignment,
    TeachAttempt,
    TeachCard,
    TeachCase,
    TeachClass,
    TeachGroup,
    TeachSeat,
    TeachStep,
)

if TYPE_CHECKING:
    from ebbline.teach.attempt_record import FinishedAttempt
    from ebbline.teach.case import Case
    from ebbline.teach.scoring import Score
    from ebbline.teach.spacing import Due
    from ebbline.teach.steps import Step


class TeachingError(EbblineError):
    """Something about cases, assignments or attempts that cannot be done."""


class Sessions(Protocol):
    """Where teaching's tables lie: the workbench's store, or memory."""

    def session(self) -> AbstractContextManager[Session]:
        """One unit of work: committed whole or not at all."""


@dataclass(frozen=True, slots=True)
class AttemptView:
    """An attempt without its steps. share: NaN where not finished."""

    id: str
    learner: str
    case: str
    seed: int
    assignment: str
    started_at: datetime
    finished_at: datetime | None
    share: float
    unsafe: int


@dataclass(frozen=True, slots=True)
class AssignmentView:
    """An assignment. names: who it is for, empty for everyone."""

    id: str
    case: str
    seed: int | None
    title: str
    due_at: datetime | None
    attempts: int
    names: tuple[str, ...]
    set_by: str
    set_at: datetime
    closed_at: datetime | None

    @property
    def overdue(self) -> bool:
        """Whether its day is past."""
        return self.due_at is not None and self.due_at < now()

    def is_for(self, learner: str) -> bool:
        """Whether a learner is asked for it."""
        return not self.names or learner in self.names


@dataclass(frozen=True, slots=True)
class KeptClass:
    """What a teacher kept of a class. results: counts, and names where they were wanted."""

    id: int
    title: str
    held_by: str
    held_at: datetime
    results: dict[str, Any]


class Teaching:
    """All that teaching keeps, on the workbench's store."""

    def __init__(self, store: Sessions) -> None:
        self._store = store

    # --- cases -----------------------------------------------------------------------------

    def cases(self) -> dict[str, Case]:
        """The shipped cases, the recordings on this computer and the teachers' own, by id."""
        from ebbline.teach.case import case_from_yaml
        from ebbline.teach.library import shipped
        from ebbline.teach.real_cases import offered

        found = {**shipped(), **offered()}
        with self._store.session() as session:
            rows = session.scalars(
                select(TeachCase).where(TeachCase.withdrawn_at.is_(None)).order_by(TeachCase.id)
            ).all()
        for row in rows:
            found[row.case] = case_from_yaml(row.yaml, where=row.case)
        return found

    def own_cases(self) -> dict[str, str]:
        """The teachers' own cases: id to author."""
        with self._store.session() as session:
            rows = session.scalars(
                select(TeachCase).where(TeachCase.withdrawn_at.is_(None)).order_by(TeachCase.id)
            ).all()
            return {row.case: row.author for row in rows}

    def case(self, name: str) -> Case:
        """One case by id. Raises TeachingError."""
        from ebbline.teach.library import shipped
        from ebbline.teach.real_cases import recorded_by_id

        if name in shipped():
            return shipped()[name]
        recorded = recorded_by_id(name)
        if recorded is not None:
            return recorded
        cases = self.cases()
        if name not in cases:
            raise TeachingError(f"there is no case {name!r}.", remedy="Choose one of the list.")
        return cases[name]

    def keep_case(self, text: str, author: str) -> Case:
        """Keep a teacher's case. Raises ScenarioError, TeachingError for a shipped case's id."""
        from ebbline.teach.case import case_from_yaml
        from ebbline.teach.library import shipped
        from ebbline.teach.patient import check

        case = case_from_yaml(text)
        check(case)
        if case.id in shipped():
            raise TeachingError(
                "that is the id of a shipped case.", where=case.id, remedy="Choose another id."
            )
        with self._store.session() as session:
            session.add(TeachCase(case=case.id, yaml=text, author=author))
        return case

    def withdraw_case(self, name: str) -> None:
        """Take a teacher's case off the list; attempts at it keep it."""
        with self._store.session() as session:
            rows = session.scalars(
                select(TeachCase).where(TeachCase.case == name, TeachCase.withdrawn_at.is_(None))
            ).all()
            if not rows:
                raise TeachingError("there is no such case of your own.", where=name)
            for row in rows:
                row.withdrawn_at = now()

    def yaml_of(self, name: str) -> str:
        """The YAML of a case, shipped or kept. Raises TeachingError."""
        from ebbline.teach.case import case_to_yaml

        with self._store.session() as session:
            row = session.scalar(
                select(TeachCase)
                .where(TeachCase.case == name, TeachCase.withdrawn_at.is_(None))
                .order_by(TeachCase.id.desc())
            )
            if row is not None:
                return row.yaml
        return case_to_yaml(self.case(name))

    # --- assignments -----------------------------------------------------------------------

    def set_assignment(
        self,
        *,
        case: str,
        seed: int | None,
        title: str,
        due_at: datetime | None,
        attempts: int,
        names: Sequence[str],
        set_by: str,
    ) -> str:
        """Set a case to a class. Returns the assignment's id. Raises TeachingError."""
        from ebbline.teach.patient import check_seed

        self.case(case)
        if seed is not None:
            check_seed(seed)
        if not 0 <= attempts <= 100:
            raise TeachingError("attempts go from 0 (any number) to 100.", where="attempts")
        key = secrets.token_hex(8)
        with self._store.session() as session:
            session.add(
                TeachAssignment(
                    id=key,
                    case=case,
                    seed=seed,
                    title=title.strip()[:120] or case,
                    due_at=due_at,
                    attempts=attempts,
                    names={"names": sorted({n.strip() for n in names if n.strip()})},
                    set_by=set_by,
                )
            )
        return key

    def close_assignment(self, key: str) -> None:
        """Take an assignment off the learners' pages; its attempts stay."""
        with self._store.session() as session:
            row = session.get(TeachAssignment, key)
            if row is None:
                raise TeachingError("there is no such assignment.", where=key)
            row.closed_at = now()

    def assignments(self, *, learner: str | None = None) -> tuple[AssignmentView, ...]:
        """All open assignments (of a learner), the first due first."""
        with self._store.session() as session:
            rows = session.scalars(
                select(TeachAssignment).where(TeachAssignment.closed_at.is_(None))
            ).all()
        views = [_assignment(row) for row in rows]
        if learner is not None:
            views = [view for view in views if view.is_for(learner)]
        return tuple(
            sorted(views, key=lambda v: (v.due_at is None, v.due_at or v.set_at, v.set_at))
        )

    def assignment(self, key: str) -> AssignmentView:
        """One assignment, open or closed. Raises TeachingError."""
        with self._store.session() as session:
            row = session.get(TeachAssignment, key)
        if row is None:
            raise TeachingError("there is no such assignment.", where=key)
        return _assignment(row)

    # --- attempts --------------------------------------------------------------------------

    def begin(
        self,
        learner: str,
        case: str,
        *,
        seed: int | None = None,
        assignment: str = "",
        late: bool = False,
    ) -> str:
        """Begin an attempt and return its id.

        seed: None takes the assignment's variant, or, without one, the case as written the
        first time and a new variant each time after. Raises TeachingError where the assignment
        is closed, not for this learner, or allows no more attempts; and where it is overdue,
        unless late says that the learner knows.
        """
        from ebbline.teach.patient import AS_WRITTEN, LARGEST_SEED, check_seed

        made = self.case(case)
        own = self.own_cases()
        with self._store.session() as session:
            before = session.scalar(
                select(func.count())
                .select_from(TeachAttempt)
                .where(
                    TeachAttempt.learner == learner,
                    TeachAttempt.case == case,
                    TeachAttempt.assignment == assignment,
                )
            )
            if assignment:
                asked = session.get(TeachAssignment, assignment)
                if asked is None or asked.closed_at is not None or asked.case != case:
                    raise TeachingError("this assignment is no longer open.", where=assignment)
                if not _assignment(asked).is_for(learner):
                    raise TeachingError("this assignment is not yours.", where=assignment)
                if _assignment(asked).overdue and not late:
                    raise TeachingError(
                        "this work is overdue.",
                        where=asked.title,
                        remedy="Begin it late from the page of your cases; your teacher sees so.",
                    )
                if asked.attempts and (before or 0) >= asked.attempts:
                    raise TeachingError(
                        f"all {asked.attempts} attempts have been used.",
                        where=asked.title,
                        remedy="The case can still be practised from the library.",
                    )
                seed = asked.seed if asked.seed is not None else secrets.randbelow(LARGEST_SEED)
            if seed is None:
                seed = secrets.randbelow(LARGEST_SEED) if before else AS_WRITTEN
            row = TeachAttempt(
                id=secrets.token_hex(8),
                learner=learner,
                case=case,
                yaml=self.yaml_of(case) if case in own else "",
                seed=check_seed(seed),
                assignment=assignment,
                standard=made.standard.value,
            )
            session.add(row)
            return row.id

    def attempt(self, key: str) -> AttemptView:
        """One attempt. Raises TeachingError."""
        with self._store.session() as session:
            return _view(self._row(session, key))

    def case_of(self, key: str) -> Case:
        """The case of an attempt, as it was when the attempt began."""
        from ebbline.teach.case import case_from_yaml

        with self._store.session() as session:
            row = self._row(session, key)
        return case_from_yaml(row.yaml, where=row.case) if row.yaml else self.case(row.case)

    def steps(self, key: str) -> list[Step]:
        """The steps of an attempt in order."""
        from ebbline.teach.steps import step_from_data

        with self._store.session() as session:
            rows = session.scalars(
                select(TeachStep).where(TeachStep.attempt == key).order_by(TeachStep.number)
            ).all()
        return [step_from_data(row.data) for row in rows]

    def add_step(self, key: str, number: int, step: Step) -> None:
        """Keep a step. Raises TeachingError where another one came first."""
        from ebbline.teach.steps import step_to_data

        try:
            with self._store.session() as session:
                session.add(TeachStep(attempt=key, number=number, data=step_to_data(step)))
        except IntegrityError:
            raise TeachingError(
                "another step came first.",
                remedy="Load the page again; is the case open in two windows?",
            ) from None

    def finish(self, key: str, score: Score, said_class: str, true_class: str) -> None:
        """Keep an attempt's score, and bring the learner's cards up to date."""
        from ebbline.codec import to_data
        from ebbline.teach.spacing import after_attempt, card_from_data, card_to_data

        at = now()
        with self._store.session() as session:
            row = self._row(session, key)
            if row.finished_at is not None:
                return
            row.finished_at = at
            row.score = to_data(score)
            row.said_class, row.true_class = said_class, true_class
            kept = {
                card.skill: card
                for card in session.scalars(
                    select(TeachCard).where(TeachCard.learner == row.learner)
                )
            }
            cards = after_attempt(
                {skill: card_from_data(card.data) for skill, card in kept.items()},
                dict(score.skills),
                at,
            )
            for skill, _ in score.skills:
                data = card_to_data(cards[skill])
                if skill in kept:
                    kept[skill].data = data
                else:
                    session.add(TeachCard(learner=row.learner, skill=skill, data=data))

    def attempts_of(self, learner: str) -> tuple[AttemptView, ...]:
        """A learner's attempts, the latest first."""
        with self._store.session() as session:
            rows = session.scalars(
                select(TeachAttempt)
                .where(TeachAttempt.learner == learner)
                .order_by(TeachAttempt.started_at.desc())
            ).all()
            return tuple(_view(row) for row in rows)

    def attempts_at(self, assignment: str) -> tuple[AttemptView, ...]:
        """Everyone's attempts at an assignment, the first first."""
        with self._store.session() as session:
            rows = session.scalars(
                select(TeachAttempt)
                .where(TeachAttempt.assignment == assignment)
                .order_by(TeachAttempt.started_at)
            ).all()
            return tuple(_view(row) for row in rows)

    def finished(
        self, *, learner: str | None = None, assignment: str | None = None
    ) -> tuple[FinishedAttempt, ...]:
        """Finished attempts with their scores, by time."""
        query = select(TeachAttempt).where(TeachAttempt.finished_at.is_not(None))
        if learner is not None:
            query = query.where(TeachAttempt.learner == learner)
        if assignment is not None:
            query = query.where(TeachAttempt.assignment == assignment)
        with self._store.session() as session:
            rows = session.scalars(query.order_by(TeachAttempt.finished_at)).all()
        return tuple(_finished(row) for row in rows)

    def due(self, learner: str) -> tuple[Due, ...]:
        """The learner's skills that are due, the least remembered first."""
        from ebbline.teach.spacing import card_from_data, due_skills

        with self._store.session() as session:
            rows = session.scalars(select(TeachCard).where(TeachCard.learner == learner)).all()
        return due_skills({row.skill: card_from_data(row.data) for row in rows}, now())

    def begun_by(self, *, assignment: str | None = None) -> frozenset[str]:
        """Everyone who has begun an attempt (of an assignment)."""
        query = select(TeachAttempt.learner).distinct()
        if assignment is not None:
            query = query.where(TeachAttempt.assignment == assignment)
        with self._store.session() as session:
            return frozenset(session.scalars(query))

    # --- classes that were kept --------------------------------------------------------------

    def keep_class(self, title: str, results: dict[str, Any], *, by: str) -> None:
        """Keep what came out of a class; names are in it only where the teacher wants them."""
        with self._store.session() as session:
            session.add(TeachClass(title=title[:120], results=results, held_by=by))

    def kept_classes(self) -> tuple[KeptClass, ...]:
        """What was kept of classes, the latest first."""
        with self._store.session() as session:
            rows = session.scalars(select(TeachClass).order_by(TeachClass.id.desc())).all()
        return tuple(KeptClass(r.id, r.title, r.held_by, r.held_at, r.results) for r in rows)

    def forget_class(self, key: int) -> None:
        """Erase what was kept of a class."""
        with self._store.session() as session:
            session.execute(delete(TeachClass).where(TeachClass.id == key))

    # --- the learner's own data ------------------------------------------------------------

    def everything_of(self, learner: str) -> dict[str, Any]:
        """All that is kept of a learner, as plain data."""
        with self._store.session() as session:
            attempts = session.scalars(
                select(TeachAttempt).where(TeachAttempt.learner == learner)
            ).all()
            steps = session.scalars(
                select(TeachStep)
                .join(TeachAttempt, TeachAttempt.id == TeachStep.attempt)
                .where(TeachAttempt.learner == learner)
                .order_by(TeachStep.attempt, TeachStep.number)
            ).all()
            cards = session.scalars(select(TeachCard).where(TeachCard.learner == learner)).all()
        return {
            "learner": learner,
            "attempts": [
                {
                    "id": row.id,
                    "case": row.case,
                    "variant": row.seed,
                    "assignment": row.assignment,
                    "started": row.started_at.isoformat(),
                    "finished": row.finished_at.isoformat() if row.finished_at else None,
                    "score": row.score,
                    "steps": [
                        {"taken": step.taken_at.isoformat(), **step.data}
                        for step in steps
                        if step.attempt == row.id
                    ],
                }
                for row in attempts
            ],
            "practice": {card.skill: card.data for card in cards},
        }

    def erase(self, learner: str) -> int:
        """Erase all that is kept of a learner; returns how many attempts there were."""
        with self._store.session() as session:
            keys = session.scalars(
                select(TeachAttempt.id).where(TeachAttempt.learner == learner)
            ).all()
            session.execute(delete(TeachStep).where(TeachStep.attempt.in_(keys)))
            session.execute(delete(TeachAttempt).where(TeachAttempt.learner == learner))
            session.execute(delete(TeachCard).where(TeachCard.learner == learner))
            session.execute(delete(TeachSeat).where(TeachSeat.learner == learner))
            for group in session.scalars(select(TeachGroup)):
                kept = [name for name in group.names.get("names", ()) if name != learner]
                group.names = {**group.names, "names": kept}
            for row in session.scalars(select(TeachAssignment)):
                if learner in row.names.get("names", ()):
                    left = [one for one in row.names["names"] if one != learner]
                    # Set to nobody any more is not set to everybody.
                    row.names = {**row.names, "names": left}
                    row.closed_at = row.closed_at if left else now()
            return len(keys)

    def learners(self) -> tuple[str, ...]:
        """Everyone with an attempt, by name."""
        with self._store.session() as session:
            return tuple(
                session.scalars(
                    select(TeachAttempt.learner).distinct().order_by(TeachAttempt.learner)
                )
            )

    def _row(self, session: Session, key: str) -> TeachAttempt:
        row = session.get(TeachAttempt, key)
        if row is None:
            raise TeachingError("there is no such attempt.", where=key)
        return row


def _view(row: TeachAttempt) -> AttemptView:
    finished = _finished(row) if row.score is not None else None
    return AttemptView(
        id=row.id,
        learner=row.learner,
        case=row.case,
        seed=row.seed,
        assignment=row.assignment,
        started_at=row.started_at,
        finished_at=row.finished_at,
        share=finished.score.share if finished else float("nan"),
        unsafe=len(finished.score.unsafe) if finished else 0,
    )


def _finished(row: TeachAttempt) -> FinishedAttempt:
    from ebbline.codec import from_data
    from ebbline.teach.attempt_record import FinishedAttempt
    from ebbline.teach.scoring import Score

    assert row.finished_at is not None
    return FinishedAttempt(
        id=row.id,
        learner=row.learner,
        case=row.case,
        seed=row.seed,
        started=row.started_at,
        finished=row.finished_at,
        assignment=row.assignment,
        score=from_data(Score, row.score),
        standard=row.standard,
        said_class=row.said_class,
        true_class=row.true_class,
    )


def _assignment(row: TeachAssignment) -> AssignmentView:
    names: Mapping[str, Iterable[str]] = row.names
    return AssignmentView(
        id=row.id,
        case=row.case,
        seed=row.seed,
        title=row.title,
        due_at=row.due_at,
        attempts=row.attempts,
        names=tuple(names.get("names", ())),
        set_by=row.set_by,
        set_at=row.set_at,
        closed_at=row.closed_at,
    )
