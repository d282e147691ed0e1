"""YAML with the line of every value kept, so that an error can say where it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from pathlib import Path

import yaml

from ebbline.errors import PolicyError

MOST_BYTES = 1_000_000
_TRUE, _FALSE = ("true", "yes", "on"), ("false", "no", "off")


class Entry:
    """One value of a policy file, knowing its file and line."""

    def __init__(self, node: yaml.Node, file: str, name: str) -> None:
        self._node = node
        self._file = file
        self.name = name

    @property
    def line(self) -> int:
        """Line in the file, the first being 1."""
        return int(self._node.start_mark.line) + 1

    def error(self, what: str, remedy: str = "") -> PolicyError:
        """The error to raise about this value."""
        return PolicyError(what, where=f"{self._file}, line {self.line}", remedy=remedy)

    def text(self) -> str:
        """A text. Raises PolicyError for a list, a mapping or nothing."""
        if not isinstance(self._node, yaml.ScalarNode) or not self._node.value.strip():
            raise self.error(f"'{self.name}' must be a text.")
        return " ".join(str(self._node.value).split())

    def number(self) -> float:
        """A finite number. Raises PolicyError for anything else."""
        text = self.text()
        try:
            value = float(text)
        except ValueError:
            raise self.error(f"'{self.name}' must be a number, not '{text}'.") from None
        if not abs(value) < 1e9:
            raise self.error(f"'{self.name}' must be a finite number, not '{text}'.")
        return value

    def truth(self) -> bool:
        """Yes or no. Raises PolicyError for anything else."""
        text = self.text().lower()
        if text in _TRUE:
            return True
        if text in _FALSE:
            return False
        raise self.error(f"'{self.name}' must be yes or no, not '{text}'.")

    def choice(self, choices: Iterable[str]) -> str:
        """One of some words. Raises PolicyError, with a suggestion, for another."""
        known = list(choices)
        text = self.text()
        if text in known:
            return text
        close = get_close_matches(text, known, n=1, cutoff=0.6)
        remedy = f"Did you mean '{close[0]}'?" if close else f"Choose from: {', '.join(known)}."
        raise self.error(f"'{text}' cannot stand for '{self.name}'.", remedy)

    @property
    def is_list(self) -> bool:
        """True for a list."""
        return isinstance(self._node, yaml.SequenceNode)

    @property
    def is_mapping(self) -> bool:
        """True for keys with values."""
        return isinstance(self._node, yaml.MappingNode)

    def items(self) -> tuple[Entry, ...]:
        """The members of a list. Raises PolicyError for anything else."""
        if not isinstance(self._node, yaml.SequenceNode):
            raise self.error(f"'{self.name}' must be a list (lines that begin with '-').")
        return tuple(Entry(node, self._file, self.name) for node in self._node.value)

    def entries(self) -> tuple[Entry, ...]:
        """The values of a mapping with free keys, each named by its key."""
        return tuple(value for _, value in self._pairs())

    def fields(self, required: Iterable[str], optional: Iterable[str] = ()) -> dict[str, Entry]:
        """The values of a mapping with known keys. Raises PolicyError for missing or other keys."""
        needed, allowed = list(required), [*required, *optional]
        found: dict[str, Entry] = {}
        for key, value in self._pairs():
            if key.text() not in allowed:
                key.choice(allowed)
            found[key.text()] = value
        for name in needed:
            if name not in found:
                raise self.error(f"'{name}' is missing here.", f"Needed are: {', '.join(needed)}.")
        return found

    def _pairs(self) -> Iterator[tuple[Entry, Entry]]:
        if not isinstance(self._node, yaml.MappingNode):
            raise self.error(f"'{self.name}' must be keys with values ('key: value').")
        seen: set[str] = set()
        for key, value in self._node.value:
            named = Entry(key, self._file, "key")
            name = named.text()
            if name in seen:
                raise named.error(f"'{name}' stands here twice.", "Keep one.")
            seen.add(name)
            yield named, Entry(value, self._file, name)


def parse(text: str, file: str) -> Entry:
    """The top of a policy. Raises PolicyError for what is not plain YAML."""
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    try:
        if any(isinstance(event, yaml.AliasEvent) for event in yaml.parse(text, Loader=loader)):
            raise PolicyError(
                "aliases (*name) are not read.", where=file, remedy="Write the value out."
            )
        node = yaml.compose(text, Loader=loader)
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 0
        raise PolicyError(
            f"this is not YAML: {error.problem or error.context}.",
            where=f"{file}, line {line}",
            remedy="Check indents, colons and quotes.",
        ) from error
    except yaml.YAMLError as error:
        raise PolicyError(f"this is not YAML: {error}.", where=file) from error
    except RecursionError as error:
        raise PolicyError("this is nested too deeply.", where=file) from error
    if node is None:
        raise PolicyError("the file is empty.", where=file)
    return Entry(node, file, "policy")


def read_file(path: Path) -> str:
    """Text of a policy file. Raises PolicyError when it cannot be read."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise PolicyError("the file is too large for a policy.", where=str(path))
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise PolicyError(
            f"the policy cannot be read: {reason}.", where=str(path), remedy="Check the path."
        ) from error
