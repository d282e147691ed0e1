"""Where the open recordings lie, when they are there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

SHARED = Path(os.environ.get("EBBLINE_SHARED", Path(__file__).parents[2] / "shared"))
CTU_UHB = SHARED / "data" / "ctu-uhb"

needs_ctu_uhb = pytest.mark.skipif(
    not CTU_UHB.is_dir(), reason="the CTU-UHB recordings are not beside the project"
)
