"""What hands meet and what is heard on a virtual patient's abdomen, as the page plays it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ebbline.web.figures import inked
from ebbline.web.teaching.schemas import AbdomenOut, DrawnOut, EarOut, HeartOut, TouchOut

if TYPE_CHECKING:
    from ebbline.synth.scenario_parts import Point
    from ebbline.teach.anatomy import HeartSite
    from ebbline.teach.encounter import Encounter
    from ebbline.teach.sensations import Sensation

SOFT_CM, THICK_CM, TENSE_CM = 3.0, 1.4, 0.3
"""How far a firm hand sinks in: an easy wall, a thick one, a hard uterus (ours)."""
SPREAD_DEG = 18.0
"""The heart is heard down to 1/e of its loudness so far off its line (ours; the words' own limits,
13, 23 and 33 degrees, are then volumes of 0.59, 0.20 and 0.03)."""
HER_PULSE, PLACENTA, CORD = 0.28, 0.45, 0.3
"""Loudest volumes (ours)."""
PLACENTA_WIDE_CM, CORD_WIDE_CM = 6.0, 3.5
"""How wide the placenta and the cord are heard (ours)."""


def drawn(encounter: Encounter, *, fetus: bool = False, name: str = "abdomen") -> DrawnOut:
    """The drawing of the abdomen; fetus: with the fetus in it, for the debrief."""
    from ebbline.picture.abdomen import body_page
    from ebbline.teach import anatomy

    abdomen = encounter.body.abdomen
    lying = encounter.fetus_at_conclusion or encounter.fetus
    page, place = body_page(abdomen, anatomy.state_of(lying) if fetus else None)
    return DrawnOut(
        svg=inked(page, name=name),
        x_cm=-place.x0 / place.scale,
        y_cm=-place.y0 / place.scale,
        width_cm=page.width / place.scale,
        height_cm=page.height / place.scale,
        round_cm=place.round_cm,
        measures=measures_of(encounter),
    )


def touch(encounter: Encounter, sensation: Sensation) -> TouchOut:
    """What the hand meets at a grip, from the same findings as its words."""
    from ebbline.teach.case import Wall
    from ebbline.teach.sensations import Grip, Zone

    mother = encounter.case.mother
    found = {one.item: one.answer for one in sensation.told}
    gives = THICK_CM if mother.abdominal_wall is Wall.THICK else SOFT_CM
    side = sensation.zone.value.split(" ")[0]
    limbs = found.get("limbs", "")
    flank = sensation.zone in (Zone.LEFT_FLANK, Zone.RIGHT_FLANK, Zone.MIDDLE)
    here = limbs in ("both sides", side) or (sensation.zone is Zone.MIDDLE and limbs == "across")
    return TouchOut(
        gives_cm=TENSE_CM if mother.tense_uterus else gives,
        moves=found.get("mobility") == "mobile" and sensation.grip is Grip.THIRD,
        kicks=sensation.grip is Grip.SECOND and flank and here,
    )


def ear(encounter: Encounter, place: Point) -> EarOut:
    """What is heard at a place while the sensor is moved over it."""
    from ebbline.teach.case import Sign
    from ebbline.teach.sensations import hear

    case = encounter.case
    rate = encounter.heart_bpm()
    uneven = Sign.IRREGULAR_HEART in encounter.signs
    hearts = [HeartOut(volume=_volume(place, encounter.site), bpm=rate, uneven=uneven)]
    second = encounter.second_site
    if second is not None and case.second_twin is not None:
        apart = rate + case.second_twin.heart_apart_bpm
        hearts.append(HeartOut(volume=_volume(place, second), bpm=apart))
    loudest = max(one.volume for one in hearts)
    placenta, cord = _placenta(encounter), _cord(encounter)
    rushes = PLACENTA * _near(place, placenta, PLACENTA_WIDE_CM) if placenta else 0.0
    blows = CORD * _near(place, cord, CORD_WIDE_CM) if placenta else 0.0
    site = encounter.site
    if second is not None and hearts[1].volume > hearts[0].volume:
        site = second
    clear = hear(place, site, rate, case.mother.pulse_bpm, encounter.chance_of("ear")).clear
    return EarOut(
        hearts=hearts,
        mother=HER_PULSE * (1 - loudest),
        mother_bpm=case.mother.pulse_bpm,
        placenta=rushes,
        cord=blows,
        words=_words(clear, rushes, blows),
    )


def _words(clear: int, placenta: float, cord: float) -> str:
    said = (
        "no quick beat, only her own slow pulse",
        "a hint of a quick beat, too faint to count",
        "a quick double beat, faint",
        "a quick double beat, clear and close",
    )[clear]
    if placenta > PLACENTA / 2:
        said += "; a broad rushing in time with her pulse, as of the placenta"
    if cord > CORD / 2 and clear < 3:
        said += "; a thin blowing as quick as the heart, as of the cord"
    return f"{said[0].upper()}{said[1:]}."


def _volume(place: Point, site: HeartSite) -> float:
    from ebbline.teach import anatomy

    distance = anatomy.nearest_cm(place, site.spots)
    angle = math.degrees(math.atan2(distance, site.depth_cm))
    return math.exp(-((angle / SPREAD_DEG) ** 2))


def _near(place: Point, middle: Point, wide_cm: float) -> float:
    return math.exp(-((place.distance_cm(middle) / wide_cm) ** 2))


def _placenta(encounter: Encounter) -> Point | None:
    """Where the placenta is heard; None where it lies behind."""
    from ebbline.synth.scenario_parts import Point
    from ebbline.teach.case import Placenta

    abdomen = encounter.body.abdomen
    up = {Placenta.FUNDAL: 0.88, Placenta.ANTERIOR: 0.62, Placenta.LOW: 0.2, Placenta.PRAEVIA: 0.12}
    share = up.get(encounter.case.mother.placenta)
    return None if share is None else Point(0.0, abdomen.up(share))


def _cord(encounter: Encounter) -> Point:
    """Where the cord is heard: on the way from the heart to the middle of the womb (ours)."""
    from ebbline.synth.scenario_parts import Point

    at, middle = encounter.site.at, encounter.body.abdomen.up(0.5)
    return Point(0.45 * at.x_cm, at.y_cm + 0.55 * (middle - at.y_cm))


def measures_of(encounter: Encounter) -> AbdomenOut:
    """The measures of the abdomen."""
    abdomen = encounter.body.abdomen
    spine = abdomen.landmarks["left anterior superior iliac spine"]
    return AbdomenOut(
        fundal_height_cm=abdomen.fundal_height_cm,
        girth_cm=abdomen.girth_cm,
        symphysis_y_cm=abdomen.symphysis_y_cm,
        fundus_y_cm=abdomen.fundus_y_cm,
        flank_x_cm=abdomen.flank_x_cm,
        spine_x_cm=spine.x_cm,
        spine_y_cm=spine.y_cm,
    )
