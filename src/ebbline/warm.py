"""Fills the compiled caches, so that the first reading is as quick as the next. Run at install."""

from __future__ import annotations
