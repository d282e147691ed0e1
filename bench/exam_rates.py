"""How an examination behaves over many: `python -m bench.exam_rates [--write]`.

Draws routine examinations (the four grips with fifths and mobility, the heart) of vertices and of
non-cephalic fetuses from the model itself, at 39 weeks, for learning, ordinary and experienced
hands with and without a thick wall. Prints how many true vertices meet a contradiction, and the
trade of the scan advice: share of non-cephalic sent against share of vertices sent. With --write
it puts the curves into the shipped scan policy and the page docs/calibration.md together with the
calibration table. `--count` examinations of each kind (default 3000); two seeds: one to develop
on, and the locked one that is reported.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from ebbline.bedside import ExamContext, Examiner, Hindrance
from ebbline.bedside.calibration import calibration_table
from ebbline.bedside.policy.scan import ScanPoint, load_scan
from ebbline.bedside.simulation import Drawn, drawn_examinations

DEVELOP_SEED, LOCKED_SEED = 1, 39_000
JUDGED = 1000
"""Vertices in which the contradictions are counted: this takes most of the time."""
SENT = (0.01, 0.02, 0.05, 0.10, 0.15, 0.20, 0.30, 0.50, 0.80)
HANDS = (Examiner.LEARNING, Examiner.ORDINARY, Examiner.EXPERIENCED)
HINDRANCES = {"": (), " hindered": (Hindrance.THICK_WALL,)}
HOUSE = Path(__file__).parents[1]
PAGE = HOUSE / "docs" / "calibration.md"
POLICY = HOUSE / "src" / "ebbline" / "bedside" / "policy" / "scan.yaml"
BEGIN, END = "<!-- measured: {} -->", "<!-- end: {} -->"


def measured(count: int, seed: int, judged: int) -> dict[str, Drawn]:
    """Drawn examinations by hands and hindrance, the contradictions in so many of them."""
    made = {}
    for examiner in HANDS:
        for name, hindrances in HINDRANCES.items():
            context = ExamContext(weeks=39, examiner=examiner, hindrances=hindrances)
            made[examiner.value + name] = drawn_examinations(context, count, seed, judged)
    return made


def curve(drawn: Drawn) -> list[ScanPoint]:
    """Points of the trade, the fewest vertices first, each threshold once."""
    points = {}
    for share in SENT:
        point = drawn.sending(share)
        points[round(point.from_probability, 4)] = point
    return list(points.values())


def curve_yaml(drawn: dict[str, Drawn]) -> str:
    """The curves as the policy holds them, per cent."""
    lines = ["curves:"]
    for name, one in drawn.items():
        lines.append(f"  {name}:")
        lines += [
            f"    - {{from: {100 * p.from_probability:.2f}, vertices: "
            f"{100 * p.vertices_sent:.1f}, found: {100 * p.found:.1f}}}"
            for p in curve(one)
        ]
    return "\n".join(lines) + "\n"


def trade_table(drawn: dict[str, Drawn]) -> str:
    """Share of non-cephalic sent, per cent, by share of vertices sent."""
    head = " | ".join(f"{100 * share:.0f} %" for share in SENT)
    lines = [f"| hands \\ vertices sent | {head} |", "|---|" + "---|" * len(SENT)]
    for name, one in drawn.items():
        cells = " | ".join(f"{100 * one.sending(share).found:.0f}" for share in SENT)
        lines.append(f"| {name} | {cells} |")
    return "\n".join(lines) + "\n"


def point_table(drawn: dict[str, Drawn]) -> str:
    """What the point in force gives in each hands, with the contradictions."""
    point = load_scan().point.from_probability
    lines = [
        f"A scan from {100 * point:.1f} % that no head presents:",
        "",
        "| hands | vertices sent, % | non-cephalic sent, % | still missed of 100 | vertices that "
        "meet a contradiction, % |",
        "|---|---|---|---|---|",
    ]
    for name, one in drawn.items():
        at = one.at(point)
        lines.append(
            f"| {name} | {100 * at.vertices_sent:.1f} | {100 * at.found:.1f} | "
            f"{100 * (1 - at.found):.0f} | {100 * one.contradicted:.1f} |"
        )
    return "\n".join(lines) + "\n"


def _put(path: Path, name: str, text: str) -> None:
    page = path.read_text(encoding="utf-8")
    begin, end = BEGIN.format(name), END.format(name)
    before, rest = page.split(begin)
    after = rest.split(end)[1]
    path.write_text(f"{before}{begin}\n{text}{end}{after}", encoding="utf-8")


def main() -> None:
    """Measure, print and, where asked, write."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=3000)
    asked.add_argument("--seed", type=int, default=LOCKED_SEED)
    asked.add_argument("--write", action="store_true")
    given = asked.parse_args()
    if given.write:
        # The curves come from the one range of seeds, what they give is told from the other.
        policy = POLICY.read_text(encoding="utf-8")
        kept = policy[: policy.index("curves:")]
        POLICY.write_text(
            kept + curve_yaml(measured(2 * given.count, DEVELOP_SEED, 0)), encoding="utf-8"
        )
    drawn = measured(given.count, given.seed, JUDGED)
    rates = (
        f"{given.count} examinations of each kind, seed {given.seed}; contradictions counted in "
        f"the first {min(JUDGED, given.count)} vertices.\n\n"
        + point_table(drawn)
        + "\nShare of non-cephalic sent, per cent, by share of vertices sent:\n\n"
        + trade_table(drawn)
    )
    print(rates)
    print(calibration_table())
    if given.write:
        _put(PAGE, "calibration", calibration_table())
        _put(PAGE, "rates", rates)


if __name__ == "__main__":
    main()
