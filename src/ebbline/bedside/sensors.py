"""Where the sensors go: a map of where the heart is heard best, and what follows from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.findings_catalogue import HEART_ZONES, mirrored_word
from ebbline.bedside.geometry import (
    Abdomen,
    Point,
    heart_zone,
    in_zones,
    site,
    spot_table,
    zone_grid,
)
from ebbline.bedside.states import POSITIONS, State, mirror_order, states
from ebbline.terms import Lie, Presentation

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STEP_CM = 1.0
REACH_CM = 4.0
"""A heart-rate sensor hears about so far around its centre (assumption)."""
REGION_SHARE = 0.6
APART_CM = 6.0
"""A fallback nearer to the best point would be the same place."""
TWIN_APART_CM = 8.0

CONTRACTION_BELOW_FUNDUS = 0.14
CONTRACTION_TO_BACK_CM = 4.0
"""The contraction sensor lies a few centimetres below the top of the fundus, drawn to the back's
side, away from limbs (common practice in direction, assumption in size)."""


@dataclass(frozen=True, slots=True, eq=False)
class SiteMap:
    """Where the heart is heard best, as shares of the abdomen's square centimetres.

    x_cm: shape (m,), to the mother's left; y_cm: shape (n,), upwards; weights: shape (n, m),
    summing to one.
    """

    x_cm: FloatArray
    y_cm: FloatArray
    weights: FloatArray


@dataclass(frozen=True, slots=True)
class Site:
    """A place for a sensor. share: of the map within the sensor's reach; words: how to find it."""

    point: Point
    share: float
    zone: str
    words: str


@dataclass(frozen=True, slots=True)
class Patch:
    """One connected part of the region: its bounds in cm, its share of the map, in words."""

    x_from_cm: float
    x_to_cm: float
    y_from_cm: float
    y_to_cm: float
    share: float
    words: str


@dataclass(frozen=True, slots=True)
class Region:
    """The smallest part of the abdomen that holds a share of the map.

    density: the least weight of a cell inside, as in SiteMap.weights.
    """

    share: float
    density: float
    patches: tuple[Patch, ...]


@dataclass(frozen=True, slots=True)
class DriftPoint:
    """Where the site will be when the head or breech has come down to some fifths."""

    fifths: int
    position: str
    point: Point
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class SensorPlan:
    """Where to put the two sensors, and how far that can be trusted.

    best: the place for the heart-rate sensor. both_sides_alike: the map does not tell left from
    right. drift: how the best site will move from the likeliest state. contraction: the place for
    the contraction sensor. notes: what it rests on.
    """

    abdomen: Abdomen
    map: SiteMap
    best: Site
    region: Region
    fallback: Site | None
    both_sides_alike: bool
    drift: tuple[DriftPoint, ...]
    drift_words: str
    contraction: Site
    notes: tuple[str, ...]


def place_words(point: Point, abdomen: Abdomen) -> str:
    """How to find a point with the hands: sides as the mother's."""
    x, y = round(point.x_cm), round(point.y_cm)
    if abs(x) <= 1:
        across = "in the midline"
    else:
        across = f"{abs(x)} cm to her {'left' if x > 0 else 'right'}"
    if abs(y) <= 1:
        up = "level with the umbilicus"
    else:
        up = f"{abs(y)} cm {'above' if y > 0 else 'below'} the umbilicus"
    words = f"{across}, {up}"
    for side in ("left", "right"):
        spine = abdomen.landmarks[f"{side} anterior superior iliac spine"]
        middle = Point(spine.x_cm / 2, spine.y_cm / 2)
        if _distance(point, middle) <= 2.5:
            words += f" (about midway between the umbilicus and the {side} iliac spine)"
    return words


def _distance(a: Point, b: Point) -> float:
    return math.hypot(a.x_cm - b.x_cm, a.y_cm - b.y_cm)


def _axes(abdomen: Abdomen) -> tuple[FloatArray, FloatArray]:
    """Distances from the midline outwards, and heights, cm."""
    out = np.arange(0, math.ceil(abdomen.widest_cm) + STEP_CM, STEP_CM)
    up = np.arange(
        math.floor(abdomen.symphysis_y_cm), math.ceil(abdomen.fundus_y_cm) + STEP_CM, STEP_CM
    )
    return out, up


@dataclass(frozen=True, slots=True)
class Heard:
    """Where the heart was heard best, and how far the ear strays.

    zones: words of HEART_ZONES that the answer covers. wander_cm: one standard deviation of the
    place pointed to about the place itself. astray: share of hearts that are heard best elsewhere
    than the state says.
    """

    zones: tuple[str, ...]
    wander_cm: float
    astray: float


def _half_map(
    now: FloatArray, abdomen: Abdomen, out: FloatArray, up: FloatArray, astray: float
) -> FloatArray:
    """Density on the mother's left, midline included, shape (heights, distances)."""
    table = spot_table()
    spread = table.spread_cm
    weight = now[table.state] * table.weight / spread**2
    x = abdomen.scale * table.across
    y = abdomen.symphysis_y_cm + abdomen.fundal_height_cm * table.up
    across = np.exp(-0.5 * ((out[None, :] - x[:, None]) / spread[:, None]) ** 2)
    along = np.exp(-0.5 * ((up[None, :] - y[:, None]) / spread[:, None]) ** 2)
    made = (along * weight[:, None]).T @ across / (2 * math.pi)
    # The other hearts lie anywhere: an ellipse's area is near enough to the uterus's.
    area = math.pi / 2 * abdomen.widest_cm * abdomen.fundal_height_cm
    return np.asarray((1 - astray) * made + astray / area, dtype=np.float64)


def _pointed_to(
    zones: Sequence[str], abdomen: Abdomen, out: FloatArray, up: FloatArray, wander_cm: float
) -> FloatArray:
    """Share of ears that name one of some places, by where the heart is, (heights, distances)."""
    grid = zone_grid(abdomen)
    in_x = in_zones(out, grid.across, np.full(len(out), wander_cm))
    in_y = in_zones(up, grid.up, np.full(len(up), wander_cm))
    named = np.zeros((3, 5))
    for zone in zones:
        named[divmod(HEART_ZONES.index(zone), 5)] = 1.0
    return np.asarray(in_y @ named @ in_x.T, dtype=np.float64)


def site_map(now: FloatArray, abdomen: Abdomen, heard: Heard | None = None) -> SiteMap:
    """The probability-weighted map: the place given the state and given where it was heard.

    now: probability of each state, shape (states,), by everything but what the ear found.

    The mother's right is reckoned as the left of the mirrored states: mirrored findings give the
    mirrored map to the last bit.
    """
    out, up = _axes(abdomen)
    astray = 0.0 if heard is None else heard.astray
    left = _half_map(now, abdomen, out, up, astray)
    right = _half_map(now[mirror_order()], abdomen, out, up, astray)
    if heard is not None:
        left = left * _pointed_to(heard.zones, abdomen, out, up, heard.wander_cm)
        mirrored = [mirrored_word(zone) for zone in heard.zones]
        right = right * _pointed_to(mirrored, abdomen, out, up, heard.wander_cm)
    widths = np.array([abdomen.half_width_cm(y) for y in up.tolist()])
    inside = out[None, :] <= widths[:, None]
    left, right = left * inside, right * inside
    middle = (left[:, :1] + right[:, :1]) / 2
    weights = np.hstack([right[:, :0:-1], middle, left[:, 1:]])
    total = (left[:, 1:] + right[:, 1:]).sum() + middle.sum()
    return SiteMap(np.concatenate([-out[:0:-1], out]), up, weights / total)


def _reached(weights: FloatArray) -> FloatArray:
    """Share of the map within the sensor's reach of each cell."""
    radius = int(REACH_CM / STEP_CM)
    padded = np.pad(weights, radius)
    rows, columns = weights.shape
    total = np.zeros_like(weights)
    for dy in range(-radius, radius + 1):
        for dx in range(-radius, radius + 1):
            if math.hypot(dx, dy) * STEP_CM <= REACH_CM:
                total += padded[
                    radius + dy : radius + dy + rows, radius + dx : radius + dx + columns
                ]
    return total


def _best_cell(score: FloatArray, of: SiteMap) -> tuple[int, int]:
    """The highest cell; of cells alike the one on the mother's left."""
    near = np.argwhere(score >= score.max() * (1 - 1e-9))
    row, column = max(near.tolist(), key=lambda rc: (of.x_cm[rc[1]], rc[0]))
    return row, column


def _site(point: Point, share: float, abdomen: Abdomen) -> Site:
    return Site(point, share, heart_zone(point, abdomen), place_words(point, abdomen))


def _cell_point(of: SiteMap, row: int, column: int) -> Point:
    return Point(float(of.x_cm[column]), float(of.y_cm[row]))


def best_site(of: SiteMap, abdomen: Abdomen, allowed: BoolArray | None = None) -> Site | None:
    """The place whose reach holds most of the map; None where nothing is left."""
    score = _reached(of.weights)
    if allowed is not None:
        score = np.where(allowed, score, 0.0)
    if score.max() <= 0:
        return None
    row, column = _best_cell(score, of)
    return _site(_cell_point(of, row, column), float(score[row, column]), abdomen)


def _away_from(of: SiteMap, point: Point, distance_cm: float) -> BoolArray:
    distance = np.hypot(of.x_cm[None, :] - point.x_cm, of.y_cm[:, None] - point.y_cm)
    return np.asarray(distance >= distance_cm, dtype=np.bool_)


def fallback_site(of: SiteMap, best: Site, abdomen: Abdomen) -> Site | None:
    """Where to listen next if the best place is silent: most of what it did not reach."""
    beyond = _away_from(of, best.point, REACH_CM + 1e-9)
    rest = SiteMap(of.x_cm, of.y_cm, of.weights * beyond)
    return best_site(rest, abdomen, _away_from(of, best.point, APART_CM))


def _patches(inside: BoolArray, of: SiteMap) -> list[list[tuple[int, int]]]:
    """Connected parts of a mask, the largest share first."""
    left = {(int(r), int(c)) for r, c in np.argwhere(inside)}
    found = []
    while left:
        stack = [left.pop()]
        part = []
        while stack:
            row, column = stack.pop()
            part.append((row, column))
            for near in (
                (row + 1, column),
                (row - 1, column),
                (row, column + 1),
                (row, column - 1),
            ):
                if near in left:
                    left.remove(near)
                    stack.append(near)
        found.append(part)
    return sorted(found, key=lambda p: -sum(float(of.weights[r, c]) for r, c in p))


def _span(low: float, high: float, less: str, more: str, middle: str) -> str:
    """A range along one axis in words."""
    low, high = round(low), round(high)
    if low < 0 < high:
        return f"from {-low} cm {less} to {high} cm {more}"
    if low == high == 0:
        return middle
    near, far = sorted((abs(low), abs(high)))
    return f"{near} to {far} cm {more if high > 0 else less}"


def _patch(part: list[tuple[int, int]], of: SiteMap) -> Patch:
    xs = [float(of.x_cm[c]) for _, c in part]
    ys = [float(of.y_cm[r]) for r, _ in part]
    share = sum(float(of.weights[r, c]) for r, c in part)
    words = (
        _span(min(xs), max(xs), "to her right", "to her left", "in the midline")
        + ", "
        + _span(min(ys), max(ys), "below", "above", "level with")
        + " the umbilicus"
    )
    return Patch(min(xs), max(xs), min(ys), max(ys), share, words)


def region(of: SiteMap, share: float = REGION_SHARE) -> Region:
    """The smallest region that holds a share of the map, in connected parts."""
    heaviest = np.sort(of.weights, axis=None)[::-1]
    count = int(np.searchsorted(np.cumsum(heaviest), share)) + 1
    density = float(heaviest[min(count, heaviest.size) - 1])
    # Cells alike but for rounding belong together, so that a mirrored map keeps its both sides.
    inside = of.weights >= density * (1 - 1e-9)
    patches = [_patch(part, of) for part in _patches(inside, of)]
    kept = [p for p in patches if p.share >= 0.02] or patches[:1]
    return Region(float(of.weights[inside].sum()), density, tuple(kept))


def drift(state: State, abdomen: Abdomen, towards: float = 1.0) -> tuple[DriftPoint, ...]:
    """The site of a state as the presenting part descends and turns to the front.

    towards: side of the site where a state has one on each (+1 left, -1 right). One eighth of a
    turn by two fifths, another by none (common practice in direction, assumption in size). Lies
    across do not descend: empty.
    """
    if state.lie is not Lie.LONGITUDINAL or state.presentation is Presentation.BROW:
        return ()
    made = []
    place = POSITIONS.index(state.position)
    for fifths in range(state.descent, -1, -1):
        turns = int(state.descent > 2 >= fifths) + int(state.descent > 0 == fifths)
        at = place
        for _ in range(turns):
            at = _turned_forward(at, towards)
        there = State(
            state.lie,
            state.presentation,
            POSITIONS[at],
            state.attitude,
            fifths,
            state.lower_pole,
        )
        point = site(there, abdomen, towards)
        made.append(DriftPoint(fifths, there.abbreviation, point, place_words(point, abdomen)))
    return tuple(made)


def _turned_forward(direction: int, towards: float) -> int:
    """The direction an eighth of a turn nearer to the front; from the rear, by the given side."""
    if direction == 0:
        return 0
    if direction == 4:
        return 3 if towards > 0 else 5
    return direction - 1 if direction < 4 else (direction + 1) % 8


def _drift_words(path: Sequence[DriftPoint], state: State) -> str:
    if state.lie is not Lie.LONGITUDINAL:
        return "A lie across does not descend: examine again before the sensor is moved."
    if state.presentation is Presentation.BROW:
        return "A brow does not descend as a brow: examine again if it flexes or extends."
    if len(path) < 2:
        return "The presenting part is probably deep already: the site will hardly move."
    down = path[0].point.y_cm - path[-1].point.y_cm
    inward = abs(path[0].point.x_cm) - abs(path[-1].point.x_cm)
    words = f"With descent and rotation the site moves down, about {down:.0f} cm by 0/5"
    return words + (f", and {inward:.0f} cm towards the midline." if inward >= 1 else ".")


@cache
def _sides() -> FloatArray:
    """One for states whose back looks to the mother's left, else zero, shape (states,)."""
    return np.array([float(state.back in (1, 2, 3)) for state in states()])


def contraction_site(now: FloatArray, abdomen: Abdomen) -> Site:
    """The contraction sensor's place: below the top of the fundus, towards the back's side."""
    lean = float(now @ _sides()) - float(now[mirror_order()] @ _sides())
    # The prior is even, so a lean is only ever what the findings gave.
    x = round(CONTRACTION_TO_BACK_CM * lean)
    y = abdomen.fundus_y_cm - CONTRACTION_BELOW_FUNDUS * abdomen.fundal_height_cm
    point = Point(float(x), float(round(y)))
    return Site(point, math.nan, "fundus", place_words(point, abdomen))


def plan(
    now: FloatArray,
    abdomen: Abdomen,
    heard: Heard | None = None,
    before_listening: FloatArray | None = None,
) -> SensorPlan:
    """Where the sensors go.

    now: probability of each state, shape (states,). heard: where the heart was heard best, with
    before_listening, the same probabilities without it.
    """
    made = site_map(now if before_listening is None else before_listening, abdomen, heard)
    best = best_site(made, abdomen)
    if best is None:  # pragma: no cover - a map that sums to one has a best place
        raise AssertionError("the map is empty")
    left = float(made.weights[:, made.x_cm > 0].sum())
    right = float(made.weights[:, made.x_cm < 0].sum())
    likeliest = _likeliest(now)
    path = drift(likeliest, abdomen, 1.0 if best.point.x_cm >= 0 else -1.0)
    notes = []
    assumed = [name for name in abdomen.assumed if name != "girth"]
    if assumed:
        notes.append(
            "Not measured, taken as usual for the weeks: "
            + ", ".join(assumed)
            + ". Distances shrink and stretch with them."
        )
    if heard is not None:
        notes.append("The heart was heard: its site is drawn to where that was.")
    notes.append(
        "Sites by common practice, no source; confirm by listening, with the mother's pulse under "
        "the finger."
    )
    return SensorPlan(
        abdomen,
        made,
        best,
        region(made),
        fallback_site(made, best, abdomen),
        abs(left - right) < 0.05,
        path,
        _drift_words(path, likeliest),
        contraction_site(now, abdomen),
        tuple(notes),
    )


def _likeliest(now: FloatArray) -> State:
    """The likeliest state; of states alike (mirror images) the one to the mother's left."""
    index = np.flatnonzero(now >= now.max() * (1 - 1e-9))
    return states()[int(index[0])]
