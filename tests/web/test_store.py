"""The store: brought up to date when it is opened, refused in words, safe when the power fails."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import select, text

from ebbline.store import StoreError
from ebbline.web.auth.accounts import Accounts
from ebbline.web.reading.models import Correction, Mark
from ebbline.web.recordings.library import Library
from ebbline.web.settings import Limits
from ebbline.web.store import LAYOUTS, Store
from web.visitor import PASSWORD

OLD = Path(__file__).with_name("store_of_0_1_0.sql")


@pytest.fixture
def old_store(tmp_path: Path) -> Path:
    """A store as 0.1.0 left it: accounts, a recording, a mark, a correction."""
    path = tmp_path / "old.sqlite"
    connection = sqlite3.connect(path)
    connection.executescript(OLD.read_text())
    connection.close()
    return path


def test_a_store_of_0_1_0_is_brought_up_to_date_and_nothing_is_lost(old_store: Path) -> None:
    store = Store(old_store)
    library = Library(store, Limits())
    (card,) = library.cards()
    assert (card.name, card.opened_by) == ("kept by 0.1.0", "Ada")
    assert library.recording(card.id).channels[0].samples[0] == 140
    with store.session() as session:
        assert session.scalars(select(Mark)).one().note == "as I saw it"
        assert session.scalars(select(Correction)).one().change["kind"] == "late"
    assert Accounts(store, Limits()).sign_in("Ines", PASSWORD, "here")


def test_what_0_1_0_would_misread_it_refuses(old_store: Path) -> None:
    Store(old_store).close()
    mark = sqlite3.connect(old_store).execute("PRAGMA user_version").fetchone()[0]
    assert mark > 1, "0.1.0 refuses a store whose mark is above 1"


def test_the_migrations_lead_to_the_tables_that_the_program_uses(tmp_path: Path) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.runtime.migration import MigrationContext

    store = Store(tmp_path / "new.sqlite")
    for layout in LAYOUTS:
        ours = set(layout.metadata.tables)

        def mine(thing: object, name: str, kind: str, *_: object, ours: set[str] = ours) -> bool:
            return kind != "table" or name in ours

        with store.engine.connect() as connection:
            context = MigrationContext.configure(
                connection, opts={"include_object": mine, "compare_type": True}
            )
            assert compare_metadata(context, layout.metadata) == []


def test_a_store_with_a_column_missing_is_refused_in_words(old_store: Path) -> None:
    connection = sqlite3.connect(old_store)
    connection.execute("ALTER TABLE mark DROP COLUMN note")
    connection.commit()
    with pytest.raises(StoreError, match=r"lacks column mark\.note.*Restore a backup"):
        Store(old_store)
    # Refused whole: it is still the old store, and a mended one would be taken.
    assert connection.execute("PRAGMA user_version").fetchone()[0] == 1
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    assert "layout_workbench" not in tables


def test_a_store_of_a_later_ebbline_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "later.sqlite"
    with Store(path).session() as session:
        session.execute(text("UPDATE layout_workbench SET version_num = '9999'"))
    with pytest.raises(StoreError, match="newer Ebbline"):
        Store(path)


def test_each_commit_waits_for_the_disk_and_readers_do_not_wait(tmp_path: Path) -> None:
    with Store(tmp_path / "new.sqlite").session() as session:
        assert session.execute(text("PRAGMA synchronous")).scalar_one() == 2, "2 is FULL"
        assert session.execute(text("PRAGMA journal_mode")).scalar_one() == "wal"
        assert session.execute(text("PRAGMA foreign_keys")).scalar_one() == 1


def test_a_package_of_its_own_keeps_its_tables_beside_the_workbenchs(tmp_path: Path) -> None:
    """What another package does: a base, a folder of migrations, a layout; here in one file."""
    from sqlalchemy import MetaData

    from ebbline import store as stores

    versions = tmp_path / "migrations"
    versions.mkdir()
    step = (
        "import sqlalchemy as sa\nfrom alembic import op\n"
        "revision, down_revision = {0!r}, {1!r}\n"
        "def upgrade():\n    {2}\n"
    )
    first = "op.create_table('entry', sa.Column('id', sa.Integer(), primary_key=True))"
    (versions / "0001_entries.py").write_text(step.format("0001", None, first))
    path = tmp_path / "one.sqlite"
    Store(path).close()
    layout = stores.Layout("other", MetaData(), versions)
    with stores.Store(path, [*LAYOUTS, layout]).session() as session:
        session.execute(text("INSERT INTO entry (id) VALUES (7)"))
    second = "op.add_column('entry', sa.Column('words', sa.String()))"
    (versions / "0002_words.py").write_text(step.format("0002", "0001", second))
    with stores.Store(path, [layout]).session() as session:
        assert session.execute(text("SELECT id, words FROM entry")).one() == (7, None)
    Store(path).close()


def test_what_the_pages_import_when_called_is_known_without_a_list() -> None:
    from ebbline.web.lazy_imports import parts

    found = parts()
    assert {"ebbline.reading.analyse", "ebbline.web.report.fhir", "ebbline.synth"} <= set(found)
