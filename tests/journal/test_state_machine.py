"""Whatever is written, corrected, struck through, opened anew: nothing is lost, the chain holds."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, invariant, multiple, rule

from ebbline.journal.chain import Draft
from ebbline.journal.entries import body_from
from ebbline.journal.errors import ConflictError
from ebbline.journal.standing import standing
from ebbline.journal.store import Journal

CASE = "24-0117"
BEGINS = datetime(2025, 3, 1, 6, tzinfo=UTC)


class Record(RuleBasedStateMachine):
    """A record beside a model of it: what was acknowledged, and what holds."""

    holding = Bundle("holding")
    replaced = Bundle("replaced")

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.place = Path(self.folder.name) / "record.sqlite"
        self.now = BEGINS
        self.journal = Journal(self.place, now=lambda: self.now)
        first = self.journal.open_case(CASE, "4", author="Kim")
        self.acknowledged = [first]
        self.holds: dict[int, str] = {1: "4"}

    def draft(self, words: str, corrects: int | None = None, token: str = "") -> Draft:
        self.now += timedelta(minutes=1)
        return Draft(body_from("note", {"note": words}), self.now, "Kim", corrects, token)

    @rule(target=holding, words=st.text("abc", min_size=1, max_size=3))
    def write(self, words: str) -> int:
        entry = self.journal.append(CASE, self.draft(words))
        self.acknowledged.append(entry)
        self.holds[entry.number] = words
        return entry.number

    @rule(target=holding, old=consumes(holding), words=st.text("xyz", min_size=1, max_size=3))
    def correct(self, old: int, words: str) -> int:
        entry = self.journal.append(CASE, self.draft(words, old))
        self.acknowledged.append(entry)
        del self.holds[old]
        self.holds[entry.number] = words
        return entry.number

    @rule(target=replaced, old=consumes(holding))
    def withdraw(self, old: int) -> int:
        self.now += timedelta(minutes=1)
        error = body_from("withdrawn", {"why": "wrong"})
        self.acknowledged.append(
            self.journal.append(CASE, Draft(error, self.now, "Noor", corrects=old))
        )
        del self.holds[old]
        return old

    @rule(old=replaced)
    def correct_what_is_gone(self, old: int) -> None:
        try:
            self.journal.append(CASE, self.draft("again", old))
        except ConflictError:
            return
        raise AssertionError("an entry was corrected twice")

    @rule(target=holding, words=st.text("tok", min_size=1, max_size=3))
    def write_twice(self, words: str) -> object:
        token = f"token-{len(self.acknowledged):08d}"
        draft = self.draft(words, token=token)
        entry = self.journal.append(CASE, draft)
        assert self.journal.append(CASE, draft) == entry
        self.acknowledged.append(entry)
        self.holds[entry.number] = words
        return multiple(entry.number)

    @rule()
    def open_anew(self) -> None:
        self.journal.close()
        self.journal = Journal(self.place, now=lambda: self.now)

    @invariant()
    def nothing_is_lost_and_the_chain_holds(self) -> None:
        entries = self.journal.entries(CASE)
        assert list(entries) == self.acknowledged
        held = {one.number: one.words for one in standing(entries)}
        assert held == self.holds
        assert self.journal.verify().holds

    def teardown(self) -> None:
        self.journal.close()
        self.folder.cleanup()


Record.TestCase.settings = settings(max_examples=12, stateful_step_count=14, deadline=None)
TestRecord = Record.TestCase
