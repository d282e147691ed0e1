"""Whole archives: thousands of recordings, one command, one table.

`run.run_archive` reads every recording of a folder, a glob or an fsspec address on a Dask cluster
and leaves four Parquet tables and a DuckDB file of views; `report` and `compare` read the tables.
"""
