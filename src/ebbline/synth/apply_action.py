"""What an action does to the state of a labour."""

from __future__ import annotations

from dataclasses import replace

from ebbline.errors import ScenarioError
from ebbline.synth import actions as act
from ebbline.synth import care
from ebbline.synth.care import Care
from ebbline.synth.event_scheduler import Happenings
from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import Behaviour
from ebbline.synth.state import LabourState, Sites, second_stage_from, undulations
from ebbline.synth.streams import Streams
from ebbline.terms import SensorKind

STRONGEST_OXYTOCIN = 2.0
ELECTRODE_LOSS = 0.003
"""An electrode seldom loses the signal (by half of the CTU-UHB recordings with one)."""

KEPT = (
    "weeks", "rate_hz", "heart_sensor", "activity_sensor", "heart_at", "ultrasound_at", "toco_at",
    "fundus_at", "heart_depth_cm", "abdominal_wall_cm", "toco_gain", "toco_tone", "toco_noise",
    "maternal_pulse", "hours",
)  # fmt: skip
"""What stays when the labour turns to another scenario."""


def do(action: act.Action, state: LabourState, happenings: Happenings, streams: Streams) -> None:
    """Do one action now. Raises ScenarioError for a level that cannot be set."""
    now, given, s = float(state.now), state.care, state.scenario
    match action:
        case act.MoveUltrasound(to):
            state.sites.append(Sites(state.now, state.sites[-1].heart, to))
            state.scenario = replace(s, ultrasound_at=to)
        case act.MoveFetus(heart_at):
            state.sites.append(Sites(state.now, heart_at, state.sites[-1].ultrasound))
            state.scenario = replace(s, heart_at=heart_at)
            happenings.stir(now, 1.2, 15.0)
        case act.MoveToco(to):
            state.scenario = replace(s, toco_at=to)
        case act.UseElectrode() if s.heart_sensor is SensorKind.SCALP_ELECTRODE:
            pass  # It is on: a scenario that goes on with it says itself what it loses.
        case act.UseElectrode():
            loss = min(s.signal_loss, ELECTRODE_LOSS)
            state.scenario = replace(s, heart_sensor=SensorKind.SCALP_ELECTRODE, signal_loss=loss)
        case act.UseUltrasound():
            state.scenario = replace(s, heart_sensor=SensorKind.ULTRASOUND)
        case act.UseCatheter():
            state.scenario = replace(s, activity_sensor=SensorKind.PRESSURE_CATHETER)
        case act.UseToco():
            state.scenario = replace(s, activity_sensor=SensorKind.TOCO)
        case act.ChangePosition():
            rng = streams.of("position")
            given.cord_left *= float(rng.uniform(*care.POSITION_CORD))
            given.flow_left *= float(rng.uniform(*care.POSITION_FLOW))
            happenings.stir(now, 1.5, 25.0)
        case act.SetOxytocin(level):
            if not 0 <= level <= STRONGEST_OXYTOCIN:
                raise ScenarioError(
                    f"an oxytocic cannot be set to {level}.",
                    where="SetOxytocin",
                    remedy=f"Choose 0 (stopped) to {STRONGEST_OXYTOCIN:g}.",
                )
            given.oxytocin_from = given.oxytocin(now)
            given.oxytocin_to, given.oxytocin_at_s = level, now
        case act.GiveTocolytic():
            given.tocolytic_at_s = now
        case act.GiveFluids():
            given.flow_left *= care.FLUIDS_FLOW
        case act.InfuseAmnion():
            given.cord_left *= care.AMNIOINFUSION_CORD
        case act.GiveOpioid():
            given.opioid_at_s.append(now)
        case act.StartPushing():
            state.pushing, state.second_stage_s = True, min(state.second_stage_s, now)
        case act.PausePushing():
            state.pushing = False
        case act.ChangeCourse(scenario):
            _turn_to(scenario, state, happenings)


def _turn_to(scenario: Scenario, state: LabourState, happenings: Happenings) -> None:
    """From now on follow another scenario; drugs given before go on acting."""
    now, earlier = float(state.now), state.care
    if scenario.baseline_bpm != state.levels[-1].bpm:
        happenings.shift(now, scenario.baseline_bpm, 3.0)
    state.widths.append((now, scenario.bandwidth_bpm))
    state.care = Care.under(scenario, now)
    state.care.tocolytic_at_s = earlier.tocolytic_at_s
    state.care.opioid_at_s += earlier.opioid_at_s
    state.undulations = [
        replace(u, end_s=min(u.end_s, now)) for u in state.undulations if u.start_s < now
    ] + undulations(scenario, now)
    state.second_stage_s = second_stage_from(scenario, now, state.second_stage_s)
    state.pushing = scenario.pushing
    state.scenario = replace(scenario, **{name: getattr(state.scenario, name) for name in KEPT})
    if scenario.behaviour is not Behaviour.CYCLING:
        state.quiet = scenario.behaviour is Behaviour.QUIET
    happenings.show_state(now)
    happenings.plan(scenario, now)
