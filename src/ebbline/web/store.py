"""The workbench's store: whose tables lie in it, and the secret that is its own."""

from __future__ import annotations

import secrets
from pathlib import Path

from ebbline import store
from ebbline.store import Layout
from ebbline.web.auth import models as _accounts
from ebbline.web.examination import models as _examinations
from ebbline.web.paper import models as _papers
from ebbline.web.reading import models as _readers
from ebbline.web.recordings import models as _recordings
from ebbline.web.tables import Base, Meta
from ebbline.web.teaching.models import LAYOUT as TEACHING

TABLES = (_accounts, _recordings, _papers, _readers, _examinations)
"""The modules whose tables share one base, and so can refer to each other."""

WORKBENCH = Layout("workbench", Base.metadata, Path(__file__).parent / "migrations")
LAYOUTS = [WORKBENCH, TEACHING]
"""Everyone who keeps tables in the workbench's store; another package adds its layout here."""


class Store(store.Store):
    """The workbench's store, open."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, LAYOUTS)

    def secret(self) -> bytes:
        """The workbench's own secret, made once, for tokens against forged requests."""
        with self.writing() as session:
            row = session.get(Meta, "secret")
            if row is None:
                row = Meta(key="secret", value=secrets.token_hex(32))
                session.add(row)
            return bytes.fromhex(row.value)
