"""What only some parts need: packages of the extras of the installation, imported where used."""

from __future__ import annotations

from ebbline.errors import EbblineError, MissingExtraError

EXTRA_OF = {
    "alembic": "web",
    "argon2": "web",
    "cv2": "paper",
    "dask": "archive",
    "distributed": "archive",
    "duckdb": "archive",
    "fastapi": "web",
    "fhir": "fhir",
    "fsrs": "teach",
    "fsspec": "archive",
    "hl7": "unit",
    "jinja2": "web",
    "nats": "unit",
    "pandas": "frames",
    "PIL": "paper",
    "psycopg": "unit",
    "pyarrow": "parquet",
    "pypdfium2": "paper",
    "python_multipart": "web",
    "segno": "teach",
    "sqlalchemy": "web",
    "sse_starlette": "web",
    "starlette": "web",
    "statsmodels": "teach",
    "uvicorn": "web",
    "websockets": "web",
    "wfdb": "wfdb",
}
"""The smallest extra that brings a package, by the name under which it is imported."""


def missing_extra(error: ModuleNotFoundError, *, where: str = "") -> EbblineError:
    """The error in words for a package that is not installed: what to install."""
    package = (error.name or "").partition(".")[0]
    extra = EXTRA_OF.get(package)
    return MissingExtraError(
        f'this needs the package "{package}", which is not installed.',
        where=where,
        remedy=f'Install it with: pip install "ebbline[{extra}]".'
        if extra
        else "Install Ebbline again: a part of it is missing.",
    )
