"""What each shipped case shows and practises, worked out from its truth when first asked for."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import cache

from ebbline.teach.case import Case
from ebbline.teach.library import shipped


@dataclass(frozen=True, slots=True)
class Entry:
    """One case. shows: terms and ways to lie; skills: what its score tells of a learner."""

    shows: tuple[str, ...]
    skills: tuple[str, ...]


@cache
def entry(name: str) -> Entry:
    """A shipped case's entry: some twenty milliseconds the first time, nothing after."""
    return work_out(shipped()[name])


def index() -> dict[str, Entry]:
    """All shipped cases' entries by id: about a second the first time."""
    return {name: entry(name) for name in shipped()}


_working = threading.Lock()


def index_so_far() -> dict[str, Entry]:
    """The whole index where it has been worked out; else nothing yet, and work on it begins.

    For pages, which must not wait for it.
    """
    if entry.cache_info().currsize >= len(shipped()):
        return index()
    if _working.acquire(blocking=False):
        threading.Thread(target=_work_ahead, name="index of cases", daemon=True).start()
    return {}


def _work_ahead() -> None:
    try:
        index()
    finally:
        _working.release()


def work_out(case: Case) -> Entry:
    """What a case shows and practises, from its truth."""
    from ebbline.teach.answers import StripAnswer
    from ebbline.teach.coverage import shown_in
    from ebbline.teach.grading import score
    from ebbline.teach.steps import ReadStrip
    from ebbline.teach.variants import well_monitored

    if case.recorded is not None:
        return Entry((), (f"class by {case.standard}",))
    encounter = well_monitored(case)
    shows = shown_in(encounter)
    if encounter.ready_to_read:
        encounter.take(ReadStrip(StripAnswer(encounter.window, case.standard)))
    skills = {skill for skill, _ in score(encounter).skills}
    return Entry(tuple(sorted(shows)), tuple(sorted(skills)))
