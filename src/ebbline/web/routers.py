"""Every group of pages and endpoints; a new one is added here."""

from __future__ import annotations

from fastapi import APIRouter

from ebbline.web.auth.routes import router as auth
from ebbline.web.classroom.guest_routes import router as classroom_guests
from ebbline.web.classroom.routes import router as classroom
from ebbline.web.examination.routes import router as examination
from ebbline.web.help.routes import router as help_pages
from ebbline.web.live.device_routes import router as live_devices
from ebbline.web.live.routes import router as live
from ebbline.web.operations.routes import router as operations
from ebbline.web.paper.routes import router as paper
from ebbline.web.reading.routes import router as reading
from ebbline.web.reading.strip_routes import router as strip
from ebbline.web.record.routes import router as record
from ebbline.web.recordings.routes import router as recordings
from ebbline.web.report.routes import router as report
from ebbline.web.teaching.class_routes import router as teaching_class
from ebbline.web.teaching.group_routes import router as teaching_groups
from ebbline.web.teaching.practice_routes import router as teaching_practice
from ebbline.web.teaching.routes import router as teaching

ROUTERS: list[APIRouter] = [
    auth,
    recordings,
    paper,
    strip,
    reading,
    examination,
    report,
    record,
    help_pages,
    live,
    live_devices,
    teaching,
    teaching_class,
    teaching_groups,
    teaching_practice,
    operations,
    classroom,
    classroom_guests,
]

UPLOAD_PATHS = ("/api/recordings", "/api/papers", "/api/record/archive")
"""Paths that take files, and so larger bodies than the rest."""
