//! A session takes a capture as it arrives and hands out the evidence of each check.
//!
//! The columns of a phase are kept until it ends, boiled down to a [`PhaseEvidence`], and their memory is used again.
//! What happens between two phases moves the carriage's position and the step count on, and leaves nothing else.

use super::Setup;
use super::closer::LookCloser;
use super::evidence::{CheckEvidence, PhaseEvidence};
use super::observe::{Carried, Section};
use super::pulses::Scratch;
use super::traces::Traces;
use super::track::{Quadrature, Track};
use crate::capture::{
    Action, CaptureSink, Driven, Edge, EdgeChannel, Loss, Mark, MarkKind, OutputChannel, Part, Phase, Sample,
    SampleChannel, Side, Talker, Tick,
};

/// Encoder edges of one track without any of the other that mean that the other is dead: more than a trembling carriage
/// gives at rest.
const DEAD_TRACK_EDGES: u32 = 200;

/// Takes a capture and measures it.
#[derive(Debug, Clone)]
pub struct Session {
    setup: Setup,
    quadrature: Quadrature,
    track: Track,
    columns: Columns,
    samples: Vec<Vec<Sample>>,
    latest_pack_code: Option<i32>,
    direction: Option<bool>,
    carried: Carried,
    scratch: Scratch,
    /// Position of the left end, in encoder edges, once a home has found it.
    zero: Option<f64>,
    phase: Option<(Phase, Tick)>,
    marks: Vec<Mark>,
    check: Option<CheckEvidence>,
    finished: Option<CheckEvidence>,
    losses: Vec<Loss>,
    losses_before_check: usize,
    /// Whether a round of the check has ended already.
    follows_a_round: bool,
    traces: Traces,
    without_transcript: bool,
    untraced: bool,
    closer: LookCloser,
}

/// Everything but the encoder and the samples that has not been looked at yet.
#[derive(Debug, Clone, Default)]
struct Columns {
    pulses: Vec<Edge>,
    direction: Vec<Edge>,
    switches: [Vec<Edge>; 2],
    controls: [Vec<Edge>; EdgeChannel::CONTROLS.len()],
    driven: Vec<Driven>,
    said: Vec<Tick>,
}

impl Session {
    /// A session for a unit on a jig.
    pub fn new(setup: Setup) -> Self {
        Self {
            setup,
            quadrature: Quadrature::default(),
            track: Track::default(),
            columns: Columns::default(),
            samples: vec![Vec::new(); SampleChannel::COUNT],
            latest_pack_code: None,
            direction: None,
            carried: Carried::default(),
            scratch: Scratch::default(),
            zero: None,
            phase: None,
            marks: Vec::new(),
            check: None,
            finished: None,
            losses: Vec::new(),
            losses_before_check: 0,
            follows_a_round: false,
            traces: Traces::default(),
            without_transcript: false,
            untraced: false,
            closer: LookCloser::Nowhere,
        }
    }

    /// Measures what another instrument captured: what the unit and the bench said is not in it.
    pub fn without_transcript(self) -> Self {
        Self { without_transcript: true, ..self }
    }

    /// Keeps no curves, which grow with the number of differently named phases.
    pub fn untraced(self) -> Self {
        Self { untraced: true, ..self }
    }

    /// Looks closer in some checks: what recurs, what stumbled, what was lost where.
    pub fn looking_closer(self, closer: LookCloser) -> Self {
        Self { closer, ..self }
    }

    /// The evidence of the check that ended last, once.
    pub fn take_check(&mut self) -> Option<CheckEvidence> {
        self.finished.take()
    }

    /// Everything that is known to be missing so far. Any of it makes the run invalid.
    pub fn losses(&self) -> &[Loss] {
        &self.losses
    }

    /// Carriage position from the left end's first contact, m; `None` before a home has found that end.
    pub fn position(&self) -> Option<f64> {
        let zero = self.zero?;
        Some((f64::from(self.track.cell()) + 0.5 - zero) / self.setup.jig.encoder_edges_per_metre)
    }

    /// The pack's voltage as last sampled, V.
    pub fn pack_voltage(&self) -> Option<f64> {
        let calibration = self.setup.jig.calibrations[SampleChannel::PackVoltage.index()]?;
        self.latest_pack_code.map(|code| calibration.value(code))
    }

    /// Curves so far.
    pub fn traces(&self) -> &Traces {
        &self.traces
    }

    /// The curves, at the end.
    pub fn into_traces(self) -> Traces {
        self.traces
    }

    /// Moves on over what happened between two phases. An output may have been switched for the phase that begins a
    /// little before its mark, as far as the two clocks are in doubt.
    fn skip(&mut self, mark: &Mark) {
        let until = mark.at;
        let next = until.saturating_sub(4 * mark.doubt + self.setup.jig.ticks_per_second / 1000);
        let kept = self.columns.driven.split_off(self.columns.driven.partition_point(|driven| driven.at <= next));
        self.quadrature.decode(until, &mut self.track);
        self.report_quadrature(until);
        let phase = Phase { check: 0, ordinal: 0, label: String::new(), action: Action::Wait };
        self.section(phase, until, until, &[]);
        self.columns.driven = kept;
    }

    fn end_phase(&mut self, until: Tick) {
        self.quadrature.decode(until, &mut self.track);
        self.report_quadrature(until);
        let Some((phase, began)) = self.phase.take() else {
            return;
        };
        let marks = std::mem::take(&mut self.marks);
        let evidence = self.section(phase, began, until, &marks);
        self.marks = marks;
        self.marks.clear();
        if let Some(check) = &mut self.check {
            check.phases.push(evidence);
        }
    }

    fn report_quadrature(&mut self, at: Tick) {
        self.losses.extend(self.quadrature.report(at, DEAD_TRACK_EDGES));
    }

    /// Boils down what is in the columns up to `ended`, and forgets it.
    fn section(&mut self, phase: Phase, began: Tick, ended: Tick, marks: &[Mark]) -> PhaseEvidence {
        let columns = &self.columns;
        let path = self.track.until(ended);
        let driven_count = columns.driven.partition_point(|driven| driven.at <= ended);
        let said_count = columns.said.partition_point(|at| *at <= ended);
        let (pulse_count, direction_count) = (upto(&columns.pulses, ended), upto(&columns.direction, ended));
        let switch_counts = columns.switches.each_ref().map(|edges| upto(edges, ended));
        let control_counts = columns.controls.each_ref().map(|edges| upto(edges, ended));
        let driven = &columns.driven[..driven_count];
        if driven.iter().any(|driven| driven.output == OutputChannel::UnitSupply) {
            self.carried.rightward = None;
        }
        let section = Section {
            phase,
            began,
            ended,
            marks,
            said: columns.said[..said_count].to_vec(),
            driven,
            pulses: &columns.pulses[..pulse_count],
            direction: &columns.direction[..direction_count],
            direction_before: self.direction,
            switches: [&columns.switches[0][..switch_counts[0]], &columns.switches[1][..switch_counts[1]]],
            controls: std::array::from_fn(|control| &columns.controls[control][..control_counts[control]]),
            path,
            zero: self.zero,
            closer: ended > began && self.check.as_ref().is_some_and(|check| self.closer.at(check.check)),
        };
        let evidence = section.observe(&self.setup, &mut self.carried, &mut self.scratch);
        if evidence.ended > evidence.began && !self.untraced {
            self.traces.phase(&evidence, &path, &self.setup);
        }
        self.find_zero(&evidence);
        if let Some(check) = &mut self.check {
            check.driven.extend_from_slice(&self.columns.driven[..driven_count]);
        }
        self.direction =
            self.columns.direction[..direction_count].last().map_or(self.direction, |edge| Some(edge.level()));
        self.track.forget(ended);
        self.columns.pulses.drain(..pulse_count);
        self.columns.direction.drain(..direction_count);
        for (edges, count) in self.columns.switches.iter_mut().zip(switch_counts) {
            edges.drain(..count);
        }
        for (edges, count) in self.columns.controls.iter_mut().zip(control_counts) {
            edges.drain(..count);
        }
        self.columns.driven.drain(..driven_count);
        self.columns.said.drain(..said_count);
        evidence
    }

    /// A home to the left sets the zero of position anew; one to the right only where there is none yet, from the
    /// model's travel.
    fn find_zero(&mut self, evidence: &PhaseEvidence) {
        let Action::Home { side } = evidence.phase.action else {
            return;
        };
        let Some(contact) = evidence.switch(side).contact else {
            return;
        };
        let travel = self.setup.unit.travel * self.setup.jig.encoder_edges_per_metre;
        match side {
            Side::Left => self.zero = Some(contact.position.at),
            Side::Right => self.zero = Some(self.zero.unwrap_or(contact.position.at - travel)),
        }
    }

    fn begin_check(&mut self, check: usize, began: Tick) {
        let without_transcript = self.without_transcript;
        self.check = Some(CheckEvidence { check, began, without_transcript, ..CheckEvidence::default() });
        self.losses_before_check = self.losses.len();
        self.follows_a_round = false;
    }

    fn end_check(&mut self, mark: &Mark) {
        let until = mark.at;
        if self.phase.is_some() {
            self.end_phase(until);
        }
        self.skip(mark);
        let Some(mut check) = self.check.take() else {
            return;
        };
        check.ended = until;
        let last = self.columns.driven.partition_point(|driven| driven.at <= until);
        check.driven.extend(self.columns.driven.drain(..last));
        check.losses = self.losses[self.losses_before_check..].to_vec();
        check.samples = self
            .samples
            .iter_mut()
            .map(|samples| {
                let later = samples.partition_point(|sample| sample.at <= until);
                let later = samples.split_off(later);
                std::mem::replace(samples, later)
            })
            .collect();
        self.finished = Some(check);
    }
}

impl CaptureSink for Session {
    fn part(&mut self, part: &Part) {
        self.quadrature.take(part.edges(EdgeChannel::EncoderA), part.edges(EdgeChannel::EncoderB), &mut self.track);
        let columns = &mut self.columns;
        columns.pulses.extend(part.edges(EdgeChannel::Step).iter().filter(|edge| edge.level()));
        columns.direction.extend_from_slice(part.edges(EdgeChannel::Direction));
        columns.switches[0].extend_from_slice(part.edges(EdgeChannel::LeftEndStop));
        columns.switches[1].extend_from_slice(part.edges(EdgeChannel::RightEndStop));
        for (edges, channel) in columns.controls.iter_mut().zip(EdgeChannel::CONTROLS) {
            edges.extend_from_slice(part.edges(channel));
        }
        columns.driven.extend_from_slice(&part.driven);
        columns.said.extend(part.lines.iter().filter(|line| line.from == Talker::Unit).map(|line| line.at));
        self.losses.extend_from_slice(&part.losses);
        for (kept, arrived) in self.samples.iter_mut().zip(&part.samples) {
            kept.extend_from_slice(arrived);
        }
        let pack = part.samples(SampleChannel::PackVoltage);
        self.latest_pack_code = pack.last().map(|sample| sample.code).or(self.latest_pack_code);
        self.traces.pack(pack, &self.setup);
        for channel in
            [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature, SampleChannel::AirTemperature]
        {
            self.traces.temperature(channel, part.samples(channel), &self.setup);
        }
    }

    fn mark(&mut self, mark: &Mark) {
        match &mark.kind {
            MarkKind::CheckBegins { check } => {
                self.skip(mark);
                self.begin_check(*check, mark.at);
            }
            MarkKind::PhaseBegins(phase) => {
                self.skip(mark);
                self.phase = Some((phase.clone(), mark.at));
                self.marks.clear();
            }
            MarkKind::Cue(_) => self.marks.push(mark.clone()),
            MarkKind::PhaseEnds => self.end_phase(mark.at),
            // Each round leaves evidence of its own, as if it were a check. Where none follows, nothing does.
            MarkKind::RoundEnds { check } => {
                self.end_check(mark);
                self.begin_check(*check, mark.at);
                self.follows_a_round = true;
            }
            MarkKind::CheckEnds { .. } => {
                self.end_check(mark);
                if self.follows_a_round && self.finished.as_ref().is_some_and(|check| check.phases.is_empty()) {
                    self.finished = None;
                }
            }
        }
    }
}

/// How many edges there are up to and including `tick`.
fn upto(edges: &[Edge], tick: Tick) -> usize {
    edges.partition_point(|edge| edge.tick() <= tick)
}
