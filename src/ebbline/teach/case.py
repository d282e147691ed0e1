"""A case: one virtual patient with one truth, as YAML that a teacher can write and check."""

from __future__ import annotations

import difflib
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from ebbline.criteria.model import Standard
from ebbline.errors import ScenarioError
from ebbline.terms import Attitude, Lie, Position, Presentation, Stage

FORMAT = 1
"""Version of the layout below; the first key of every case file."""

LONGEST_SHOWN = 60
MOST_BYTES = 64_000
"""A case is a page or two of text; anything longer is not one."""


class AskedStep(StrEnum):
    """What a case asks of the learner."""

    HANDS = "hands"
    SENSORS = "sensors"
    INTERNAL = "internal"
    AUSCULTATION = "auscultation"
    STRIP = "strip"
    MEASURES = "measures"
    HANDOVER = "handover"


class Wall(StrEnum):
    """How much the abdominal wall hinders the hands and the ultrasound."""

    THIN = "thin"
    AVERAGE = "average"
    THICK = "thick"


class Fluid(StrEnum):
    """Amniotic fluid."""

    REDUCED = "reduced"
    NORMAL = "normal"
    INCREASED = "increased"


class Placenta(StrEnum):
    """Where the placenta lies, as the notes say."""

    POSTERIOR = "posterior"
    ANTERIOR = "anterior"
    FUNDAL = "fundal"
    LOW = "low-lying"
    PRAEVIA = "praevia"
    UNKNOWN = "unknown"


class Sign(StrEnum):
    """What is seen or measured at the bedside besides hands and trace."""

    LOW_BLOOD_PRESSURE = "low blood pressure"
    FEVER = "fever"
    BLEEDING = "bleeding"
    CORD_FELT = "cord felt"
    MECONIUM = "meconium"
    LOW_OXYGEN = "low oxygen saturation"
    MOVED_LESS = "moved less"
    SEIZURE = "seizure"
    HIGH_BLOOD_PRESSURE = "high blood pressure"
    SCAR_PAIN = "pain over the scar"
    HAND_BESIDE_HEAD = "hand beside the head"
    IRREGULAR_HEART = "irregular heart rate"
    SHOULDER_STUCK = "shoulder does not follow the head"
    SEPSIS = "sepsis"


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)


Text = Annotated[str, Field(min_length=1, max_length=1200)]


class Story(_Part):
    """What the learner is told. who: an invented person; scene: what has happened; task."""

    who: Text
    scene: Text
    task: Text


class Mother(_Part):
    """The mother's side of the truth, and what her notes say. None: not known."""

    weeks: Annotated[float, Field(ge=22, le=43)]
    parity: Annotated[int, Field(ge=0, le=14)] = 0
    abdominal_wall: Wall = Wall.AVERAGE
    fundal_height_cm: Annotated[float, Field(ge=18, le=50)] | None = None
    girth_cm: Annotated[float, Field(ge=70, le=160)] | None = None
    fluid: Fluid = Fluid.NORMAL
    tense_uterus: bool = False
    placenta: Placenta = Placenta.POSTERIOR
    membranes_ruptured: bool = False
    cervix_cm: Annotated[float, Field(ge=0, le=10)] | None = None
    pulse_bpm: Annotated[float, Field(ge=45, le=160)] = 82
    hiv: bool | None = False
    active_genital_herpes: bool | None = False
    hepatitis_b: bool | None = False
    hepatitis_c: bool | None = False
    hepatitis_d: bool | None = False
    hepatitis_e: bool | None = False
    primary_herpes: bool | None = False
    vasa_praevia: bool | None = False
    fetal_bleeding_disorder: bool | None = False
    refuses_internal: bool | None = False
    uterine_scar: bool | None = False


class Fetus(_Part):
    """How the fetus lies when the hands are laid on.

    position: where the denominator points; for a shoulder, the side of the head and where the
    back looks. fifths: palpable above the brim, 0..5. lower_pole: of an oblique lie.
    """

    lie: Lie = Lie.LONGITUDINAL
    presentation: Presentation = Presentation.VERTEX
    position: Position
    attitude: Attitude | None = None
    fifths: Annotated[int, Field(ge=0, le=5)] = 4
    lower_pole: Literal["head", "breech"] | None = None

    @model_validator(mode="after")
    def _agrees(self) -> Fetus:
        shoulder = self.presentation is Presentation.SHOULDER
        if shoulder == (self.lie is Lie.LONGITUDINAL):
            raise ValueError(
                f"a {self.presentation} presentation does not go with a {self.lie} lie"
                " (the shoulder with oblique or transverse, all others with longitudinal)"
            )
        if shoulder and self.position not in SHOULDER_POSITIONS:
            raise ValueError(
                f"a shoulder has no position {str(self.position)!r}; it has "
                + ", ".join(SHOULDER_POSITIONS)
            )
        if (self.lie is Lie.OBLIQUE) != (self.lower_pole is not None):
            raise ValueError("an oblique lie, and only that, says its lower_pole: head or breech")
        expected = ATTITUDES.get(self.presentation)
        if self.attitude is not None and (expected is None or self.attitude not in expected):
            allowed = ", ".join(expected) if expected else "none"
            raise ValueError(
                f"a {self.presentation} presentation has no attitude {str(self.attitude)!r}"
                f" of the head to tell (allowed: {allowed})"
            )
        return self

    @property
    def true_attitude(self) -> Attitude | None:
        """The attitude, the presentation's own where the case does not say; None for a breech."""
        expected = ATTITUDES.get(self.presentation)
        return self.attitude or (expected[0] if expected else None)


SHOULDER_POSITIONS = (
    Position.LEFT_ANTERIOR,
    Position.LEFT_POSTERIOR,
    Position.RIGHT_ANTERIOR,
    Position.RIGHT_POSTERIOR,
)

ATTITUDES: dict[Presentation, tuple[Attitude, ...]] = {
    Presentation.VERTEX: (Attitude.FLEXED, Attitude.MILITARY),
    Presentation.BROW: (Attitude.PARTLY_EXTENDED,),
    Presentation.FACE: (Attitude.EXTENDED,),
}
"""Which attitudes of the head go with which presentation. Textbook common ground, no source."""


class Turn(_Part):
    """Something that happens by itself while the labour goes on.

    minute: of monitored labour. say: what the learner is told. fetus: how it lies from then on.
    labour: knobs that change. sign: what comes up; ends: what goes.
    """

    minute: Annotated[float, Field(ge=0, le=600)]
    say: Text
    fetus: Fetus | None = None
    labour: dict[str, Any] = Field(default_factory=dict)
    sign: tuple[Sign, ...] = ()
    ends: tuple[Sign, ...] = ()


class Labour(_Part):
    """What the labour is like: a sentence, and knobs that refine it (those of a Scenario).

    words: such as "recurrent late, minimal variability". knobs: names and values of the
    generator's Scenario, except those that follow from mother and fetus. turns: what happens.
    """

    words: Annotated[str, Field(max_length=300)] = ""
    stage: Stage = Stage.FIRST
    oxytocin: bool = False
    epidural: bool = False
    pushing: bool = False
    knobs: dict[str, Any] = Field(default_factory=dict)
    turns: tuple[Turn, ...] = ()

    @field_validator("turns")
    @classmethod
    def _in_order(cls, turns: tuple[Turn, ...]) -> tuple[Turn, ...]:
        if [turn.minute for turn in turns] != sorted(turn.minute for turn in turns):
            raise ValueError("turns must stand in the order of their minutes")
        return turns


class Recorded(_Part):
    """A real recording as a case, read in place: never shipped.

    collection: its name among the open collections; record: its name there; step: 1 (around an
    hour before the end of the first stage), 2 (the end of it) or 3 (the second stage), as the
    panel read them.
    """

    collection: Literal["ctu-uhb"]
    record: Annotated[str, Field(pattern=r"^\d{4}$")]
    step: Annotated[int, Field(ge=1, le=3)]


class Threat(_Part):
    """A danger that grows with the clock until the right thing is done.

    kind: one of threats.yaml. minute: of monitored labour, from which it can be known.
    """

    kind: Annotated[str, Field(min_length=1, max_length=60)]
    minute: Annotated[float, Field(ge=0, le=600)] = 0

    @field_validator("kind")
    @classmethod
    def _known(cls, kind: str) -> str:
        from ebbline.teach.threats import threat_table

        if kind not in threat_table():
            raise ValueError(f"there is no such threat; known: {', '.join(threat_table())}")
        return kind


class SecondTwin(_Part):
    """The twin that lies higher: how it lies, and how far its heart runs from the first's, bpm."""

    fetus: Fetus
    heart_apart_bpm: Annotated[float, Field(ge=-40, le=40)] = 14


class Case(_Part):
    """One virtual patient (labour) or one real recording (recorded), with what is asked of it.

    threat: what worsens with the clock. guided: after each grip it is told what it rules out.
    promises: terms that the strip must truly show up to its reading (`coverage.TERMS`), sentences
    that must hold of it (`coverage.told_in`: whom to tell, what it calls for, how often), so that
    the story fits it; checked with the case. draw: which of the labours that the case as written
    can be is taken, where the first does not show what is promised.
    """

    ebbline_case: Literal[1]
    id: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
    title: Annotated[str, Field(min_length=3, max_length=80)]
    difficulty: Annotated[int, Field(ge=1, le=5)]
    story: Story
    mother: Mother
    fetus: Fetus | None = None
    second_twin: SecondTwin | None = None
    labour: Labour | None = None
    recorded: Recorded | None = None
    threat: Threat | None = None
    guided: bool = False
    signs: tuple[Sign, ...] = ()
    asks: Annotated[tuple[AskedStep, ...], Field(min_length=1)]
    standard: Standard = Standard.NICHD
    minutes_before_reading: Annotated[int, Field(ge=10, le=120)] = 30
    minutes_after: Annotated[int, Field(ge=0, le=120)] = 30
    aims: tuple[Text, ...] = ()
    promises: tuple[Text, ...] = ()
    draw: Annotated[int, Field(ge=0, le=1000)] = 0
    afterword: Annotated[str, Field(max_length=2000)] = ""

    @model_validator(mode="after")
    def _whole(self) -> Case:
        asks = set(self.asks)
        if len(asks) != len(self.asks):
            raise ValueError("asks: each step at most once")
        if self.recorded is not None:
            if self.labour is not None or self.fetus is not None:
                raise ValueError("a recorded case has neither fetus nor labour of its own")
            if asks - {AskedStep.STRIP}:
                raise ValueError("a recorded case can ask for the strip only")
            return self
        if asks & {AskedStep.HANDS, AskedStep.SENSORS, AskedStep.INTERNAL} and not self.fetus:
            raise ValueError("hands, sensors and internal need to know how the fetus lies (fetus)")
        if asks & {AskedStep.SENSORS, AskedStep.STRIP} and self.labour is None:
            raise ValueError("sensors and strip need a labour")
        if AskedStep.AUSCULTATION in asks and self.labour is None:
            raise ValueError("auscultation needs a labour")
        if self.threat is not None and self.labour is None:
            raise ValueError("a threat needs a labour to worsen")
        return self


def case_from_data(data: Any, *, where: str = "case") -> Case:
    """A checked case from plain data. Raises ScenarioError with every problem, by its place."""
    if not isinstance(data, dict):
        raise ScenarioError(
            "a case is a set of named fields.",
            where=where,
            remedy="Begin with `ebbline_case: 1`; see docs/teaching.md.",
        )
    try:
        return Case.model_validate(data)
    except ValidationError as error:
        problems = [_told(dict(problem)) for problem in error.errors()]
        raise ScenarioError(
            "; ".join(problems) + ".",
            where=where,
            remedy="Mend the named fields; see docs/teaching.md for what each may hold.",
        ) from None


def _told(problem: dict[str, Any]) -> str:
    place = ".".join(str(part) for part in problem["loc"])
    kind = problem["type"]
    if kind == "extra_forbidden":
        nearest = difflib.get_close_matches(str(problem["loc"][-1]), _FIELD_NAMES, n=1)
        hint = f" (did you mean {nearest[0]!r}?)" if nearest else ""
        return f"{place}: no such field{hint}"
    if kind == "missing":
        return f"{place}: must be given"
    message = str(problem["msg"]).removeprefix("Value error, ")
    given = problem.get("input")
    shown = f" (given: {_short(given)})" if isinstance(given, str | int | float) else ""
    message = message[0].lower() + message[1:]
    return f"{place}: {message}{shown}" if place else message


def _short(given: str | int | float) -> str:
    try:
        text = repr(given)
    except ValueError:
        return "a number too long to show"
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."


_FIELD_NAMES = sorted(
    {
        name
        for part in (
            Case,
            Story,
            Mother,
            Fetus,
            Labour,
            Turn,
            Recorded,
            Threat,
            SecondTwin,
        )
        for name in part.model_fields
    }
)


class _StrictLoader(yaml.SafeLoader):
    """Safe YAML that refuses a key given twice and any alias (an alias can swell without end)."""

    def compose_node(self, parent: Any, index: Any) -> Any:
        if self.check_event(yaml.AliasEvent):
            raise yaml.YAMLError("aliases (*name) are not used in cases")
        return super().compose_node(parent, index)

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        seen: set[Any] = set()
        for key_node, _ in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                raise yaml.MarkedYAMLError(
                    problem="a list or a mapping cannot be the name of a field",
                    problem_mark=key_node.start_mark,
                )
            key = self.construct_object(key_node, deep=True)
            if key in seen:
                raise yaml.MarkedYAMLError(
                    problem=f"{key!r} is given twice", problem_mark=key_node.start_mark
                )
            seen.add(key)
        return super().construct_mapping(node, deep)


def case_from_yaml(text: str, *, where: str = "case") -> Case:
    """A checked case from YAML text. Raises ScenarioError, with line and column where it can."""
    if len(text.encode()) > MOST_BYTES:
        raise ScenarioError(
            f"longer than {MOST_BYTES // 1000} kB.", where=where, remedy="A case is a page of text."
        )
    try:
        data = yaml.load(text, Loader=_StrictLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        place = f"{where}, line {mark.line + 1}, column {mark.column + 1}" if mark else where
        raise ScenarioError(
            f"this is not YAML: {error.problem}.", where=place, remedy="Mend that line."
        ) from None
    except (yaml.YAMLError, RecursionError, ValueError) as error:
        raise ScenarioError(
            f"this is not YAML: {error}.", where=where, remedy="Mend the text."
        ) from None
    return case_from_data(data, where=where)


def case_from_file(path: Path) -> Case:
    """A checked case from a YAML file. Raises ScenarioError."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise ScenarioError(
            "this is not UTF-8 text.", where=str(path), remedy="Save it as UTF-8."
        ) from None
    except OSError as error:
        raise ScenarioError(
            f"the file cannot be read: {error.strerror}.",
            where=str(path),
            remedy="Check the name and that you may read it.",
        ) from None
    return case_from_yaml(text, where=str(path))


def case_to_yaml(case: Case) -> str:
    """YAML of a case, leaving out what stands at its default; reads back as the same case."""
    data = case.model_dump(mode="json", exclude_defaults=True)
    data = {"ebbline_case": FORMAT, **data}
    return yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=96)
