"""Inks and pens of our pictures: one place, so that all of them belong together.

Every meaning is also carried by a word, a shape, a hatch or the weight of a line: in greyscale
the inks are steps of one ladder from white to near-black (tests measure the steps).
"""

from __future__ import annotations

from ebbline.picture.canvas import Stroke

INK = "#14202e"
QUIET_INK = "#44526a"
"""Text that stands back: 7:1 on white."""
PAPER = "#ffffff"

RISE = "#0f5c66"
RISE_TINT = "#e3f1f1"
FALL = "#8a3a14"
FALL_TINT = "#f2d5c0"
WARNING = "#5b2a6e"
BAND = "#b9c5d4"

GRID_FINE = Stroke("#dbe2eb", 0.3)
GRID_MAJOR = Stroke("#bcc7d5", 0.45)
GRID_STRONG = Stroke("#94a2b6", 0.7)
FRAME = Stroke("#6b7a90", 0.7)

TRACE = Stroke(INK, 0.75, round_ends=True)
OTHER_TRACE = Stroke("#8290a6", 2.2, round_ends=True)
"""The other fetus: broad and lighter, never dashed, for a dash would look like lost signal."""
MATERNAL_TRACE = Stroke(WARNING, 0.5)
BASELINE = Stroke("#a8501c", 0.9, (0.22, 0.09))
GUIDE = Stroke("#6b7a90", 0.4, (0.02, 0.1))
LOST = Stroke(INK, 0.5)

SMALL = 6.8
"""Font size of names and numbers on the strip, points."""
BODY = 7.6
HEAD = 13.0
