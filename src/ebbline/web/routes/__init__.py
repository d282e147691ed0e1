"""The pages and endpoints, one file per group."""

from __future__ import annotations

from fastapi import APIRouter

from ebbline.web.routes import (
    account,
    examination,
    help,
    reading,
    recordings,
    report,
    strip,
    teach,
    teach_class,
)

ROUTERS: list[APIRouter] = [
    account.router,
    recordings.router,
    strip.router,
    reading.router,
    examination.router,
    report.router,
    help.router,
    teach.router,
    teach_class.router,
]
"""Every group of pages; a new one is added here."""

UPLOAD_PATHS = ("/api/recordings",)
"""Paths that take files, and so larger bodies than the rest."""
