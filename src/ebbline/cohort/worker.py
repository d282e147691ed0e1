"""What every worker needs, loaded once: workers begin as copies of a process that imported this.

Importing it also runs each compiled loop, since fetching the loops from their cache takes as long
as reading fifty recordings. What goes wrong here goes wrong again in a worker, which can say it.
"""

from __future__ import annotations

import gc
from contextlib import suppress

with suppress(Exception):
    import distributed.nanny  # noqa: F401

    from ebbline.cohort.rows import rows_of
    from ebbline.cohort.work import to_tables
    from ebbline.precompile import made_up_hours
    from ebbline.reading.analyse import ALL_STANDARDS

    for _hour in made_up_hours():
        to_tables(rows_of(_hour, "", "", "", ALL_STANDARDS))
    # Modules and loops stay: the collector need not look through them again in every copy.
    gc.freeze()
