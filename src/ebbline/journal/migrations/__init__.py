"""The steps that bring a store of the record to the form of this version (Alembic)."""
