"""The examination as the pages need it: from answers to what is drawn and said."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ebbline.bedside import (
    ExamContext,
    Examiner,
    ExamResult,
    Fluid,
    Hindrance,
    Membranes,
    Placenta,
    examine,
)
from ebbline.bedside.exam import Chance
from ebbline.bedside.findings_catalogue import Item, Step, items
from ebbline.bedside.geometry import Abdomen, Point
from ebbline.bedside.placement import PlacementAdvice, SignalNow, advise
from ebbline.bedside.sensors import Site
from ebbline.web.examination.schemas import (
    AbdomenOut,
    ChanceOut,
    DueOut,
    ExamContextIn,
    ExamIn,
    ExamOut,
    InternalIn,
    InternalLineOut,
    InternalOut,
    MapOut,
    NextStepOut,
    ReviewsIn,
    ReviewsOut,
    SignalStepOut,
    SiteOut,
    TextOut,
)
from ebbline.web.figures import inked

if TYPE_CHECKING:
    from ebbline.bedside.policy.common import PolicyHead


def context_of(said: ExamContextIn) -> ExamContext:
    """The examination's context. Raises ExaminationError for numbers that cannot be."""
    return ExamContext(
        weeks=said.weeks,
        earlier_births=said.earlier_births,
        previous_breech=said.previous_breech,
        fetuses=said.fetuses,
        stage=said.stage,
        placenta=Placenta(said.placenta),
        fluid=Fluid(said.fluid),
        membranes=Membranes(said.membranes),
        bleeding=said.bleeding,
        examiner=Examiner(said.examiner),
        hindrances=tuple(Hindrance(word) for word in said.hindrances),
        fundal_height_cm=said.fundal_height_cm,
        girth_cm=said.girth_cm,
        symphysis_to_umbilicus_cm=said.symphysis_to_umbilicus_cm,
        maternal_weight_kg=said.maternal_weight_kg,
    )


def examined(asked: ExamIn) -> ExamResult:
    """The examination's result. Raises ExaminationError for words that are not known."""
    return examine(asked.findings, context_of(asked.context))


def steps() -> list[tuple[str, list[Item]]]:
    """All items by step, in the order of the examination."""
    found: dict[Step, list[Item]] = {}
    for item in items().values():
        found.setdefault(item.step, []).append(item)
    return [(step.value, listed) for step, listed in found.items()]


def outcome(result: ExamResult, signal: SignalNow | None = None) -> ExamOut:
    """Everything the page shows. signal: of the recording beside it, for what to try."""
    plan = result.sensors
    fallback = plan.fallback.words if plan.fallback is not None else "the other side"
    advice = None if signal is None else advise(signal, plan.best.words, fallback)
    return ExamOut(
        alone=[TextOut(text=c.text, source=c.source, now=True) for c in result.alone],
        position_told=result.position_told.words,
        position_share=result.position_told.share,
        figure_svg=figure_svg(result),
        scan_trade=result.scan.trade,
        cautions=[TextOut(text=c.text, source=c.source, now=c.now) for c in result.cautions],
        contradictions=[c.text for c in result.contradictions],
        lie=_chances(result.lie),
        presentation=_chances(result.presentation),
        back=_chances(result.back),
        attitude=_chances(result.attitude),
        descent=_chances(result.descent),
        positions=[
            ChanceOut(word=p.name, probability=p.probability, before=p.before)
            for p in result.positions
        ],
        engaged=result.engaged,
        noncephalic=result.noncephalic,
        next_steps=[
            NextStepOut(
                item=s.item,
                step=s.step.value,
                question=s.question,
                how=s.how,
                gain_bits=s.gain_bits,
                settles=s.settles,
                only_if_indicated=s.only_if_indicated,
            )
            for s in result.next_steps
        ],
        scan_advised=result.scan.advised,
        scan_why=result.scan.why,
        best=_site(plan.best),
        fallback=None if plan.fallback is None else _site(plan.fallback),
        contraction=_site(plan.contraction),
        drift=[_spot(d.point, f"{d.fifths}/5, {d.position}: {d.words}") for d in plan.drift],
        drift_words=plan.drift_words,
        both_sides_alike=plan.both_sides_alike,
        sensor_notes=list(plan.notes),
        search_within=[patch.words for patch in plan.region.patches[:2]],
        map=MapOut(
            x_cm=plan.map.x_cm.tolist(),
            y_cm=plan.map.y_cm.tolist(),
            weights=plan.map.weights.round(6).tolist(),
            region_density=plan.region.density,
        ),
        abdomen=_abdomen(plan.abdomen),
        not_examined=list(result.not_examined),
        growth=_growth(result),
        basis=[TextOut(text=f"{b.about}: {b.text}", source=str(b.source)) for b in result.basis],
        signal_steps=_signal_steps(advice),
        signal_done=[] if advice is None else list(advice.done),
        signal_rest="" if advice is None else advice.rest,
        signal_notes=_signal_notes(advice),
        caution=result.caution,
    )


def figure_svg(result: ExamResult) -> str:
    """The figure of print, for a page."""
    from ebbline.picture.abdomen import figure_page

    return "" if result.alone else inked(figure_page([result]))


def _chances(chances: tuple[Chance, ...]) -> list[ChanceOut]:
    return [ChanceOut(word=c.word, probability=c.probability, before=c.before) for c in chances]


def _site(site: Site) -> SiteOut:
    return SiteOut(
        x_cm=site.point.x_cm,
        y_cm=site.point.y_cm,
        share=site.share,
        zone=site.zone,
        words=site.words,
    )


def _spot(point: Point, words: str) -> SiteOut:
    return SiteOut(x_cm=point.x_cm, y_cm=point.y_cm, share=0.0, zone="", words=words)


def _abdomen(abdomen: Abdomen) -> AbdomenOut:
    spine = abdomen.landmarks["left anterior superior iliac spine"]
    low, high = abdomen.symphysis_y_cm, abdomen.fundus_y_cm
    # Closer together towards the top, where the edge turns.
    heights = [low + (high - low) * math.sin(math.pi / 2 * k / 60) for k in range(61)]
    return AbdomenOut(
        fundal_height_cm=abdomen.fundal_height_cm,
        fundus_y_cm=high,
        symphysis_y_cm=low,
        flank_x_cm=abdomen.flank_x_cm,
        spine_x_cm=spine.x_cm,
        spine_y_cm=spine.y_cm,
        outline=[(abdomen.half_width_cm(y), y) for y in heights],
        assumed=list(abdomen.assumed),
    )


def _growth(result: ExamResult) -> list[TextOut]:
    made = []
    height = result.growth.fundal_height
    if height is not None:
        made.append(TextOut(text=f"Fundal height: {height.text}", source=str(height.source)))
    for weight in result.growth.weights:
        made.append(
            TextOut(
                text=(
                    f"Weight about {weight.grams:.0f} g, give or take {weight.error_g:.0f} "
                    f"(Johnson, {weight.variant}; head {weight.head})"
                ),
                source=str(weight.source),
            )
        )
    return made


def _signal_steps(advice: PlacementAdvice | None) -> list[SignalStepOut]:
    if advice is None:
        return []
    return [
        SignalStepOut(step=s.id, text=f"{s.what}: {s.why}", source=s.source) for s in advice.steps
    ]


def _signal_notes(advice: PlacementAdvice | None) -> list[str]:
    if advice is None:
        return []
    notes = []
    if advice.exclude_maternal:
        notes.append(
            "Before anything is read from the trace, feel the mother's pulse against it: "
            + "; ".join(advice.maternal_why)
            + "."
        )
    if advice.electrode:
        notes.append(f"An electrode is worth talking over: {advice.electrode_why}")
    if advice.catheter:
        notes.append(f"A pressure catheter is worth talking over: {advice.catheter_why}")
    if advice.not_known:
        notes.append("Not known: " + ", ".join(advice.not_known) + ".")
    return notes


def internal(asked: InternalIn) -> InternalOut:
    """Check an internal sensor. Raises ExaminationError for unknown words."""
    from ebbline.bedside.policy.internal import Verdict, check_internal

    check = check_internal(asked.sensor, asked.facts)
    return InternalOut(
        title=check.title,
        verdict=check.verdict.value,
        against=check.verdict is Verdict.AGAINST,
        care=bool(check.care),
        unknown=check.verdict is Verdict.UNKNOWN,
        lines=[
            InternalLineOut(
                kind=r.line.kind.value,
                state=r.state.value,
                text=r.line.text,
                known=r.known,
                source=r.line.source,
                differs=[f"{d.text} [{d.source}]" for d in r.line.differs],
            )
            for r in check.results
        ],
        find_out=list(check.find_out),
        dropped=list(check.dropped),
        policy=_policy(check.policy),
        caution=check.caution,
    )


def reviews(asked: ReviewsIn) -> ReviewsOut:
    """What is due. Raises ExaminationError for times that cannot be."""
    from ebbline.bedside.policy.reviews import Method, Risk, reviews_due
    from ebbline.bedside.wording import clock_words

    due = reviews_due(
        asked.now,
        asked.last,
        stage=asked.stage,
        risk=Risk(asked.risk),
        method=Method(asked.method),
        factors=asked.factors,
    )
    return ReviewsOut(
        reviews=[
            DueOut(
                last_words="" if d.last is None else clock_words(d.last, due.now),
                name=d.name,
                title=d.title,
                every_min=d.every_min,
                state=d.state.value,
                due_at=d.due_at,
                minutes=None if math.isnan(d.minutes) else d.minutes,
                source=d.source,
                differs=[f"{x.text} [{x.source}]" for x in d.differs],
            )
            for d in due.reviews
        ],
        notes=list(due.notes),
        policy=_policy(due.policy),
        caution=due.caution,
    )


def _policy(head: PolicyHead) -> str:
    return f"{head.policy}, {head.edition}"
