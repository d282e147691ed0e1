"""Ways to spoil a file: bytes, words, lines and numbers."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

WORDS = (
    b"nan", b"inf", b"-inf", b"-1", b"0", b"1e999", b"1e-999", b"9" * 30, b"9" * 5000, b"\0", b"#",
    b";", b",", b"\t", b"|", b'"', b"~", b"/", b"..", b"\xff", b"\xc3\x28", b"\xed\xa0\x80", b"\n",
    b"\r", b"FHR", b"FHR2", b"UC", b"MHR", b"mmHg", b"mV", b"time_s", b"9999-12-31T23:59:59",
    b"0001-01-01T00:00:00+14:00", b"23:59:59", b"2147483648", b"-32768", b"null", b"true", b"[",
    b"]", b"{", b"}", b"[" * 3000, b"(" * 2000, b" " * 3000, b"1." * 1000, b"EDF+D", b"\x14\x00",
    b"\x15",
    b"? {a: b}\n: 1\n", b"&a", b"*a", b"!!python/object:x", b"- ", b": ",
    b"Start: 9999-12-31T23:59", b"Second stage from (s): 1e308", b"Parity: 1e308",
)  # fmt: skip
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")


def _somewhere(data: bytes, chance: random.Random) -> int:
    """A place, more often near the beginning, where headers are."""
    within = len(data) if chance.random() < 0.4 else min(len(data), 1500)
    return chance.randrange(within + 1)


def flip(data: bytes, chance: random.Random) -> bytes:
    """One bit, or one byte, otherwise."""
    if not data:
        return data
    at = min(_somewhere(data, chance), len(data) - 1)
    byte = data[at] ^ (1 << chance.randrange(8)) if chance.random() < 0.5 else chance.randrange(256)
    return data[:at] + bytes([byte]) + data[at + 1 :]


def insert_word(data: bytes, chance: random.Random) -> bytes:
    """A word put in."""
    at = _somewhere(data, chance)
    return data[:at] + chance.choice(WORDS) + data[at:]


def overwrite_word(data: bytes, chance: random.Random) -> bytes:
    """A word in place of as many bytes."""
    at, word = _somewhere(data, chance), chance.choice(WORDS)
    return data[:at] + word + data[at + len(word) :]


def other_number(data: bytes, chance: random.Random) -> bytes:
    """A number of the text replaced by another."""
    found = list(_NUMBER.finditer(data, 0, 4000))
    if not found:
        return flip(data, chance)
    one = chance.choice(found)
    other = chance.choice(
        (b"0", b"-1", b"1e308", b"9" * 400, b"1e-320", b"inf", b"nan", b"65536", b"-32769", b"0.1")
    )
    return data[: one.start()] + other + data[one.end() :]


def cut(data: bytes, chance: random.Random) -> bytes:
    """The end lost, or a piece of the middle."""
    at = _somewhere(data, chance)
    return data[:at] if chance.random() < 0.5 else data[:at] + data[at + chance.randrange(40) :]


def repeat(data: bytes, chance: random.Random) -> bytes:
    """A piece twice, or many times."""
    at = _somewhere(data, chance)
    piece = data[at : at + chance.randrange(1, 40)]
    return data[:at] + piece * chance.choice((2, 3, 500)) + data[at:]


def swap_lines(data: bytes, chance: random.Random) -> bytes:
    """Two lines exchanged."""
    lines = data.split(b"\n")
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    return b"\n".join(lines)


WAYS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    flip,
    flip,
    insert_word,
    overwrite_word,
    other_number,
    cut,
    repeat,
    swap_lines,
)


def spoiled(data: bytes, chance: random.Random) -> bytes:
    """The data after one to four changes; now and then nothing but chance."""
    if chance.random() < 0.02:
        return chance.randbytes(chance.randrange(1, 400))
    for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 4))):
        data = chance.choice(WAYS)(data, chance)
    return data
