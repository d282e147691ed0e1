"""`ebbline sensors`, `internal`, `reviews` and `measures`: what goes with the examination."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from ebbline.cli import bedside_options as bedside
from ebbline.cli.output import Force, Outputs
from ebbline.errors import ContextError, EbblineError, ExaminationError

if TYPE_CHECKING:
    from ebbline.bedside import ExamResult
    from ebbline.bedside.placement import SignalNow
    from ebbline.reading.model import FetalReading, Reading

T = TypeVar("T")

PolicyFile = Annotated[
    Path | None,
    typer.Option("--policy", help="Your unit's own policy (YAML); a copy of ours to start from."),
]
JsonFile = Annotated[
    str | None, typer.Option("--json", help="Write the result to this file; - prints it.")
]
ReadingFile = Annotated[
    Path | None,
    typer.Option("--reading", help="A saved reading (ebbline read ... --json FILE)."),
]
Fetus = Annotated[int, typer.Option(help="Which fetus of the reading.")]


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(sensors)
    app.command()(internal)
    app.command()(reviews)
    app.command()(measures)


@bedside.grouped
def sensors(
    pregnancy: bedside.Pregnancy,
    hands: bedside.Hands,
    measured: bedside.Measures,
    found: bedside.Findings = None,
    exam: Annotated[
        Path | None, typer.Option(help="A saved examination (ebbline exam ... --json FILE).")
    ] = None,
    valid: Annotated[
        float | None, typer.Option(help="Usable share of the signal now, in per cent.")
    ] = None,
    trouble: Annotated[
        list[str] | None,
        typer.Option(
            help="What is wrong (may be repeated): signal-lost, spikes, doubling-suspected, "
            "halving-suspected, maternal-rate-suspected, flat-line, contractions-not-shown."
        ),
    ] = None,
    tries: Annotated[
        int | None, typer.Option(min=0, help="How often the sensor was already moved.")
    ] = None,
    tried: Annotated[
        list[str] | None,
        typer.Option(
            help="A step that was tried and what it brought (may be repeated): gel=nothing, "
            "ear=helped, tilt='not possible'; the next step moves up."
        ),
    ] = None,
    rate: Annotated[float | None, typer.Option(help="Rate on the trace, bpm.")] = None,
    pulse: Annotated[float | None, typer.Option(help="The mother's pulse, bpm.")] = None,
    rises: Annotated[
        bool | None,
        typer.Option("--rises/--no-rises", help="The rate rises with contractions or pushing."),
    ] = None,
    reading: ReadingFile = None,
    fetus: Fetus = 1,
    json: JsonFile = None,
    force: Force = False,
) -> None:
    """Where the sensors go; and when the signal is poor, what to try and in what order.

    Examples:

      ebbline sensors back=left brim=head heart="left below" --weeks 39

      ebbline sensors back=left --stage first --valid 62 --trouble signal-lost --tries 2

      ebbline sensors --exam exam.json --reading reading.json
    """
    from ebbline.bedside import examine
    from ebbline.bedside.placement import advise, tried_from
    from ebbline.bedside.wording import say_sensors

    if exam is not None:
        if found:
            raise ExaminationError(
                "findings and a saved examination are both given.",
                where="--exam",
                remedy="Give one of the two.",
            )
        result = _saved_exam(exam)
    else:
        context = bedside.context_from(pregnancy, hands, measured)
        result = examine(bedside.pairs(found or []), context)
    told = (valid, trouble, tries, tried, rate, pulse, rises, reading)
    advice = None
    if any(value is not None for value in told):
        stage = pregnancy.stage
        signal = _signal(result, stage, valid, trouble, tries, rate, pulse, rises)
        if reading is not None:
            signal = _from_reading(reading, fetus, signal)
        signal = replace(signal, tried=tried_from(dict(bedside.pairs(tried or [], "tried"))))
        plan = result.sensors
        fallback = plan.fallback.words if plan.fallback is not None else "the other side"
        advice = advise(signal, plan.best.words, fallback)
    Outputs(force=force, read=[exam, reading]).json(
        {"sensors": result.sensors, "signal": advice}, json
    )
    if json != "-":
        print(say_sensors(result.sensors, advice, result.caution, width=bedside.width()), end="")


def _saved_exam(path: Path) -> ExamResult:
    from ebbline.bedside import ExamResult

    return _saved(ExamResult, path)


def _saved_reading(path: Path) -> Reading:
    from ebbline.reading.model import Reading

    return _saved(Reading, path)


def _saved(kind: type[T], path: Path) -> T:
    from ebbline.codec import from_json

    try:
        return from_json(kind, _text(path))
    except ExaminationError:
        raise
    except EbblineError as error:
        where = f"{path}, {error.where}" if error.where else str(path)
        raise ExaminationError(error.what, where=where, remedy=error.remedy) from error


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not text"
        raise ExaminationError(
            f"this cannot be read: {reason}.", where=str(path), remedy="Check the path."
        ) from error


def _fetal(reading: Reading, fetus: int) -> FetalReading:
    for one in reading.fetuses:
        if one.fetus == fetus:
            return one
    known = ", ".join(str(one.fetus) for one in reading.fetuses)
    raise ContextError(
        f"the reading has no fetus {fetus}.", where="--fetus", remedy=f"Choose from {known}."
    )


def _signal(
    result: ExamResult,
    stage: str | None,
    valid: float | None,
    trouble: list[str] | None,
    tries: int | None,
    rate: float | None,
    pulse: float | None,
    rises: bool | None,
) -> SignalNow:
    from ebbline.bedside.placement import SensorTrouble, SignalNow
    from ebbline.terms import Stage

    for option, value, low, high in (
        ("--valid", valid, 0, 100),
        ("--rate", rate, 20, 300),
        ("--pulse", pulse, 20, 250),
    ):
        if value is not None and not low <= value <= high:
            raise ContextError(
                f"{value:g} cannot be.", where=option, remedy=f"Give {low} to {high}."
            )
    return SignalNow(
        valid_share=math.nan if valid is None else valid / 100,
        troubles=tuple(bedside.choice(word, SensorTrouble, "--trouble") for word in trouble or ()),
        tries=tries or 0,
        stage=bedside.choice(stage, Stage, "--stage") if stage else result.context.stage,
        heart_rate_bpm=math.nan if rate is None else rate,
        maternal_pulse_bpm=math.nan if pulse is None else pulse,
        rises_with_contractions=rises,
        fetuses=result.context.fetuses,
    )


def _from_reading(path: Path, fetus: int, told: SignalNow) -> SignalNow:
    """The reading's signal, with what was told on the command line in place of its own."""
    from ebbline.reading.bedside_bridge import signal_now
    from ebbline.terms import Stage

    reading = _saved_reading(path)
    made = signal_now(reading, _fetal(reading, fetus), told.tries)
    if not math.isnan(told.valid_share):
        made = replace(made, valid_share=told.valid_share)
    if told.troubles:
        made = replace(made, troubles=tuple(dict.fromkeys((*made.troubles, *told.troubles))))
    if told.stage is not Stage.UNKNOWN:
        made = replace(made, stage=told.stage)
    if not math.isnan(told.heart_rate_bpm):
        made = replace(made, heart_rate_bpm=told.heart_rate_bpm)
    if told.rises_with_contractions is not None:
        made = replace(made, rises_with_contractions=told.rises_with_contractions)
    return replace(made, maternal_pulse_bpm=told.maternal_pulse_bpm)


def internal(
    sensor: Annotated[str, typer.Argument(help="electrode or catheter.")],
    facts: Annotated[
        list[str] | None,
        typer.Argument(
            help="What is known: membranes=ruptured dilatation=4 hiv=no ... Leave out what is "
            "not: it counts as not met.",
            metavar="FACT=ANSWER...",
        ),
    ] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Be asked each fact.")] = False,
    policy: PolicyFile = None,
    questions: Annotated[
        bool, typer.Option("--facts", help="List the facts of the policy, and leave.")
    ] = False,
    json: JsonFile = None,
    force: Force = False,
) -> None:
    """Check an internal sensor against the list: met, not met, unknown, with what to find out.

    Example: ebbline internal electrode membranes=ruptured dilatation=4 presenting=vertex weeks=39
    """
    from ebbline.bedside.policy.internal import Fact, check_internal, load_internal
    from ebbline.bedside.wording import say_internal

    loaded = load_internal(policy)

    def choices(fact: Fact) -> str:
        if fact.choices:
            return ", ".join(fact.choices)
        return f"{fact.low:g} to {fact.high:g} {fact.unit}".strip()

    if questions:
        for fact in loaded.facts.values():
            print(f"{fact.name} = {choices(fact)}\n    {fact.question}")
        return
    given = dict(bedside.pairs(facts or [], "fact"))
    check_internal(sensor, given, loaded)
    if ask:
        needed = dict.fromkeys(line.fact for line in loaded.lines[sensor])
        for name in needed:
            if name not in given:
                _ask_fact(name, loaded.facts[name].question, choices(loaded.facts[name]), given)
                check_internal(sensor, given, loaded)
    check = check_internal(sensor, given, loaded)
    Outputs(force=force, read=[policy]).json(check, json)
    if json != "-":
        print(say_internal(check, width=bedside.width()), end="")


def _ask_fact(name: str, question: str, choices: str, given: dict[str, str]) -> None:
    import sys

    print(f"{question}\n  {choices} (Enter: unknown)\n> ", end="", file=sys.stderr, flush=True)
    line = sys.stdin.readline()
    if line.strip():
        given[name] = line.strip()


def reviews(
    last: Annotated[
        list[str] | None,
        typer.Argument(
            help="When each was last done: trace=14:05 pulse=13:30 (24 hours at most).",
            metavar="REVIEW=TIME...",
        ),
    ] = None,
    now: Annotated[str | None, typer.Option(help="The time now, 14:40; else the clock's.")] = None,
    stage: Annotated[str | None, typer.Option(help="first or second.")] = None,
    risk: Annotated[str | None, typer.Option(help="low or raised.")] = None,
    method: Annotated[str | None, typer.Option(help="auscultation or continuous.")] = None,
    factor: Annotated[
        list[str] | None,
        typer.Option(help="A risk factor that is present (may be repeated); see --factors."),
    ] = None,
    guideline: Annotated[
        str | None, typer.Option(help="Source to go by first: acog, nice, who ...")
    ] = None,
    policy: PolicyFile = None,
    factors: Annotated[
        bool, typer.Option("--factors", help="List the risk factors, and leave.")
    ] = False,
    json: JsonFile = None,
    force: Force = False,
) -> None:
    """What is due, and what is overdue, by the policy; what is not told takes the shorter interval.

    Example: ebbline reviews trace=14:05 pulse=13:30 --now 14:40 --stage first --risk raised
    """
    from ebbline.bedside.policy.reviews import (
        Method,
        Risk,
        clock_time,
        load_reviews,
        reviews_due,
    )
    from ebbline.bedside.wording import say_reviews
    from ebbline.terms import Stage

    loaded = load_reviews(policy)
    if factors:
        for one in loaded.risk_factors:
            print(f"{one.name}: {one.text} [{one.source}]")
        return
    clock = datetime.now().replace(microsecond=0)
    here = clock if now is None else _now(now, clock)
    due = reviews_due(
        here,
        {
            name.strip().lower(): clock_time(text, here, name)
            for name, text in bedside.pairs(last or [], "review")
        },
        stage=bedside.choice(stage, Stage, "--stage"),
        risk=bedside.choice(risk, Risk, "--risk"),
        method=bedside.choice(method, Method, "--method"),
        factors=factor or (),
        policy=loaded,
        first_source=guideline,
    )
    Outputs(force=force, read=[policy]).json(due, json)
    if json != "-":
        print(say_reviews(due, width=bedside.width()), end="")


def _now(text: str, clock: datetime) -> datetime:
    """A time of today."""
    from ebbline.bedside.policy.reviews import clock_time

    made = clock_time(text, clock.replace(hour=23, minute=59), "--now")
    return made.replace(year=clock.year, month=clock.month, day=clock.day)


def measures(
    found: Annotated[
        list[str] | None,
        typer.Argument(help="What was found: tachysystole, recurrent-variable, prolonged ..."),
    ] = None,
    called: Annotated[
        list[str] | None,
        typer.Option(
            "--class",
            help="What the trace was called (may be repeated): 'Category III', 'NICE "
            "pathological'; the urgency of the call follows from it.",
        ),
    ] = None,
    lasting: Annotated[
        float | None, typer.Option(help="Minutes that a prolonged fall has lasted.")
    ] = None,
    reading: ReadingFile = None,
    fetus: Fetus = 1,
    policy: PolicyFile = None,
    json: JsonFile = None,
    force: Force = False,
) -> None:
    """First measures that guidelines list for what was found: options for the team, never orders.

    Examples:

      ebbline measures absent-variability recurrent-late --class "Category III"

      ebbline measures prolonged --lasting 4

      ebbline measures --reading reading.json
    """
    from ebbline.bedside.policy.measures import first_measures, load_measures
    from ebbline.bedside.wording import say_measures

    loaded = load_measures(policy)
    words, classes = list(found or []), list(called or [])
    minutes = math.nan if lasting is None else lasting
    if reading is not None:
        from ebbline.reading.bedside_bridge import class_words, finding_words, longest_fall_min

        saved = _saved_reading(reading)
        fetal = _fetal(saved, fetus)
        words += finding_words(fetal)
        classes += class_words(fetal)
        if lasting is None:
            minutes = longest_fall_min(saved, fetal)
    if not words:
        if reading is not None:
            print("Nothing that the list speaks of was found in the reading's window.")
            return
        raise ExaminationError(
            "no finding is named.",
            where="ebbline measures",
            remedy=f"Name one or more of: {', '.join(loaded.findings)}.",
        )
    listed = first_measures(words, loaded, classes=classes, lasting_min=minutes)
    Outputs(force=force, read=[reading, policy]).json(listed, json)
    if json != "-":
        print(say_measures(listed, width=bedside.width()), end="")
