"""What running a command in the tests' own process gives (the fixture `ebbline`)."""

from __future__ import annotations

from collections.abc import Callable

Ebbline = Callable[..., tuple[int, str, str]]
"""Takes the words of a command (and answers); gives its exit code, output, and errors."""
