"""The readings of all recordings before and after a change, field by field.

    python -m bench.compare_readings --save before.json.gz          in the one checkout
    python -m bench.compare_readings --against before.json.gz       in the other

Every recording of the CTU-UHB database is read three times: its last half hour with the history,
and both half hours of the first stage that the readers of the data were shown. Prints each field
that differs, how often, and the first few places where it does; nothing is measured here, so that
it can tell a change of meaning from a change of house. Ends with status 1 where a field differs.
"""

from __future__ import annotations

import argparse
import gzip
import hashlib
import json
import os
import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from bench.panel_data import LEAST_WINDOW_S, step_window
from ebbline.codec import to_data
from ebbline.criteria import TABLES
from ebbline.features import detect
from ebbline.reading.analyse import read_findings
from ebbline.recording import open_recording

DATA = Path(os.environ.get("EBBLINE_SHARED", "../shared")) / "data" / "ctu-uhb"
LONG = 64
"""Lists of numbers longer than this are compared by their hash."""

EXAMPLES = 4


def flat(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """(path, leaf) of plain data; a curve is one leaf, its hash; floats to nine digits."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from flat(part, f"{path}.{key}" if path else str(key))
    elif isinstance(value, (list, tuple)):
        if len(value) > LONG and not isinstance(value[0], dict):
            rounded = [None if v is None else round(float(v), 9) for v in value]
            digest = hashlib.sha256(json.dumps(rounded).encode()).hexdigest()[:16]
            yield path, f"{len(value)} values, {digest}"
        else:
            yield f"{path}.number", len(value)
            for place, part in enumerate(value):
                yield from flat(part, f"{path}[{place}]")
    else:
        yield path, float(f"{value:.9g}") if isinstance(value, float) else value


def readings(folder: Path) -> dict[str, Any]:
    """The flattened readings of every recording of a folder, by their path."""
    found: dict[str, Any] = {}
    for path in sorted(folder.glob("*.hea")):
        recording = open_recording(path)
        findings = [detect(recording, fetus=one) for one in recording.fetuses]
        for name, window in (
            ("last", None),
            *(
                (f"step {step}", step_window(step, recording.context.second_stage_start_s, end_s))
                for step in (1, 2, 3)
                for end_s in (recording.duration_s,)
            ),
        ):
            if window is not None and window.duration_s < LEAST_WINDOW_S:
                continue
            reading = read_findings(
                recording,
                findings,
                window=window,
                standards=tuple(TABLES),
                history=window is None,
            )
            data = to_data(reading)
            if window is not None:
                for fetus in data["fetuses"]:
                    del fetus["findings"]
            found.update(flat(data, f"{path.stem} {name}"))
    return found


def field_of(path: str) -> str:
    """The field of a path, whatever the recording, window and place in a list."""
    return re.sub(r"\[\d+\]", "[]", path.split(".", 1)[1])


def report(before: dict[str, Any], after: dict[str, Any]) -> int:
    """Print what differs; the number of differing values."""
    missing = object()
    changed: dict[str, list[str]] = defaultdict(list)
    for path in sorted(before.keys() | after.keys()):
        old, new = before.get(path, missing), after.get(path, missing)
        if old == new:
            continue
        told = ["-" if value is missing else json.dumps(value) for value in (old, new)]
        changed[field_of(path)].append(f"{path.split('.', 1)[0]}: {told[0]} -> {told[1]}")
    recordings = len({path.split(" ", 1)[0] for path in after})
    print(f"{recordings} recordings, {len(after)} values, {len(changed)} fields differ")
    for field, places in sorted(changed.items()):
        print(f"\n{field}: {len(places)}")
        for place in places[:EXAMPLES]:
            print(f"  {place}")
    return sum(len(places) for places in changed.values())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--save", type=Path, help="write the readings here (gzipped JSON)")
    parser.add_argument("--against", type=Path, help="compare with the readings saved here")
    parser.add_argument("--data", type=Path, default=DATA, help="folder of recordings")
    asked = parser.parse_args()
    if not any(asked.data.glob("*.hea")):
        parser.error(f"no recordings in {asked.data}: set EBBLINE_SHARED or give --data")
    now = readings(asked.data)
    if asked.save:
        with gzip.open(asked.save, "wt", encoding="utf-8") as file:
            json.dump(now, file)
    if asked.against:
        with gzip.open(asked.against, "rt", encoding="utf-8") as file:
            return 1 if report(json.load(file), now) else 0
    return 0


if __name__ == "__main__":
    sys.exit(main())
