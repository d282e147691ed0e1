"""The report of a folder of results, measured from its tables."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ebbline import CAUTION, __version__
from ebbline.cohort.readers import given_readings
from ebbline.cohort.report import agreement, on_time, outcomes, sections
from ebbline.cohort.report.model import ArchiveReport
from ebbline.cohort.report.tables import opened
from ebbline.cohort.results import read_facts

if TYPE_CHECKING:
    from ebbline.journal.store import Journal


def build_report(
    folder: Path, readers: Path | None = None, record: Journal | None = None
) -> ArchiveReport:
    """Everything the report says. readers: a CSV file of readings that people gave, if any.
    record: the labour record of the same unit, if any.

    Raises EbblineError where the results are not whole or the readings cannot be read.
    """
    facts = read_facts(folder)
    given = None if readers is None else given_readings(readers)
    with opened(folder) as base:
        found = [
            sections.files(base),
            sections.quality(base),
            sections.distributions(base),
            sections.classes(base),
            sections.disagreement(base),
        ]
        if given is not None:
            found.append(agreement.agreement(base, given))
        found.append(outcomes.outcomes(base))
        if record is not None:
            found.append(on_time.on_time(base, record))
    return ArchiveReport(
        title="What an archive of recordings shows",
        made=(
            f"Archive: {facts.where}",
            f"Standards: {'; '.join(facts.editions)}",
            f"Read by Ebbline {facts.ebbline_version} (code {facts.code}); this report by "
            f"Ebbline {__version__}. Windows: each half hour from the start, the last one, the "
            "second stage.",
        ),
        caution=CAUTION,
        sections=tuple(found),
    )
