//! The moves: what the bench does for each action of a plan.

use super::talk::{REFUSALS, changed_its_mind};
use super::{Question, Reply, conduct::Conductor, halt::Halt};
use crate::capture::{Action, Cue, Destination, OutputChannel, Side};
use crate::clock::HostTime;
use crate::plan::Move;
use crate::unit::{Heard, MotionEnd, Request};
use regex::Regex;
use std::time::Duration;

/// Rest after a motion, so that its last edges and the pack's first recovery belong to it.
const REST: Duration = Duration::from_millis(200);
/// How long a control is held where the plan does not say.
const PRESS: Duration = Duration::from_millis(100);
/// How often the state is asked for where the firmware does not report the end of a motion.
const ASK_AGAIN: Duration = Duration::from_millis(100);

impl Conductor<'_, '_> {
    /// Does what the move says and comes back with the carriage at rest.
    pub(super) fn perform(&mut self, planned: &Move) -> Result<(), Halt> {
        let length = Duration::from_secs_f64(planned.for_s.max(0.0));
        match &planned.action {
            Action::Power { on } => self.power(*on),
            Action::Load { on } => self.bench.jig.drive(OutputChannel::DummyLoad, *on).map(drop).map_err(Halt::from),
            Action::Pack { low } => self.change_pack(*low),
            Action::Home { side } => self.home(*side),
            Action::Travel { to, speed, level } => self.travel(*to, *speed, *level, planned.expected_s),
            Action::Stop { towards, speed, press } => {
                self.set_off(*towards, *speed)?;
                self.pump_for(length)?;
                self.stop(*press)?;
                self.await_rest(planned.expected_s)
            }
            Action::Start { level, press, stop_press, .. } => {
                self.select(*level)?;
                self.cue(Cue::Commanded);
                self.press(*press, PRESS)?;
                self.pump_for(length)?;
                self.stop(*stop_press)?;
                self.await_rest(planned.expected_s)
            }
            Action::Reverse { first, speed } => {
                self.set_off(*first, *speed)?;
                self.pump_for(length)?;
                let turn = Request::ToEnd { side: first.opposite(), speed: *speed };
                self.timed_request(&turn, Cue::ReverseCommanded)?;
                self.await_rest(planned.expected_s)
            }
            Action::Crawl { towards } => {
                self.cue(Cue::Commanded);
                self.request(&Request::Crawl { side: *towards })?;
                self.pump_for(length)?;
                self.stop(None)?;
                self.await_rest(planned.expected_s)
            }
            Action::Select { level } => {
                self.select(*level)?;
                self.pump_for(length.max(REST))
            }
            Action::Press { control } => {
                self.press(*control, if length.is_zero() { PRESS } else { length })?;
                self.pump_for(REST)
            }
            Action::Wait => self.pump_for(length),
            Action::Ask { question } => self.ask(question, planned.expect.as_deref().unwrap_or("yes")),
            Action::Send { text } => self.send(text, planned.expect.as_deref(), length),
        }
    }

    fn power(&mut self, on: bool) -> Result<(), Halt> {
        self.switch_supply(on)?;
        if on { self.await_start_up() } else { self.pump_for(REST) }
    }

    /// Packs are exchanged with the supply off, as a hand would.
    fn change_pack(&mut self, low: bool) -> Result<(), Halt> {
        let was_powered = self.powered;
        self.switch_supply(false)?;
        self.pump_for(REST)?;
        self.bench.jig.drive(OutputChannel::LowPack, low)?;
        self.pump_for(REST)?;
        if was_powered { self.power(true) } else { Ok(()) }
    }

    pub(super) fn home(&mut self, side: Side) -> Result<(), Halt> {
        self.homed = true;
        self.cue(Cue::Commanded);
        self.request(&Request::Home { side })?;
        // Nobody knows where the carriage stood before: it may be the whole way.
        self.await_rest(self.job.setup.unit.travel / self.bench.unit.homing_speed)
    }

    fn travel(&mut self, to: Destination, speed: f64, level: Option<u8>, expected_s: f64) -> Result<(), Halt> {
        let by_level =
            level.filter(|_| self.bench.unit.dialect.knows("run") && self.bench.unit.dialect.knows("select"));
        let request = match (to, by_level) {
            (Destination::End(side), Some(level)) => {
                self.select(level)?;
                Request::Run { side }
            }
            (Destination::End(side), None) => Request::ToEnd { side, speed },
            (Destination::Position(position), _) => Request::ToPosition { position, speed },
            (Destination::By(distance), _) => Request::By { distance, speed },
        };
        self.cue(Cue::Commanded);
        self.request(&request)?;
        self.await_rest(expected_s)
    }

    fn set_off(&mut self, towards: Side, speed: f64) -> Result<(), Halt> {
        self.cue(Cue::Commanded);
        self.request(&Request::ToEnd { side: towards, speed }).map(drop)
    }

    /// Stops by command, or by pressing a control, which the jig itself stamps.
    fn stop(&mut self, press: Option<u8>) -> Result<(), Halt> {
        match press {
            Some(control) => {
                self.cue(Cue::StopCommanded);
                self.press(control, PRESS)
            }
            None => self.timed_request(&Request::Stop, Cue::StopCommanded),
        }
    }

    fn select(&mut self, level: u8) -> Result<(), Halt> {
        self.request(&Request::Select { level }).map(drop)
    }

    fn press(&mut self, control: u8, hold: Duration) -> Result<(), Halt> {
        self.bench.jig.drive(OutputChannel::Press(control), true)?;
        let until = self.bench.clock.now().after(hold);
        let mut meanwhile = Vec::new();
        while let Some(heard) = self.pump(until)? {
            meanwhile.push(heard);
        }
        self.bench.jig.drive(OutputChannel::Press(control), false)?;
        // The end of a motion may be reported while the key is still held: it is not lost to who waits for it.
        self.heard.extend(meanwhile);
        Ok(())
    }

    /// Waits until the unit reports the end of its motion, with patience in proportion to what it should take.
    fn await_rest(&mut self, expected_s: f64) -> Result<(), Halt> {
        let patience = Duration::from_secs_f64(expected_s * 1.5 + 3.0);
        let until = self.bench.clock.now().after(patience);
        let waited = patience.as_secs_f64();
        let (came_to_rest, else_why) = match self.bench.unit.dialect.motion_end {
            MotionEnd::Reported => {
                (self.await_done(until)?, format!("the unit did not report the end of its motion within {waited:.1} s"))
            }
            MotionEnd::Asked => {
                (self.ask_until_resting(until)?, format!("the unit did not say within {waited:.1} s that it rests"))
            }
            MotionEnd::Watched { quiet } => {
                (self.watch_until_resting(quiet, until)?, format!("the motor was still stepping after {waited:.1} s"))
            }
        };
        if came_to_rest {
            self.cue(Cue::Done);
            return self.pump_for(REST);
        }
        Err(self.silence(else_why))
    }

    fn await_done(&mut self, until: HostTime) -> Result<bool, Halt> {
        while let Some(heard) = self.pump(until)? {
            match heard {
                Heard::Done { .. } => return Ok(true),
                other => self.unexpected(other)?,
            }
        }
        Ok(false)
    }

    fn ask_until_resting(&mut self, until: HostTime) -> Result<bool, Halt> {
        while self.bench.clock.now() < until {
            self.pump_for(ASK_AGAIN)?;
            if let Heard::State { resting: true } = self.request(&Request::State)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Watches the step wire of a unit that tells nothing. A motion may begin as late as an answer may come.
    fn watch_until_resting(&mut self, quiet: Duration, until: HostTime) -> Result<bool, Halt> {
        let begun_by = self.said_at.after(self.bench.unit.link.answer_within);
        while self.bench.clock.now() < until {
            self.pump_for(ASK_AGAIN)?;
            let (begun_by, _) = self.bench.jig.tick_at(begun_by);
            let (now, _) = self.bench.jig.tick_at(self.bench.clock.now());
            let quiet_since = self.sentinel.last_step().map_or(begun_by, |step| step.max(begun_by));
            let quiet_s = now.saturating_sub(quiet_since) as f64 / self.job.setup.jig.ticks_per_second as f64;
            if quiet_s >= quiet.as_secs_f64() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn ask(&mut self, question: &str, wanted: &str) -> Result<(), Halt> {
        self.operator.ask(Question { text: question, wanted });
        let answer = loop {
            match self.operator.answer() {
                Reply::Said(answer) => break answer,
                Reply::Awaited => self.pump_for(Duration::from_millis(50))?,
                Reply::Nobody => {
                    let why = "nobody is at the terminal to answer; stay there, or give the answer with --answer";
                    return Err(Halt::Bench(format!("`{question}`: {why}")));
                }
            }
        };
        let agrees = answer.trim().eq_ignore_ascii_case(wanted.trim());
        self.cue(Cue::Answered { question: question.to_owned(), answer, agrees });
        Ok(())
    }

    /// A maker's own text. With a pattern, the answer must match it in time; without, the line is sent and that is all.
    fn send(&mut self, text: &str, expect: Option<&str>, within: Duration) -> Result<(), Halt> {
        let Some(pattern) = expect else {
            self.say(text, &self.bench.unit.link.line_ending)?;
            return self.pump_for(REST);
        };
        let pattern = Regex::new(pattern).map_err(|error| Halt::Bench(format!("pattern of `send`: {error}")))?;
        let mut refusal = None;
        for _ in 0..REFUSALS {
            match self.say_and_want(text, pattern.clone(), within)? {
                Some(Heard::Refused { answer }) => refusal = Some(answer),
                Some(_) => return refusal.map_or(Ok(()), |answer| Err(changed_its_mind(text, &answer))),
                None => {
                    self.question_after_silence()?;
                    let within = within.as_secs_f64();
                    return Err(self.silence(format!("the unit did not answer `{text}` as wanted within {within} s")));
                }
            }
        }
        self.refused(text, refusal.unwrap_or_default())
    }

    /// Sends a line and waits until the unit says what is wanted, or refuses the line.
    fn say_and_want(&mut self, text: &str, wanted: Regex, within: Duration) -> Result<Option<Heard>, Halt> {
        self.wanted = Some(wanted);
        self.say(text, &self.bench.unit.link.line_ending)?;
        let until = self.bench.clock.now().after(within);
        while let Some(heard) = self.pump(until)? {
            match heard {
                Heard::Refused { .. } | Heard::Remark => {
                    self.wanted = None;
                    return Ok(Some(heard));
                }
                other => self.unexpected(other)?,
            }
        }
        self.wanted = None;
        Ok(None)
    }
}
