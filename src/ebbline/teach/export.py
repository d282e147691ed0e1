"""Attempts as CSV and as xAPI statements, for a spreadsheet or a learning record store.

xAPI: Experience API 1.0.3 (Advanced Distributed Learning), also IEEE 9274.1.1. Learners appear
under a pseudonym unless their names are asked for.
"""

from __future__ import annotations

import csv
import hashlib
import hmac
import io
import uuid
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote

from ebbline.teach.attempt_record import FinishedAttempt

HOME_PAGE = "https://ebbline.invalid/"
"""Home page of accounts and activities where the teacher names none (RFC 2606: never real)."""

_COLUMNS = (
    "learner", "case", "variant", "attempt", "assignment", "started", "finished",
    "step", "answer", "truth", "points", "possible", "unsafe choices in attempt",
)  # fmt: skip
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def pseudonym(learner: str, secret: bytes) -> str:
    """A name that stays the same for a learner but cannot be turned back without the secret."""
    return "learner-" + hmac.new(secret, learner.encode(), hashlib.sha256).hexdigest()[:12]


def pseudonyms(attempts: Iterable[FinishedAttempt], secret: bytes) -> dict[str, str]:
    """Pseudonyms of all learners."""
    return {a.learner: pseudonym(a.learner, secret) for a in attempts}


def to_csv(attempts: Iterable[FinishedAttempt], names: Mapping[str, str]) -> str:
    """One row for each scored step. names: learner -> name to show.

    A cell that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for attempt in attempts:
        for line in attempt.score.lines:
            writer.writerow(
                [
                    _plain(names[attempt.learner]), attempt.case, attempt.seed, attempt.id,
                    _plain(attempt.assignment), attempt.started.isoformat(),
                    attempt.finished.isoformat(), line.item, _plain(line.learner),
                    _plain(line.truth), f"{line.points:.3f}", f"{line.possible:.3f}",
                    len(attempt.score.unsafe),
                ]
            )  # fmt: skip
    return text.getvalue()


def _plain(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA_STARTS) else cell


def to_xapi(
    attempts: Iterable[FinishedAttempt], names: Mapping[str, str], *, home_page: str = HOME_PAGE
) -> list[dict[str, Any]]:
    """xAPI statements: one "completed" for each attempt, one "answered" for each scored step.

    Ids are made from the attempt, so exporting again gives the same statements, not new ones.
    """
    return [
        statement
        for attempt in attempts
        for statement in _statements(attempt, names[attempt.learner], home_page.rstrip("/") + "/")
    ]


def _statements(attempt: FinishedAttempt, name: str, home: str) -> list[dict[str, Any]]:
    registration = uuid.uuid5(uuid.NAMESPACE_URL, f"{home}attempts/{attempt.id}")
    case_id = f"{home}cases/{quote(attempt.case)}"
    shared: dict[str, Any] = {
        "actor": {"objectType": "Agent", "account": {"homePage": home, "name": name}},
        "timestamp": attempt.finished.isoformat(),
        "version": "1.0.3",
    }
    took = max(0.0, (attempt.finished - attempt.started).total_seconds())
    completed: dict[str, Any] = {
        "id": str(uuid.uuid5(registration, "completed")),
        **shared,
        "verb": _verb("completed"),
        "object": _activity(case_id, attempt.case, "simulation"),
        "result": {
            "completion": True,
            "duration": f"PT{took:.2f}S",
            "extensions": {f"{home}unsafe-choices": len(attempt.score.unsafe)},
        },
        "context": {
            "registration": str(registration),
            "extensions": {f"{home}variant": attempt.seed},
        },
    }
    if attempt.score.lines:
        completed["result"]["score"] = _score(attempt.score.points, attempt.score.possible)
    answered = [
        {
            "id": str(uuid.uuid5(registration, f"answered {line.item}")),
            **shared,
            "verb": _verb("answered"),
            "object": _activity(f"{case_id}/{line.item.replace(' ', '-')}", line.item, "question"),
            "result": {
                "score": _score(line.points, line.possible),
                "success": line.points == line.possible,
                "response": line.learner,
            },
            "context": {
                "registration": str(registration),
                "contextActivities": {"parent": [_activity(case_id, attempt.case, "simulation")]},
            },
        }
        for line in attempt.score.lines
    ]
    return [completed, *answered]


def _verb(word: str) -> dict[str, Any]:
    return {"id": f"http://adlnet.gov/expapi/verbs/{word}", "display": {"en": word}}


def _activity(identifier: str, name: str, kind: str) -> dict[str, Any]:
    return {
        "objectType": "Activity",
        "id": identifier,
        "definition": {
            "name": {"en": name},
            "type": f"http://adlnet.gov/expapi/activities/{kind}",
        },
    }


def _score(points: float, possible: float) -> dict[str, float]:
    return {
        "scaled": round(points / possible, 4),
        "raw": round(points, 4),
        "min": 0.0,
        "max": round(possible, 4),
    }
