//! Conducts a plan: check by check, move by move, from an idle bench to a safe one.

use super::sentinel::{Sentinel, Trip};
use super::step_rate::StepRate;
use super::{Assessor, Bench, Ending, Operator, Protection, halt::Halt};
use crate::capture::{CaptureSink, Cue, EdgeChannel, Mark, MarkKind, OutputChannel, Part, Phase};
use crate::clock::HostTime;
use crate::decide::Decision;
use crate::event::{Event, Live, RunOutcome, Watcher};
use crate::measure::Setup;
use crate::plan::{Check, Move, Plan};
use crate::unit::{Heard, LineLink, Request};
use regex::Regex;
use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::AtomicBool;
use std::time::Duration;

/// Where a run's evidence is kept while it goes.
pub trait Evidence: CaptureSink {
    /// Makes what was taken so far durable. Called at rest, before a decided check is shown.
    ///
    /// # Errors
    /// Says what is wrong and what to do: without stored evidence a run is invalid.
    fn secure(&mut self) -> Result<(), String>;
}

/// How long a unit that was told to stop because of a trip has for it before its supply goes off.
const BRAKING: Duration = Duration::from_millis(200);

/// How far a check was carried out.
#[derive(Debug, Clone, PartialEq)]
enum CarriedOut {
    Wholly,
    /// It was given up because of the unit.
    GivenUp,
    /// So was the whole run.
    Ended(String),
}

/// What is to be done.
pub struct Job<'a> {
    /// The plan, fitted to this bench.
    pub plan: &'a Plan,
    /// Numbers of unit and jig for measuring.
    pub setup: &'a Setup,
    /// Limits that stop the run, whatever the plan asks for.
    pub protection: &'a Protection,
    /// The unit's serial number.
    pub serial: &'a str,
    /// Set from outside to break the run off.
    pub interrupted: &'a AtomicBool,
}

/// Carries out a plan. Whatever happens, the jig is safe when it returns.
///
/// The bench's failure is no error of this function: the outcome is then invalid and says why.
pub fn run(
    job: &Job<'_>,
    bench: &mut Bench<'_>,
    operator: &mut dyn Operator,
    evidence: &mut dyn Evidence,
    watcher: &mut dyn Watcher,
) -> RunOutcome {
    let began = bench.clock.now();
    let mut conductor = Conductor::new(job, bench, operator, evidence, watcher);
    let conduct = || {
        let end = conductor.conduct();
        conductor.hand_on();
        end
    };
    let end =
        catch_unwind(AssertUnwindSafe(conduct)).unwrap_or_else(|panic| Err(Halt::Bench(panic_words(panic.as_ref()))));
    let safe = conductor.bench.jig.make_safe();
    let safe = safe.err().map(|error| format!("jig: {error}"));
    let mut outcome = catch_unwind(AssertUnwindSafe(|| conductor.finish(end, safe, began)))
        .unwrap_or_else(|panic| nothing_proven(job, panic_words(panic.as_ref())));
    if let Err(panic) = catch_unwind(AssertUnwindSafe(|| watcher.see(&Event::RunEnds(&outcome)))) {
        outcome.decision = Decision::Invalid;
        outcome.invalid_because.push(panic_words(panic.as_ref()));
    }
    outcome
}

/// The outcome of a run of which not even the decided checks can be told.
fn nothing_proven(job: &Job<'_>, why: String) -> RunOutcome {
    let (checks, reports, traces) = Assessor::new(job.plan, job.setup.clone()).finish(&why);
    let (interrupted, took_s) = (false, 0.0);
    RunOutcome { decision: Decision::Invalid, invalid_because: vec![why], interrupted, checks, reports, traces, took_s }
}

fn panic_words(panic: &(dyn std::any::Any + Send)) -> String {
    let words = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
    let words = words.or_else(|| panic.downcast_ref::<String>().cloned());
    format!("the program failed an assertion of its own: {}", words.unwrap_or_else(|| "no message".into()))
}

/// Everything that a run has in hand while it goes. Talking is in `talk.rs`, moving in `motion.rs`.
pub(super) struct Conductor<'b, 'a> {
    pub(super) job: &'b Job<'b>,
    pub(super) bench: &'b mut Bench<'a>,
    pub(super) operator: &'b mut dyn Operator,
    pub(super) evidence: &'b mut dyn Evidence,
    pub(super) watcher: &'b mut dyn Watcher,
    pub(super) assessor: Assessor<'b>,
    pub(super) link: LineLink,
    pub(super) heard: VecDeque<Heard>,
    /// The command whose answer is awaited.
    pub(super) pending: Option<String>,
    /// When the bench last began to say something.
    pub(super) said_at: HostTime,
    /// What a maker's own text should be answered with; taken once it came.
    pub(super) wanted: Option<Regex>,
    pub(super) sentinel: Sentinel,
    pub(super) part: Part,
    pub(super) bytes: Vec<u8>,
    /// Whether the jig feeds the unit.
    pub(super) powered: bool,
    /// Whether the unit's supply has just come on, and its line may still glitch.
    pub(super) starting: bool,
    /// Whether the unit has been home in this run.
    pub(super) homed: bool,
    pub(super) began: HostTime,
    pub(super) next_live: HostTime,
    step_rate: StepRate,
    /// Expected time of the moves that are not begun yet, s.
    left_s: f64,
    move_began: HostTime,
    move_expected_s: f64,
}

impl<'b, 'a> Conductor<'b, 'a> {
    fn new(
        job: &'b Job<'b>,
        bench: &'b mut Bench<'a>,
        operator: &'b mut dyn Operator,
        evidence: &'b mut dyn Evidence,
        watcher: &'b mut dyn Watcher,
    ) -> Self {
        let began = bench.clock.now();
        Self {
            assessor: Assessor::new(job.plan, job.setup.clone()),
            job,
            bench,
            operator,
            evidence,
            watcher,
            link: LineLink::default(),
            heard: VecDeque::new(),
            pending: None,
            said_at: began,
            wanted: None,
            sentinel: Sentinel::new(job.protection.clone()),
            part: Part::default(),
            bytes: Vec::with_capacity(256),
            powered: false,
            starting: false,
            homed: false,
            began,
            next_live: began,
            step_rate: StepRate::new(began),
            left_s: job.plan.expected_s(),
            move_began: began,
            move_expected_s: 0.0,
        }
    }

    fn conduct(&mut self) -> Result<(), Halt> {
        self.watcher.see(&Event::RunBegins { plan: self.job.plan, expected_s: self.left_s });
        // The first look states the level of every digital input, the interlocks' among them.
        self.settle()?;
        for (number, check) in self.job.plan.checks.iter().enumerate() {
            let carried_out = self.carry_out(number, check)?;
            if let CarriedOut::Ended(why) = carried_out {
                return Err(Halt::Unit(why));
            }
            if carried_out == CarriedOut::GivenUp && number + 1 < self.job.plan.checks.len() {
                self.recover(number)?;
            }
        }
        Ok(())
    }

    /// Carries out one check, as far as the unit goes along.
    fn carry_out(&mut self, number: usize, check: &Check) -> Result<CarriedOut, Halt> {
        self.watcher.see(&Event::CheckBegins { check: number });
        let left_after = self.left_s - check.expected_s();
        let at = self.settle()?;
        self.mark(Mark { at, doubt: 0, kind: MarkKind::CheckBegins { check: number } });
        let mut carried_out = self.carry_out_moves(number, check)?;
        let mut at = self.settle()?;
        for round in 1..=check.rounds_max as usize {
            if check.rounds_max == 1 || carried_out != CarriedOut::Wholly {
                break;
            }
            self.mark(Mark { at, doubt: 0, kind: MarkKind::RoundEnds { check: number } });
            if !self.assessor.wants_another_round() {
                break;
            }
            self.evidence.secure().map_err(Halt::Bench)?;
            self.watcher.see(&Event::RoundBegins { check: number, round: round + 1 });
            self.left_s = left_after + check.expected_s();
            carried_out = self.carry_out_moves(number, check)?;
            at = self.settle()?;
        }
        self.left_s = left_after;
        self.mark(Mark { at, doubt: 0, kind: MarkKind::CheckEnds { check: number } });
        self.evidence.secure().map_err(Halt::Bench)?;
        if let Some(outcome) = self.assessor.outcomes().last().filter(|outcome| outcome.check == number) {
            self.watcher.see(&Event::CheckEnds(outcome));
        }
        Ok(carried_out)
    }

    /// Carries out the moves of a check once.
    fn carry_out_moves(&mut self, number: usize, check: &Check) -> Result<CarriedOut, Halt> {
        for (ordinal, planned) in check.moves.iter().enumerate() {
            match self.carry_out_move(number, ordinal, planned) {
                Ok(()) => {}
                Err(Halt::Unit(why)) => {
                    self.give_up(why, false)?;
                    return Ok(CarriedOut::GivenUp);
                }
                Err(Halt::Trip(Trip { why, unit_stops_first, ends_the_run })) => {
                    self.give_up(why.clone(), unit_stops_first)?;
                    return Ok(if ends_the_run { CarriedOut::Ended(why) } else { CarriedOut::GivenUp });
                }
                Err(halt) => return Err(halt),
            }
        }
        Ok(CarriedOut::Wholly)
    }

    fn carry_out_move(&mut self, check: usize, ordinal: usize, planned: &Move) -> Result<(), Halt> {
        self.watcher.see(&Event::MoveBegins { check, ordinal, label: &planned.label });
        self.left_s -= planned.expected_s;
        self.move_began = self.bench.clock.now();
        self.move_expected_s = planned.expected_s;
        let at = self.settle()?;
        let phase = Phase { check, ordinal, label: planned.label.clone(), action: planned.action.clone() };
        self.mark(Mark { at, doubt: 0, kind: MarkKind::PhaseBegins(phase) });
        self.sentinel.begins(&planned.action);
        self.perform(planned)?;
        let at = self.settle()?;
        self.mark(Mark { at, doubt: 0, kind: MarkKind::PhaseEnds });
        Ok(())
    }

    /// Ends the phase that the unit did not carry out, and makes the bench safe: nothing moves, nothing loads the pack.
    fn give_up(&mut self, why: String, unit_stops_first: bool) -> Result<(), Halt> {
        self.cue(Cue::GivenUp { why });
        if unit_stops_first {
            self.have_the_unit_stop()?;
        }
        self.bench.jig.make_safe()?;
        self.supply_switched(false);
        self.pump_for(Duration::from_millis(500))?;
        let at = self.settle()?;
        self.mark(Mark { at, doubt: 0, kind: MarkKind::PhaseEnds });
        Ok(())
    }

    /// Tells the unit to stop and lets it brake; whether it does is no longer asked.
    fn have_the_unit_stop(&mut self) -> Result<(), Halt> {
        let Some(command) = self.bench.unit.dialect.compose(&Request::Stop) else { return Ok(()) };
        self.pending = Some(command.clone());
        self.say(&command, self.bench.unit.link.ending(&Request::Stop))?;
        match self.pump_for(BRAKING) {
            Err(Halt::Unit(_) | Halt::Trip(_)) => Ok(()),
            braked => braked,
        }
    }

    /// Takes in everything up to now and hands it on; returns that moment on the jig's clock.
    pub(super) fn settle(&mut self) -> Result<crate::capture::Tick, Halt> {
        let at = self.bench.jig.settle(&mut self.part)?;
        self.look()?;
        self.hand_on();
        Ok(at)
    }

    /// Looks at what has arrived whether the bench may go on.
    pub(super) fn look(&mut self) -> Result<(), Halt> {
        let stop = interlock(&self.part).or_else(|| self.part.losses.first().map(|loss| loss.what.clone()));
        if let Some(why) = stop {
            return Err(Halt::Bench(why));
        }
        let (now, _) = self.bench.jig.tick_at(self.bench.clock.now());
        self.sentinel.look(&self.part, now).map_or(Ok(()), |trip| Err(Halt::Trip(trip)))
    }

    /// Hands on what has arrived. A few times a second is often enough, and spares the handling of small pieces.
    fn hand_on(&mut self) {
        if !self.part.is_empty() {
            self.step_rate.count(&self.part);
            self.assessor.part(&self.part);
            self.evidence.part(&self.part);
            self.part.clear();
            self.sentinel.handed_on();
        }
    }

    /// Sets a mark behind all that has arrived.
    pub(super) fn mark(&mut self, mark: Mark) {
        self.hand_on();
        if let MarkKind::Cue(cue) = &mark.kind {
            self.sentinel.told(cue, mark.at);
        }
        self.assessor.mark(&mark);
        self.evidence.mark(&mark);
    }

    /// Marks something that the bench knows by the computer's clock.
    pub(super) fn cue(&mut self, cue: Cue) {
        let (at, doubt) = self.bench.jig.tick_at(self.bench.clock.now());
        self.mark(Mark { at, doubt, kind: MarkKind::Cue(cue) });
    }

    /// Ten times a second, measures what has arrived and tells who watches.
    pub(super) fn live(&mut self) {
        let now = self.bench.clock.now();
        if now < self.next_live {
            return;
        }
        self.next_live = now.after(Duration::from_millis(100));
        self.hand_on();
        let sees_steps = self.job.setup.jig.edges.contains(&EdgeChannel::Step);
        let current = (self.move_expected_s - now.since(self.move_began).as_secs_f64()).max(0.0);
        self.watcher.see(&Event::Live(Live {
            elapsed_s: now.since(self.began).as_secs_f64(),
            left_s: self.left_s.max(0.0) + current,
            position: self.assessor.position(),
            step_rate: sees_steps.then(|| self.step_rate.take(now)).flatten(),
            pack_voltage: self.assessor.pack_voltage(),
        }));
    }

    fn finish(self, end: Result<(), Halt>, unsafe_because: Option<String>, began: HostTime) -> RunOutcome {
        let mut invalid_because = Vec::new();
        let mut interrupted = false;
        let mut why_not = "the run was broken off".to_owned();
        match end {
            Ok(()) => {}
            Err(Halt::Unit(why) | Halt::Trip(Trip { why, .. })) => why_not = why,
            Err(Halt::Bench(why)) => {
                why_not.clone_from(&why);
                invalid_because.push(why);
            }
            Err(Halt::Interrupted) => {
                interrupted = true;
                why_not = "the run was interrupted".to_owned();
                invalid_because.push(why_not.clone());
            }
        }
        invalid_because.extend(unsafe_because);
        let took_s = self.bench.clock.now().since(began).as_secs_f64();
        self.assessor.outcome(Ending { why_not, invalid_because, interrupted, took_s })
    }
}

/// An interlock that opened. It is also wired to act by itself; whoever reads the evidence merely learns of it here.
pub fn interlock(part: &Part) -> Option<String> {
    use EdgeChannel::{EmergencyStop, Guard};
    [(EmergencyStop, "the emergency stop was pressed; release it"), (Guard, "the guard is open; close it")]
        .into_iter()
        .find(|(channel, _)| part.edges(*channel).iter().any(|edge| !edge.level()))
        .map(|(_, what)| format!("{what}, look at the unit, then run again"))
}

/// Unit supply is the one output that a run must know the state of.
impl Conductor<'_, '_> {
    /// Switches the unit's supply and forgets what the unit was saying.
    pub(super) fn switch_supply(&mut self, on: bool) -> Result<(), Halt> {
        self.bench.jig.drive(OutputChannel::UnitSupply, on)?;
        self.supply_switched(on);
        Ok(())
    }

    fn supply_switched(&mut self, on: bool) {
        let (at, _) = self.bench.jig.tick_at(self.bench.clock.now());
        self.sentinel.supply(on, at);
        self.powered = on;
        self.starting = on;
        self.pending = None;
        self.wanted = None;
        self.heard.clear();
        self.link.forget();
    }
}
