"""The report of a folder of results, measured from its tables."""

from __future__ import annotations

from pathlib import Path

from ebbline import CAUTION, __version__
from ebbline.cohort.readers import given_readings
from ebbline.cohort.report import agreement, outcomes, sections
from ebbline.cohort.report.model import ArchiveReport
from ebbline.cohort.report.tables import opened
from ebbline.cohort.results import read_facts


def build_report(folder: Path, readers: Path | None = None) -> ArchiveReport:
    """Everything the report says. readers: a CSV file of readings that people gave, if any.

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
