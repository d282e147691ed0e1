"""Ebbline: reading, examining and teaching for labour-and-delivery nurses and midwives.

For education, review, audit and research. Not a medical device.

    import ebbline

    reading = ebbline.read("1001.hea", window="last 30 min", weeks=39)
    print(ebbline.summary(reading))

What is listed in `__all__` is the front door (`ebbline.front_door`); its parts are loaded when they
are first asked for, so that `import ebbline` takes no time.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"

CAUTION = (
    "For education, review, audit and research. Not a medical device: the practitioner at the "
    "bedside and local policy decide."
)

__all__ = [
    "CAUTION",
    "__version__",
    "compare",
    "events",
    "examine",
    "from_arrays",
    "from_frame",
    "invent",
    "modified",
    "open",
    "plot",
    "read",
    "read_many",
    "summary",
]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'ebbline' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module("ebbline.front_door"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
