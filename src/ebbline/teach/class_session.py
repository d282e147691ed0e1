"""A class that reads one strip together: who is in it, what is asked, how the answers split.

Everyone answers alone, the split is shown, neighbours talk it over, everyone answers again, and
only then the truth is told (peer instruction: Crouch CH, Mazur E. Am J Phys 2001;69:970-7, from
memory). A session lives in memory and dies with it.
"""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from ebbline.errors import EbblineError

CODE_SIGNS = "BCDFGHJKMNPQRSTVWXZ23456789"
"""No vowels, so that no word comes out, and nothing that is read as something else."""
CODE_LENGTH = 5
MOST_LEARNERS = 200
LONGEST_NAME = 24


class ClassError(EbblineError):
    """Something about a class that cannot be done."""


class Phase(StrEnum):
    """How far a question is: nobody is asked yet; answers come in; the split is shown; the truth.

    A question may go from SPLIT back to OPEN: everyone answers again.
    """

    WAITING = "waiting"
    OPEN = "open"
    SPLIT = "split"
    TRUTH = "truth"


class Asked(StrEnum):
    """What a class is asked of a strip."""

    CLASS = "class"
    VARIABILITY = "variability"


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked. right: every option that a careful reader could give."""

    asked: Asked
    words: str
    options: tuple[str, ...]
    right: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Share:
    """How many chose an option in one round."""

    option: str
    count: int
    share: float


@dataclass(frozen=True, slots=True)
class Moved:
    """What talking it over changed, among those who answered both times.

    learners: how many they are. to_right, from_right: who came to a right answer, and who left one.
    """

    learners: int
    to_right: int
    from_right: int


def new_code(taken: Sequence[str] = ()) -> str:
    """A code nobody has, easy to read off a wall."""
    while True:
        code = "".join(secrets.choice(CODE_SIGNS) for _ in range(CODE_LENGTH))
        if code not in taken:
            return code


def clean_code(text: str) -> str:
    """A code as it was typed: case, blanks and hyphens do not matter."""
    return "".join(sign for sign in text.upper() if sign.isalnum())[:12]


@dataclass(slots=True)
class ClassSession:
    """One class at one strip. Not safe to use from several threads.

    learners: token to the name they chose. rounds: for each time it was asked, token to option.
    """

    code: str
    question: Question
    learners: dict[str, str] = field(default_factory=dict)
    phase: Phase = Phase.WAITING
    rounds: list[dict[str, str]] = field(default_factory=list)

    def join(self, token: str, name: str) -> None:
        """Come in under a name. Raises ClassError for a name that is taken, or none."""
        wanted = " ".join(name.split())[:LONGEST_NAME]
        if not wanted:
            raise ClassError("a name is wanted.", where="name", remedy="Any name will do.")
        others = {n.casefold() for t, n in self.learners.items() if t != token}
        if wanted.casefold() in others:
            raise ClassError(
                f"someone in this class is called {wanted} already.",
                where="name",
                remedy="Add a letter, or take another name.",
            )
        if token not in self.learners and len(self.learners) >= MOST_LEARNERS:
            raise ClassError(f"this class is full: {MOST_LEARNERS} learners.")
        self.learners[token] = wanted

    def leave(self, token: str) -> None:
        """Go, and take one's answers along."""
        self.learners.pop(token, None)
        for answers in self.rounds:
            answers.pop(token, None)

    def ask(self, question: Question | None = None) -> None:
        """Ask for the first time, or anew: everyone answers (again)."""
        if question is not None:
            self.question, self.rounds = question, []
        if self.phase is Phase.TRUTH and question is None:
            raise ClassError("the truth has been told.", remedy="Go on to another strip.")
        if self.phase is not Phase.OPEN:
            self.rounds.append({})
        self.phase = Phase.OPEN

    def answer(self, token: str, option: str) -> None:
        """Answer the open question; the last answer of a round counts. Raises ClassError."""
        if token not in self.learners:
            raise ClassError("you are not in this class.", remedy="Join it with the code.")
        if self.phase is not Phase.OPEN:
            raise ClassError("no answers are taken just now.", remedy="Look at the wall.")
        if option not in self.question.options:
            raise ClassError(f"{option!r} is not one of the answers.", where="answer")
        self.rounds[-1][token] = option

    def show_split(self) -> None:
        """Close the answering and show how it split."""
        if self.phase is not Phase.OPEN:
            raise ClassError("nothing is asked just now.", remedy="Ask first.")
        self.phase = Phase.SPLIT

    def tell_truth(self) -> None:
        """Show the truth beside the split; nobody answers after that."""
        if self.phase is Phase.WAITING:
            raise ClassError("nobody has been asked yet.", remedy="Ask first.")
        self.phase = Phase.TRUTH

    def wait(self, question: Question) -> None:
        """Another strip: nothing is asked of it yet."""
        self.question, self.rounds, self.phase = question, [], Phase.WAITING

    def split(self, number: int) -> tuple[Share, ...]:
        """The answers of one round (0 is the first), every option, in the question's order."""
        counts = Counter(self.rounds[number].values())
        total = max(1, sum(counts.values()))
        return tuple(Share(o, counts[o], counts[o] / total) for o in self.question.options)

    def moved(self) -> Moved | None:
        """What changed from the first round to the last; None before there were two."""
        if len(self.rounds) < 2:
            return None
        first, last = self.rounds[0], self.rounds[-1]
        right = set(self.question.right)
        both = [(first[token], last[token]) for token in first if token in last]
        return Moved(
            len(both),
            sum(a not in right and b in right for a, b in both),
            sum(a in right and b not in right for a, b in both),
        )
