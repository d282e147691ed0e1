"""What each shipped case shows and practises, worked out once from its truth and kept as JSON.

`python -m ebbline.teach.index` works it out anew; a test holds that the kept one is right.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

from ebbline.teach.case import Case
from ebbline.teach.library import shipped

FILE = "index.json"


@dataclass(frozen=True, slots=True)
class Entry:
    """One case. shows: terms and ways to lie; skills: what its score tells of a learner."""

    shows: tuple[str, ...]
    skills: tuple[str, ...]


@cache
def index() -> dict[str, Entry]:
    """The kept index by case id; cases without one (a teacher's own) are absent."""
    text = files("ebbline.teach").joinpath("cases", FILE).read_text(encoding="utf-8")
    return {
        name: Entry(tuple(entry["shows"]), tuple(entry["skills"]))
        for name, entry in json.loads(text).items()
    }


def work_out(case: Case) -> Entry:
    """What a case shows and practises, from its truth."""
    from ebbline.teach.coverage import shown_by, well_monitored
    from ebbline.teach.judge import score

    if case.recorded is not None:
        return Entry((), (f"class by {case.standard}",))
    skills = {skill for skill, _ in score(well_monitored(case)).skills}
    return Entry(tuple(sorted(shown_by(case))), tuple(sorted(skills)))


def text_of_index() -> str:
    """The index of all shipped cases as it should be kept."""
    made = {
        name: {"shows": list(entry.shows), "skills": list(entry.skills)}
        for name, entry in ((case.id, work_out(case)) for case in shipped().values())
    }
    return json.dumps(dict(sorted(made.items())), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    place = Path(str(files("ebbline.teach").joinpath("cases", FILE)))
    draft = place.with_suffix(".part")
    draft.write_text(text_of_index(), encoding="utf-8")
    draft.replace(place)
    print(f"{place}: {len(shipped())} cases")
