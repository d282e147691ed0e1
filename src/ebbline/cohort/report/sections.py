"""What an archive shows: files, signal, distributions, classes, where the standards disagree."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ebbline.cohort.report.charts import AT_BEST, AT_LEAST, Bar, bars, histogram, stacked
from ebbline.cohort.report.model import Figure, ReportTable, Section
from ebbline.cohort.report.tables import interval, share_said
from ebbline.cohort.rows import HALF_HOUR, LAST, SECOND_STAGE
from ebbline.criteria.classification_builder import NO_CLASS
from ebbline.terms import counted

MOST_FAILURES = 50
"""Failures listed in the report; the table `failures` has all of them."""

MOST_ALIKE = 20
"""Recordings that may be there twice, named in the report."""

LATE_STEPS = 4
"""Half hours before the end that are shown one by one."""

Rows = list[tuple[Any, ...]]


def _asked(base: Any, query: str, values: Sequence[object] = ()) -> Rows:
    found: Rows = base.execute(query, list(values)).fetchall()
    return found


def files(base: Any) -> Section:
    """What was read and what could not be."""
    (count, hours, fetuses) = _asked(
        base,
        "SELECT count(DISTINCT recording), "
        "sum(duration_s) FILTER (WHERE first) / 3600, count(*) FROM (SELECT *, "
        "row_number() OVER (PARTITION BY recording ORDER BY fetus) = 1 AS first FROM recordings)",
    )[0]
    failures = _asked(base, "SELECT recording, what, place, remedy FROM failures")
    told = [
        f"{counted(count, 'recording')} of {counted(fetuses, 'fetus', 'fetuses')} read, "
        f"{hours or 0.0:.0f} hours in all. "
        f"{counted(len(failures), 'file')} could not be read"
        + (": they count nowhere below." if failures else ".")
    ]
    alike = _alike(base)
    if alike:
        rest = f", and {len(alike) - MOST_ALIKE} more" if len(alike) > MOST_ALIKE else ""
        told.append(
            f"Perhaps the same recording more than once, and counted so below: "
            f"{'; '.join(alike[:MOST_ALIKE])}{rest}. They are alike in length, in signal and in "
            "every count."
        )
    tables = [
        ReportTable(
            ("format", "heart-rate sensor", "activity sensor", "recordings", "hours"),
            tuple(
                (a, b, c or "none", str(n), f"{h:.1f}")
                for a, b, c, n, h in _asked(
                    base,
                    "SELECT format, heart_sensor, activity_sensor, count(*), "
                    "sum(duration_s) / 3600 FROM recordings GROUP BY ALL ORDER BY 4 DESC, 1, 2, 3",
                )
            ),
        )
    ]
    if failures:
        rows = tuple(
            (name, f"{place}: {what}" if place else what, remedy)
            for name, what, place, remedy in failures[:MOST_FAILURES]
        )
        more = len(failures) - len(rows)
        note = f"{more} more stand in the table of failures." if more else ""
        tables.append(ReportTable(("could not be read", "why", "what to do"), rows, note))
    return Section("What was read", tuple(told), tables=tuple(tables))


def _alike(base: Any) -> list[str]:
    """Recordings that no measure tells apart, by their names: "1001 and copy/1001".

    One with all of its signal or none of it, or without an event, may be like another by chance.
    """
    found = _asked(
        base,
        "SELECT list(recording ORDER BY recording) FROM recordings "
        "WHERE valid_share > 0 AND valid_share < 1 AND accelerations + decelerations > 0 "
        "GROUP BY fetus, duration_s, valid_share, accelerations, decelerations, contractions "
        "HAVING count(*) > 1 ORDER BY 1",
    )
    return [" and ".join(names) for (names,) in found]


def quality(base: Any) -> Section:
    """How much of the signal could be used, and what is suspected of the rest."""
    edges = [0, 50, 60, 70, 80, 90, 95, 100]
    figures = []
    shares = np.array(
        [row[0] for row in _asked(
            base, 'SELECT 100 * valid_share FROM half_hours WHERE "window" = ?', [HALF_HOUR]
        )],
        dtype=float,
    )  # fmt: skip
    counts = np.histogram(shares, edges)[0].tolist()
    rows = [
        (f"{low} to {'under ' if high < 100 else ''}{high} %", str(n), share_said(n, len(shares)))
        for low, high, n in zip(edges[:-1], edges[1:], counts, strict=True)
    ]
    figures.append(
        Figure(
            "Usable heart rate of each half hour.",
            bars(
                "Half hours by their share of usable heart rate",
                [Bar(row[0], n, str(n)) for row, n in zip(rows, counts, strict=True)],
                unit="half hours",
            ),
            ReportTable(
                ("usable share", "half hours", "share of all (95 % interval)"), tuple(rows)
            ),
        )
    )
    windows = len(shares)
    causes = _asked(
        base,
        "SELECT cause, count(*) FROM (SELECT unnest(suspected) AS cause FROM half_hours "
        'WHERE "window" = ?) GROUP BY cause ORDER BY 2 DESC, 1',
        [HALF_HOUR],
    )
    if causes:
        bars_of = [
            Bar(cause, 100 * n / windows, f"{100 * n / windows:.0f} %", *_percent(n, windows))
            for cause, n in causes
        ]
        figures.append(
            Figure(
                "What is suspected of the heart-rate signal; a half hour may have several.",
                bars("Half hours in which it is suspected", bars_of, most=100.0, unit="%"),
                ReportTable(
                    ("suspected", "half hours", "share (95 % interval)"),
                    tuple((cause, str(n), share_said(n, windows)) for cause, n in causes),
                ),
            )
        )
    by_sensor = _asked(
        base,
        "SELECT r.heart_sensor, h.stage, count(*), median(h.valid_share), "
        "avg(CAST(h.valid_share >= 0.8 AS INT)), median(h.longest_gap_s) "
        'FROM half_hours h JOIN recordings r USING (recording, fetus) WHERE h."window" IN (?, ?) '
        "GROUP BY ALL ORDER BY 1, 2",
        [HALF_HOUR, SECOND_STAGE],
    )
    table = ReportTable(
        ("sensor", "stage", "windows", "median usable share", "80 % or more usable", "median gap"),
        tuple(
            (a, b, str(n), f"{100 * m:.0f} %", f"{100 * w:.0f} % of them",
             "none" if g is None else f"{g:.0f} s")
            for a, b, n, m, w, g in by_sensor
        ),
        "Half hours and second stages. 80 % is FIGO's workable share (from memory).",
    )  # fmt: skip
    return Section("Signal quality and its causes", figures=tuple(figures), tables=(table,))


def _percent(hits: int, of: int) -> tuple[float, float]:
    low, high = interval(hits, of)
    return 100 * low, 100 * high


_MEASURES = (
    ("baseline_bpm", "Baseline", "bpm", np.arange(90, 186, 5)),
    ("bandwidth_bpm", "Bandwidth of the variability", "bpm", np.arange(0, 41, 2)),
    ("contractions_per_10_min", "Contractions in 10 minutes", "per 10 min", np.arange(0, 10.5, 1)),
    ("late + variable + prolonged", "Late, variable and prolonged decelerations", "in 30 min",
     np.arange(0, 19, 1)),
    ("deepest_bpm", "Deepest deceleration", "bpm", np.arange(0, 121, 10)),
)  # fmt: skip


def distributions(base: Any) -> Section:
    """What was measured, half hour by half hour."""
    figures = []
    for column, title, unit, edges in _MEASURES:
        values = np.array(
            [
                np.nan if row[0] is None else float(row[0])
                for row in _asked(
                    base, f'SELECT {column} FROM half_hours WHERE "window" = ?', [HALF_HOUR]
                )
            ],
            dtype=float,
        )
        told = values[np.isfinite(values)]
        if not len(told):
            continue
        counts = np.histogram(np.clip(told, edges[0], edges[-1]), edges)[0].tolist()
        at = np.percentile(told, [5, 25, 50, 75, 95])
        figures.append(
            Figure(
                f"{title}, {unit}; values beyond the ends stand in the last bars.",
                histogram(f"{title}: half hours", edges.tolist(), counts, unit),
                ReportTable(
                    ("half hours", "not told", "5 %", "25 %", "median", "75 %", "95 %"),
                    (
                        (
                            str(len(told)),
                            str(len(values) - len(told)),
                            *(f"{one:.0f}" if abs(one) >= 10 else f"{one:.1f}" for one in at),
                        ),
                    ),
                ),
            )
        )
    variability = _asked(
        base,
        'SELECT variability, count(*) FROM half_hours WHERE "window" = ? '
        "GROUP BY 1 ORDER BY 2 DESC, 1",
        [HALF_HOUR],
    )
    of = sum(n for _, n in variability)
    table = ReportTable(
        ("variability", "half hours", "share (95 % interval)"),
        tuple((str(kind), str(n), share_said(n, of)) for kind, n in variability),
    )
    return Section("What was measured", figures=tuple(figures), tables=(table,))


def labels_of(base: Any, standard: str) -> dict[str, int]:
    """The classes of a standard as they are said, good to bad, with their ranks.

    Where a window has no class and something can be said ("at best normal", "at least suspicious")
    the rank is `charts.AT_BEST` or `charts.AT_LEAST`; "no class" stands last.
    """
    found = _asked(
        base,
        "SELECT said, max(rank) FROM classes WHERE standard = ? GROUP BY said ORDER BY 2, 1",
        [standard],
    )
    classed = {said: rank for said, rank in found if rank >= 0}
    other = [said for said, rank in found if rank < 0 and said != NO_CLASS]
    best = {said: AT_BEST for said in other if said.startswith("at best ")}
    least = {said: AT_LEAST for said in other if said not in best}
    return classed | best | least | {NO_CLASS: -1}


def standards_of(base: Any) -> list[tuple[str, str]]:
    """Each standard with its edition."""
    return [
        (str(a), str(b))
        for a, b in _asked(base, "SELECT DISTINCT standard, edition FROM classes ORDER BY 1")
    ]


def classes(base: Any) -> Section:
    """Classes by each standard over the time of the labours."""
    figures = []
    for standard, edition in standards_of(base):
        labels = labels_of(base, standard)
        columns = _over_time(base, standard)
        drawn = [
            (when, [counts.get(label, 0) / max(sum(counts.values()), 1) for label in labels])
            for when, counts in columns
        ]
        rows = tuple(
            (when, str(sum(counts.values())), *(str(counts.get(label, 0)) for label in labels))
            for when, counts in columns
        )
        figures.append(
            Figure(
                f"{edition}: classes over time, counted back from the end of each recording.",
                stacked(f"{edition}: share of half hours", drawn, labels),
                ReportTable(("when", "windows", *labels), rows),
            )
        )
    return Section(
        "Classes over time",
        (
            "Half hours are counted back from each recording's end; recordings of different length "
            "stand together only near the end. The second stage is a window of its own where its "
            "start is known and five minutes or more were recorded.",
        ),
        tuple(figures),
    )


def _over_time(base: Any, standard: str) -> list[tuple[str, dict[str, int]]]:
    found = _asked(
        base,
        'SELECT c."window", CAST(floor((r.duration_s - c.end_s) / 1800) AS INT) AS back, c.said, '
        "count(*) FROM classes c JOIN recordings r USING (recording, fetus) WHERE standard = ? "
        "GROUP BY ALL",
        [standard],
    )
    grouped: dict[str, dict[str, int]] = {}
    for window, back, label, count in found:
        if window == HALF_HOUR and back == 0:
            continue
        place = grouped.setdefault(_when(window, back), {})
        place[label] = place.get(label, 0) + count
    order = [_when(HALF_HOUR, back) for back in range(LATE_STEPS, 0, -1)]
    order += [_when(LAST, 0), _when(SECOND_STAGE, 0)]
    return [(when, grouped[when]) for when in order if when in grouped]


def _when(window: str, back: int) -> str:
    """Words for a window by how many half hours lie between its end and the recording's."""
    if window == LAST:
        return "last 30 min"
    if window == SECOND_STAGE:
        return "second stage"
    if back >= LATE_STEPS:
        return "earlier"
    return f"{30 * back}-{30 * (back + 1)} min before"


def disagreement(base: Any) -> Section:
    """How often the standards give another class to the same window, and on which features."""
    editions = dict(standards_of(base))
    names = list(editions)
    tables = []
    told = []
    for n, one in enumerate(names):
        for other in names[n + 1 :]:
            rows = _asked(
                base,
                "SELECT a.said, b.said, count(*) FROM classes a JOIN classes b USING "
                '(recording, fetus, "window", start_s, end_s) WHERE a.standard = ? AND '
                "b.standard = ? GROUP BY ALL",
                [one, other],
            )
            counts = {(a, b): int(c) for a, b, c in rows}
            across, down = labels_of(base, other), labels_of(base, one)
            body = tuple(
                (label, *(str(counts.get((label, beside), 0)) for beside in across))
                for label in down
            )
            tables.append(
                ReportTable((f"{editions[one]} (rows), {editions[other]} (columns)", *across), body)
            )
            both = sum(
                c for (a, b), c in counts.items() if down.get(a, -1) >= 0 and across.get(b, -1) >= 0
            )
            apart = _asked(base, _APART + "SELECT count(*) FROM apart", [one, other])[0][0]
            told.append(
                f"{editions[one]} and {editions[other]}: of the windows that both class, one says "
                f"its best class and the other its worst in {share_said(apart, both)}."
            )
            features = _asked(
                base,
                _APART + "SELECT feature, count(*) FROM (SELECT unnest(features) AS feature "
                "FROM apart) GROUP BY 1 ORDER BY 2 DESC, 1",
                [one, other],
            )
            if features:
                told.append(
                    "What decides the worse class there: "
                    + ", ".join(f"{name} ({count})" for name, count in features)
                    + "."
                )
    if not tables:
        told.append("One standard was asked for: there is none to compare it with.")
    return Section("Where the standards disagree", tuple(told), tables=tuple(tables))


_APART = """
WITH best AS (SELECT standard, max(rank) AS worst FROM classes GROUP BY 1),
pairs AS (
    SELECT a.rank AS rank_a, b.rank AS rank_b, wa.worst AS worst_a, wb.worst AS worst_b,
           a.features AS features_a, b.features AS features_b
    FROM classes a JOIN classes b USING (recording, fetus, "window", start_s, end_s)
    JOIN best wa ON wa.standard = a.standard JOIN best wb ON wb.standard = b.standard
    WHERE a.standard = ? AND b.standard = ? AND a.rank >= 0 AND b.rank >= 0
), apart AS (
    SELECT CASE WHEN rank_a = 0 THEN features_b ELSE features_a END AS features FROM pairs
    WHERE (rank_a = 0 AND rank_b = worst_b AND worst_b > 0)
       OR (rank_b = 0 AND rank_a = worst_a AND worst_a > 0)
)
"""
"""Windows that one standard puts in its best class and another in its worst that occurs."""
