"""Odd files for every reader: none may end in anything but an answer or an error in words.

    python -m bench.fuzz                        # 2,000 inputs for each reader
    python -m bench.fuzz --seconds 60           # a minute for each, as in CI
    python -m bench.fuzz csv --inputs 1000000   # a million for one
    python -m bench.fuzz csv --again 123456     # one input once more, by its number

Prints for each reader how many inputs were read, how many refused in words, and what went wrong:
an error of another kind (also one that only the outermost guard caught), or more than --slow
seconds of the processor. Inputs that went wrong are kept in --keep. The end is 1 when anything
went wrong.
"""

from __future__ import annotations

import argparse
import random
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Sequence
from pathlib import Path
from types import FrameType

from bench.fuzz.damage import spoiled
from bench.fuzz.readers import Reader, readers
from ebbline.errors import EbblineError, UnforeseenError

HANGS_S = 60


class HangsError(BaseException):
    """An input that was given up; not an Exception, so that no guard takes it for one."""


def _give_up(_: int, frame: FrameType | None) -> None:
    raise HangsError


def input_of(reader: Reader, number: int) -> bytes:
    """The spoiled file of a number: the same each time."""
    chance = random.Random(f"{reader.name} {number}")
    return spoiled(chance.choice(reader.seeds), chance)


def outcome(reader: Reader, data: bytes, place: Path, slow_s: float) -> str:
    """ "read", "refused", or in words what went wrong."""
    # Of the processor, not of the clock: other work on the machine is not the reader's.
    began = time.process_time()
    signal.alarm(HANGS_S)
    try:
        reader.take(data, place)
        how = "read"
    except UnforeseenError as error:
        cause = error.__cause__
        how = f"unforeseen {type(cause).__name__}: {str(cause)[:80]}"
    except EbblineError as error:
        how = "refused" if str(error) else "an error without words"
    except HangsError:
        how = f"hangs: more than {HANGS_S} s"
    except Exception as error:
        how = f"{type(error).__name__}: {str(error)[:80]}"
    finally:
        signal.alarm(0)
    took = time.process_time() - began
    return how if took <= slow_s or how.startswith("hangs") else f"slow: {took:.1f} s"


def run(reader: Reader, args: argparse.Namespace) -> int:
    """Spoil, read, count, print. Returns how many inputs went wrong."""
    counts = {"read": 0, "refused": 0}
    wrong: dict[str, list[int]] = {}
    began, number = time.monotonic(), args.first
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        while True:
            spent = time.monotonic() - began
            if spent > args.seconds if args.seconds else number - args.first >= args.inputs:
                break
            data = input_of(reader, number)
            how = outcome(reader, data, place, args.slow)
            if how in counts:
                counts[how] += 1
            else:
                kind = how.partition(":")[0]
                wrong.setdefault(kind if kind in {"slow", "hangs"} else how, []).append(number)
                args.keep.mkdir(parents=True, exist_ok=True)
                (args.keep / f"{reader.name}-{number}").write_bytes(data)
            number += 1
    failed = sum(map(len, wrong.values()))
    print(
        f"{reader.name:8} {number - args.first:8} inputs in {time.monotonic() - began:6.1f} s: "
        f"{counts['read']} read, {counts['refused']} refused in words, {failed} wrong",
        flush=True,
    )
    for how, numbers in sorted(wrong.items()):
        print(f"    {len(numbers)} x {how} (such as number {numbers[0]})", flush=True)
    return failed


def main(words: Sequence[str] | None = None) -> int:
    known = readers()
    parser = argparse.ArgumentParser(
        prog="python -m bench.fuzz",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("readers", nargs="*", choices=[*known, []], help="all when none is named")
    parser.add_argument("--inputs", type=int, default=2000)
    parser.add_argument("--seconds", type=float, default=0.0, help="in place of a number of inputs")
    parser.add_argument("--first", type=int, default=0, help="number of the first input")
    parser.add_argument("--slow", type=float, default=5.0, help="seconds that are too many")
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "ebbline-fuzz")
    parser.add_argument("--again", type=int, help="read one input once more, with its traceback")
    args = parser.parse_args(words)
    warnings.simplefilter("ignore")
    signal.signal(signal.SIGALRM, _give_up)
    chosen = [known[name]() for name in args.readers or known]
    if args.again is not None:
        with tempfile.TemporaryDirectory() as made:
            for reader in chosen:
                reader.take(input_of(reader, args.again), Path(made))
        return 0
    return 1 if sum(run(reader, args) for reader in chosen) else 0


if __name__ == "__main__":
    sys.exit(main())
