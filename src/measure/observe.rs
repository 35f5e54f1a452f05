//! Boils the raw columns of one phase down to its evidence. Every pass is linear in the edges.

use super::Setup;
use super::evidence::{
    Burst, CarriageCruise, Contact, CruiseEvidence, PhaseEvidence, PressEvidence, Rail, RunEvidence, SECTIONS,
    SwitchEvidence, TakeUp, TimedCue, Touch, Touched,
};
use super::position::Position;
use super::pulses::{self, Intervals, Run, Scratch};
use super::step_clock::{Motion, Profile, Rules, StepClock, nominal};
use super::track::Path;
use super::values::stamp_variance;
use crate::capture::{Cue, Driven, Edge, EdgeChannel, Mark, MarkKind, OutputChannel, Phase, Side, Tick};
use crate::stats::summary;

/// A switch counts as touched anew after it has been open for so long, s: longer than any chatter of opening contacts.
const OPEN_BEFORE_CONTACT_S: f64 = 0.02;
/// Chatter goes on while the next edge comes within this time, s (common practice: switches bounce for up to 10 ms).
const CHATTER_GAP_S: f64 = 0.01;
/// A motor whose last step is no older than this is being stepped, s.
const STEPPING_WITHIN_S: f64 = 0.1;
/// The belt has stopped ringing so long after the last step, s.
const SETTLING_S: f64 = 0.1;
/// Encoder edges in a new direction that prove that the carriage follows, and is not trembling.
const FOLLOWING_EDGES: i32 = 3;

/// So many edges in the take-up are more than those that prove the following: the carriage trembled.
const TREMBLING_EDGES: usize = 10;

/// The columns of one phase.
pub(super) struct Section<'a> {
    pub phase: Phase,
    pub began: Tick,
    pub ended: Tick,
    pub marks: &'a [Mark],
    pub said: Vec<Tick>,
    pub driven: &'a [Driven],
    pub pulses: &'a [Edge],
    pub direction: &'a [Edge],
    pub direction_before: Option<bool>,
    pub switches: [&'a [Edge]; 2],
    pub controls: [&'a [Edge]; EdgeChannel::CONTROLS.len()],
    pub path: Path<'a>,
    /// Position of the left end, in encoder edges, once a home has found it.
    pub zero: Option<f64>,
    /// Whether to look closer.
    pub closer: bool,
}

/// What is carried from one phase to the next.
#[derive(Debug, Clone, Default)]
pub(super) struct Carried {
    /// Signed pulses up to the phase.
    pub pulses: i64,
    /// Direction of the last pulse since the unit was switched on.
    pub rightward: Option<bool>,
    /// Largest slack seen after a turn so far, steps.
    pub slack: f64,
    /// Level of each end switch and since when.
    pub switches: [(Option<bool>, Tick); 2],
    /// The last first contact with each end.
    pub contacts: [Option<Touched>; 2],
}

impl Section<'_> {
    /// The phase's evidence; `carried` is brought up to its end.
    pub fn observe(self, setup: &Setup, carried: &mut Carried, scratch: &mut Scratch) -> PhaseEvidence {
        let scale = Scale::of(setup);
        let runs = pulses::runs(self.pulses, self.direction, self.direction_before.unwrap_or(true));
        let run_evidence = self.runs(&runs, &scale, setup, carried, scratch);
        let switches = [Side::Left, Side::Right].map(|side| self.switch(side, &runs, &scale, carried));
        let balance = super::balance::balance(&self, &runs, &run_evidence, &scale, carried);
        let closer = self.closer.then(|| super::closer::look(&self, &runs, &run_evidence, &scale, setup)).map(Box::new);
        let evidence = PhaseEvidence {
            closer,
            cues: self.cues(&scale),
            presses: self.presses(&runs, &scale),
            crawl: self.bursts(setup, &scale),
            rail: self.rail(&scale),
            runs: run_evidence,
            switches,
            balance,
            phase: self.phase,
            began: self.began,
            ended: self.ended,
            said: self.said,
        };
        carried.pulses += runs.iter().map(Run::signed).sum::<i64>();
        carried.rightward = runs.last().map_or(carried.rightward, |run| Some(run.rightward));
        evidence
    }

    fn runs(
        &self,
        runs: &[Run],
        scale: &Scale,
        setup: &Setup,
        carried: &Carried,
        scratch: &mut Scratch,
    ) -> Vec<RunEvidence> {
        let rules = Rules::of(setup);
        let profile = nominal(&self.phase.action, setup).map(|rate| Profile::commanded(rate, setup));
        let mut rightward_before = carried.rightward;
        runs.iter()
            .map(|run| {
                let pulses = &self.pulses[run.pulses.clone()];
                let turned = rightward_before != Some(run.rightward);
                rightward_before = Some(run.rightward);
                let clock = clock(pulses, rules);
                RunEvidence {
                    rightward: run.rightward,
                    pulses: pulses.len(),
                    first: run.first,
                    last: run.last,
                    cruise: pulses::cruise(pulses, scratch).map(|range| self.cruise(&pulses[range], scratch)),
                    profile: profile.map(|profile| profile.compare(pulses, &clock)),
                    clock: Box::new(clock),
                    take_up: turned.then(|| self.take_up(pulses, run, scale)),
                }
            })
            .collect()
    }

    fn cruise(&self, pulses: &[Edge], scratch: &mut Scratch) -> CruiseEvidence {
        let (began, ended) = (pulses[0].tick(), pulses[pulses.len() - 1].tick());
        let carriage = carriage_cruise(&self.path, began, ended);
        CruiseEvidence { began, ended, intervals: Intervals::count(pulses, scratch), carriage }
    }

    /// Steps of a run until the carriage had moved a few edges, less what it moved. Through slack the carriage stands
    /// still; a motor that falls out of step at its start makes it tremble, and what it loses is no slack: only the part
    /// below a whole turn of the field is.
    fn take_up(&self, pulses: &[Edge], run: &Run, scale: &Scale) -> TakeUp {
        let before = run.first.saturating_sub(1);
        let followed = self.path.reaches(before, FOLLOWING_EDGES, run.rightward).filter(|at| *at <= run.last);
        followed.map_or(TakeUp::Never, |at| {
            let steps = pulses.partition_point(|pulse| pulse.tick() <= at) as f64;
            // The third border is two and a half edges from the middle of the cell that it rested in; the step during
            // which the border was crossed is half done.
            let steps = steps - 0.5 - (f64::from(FOLLOWING_EDGES) - 0.5) * scale.steps_per_edge;
            let still = self.path.edges_between(before, at) <= TREMBLING_EDGES;
            TakeUp::Followed(if still { steps } else { steps % scale.field_turn })
        })
    }

    fn switch(&self, side: Side, runs: &[Run], scale: &Scale, carried: &mut Carried) -> SwitchEvidence {
        let edges = self.switches[side as usize];
        let (mut level, mut since) = carried.switches[side as usize];
        let pressed_before = level == Some(true);
        let mut first = None;
        for (index, edge) in edges.iter().enumerate() {
            let open_for = edge.tick().saturating_sub(since);
            if first.is_none() && edge.level() && level == Some(false) && open_for >= scale.ticks(OPEN_BEFORE_CONTACT_S)
            {
                first = Some(index);
            }
            (level, since) = (Some(edge.level()), edge.tick());
        }
        carried.switches[side as usize] = (level, since);
        let contact = first.map(|index| self.contact(side, &edges[index..], runs, scale, carried));
        if let Some(contact) = contact {
            carried.contacts[side as usize] = Some(Touched { position: contact.position, steps: contact.steps });
        }
        SwitchEvidence { pressed_before, contact }
    }

    fn contact(&self, side: Side, edges: &[Edge], runs: &[Run], scale: &Scale, carried: &Carried) -> Contact {
        let at = edges[0].tick();
        let turned = self.direction.iter().map(|edge| edge.tick()).find(|turn| *turn > at).unwrap_or(Tick::MAX);
        let goes_on =
            |pair: &[Edge]| pair[1].tick() - pair[0].tick() <= scale.ticks(CHATTER_GAP_S) && pair[1].tick() < turned;
        let chatter = &edges[..=edges.windows(2).take_while(|pair| goes_on(pair)).count()];
        let quiet = chatter[chatter.len() - 1].tick();
        let position = self.path.at(at, scale.stamp);
        let (low, high) = self.path.extent_from(at);
        let farthest = match side {
            Side::Left => low,
            Side::Right => high,
        };
        let during = runs.iter().rfind(|run| run.first <= at);
        let steps = carried.pulses + signed_pulses(self.pulses, runs, at);
        Contact {
            at,
            position,
            quiet,
            openings: chatter.iter().filter(|edge| !edge.level()).count(),
            farthest: Position::resting(farthest),
            knee: during.and_then(|run| pulses::knee(&self.pulses[run.pulses.clone()], at)),
            steps,
            other_end: carried.contacts[side.opposite() as usize],
            lag: steps as f64 - position.at * scale.steps_per_edge,
        }
    }

    fn cues(&self, scale: &Scale) -> Vec<TimedCue> {
        let timed = |mark: &Mark, cue: &Cue| TimedCue {
            at: mark.at,
            doubt: mark.doubt,
            cue: cue.clone(),
            position: self.path.at(mark.at, scale.stamp),
            speed: speed_at(&self.path, mark.at, scale),
            stepping: self.stepping(mark.at, scale),
        };
        self.marks
            .iter()
            .filter_map(|mark| match &mark.kind {
                MarkKind::Cue(cue) => Some(timed(mark, cue)),
                _ => None,
            })
            .collect()
    }

    fn stepping(&self, at: Tick, scale: &Scale) -> bool {
        let next = self.pulses.partition_point(|pulse| pulse.tick() <= at);
        next > 0 && at - self.pulses[next - 1].tick() <= scale.ticks(STEPPING_WITHIN_S)
    }

    fn presses(&self, runs: &[Run], scale: &Scale) -> Vec<PressEvidence> {
        let pressed = self.driven.iter().filter(|driven| driven.on);
        pressed
            .filter_map(|driven| match driven.output {
                OutputChannel::Press(control) => Some((control, driven.at)),
                _ => None,
            })
            .map(|(control, at)| {
                let next = self.pulses.partition_point(|pulse| pulse.tick() <= at);
                let stepping = self.stepping(at, scale);
                let during = runs.iter().rfind(|run| run.first <= at).filter(|_| stepping);
                PressEvidence {
                    control,
                    at,
                    position: self.path.at(at, scale.stamp),
                    stepping,
                    first_pulse_after: self.pulses.get(next).map(|pulse| pulse.tick()),
                    last_pulse_after: self.pulses[next..].last().map(|pulse| pulse.tick()),
                    knee: during.and_then(|run| pulses::knee(&self.pulses[run.pulses.clone()], at)),
                    touch: self.touch(control, at),
                }
            })
            .collect()
    }

    /// While a control is held its contact should stay closed: every edge after the first is a bounce.
    fn touch(&self, control: u8, pressed: Tick) -> Option<Touch> {
        let edges = *self.controls.get(usize::from(control))?;
        let is_release =
            |driven: &&Driven| driven.at > pressed && !driven.on && driven.output == OutputChannel::Press(control);
        let let_go = self.driven.iter().find(is_release).map_or(self.ended, |driven| driven.at);
        let from = edges.partition_point(|edge| edge.tick() < pressed);
        let held = &edges[from..edges.partition_point(|edge| edge.tick() <= let_go).max(from)];
        let held = &held[held.iter().position(|edge| edge.level())?..];
        Some(Touch {
            at: held.first()?.tick(),
            quiet: held.last()?.tick(),
            openings: held.iter().filter(|edge| !edge.level()).count(),
        })
    }

    /// Steps that follow on a pause of a quarter of the crawl's nominal interval.
    fn bursts(&self, setup: &Setup, scale: &Scale) -> Vec<Burst> {
        if !matches!(self.phase.action, crate::capture::Action::Crawl { .. }) {
            return Vec::new();
        }
        let pause = scale.ticks(0.25 * setup.unit.crawl_interval);
        let begins =
            |index: &usize| *index == 0 || self.pulses[*index].tick() - self.pulses[*index - 1].tick() >= pause;
        (0..self.pulses.len())
            .filter(begins)
            .map(|index| self.pulses[index].tick())
            .map(|at| Burst { at, cell: self.path.cell_at(at.saturating_sub(1)) })
            .collect()
    }

    fn rail(&self, scale: &Scale) -> Rail {
        let done = self.marks.iter().find(|mark| mark.kind == MarkKind::Cue(Cue::Done)).map(|mark| mark.at);
        let settled = done.map(|done| {
            let last = self.pulses.partition_point(|pulse| pulse.tick() <= done);
            let rest = self.pulses[..last].last().map_or(done, |pulse| pulse.tick());
            (rest + scale.ticks(SETTLING_S)).max(done).min(self.ended)
        });
        Rail {
            start: self.path.start(),
            end: self.path.end(),
            settled: settled.map(|settled| self.path.cell_at(settled)),
            after_settling: self.path.extent_from(settled.unwrap_or(self.began)),
            edges: self.path.len(),
        }
    }
}

fn clock(pulses: &[Edge], rules: Rules) -> Motion {
    let mut clock = StepClock::new(rules);
    clock.take(pulses);
    clock.finish()
}

/// Signed pulses up to and including `at`.
pub(super) fn signed_pulses(pulses: &[Edge], runs: &[Run], at: Tick) -> i64 {
    runs.iter()
        .map(|run| {
            let count = pulses[run.pulses.clone()].partition_point(|pulse| pulse.tick() <= at) as i64;
            if run.rightward { count } else { -count }
        })
        .sum()
}

/// The carriage between two moments: from the first to the last border that it crossed.
fn carriage_cruise(path: &Path<'_>, began: Tick, ended: Tick) -> Option<CarriageCruise> {
    let first = path.ticks.partition_point(|at| *at < began);
    let last = path.ticks.partition_point(|at| *at <= ended).checked_sub(1)?;
    if last < first + 2 * SECTIONS {
        return None;
    }
    let (from, to) = (path.ticks[first], path.ticks[last]);
    let section = (to - from) as f64 / SECTIONS as f64;
    let at = |index: usize| match index {
        0 => path.border(first),
        SECTIONS => path.border(last),
        between => path.position_at(from + (between as f64 * section).round() as Tick),
    };
    let speeds: Vec<f64> = (0..SECTIONS).map(|index| (at(index + 1) - at(index)) / section).collect();
    Some(CarriageCruise {
        edges: at(SECTIONS) - at(0),
        ticks: (to - from) as f64,
        section_deviation: summary::standard_deviation(&speeds).unwrap_or(0.0),
    })
}

/// Carriage speed about a moment, over 20 ms to either side.
fn speed_at(path: &Path<'_>, at: Tick, scale: &Scale) -> f64 {
    let half = scale.ticks(0.02);
    let (from, to) = (at.saturating_sub(half), at + half);
    (path.position_at(to) - path.position_at(from)).abs() / (to - from).max(1) as f64
}

/// What turns seconds into ticks and edges into steps.
pub(super) struct Scale {
    pub ticks_per_second: f64,
    pub steps_per_edge: f64,
    pub field_turn: f64,
    pub steps_per_tooth: f64,
    /// Standard uncertainty of one stamp, ticks.
    pub stamp: f64,
}

impl Scale {
    fn of(setup: &Setup) -> Self {
        Self {
            ticks_per_second: setup.jig.ticks_per_second as f64,
            steps_per_edge: setup.unit.steps_per_metre / setup.jig.encoder_edges_per_metre,
            field_turn: 4.0 * f64::from(setup.unit.microsteps),
            steps_per_tooth: setup.unit.steps_per_metre * setup.unit.belt_pitch,
            stamp: stamp_variance(setup).sqrt(),
        }
    }

    pub fn ticks(&self, seconds: f64) -> Tick {
        (seconds * self.ticks_per_second) as Tick
    }
}
