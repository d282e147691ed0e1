"""What all policies share: a head, sources with their marks, and where they are found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from ebbline.bedside.policy.reader import Entry, parse, read_file
from ebbline.bedside.sources import Mark, Source

HEAD = ("policy", "edition", "sources")


@dataclass(frozen=True, slots=True)
class PolicyHead:
    """Which policy this is. file: "shipped" or the path of the unit's own."""

    policy: str
    edition: str
    file: str


@dataclass(frozen=True, slots=True)
class Differs:
    """Where another source says otherwise."""

    text: str
    source: str


def open_policy(name: str, path: Path | None) -> tuple[Entry, str]:
    """The top of a policy and its file's name: the unit's own, or the one that is shipped.

    Raises PolicyError when the file cannot be read or is not YAML.
    """
    if path is not None:
        return parse(read_file(path), str(path)), str(path)
    text = resources.files("ebbline.bedside.policy").joinpath(f"{name}.yaml").read_text("utf-8")
    return parse(text, f"shipped {name}.yaml"), "shipped"


def head(fields: Mapping[str, Entry], kind: str, file: str) -> PolicyHead:
    """The head of a policy. Raises PolicyError when the file is a policy of another kind."""
    said = fields["policy"].choice([kind])
    return PolicyHead(said, fields["edition"].text(), file)


_MARKS = {mark.value: mark for mark in Mark}


def sources(entry: Entry) -> dict[str, Source]:
    """Sources by their short names."""
    made = {}
    for one in entry.entries():
        fields = one.fields(("text", "mark"))
        made[one.name] = Source(fields["text"].text(), _MARKS[fields["mark"].choice(_MARKS)])
    return made


def source(entry: Entry, known: Mapping[str, Source]) -> str:
    """The source that a short name stands for."""
    return str(known[entry.choice(known)])


def differences(entry: Entry | None, known: Mapping[str, Source]) -> tuple[Differs, ...]:
    """Where other sources say otherwise."""
    if entry is None:
        return ()
    made = []
    for one in entry.items():
        fields = one.fields(("text", "source"))
        made.append(Differs(fields["text"].text(), source(fields["source"], known)))
    return tuple(made)
