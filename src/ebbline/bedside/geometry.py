"""The abdomen as a plane, and where on it each state sends the heart sounds.

Centimetres over the skin, the umbilicus at the origin, x positive to the mother's LEFT (so on
the right of a picture that faces the viewer), y positive towards her head. The fetus and the
uterus follow the fundal height (symphysis to fundus) alone: sites are held at the measures of
term and shrink and stretch with it. The girth widens the drawn trunk and moves nothing inside.

The sites follow common practice (no published measurement): vertex, below the umbilicus on the
back's side, about midway to the anterior superior iliac spine; occiput posterior, further out in
the flank; breech, at or above the umbilicus; face, through the chest, so on the limb side; lies
across, near the umbilicus; with descent, down and to the midline. The heights relative to the
umbilicus hold from about 34 weeks; earlier the whole uterus lies lower, and the sites with it.

This module is the one geometry: the model's zones, the drawing's and the pages' are `heart_zone`
and `ZoneGrid`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.context import ExamContext
from ebbline.bedside.findings_catalogue import HEART_ZONES
from ebbline.bedside.states import POSITIONS, Pole, State, states
from ebbline.terms import Lie, Presentation

FloatArray = NDArray[np.float64]

TERM_FUNDAL_HEIGHT_CM = 36.0
TERM_GIRTH_CM = 100.0
SYMPHYSIS_TO_UMBILICUS_CM = 18.0
"""Stand-ins where nothing was measured (assumption); with weeks, fundal height is the weeks."""

ASIS_X_CM = 14.0
ASIS_UP = 0.25
UTERUS_HALF_WIDTH_CM = 18.0
UTERUS_WIDEST = 0.56
FLANK_OF_GIRTH = 0.25
"""Iliac spines from the midline and their height as a share of the fundal height; half the breadth
of the uterus at term where it is widest, along the skin, and the height of that; the edge seen
from the front as a share of the girth (all ours)."""


@dataclass(frozen=True, slots=True)
class Point:
    """A place on the abdomen, cm: x to the mother's left, y upwards, umbilicus at the origin."""

    x_cm: float
    y_cm: float


@dataclass(frozen=True, slots=True)
class Abdomen:
    """One woman's abdomen: its measures, and which of them were assumed.

    fundal_height_cm: symphysis to fundus; girth_cm: around at the umbilicus; symphysis_y_cm:
    height of the symphysis (negative).
    """

    fundal_height_cm: float
    girth_cm: float
    symphysis_y_cm: float
    assumed: tuple[str, ...]

    @property
    def fundus_y_cm(self) -> float:
        """Height of the top of the fundus."""
        return self.symphysis_y_cm + self.fundal_height_cm

    @property
    def scale(self) -> float:
        """The uterus against that of term: 1 at a fundal height of 36 cm."""
        return self.fundal_height_cm / TERM_FUNDAL_HEIGHT_CM

    @property
    def flank_x_cm(self) -> float:
        """Distance of the trunk's edge from the midline, along the skin."""
        return FLANK_OF_GIRTH * self.girth_cm

    @property
    def widest_cm(self) -> float:
        """Half the breadth of the uterus where it is widest."""
        return UTERUS_HALF_WIDTH_CM * self.scale

    @property
    def landmarks(self) -> Mapping[str, Point]:
        """Named places of the abdominal wall."""
        asis_x = ASIS_X_CM
        asis_y = self.up(ASIS_UP)
        return {
            "umbilicus": Point(0.0, 0.0),
            "symphysis": Point(0.0, self.symphysis_y_cm),
            "fundus": Point(0.0, self.fundus_y_cm),
            "left anterior superior iliac spine": Point(asis_x, asis_y),
            "right anterior superior iliac spine": Point(-asis_x, asis_y),
        }

    def up(self, share: float) -> float:
        """Height of a share of the fundal height above the symphysis."""
        return self.symphysis_y_cm + share * self.fundal_height_cm

    def across(self, at_term_cm: float) -> float:
        """Distance from the midline of what lies so far from it at term, positive left."""
        return at_term_cm * self.scale

    def half_width_cm(self, y_cm: float) -> float:
        """Half the breadth of the uterus under the wall at a height: 0 outside it.

        An egg, widest above the middle, that reaches a little below the symphysis (assumption).
        """
        share = (y_cm - self.symphysis_y_cm) / self.fundal_height_cm
        reach = 1 - UTERUS_WIDEST if share > UTERUS_WIDEST else UTERUS_WIDEST + 0.04
        inside = 1 - ((share - UTERUS_WIDEST) / reach) ** 2
        return self.widest_cm * math.sqrt(inside) if inside > 0 else 0.0


def abdomen_for(context: ExamContext) -> Abdomen:
    """The abdomen by what was measured, else by the weeks, else as at term."""
    assumed = []
    height = context.fundal_height_cm
    if height is None:
        assumed.append("fundal height")
        height = TERM_FUNDAL_HEIGHT_CM
        if context.weeks is not None:
            height = min(max(context.weeks, 20.0), TERM_FUNDAL_HEIGHT_CM)
    girth = context.girth_cm
    if girth is None:
        assumed.append("girth")
        girth = TERM_GIRTH_CM
        if context.weeks is not None:
            girth = TERM_GIRTH_CM - max(40.0 - context.weeks, 0.0)
    below = context.symphysis_to_umbilicus_cm
    if below is None:
        assumed.append("distance from symphysis to umbilicus")
        below = SYMPHYSIS_TO_UMBILICUS_CM
    return Abdomen(height, girth, -below, tuple(assumed))


@dataclass(frozen=True, slots=True)
class Spot:
    """One place the heart may be heard in a state.

    weight: share of the state's sounds; across: cm from the midline at term, positive left; up:
    share of fundal height above the symphysis; spread_cm: one standard deviation.
    """

    weight: float
    across: float
    up: float
    spread_cm: float


# Distance from the midline by where the carrying side (back or chest) looks, cm at term.
_ACROSS_CM = (0.0, 7.0, 9.5, 14.0)
# Towards the midline with descent, by fifths.
_INWARD = {5: 1.0, 4: 1.0, 3: 0.9, 2: 0.75, 1: 0.6, 0: 0.4}
# Height with descent, by fifths.
_UP_HEAD = {5: 0.385, 4: 0.355, 3: 0.32, 2: 0.27, 1: 0.21, 0: 0.15}
_UP_FACE = {5: 0.40, 4: 0.375, 3: 0.34, 2: 0.29, 1: 0.23, 0: 0.17}
_UP_BREECH = {5: 0.63, 4: 0.61, 3: 0.59, 2: 0.56, 1: 0.53, 0: 0.505}

SPREAD_CM = 2.2
FLANK_SPREAD_CM = 3.2


def _ring(direction: int, up: float, inward: float) -> tuple[Spot, ...]:
    """Spots for a carrying side that looks to one of the eight directions."""
    if direction == 4:
        flank = _ACROSS_CM[3] * inward
        return (
            Spot(0.4, flank, up, FLANK_SPREAD_CM),
            Spot(0.4, -flank, up, FLANK_SPREAD_CM),
            Spot(0.2, 0.0, up, FLANK_SPREAD_CM),
        )
    steps = min(direction, 8 - direction)
    sign = 1 if direction < 4 else -1
    spread = FLANK_SPREAD_CM if steps == 3 else SPREAD_CM
    return (Spot(1.0, sign * _ACROSS_CM[steps] * inward, up, spread),)


def spots(state: State) -> tuple[Spot, ...]:
    """Where the heart is heard in a state: one to three spots whose weights sum to one."""
    if state.lie is not Lie.LONGITUDINAL:
        side = 1 if state.position.value.startswith("left") else -1
        front = state.position.value.endswith("anterior")
        spread = SPREAD_CM + 0.6 if front else FLANK_SPREAD_CM + 0.8
        up = {Pole.NEITHER: 0.49, Pole.HEAD: 0.42, Pole.BREECH: 0.57}[state.lower_pole]
        return (Spot(1.0, side * 3.5, up, spread),)
    inward = _INWARD[state.descent]
    denominator = POSITIONS.index(state.position)
    if state.presentation is Presentation.FACE:
        return _ring(denominator, _UP_FACE[state.descent], inward)
    if state.presentation is Presentation.BROW:
        # Between vertex and face: no handbook agrees on the side; by the back more often.
        up = _UP_HEAD[state.descent]
        by_back = _ring((denominator + 4) % 8, up, inward)
        by_chest = _ring(denominator, up, inward)
        return tuple(
            Spot(share * s.weight, s.across, s.up, s.spread_cm)
            for share, ring in ((0.65, by_back), (0.35, by_chest))
            for s in ring
        )
    heights = _UP_HEAD if state.presentation is Presentation.VERTEX else _UP_BREECH
    return _ring(denominator, heights[state.descent], inward)


def site(state: State, abdomen: Abdomen, towards: float = 1.0) -> Point:
    """The heaviest spot of a state; of two alike the one to the side of `towards` (+1 left)."""
    best = max(spots(state), key=lambda s: (s.weight, towards * s.across))
    return Point(abdomen.across(best.across), abdomen.up(best.up))


@dataclass(frozen=True, slots=True, eq=False)
class SpotTable:
    """All spots of all states as arrays, shape (number of spots,).

    state: index of the state each spot belongs to.
    """

    state: NDArray[np.intp]
    weight: FloatArray
    across: FloatArray
    up: FloatArray
    spread_cm: FloatArray


@cache
def spot_table() -> SpotTable:
    """The spots of every state, in the order of the states."""
    rows = [(i, s) for i, state in enumerate(states()) for s in spots(state)]
    return SpotTable(
        np.array([i for i, _ in rows], dtype=np.intp),
        np.array([s.weight for _, s in rows]),
        np.array([s.across for _, s in rows]),
        np.array([s.up for _, s in rows]),
        np.array([s.spread_cm for _, s in rows]),
    )


MIDLINE_CM = 3.0
FLANK_FROM_CM = 11.0
LEVEL_CM = 2.0
"""Listening places: within 3 cm of the midline; beyond 11 cm (at term), the flank; within 2 cm of
the umbilicus's height, level with it (ours)."""


@dataclass(frozen=True, slots=True)
class ZoneGrid:
    """The borders of the listening places of an abdomen, cm.

    across: from her left to her right, four borders between five columns; up: from above to below,
    two borders between three rows. The order is that of HEART_ZONES.
    """

    across: tuple[float, float, float, float]
    up: tuple[float, float]


def zone_grid(abdomen: Abdomen) -> ZoneGrid:
    """The borders of the listening places on an abdomen."""
    flank = abdomen.across(FLANK_FROM_CM)
    return ZoneGrid((flank, MIDLINE_CM, -MIDLINE_CM, -flank), (LEVEL_CM, -LEVEL_CM))


def heart_zone(point: Point, abdomen: Abdomen) -> str:
    """The listening place a point lies in, a word of HEART_ZONES."""
    grid = zone_grid(abdomen)
    x, y = point.x_cm, point.y_cm
    # A border belongs to the place nearer the umbilicus, on both sides alike.
    column = 2
    if abs(x) > grid.across[1]:
        out = 2 if abs(x) > grid.across[0] else 1
        column = 2 - out if x > 0 else 2 + out
    row = 1
    if abs(y) > grid.up[0]:
        row = 0 if y > 0 else 2
    return HEART_ZONES[5 * row + column]


def zone_centre(zone: str, abdomen: Abdomen) -> Point:
    """The middle of a listening place inside the uterus: where a mark for it is drawn."""
    row, column = divmod(HEART_ZONES.index(zone), 5)
    y_cm = (0.24 * abdomen.fundal_height_cm, 0.0, -0.2 * abdomen.fundal_height_cm)[row]
    out = (14.0, 7.0, 0.0, -7.0, -14.0)[column]
    return Point(abdomen.across(out), y_cm)


def _normal_cdf(values: FloatArray) -> FloatArray:
    flat = [0.5 * (1 + math.erf(v / math.sqrt(2))) for v in values.ravel().tolist()]
    return np.array(flat).reshape(values.shape)


def in_zones(at_cm: FloatArray, borders: Sequence[float], wander_cm: FloatArray) -> FloatArray:
    """Share of a normal spread about places that falls between borders, shape (places, parts).

    at_cm: shape (places,); borders: falling; wander_cm: one standard deviation of each place.
    """
    edges = np.array([np.inf, *borders, -np.inf])
    return -np.diff(_normal_cdf((edges[None, :] - at_cm[:, None]) / wander_cm[:, None]), axis=1)


@lru_cache(maxsize=64)
def heart_zone_shares(abdomen: Abdomen, wander_cm: float, astray: float = 0.0) -> FloatArray:
    """Share of each listening place in each state, shape (states, places), rows sum to one.

    wander_cm: one standard deviation of the place heard best about the place itself. astray: share
    of hearts that are heard best anywhere over the uterus, whatever the state.
    """
    table = spot_table()
    spread = np.hypot(table.spread_cm, wander_cm)
    grid = zone_grid(abdomen)
    x = abdomen.scale * table.across
    y = abdomen.symphysis_y_cm + abdomen.fundal_height_cm * table.up
    in_x, in_y = in_zones(x, grid.across, spread), in_zones(y, grid.up, spread)
    each = (in_y[:, :, None] * in_x[:, None, :]).reshape(len(x), len(HEART_ZONES))
    shares = np.zeros((len(states()), len(HEART_ZONES)))
    np.add.at(shares, table.state, table.weight[:, None] * each)
    return (1 - astray) * shares + astray * _anywhere(abdomen)


def _anywhere(abdomen: Abdomen) -> FloatArray:
    """Share of each listening place of the uterus's surface, shape (places,)."""
    counts = dict.fromkeys(HEART_ZONES, 0.0)
    rows = 72
    for k in range(rows):
        y = abdomen.symphysis_y_cm + (k + 0.5) / rows * abdomen.fundal_height_cm
        half = abdomen.half_width_cm(y)
        out = half / 40
        for i in range(40):
            for side in (1, -1):
                counts[heart_zone(Point(side * (i + 0.5) * out, y), abdomen)] += out
    # Left and right were counted alike; adding them in one order keeps them so to the last bit.
    values = np.array([counts[zone] for zone in HEART_ZONES])
    return np.asarray(values / values.sum(), dtype=np.float64)
