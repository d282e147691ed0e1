"""Stores for what people write: SQLAlchemy 2 on SQLite or PostgreSQL, layouts kept by Alembic.

A package that keeps something defines its tables on a `Base` of its own, numbers its migrations in
a folder of its own, and joins both in a `Layout`. One store can hold the tables of several.
"""

from ebbline.store.columns import TYPES, UtcTime, now
from ebbline.store.layout import Layout
from ebbline.store.store import Store, StoreError, StoreFullError

__all__ = ["TYPES", "Layout", "Store", "StoreError", "StoreFullError", "UtcTime", "now"]
