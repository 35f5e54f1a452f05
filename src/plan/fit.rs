//! Fits a plan to its bench: what this unit and this jig can do, and where the carriage may go.
//!
//! The plan is followed move by move, `repeat` written out, with the state that the unit will be in: supplied or not, homed
//! or not, and where its carriage may stand. A plan that passes cannot ask for a level that is not there, outrun the
//! unit's highest speed, or send the carriage against a hard stop of its own accord. That protects a plan from its
//! author's slips; it is no safety function: a unit that is out of order may still do anything.

mod able;
mod granularity;
mod rounds;
mod seen;

use super::course::{LATE_MAX, Whereabouts, end, trapezoid};
use super::draft::{Draft, DraftCheck, Put};
use super::label::{label, shown};
use super::moves::{Doing, DraftMove, Goal, Pace};
use super::{Check, Envelope, Move, Plan, Switched};
use crate::capture::{Action, Destination, OutputChannel, Side};
use crate::decide::Rule;
use crate::quantity::Dimension;
use crate::written::{Notes, Place, Problem};

/// The longest that one move may be expected to take, s.
const EXPECTED_MAX: f64 = 3600.0;
/// What a command that moves nothing takes, s.
const EXCHANGE_S: f64 = 0.1;
/// How long the supply stays off while packs are exchanged, s.
const EXCHANGE_OF_PACKS_S: f64 = 0.4;

pub(super) fn fit(draft: &Draft, envelope: &Envelope) -> Result<Plan, Vec<Problem>> {
    let notes = Notes::on(&draft.source);
    if draft.model.value != envelope.model {
        let what =
            format!("this plan is for the model `{}`, but the unit is a `{}`", draft.model.value, envelope.model);
        notes.add(&draft.model.at, what, "choose the plan and the unit file of the same model");
    }
    let mut fitter = Fitter {
        envelope,
        notes: &notes,
        rule: draft.rule,
        switched: Switched::default(),
        homed: false,
        carriage: Whereabouts::anywhere(envelope.travel),
    };
    let checks = draft.checks.iter().map(|check| fitter.check(check)).collect();
    notes.finish(Some(Plan {
        name: draft.name.clone(),
        revision: draft.revision,
        model: draft.model.value.clone(),
        rule: draft.rule,
        before: draft.before.clone(),
        checks,
    }))
}

struct Fitter<'f> {
    envelope: &'f Envelope,
    notes: &'f Notes,
    rule: Rule,
    switched: Switched,
    homed: bool,
    carriage: Whereabouts,
}

impl Fitter<'_> {
    fn check(&mut self, check: &DraftCheck) -> Check {
        let mut moves = Vec::new();
        let began = self.beginning();
        self.moves(&check.moves, &mut moves);
        if let Some(rounds) = &check.rounds {
            self.follow_rounds(check, rounds, began, &moves);
        }
        let (requirements, left_out) = self.seen(check);
        self.granularity(check, &moves);
        Check {
            name: check.name.clone(),
            because: check.because.clone(),
            moves,
            rounds_max: check.rounds.as_ref().map_or(1, |rounds| rounds.value),
            requirements,
            left_out,
            if_not: check.if_not.clone(),
        }
    }

    fn moves(&mut self, drafts: &[DraftMove], into: &mut Vec<Move>) {
        for draft in drafts {
            if let Doing::Repeat { times, moves } = &draft.doing {
                for _ in 0..*times {
                    self.moves(moves, into);
                }
            } else if let Some(planned) = self.one(draft) {
                into.push(planned);
            }
        }
    }

    /// One move; `None` where it cannot be done, which is then noted. The state goes on as if it had been done.
    fn one(&mut self, draft: &DraftMove) -> Option<Move> {
        let at = &draft.at;
        let (action, lasts, expected_s) = match &draft.doing {
            Doing::Power { on } => self.power(*on, at),
            Doing::Load { on } => {
                self.output(OutputChannel::DummyLoad, at);
                Some((Action::Load { on: *on }, 0.0, EXCHANGE_S))
            }
            Doing::Pack { low } => self.pack(*low, at),
            Doing::Home { side } => self.home(*side, at),
            Doing::Travel { to, pace } => self.travel(to, pace, at),
            Doing::Stop { towards, pace, after, by } => self.stop(*towards, pace, after, by.as_ref(), at),
            Doing::Start { by, towards, level, lasts, stop_by } => {
                self.start(by, *towards, level, lasts, stop_by.as_ref(), at)
            }
            Doing::Reverse { first, pace, after } => self.reverse(*first, pace, after, at),
            Doing::Crawl { towards, lasts } => self.crawl(*towards, lasts, at),
            Doing::Select { level } => self.select(level, at),
            Doing::Press { control, lasts } => self.press(control, *lasts, at),
            Doing::Wait { lasts } => Some((Action::Wait, *lasts, *lasts)),
            Doing::Ask { question, .. } => Some((Action::Ask { question: question.clone() }, 0.0, 0.0)),
            Doing::Send { text, within, .. } => self.send(text, *within, at),
            Doing::Repeat { .. } => None,
        }?;
        self.switched.take(&action);
        if expected_s > EXPECTED_MAX {
            let what = format!("this move takes {}", shown(expected_s, Dimension::Time));
            self.notes.add(at, what, "no move may take longer than an hour: go a shorter way, or faster");
        }
        let expect = match &draft.doing {
            Doing::Ask { expect, .. } => Some(expect.clone()),
            Doing::Send { expect, .. } => expect.clone(),
            _ => None,
        };
        let label = label(&action, lasts, &self.envelope.controls);
        Some(Move { label, action, expected_s, for_s: lasts, expect })
    }

    fn power(&mut self, on: bool, at: &Place) -> Option<(Action, f64, f64)> {
        self.output(OutputChannel::UnitSupply, at);
        if on && self.switched.supply {
            self.notes.add(at, "the unit's supply is on already here", "switch it off before, or leave this move out");
        }
        self.homed = false;
        Some((Action::Power { on }, 0.0, if on { self.envelope.start_up_s } else { EXCHANGE_S }))
    }

    fn pack(&mut self, low: bool, at: &Place) -> Option<(Action, f64, f64)> {
        self.output(OutputChannel::LowPack, at);
        self.homed = false;
        let again = if self.switched.supply { self.envelope.start_up_s } else { 0.0 };
        Some((Action::Pack { low }, 0.0, EXCHANGE_OF_PACKS_S + again))
    }

    fn home(&mut self, side: Side, at: &Place) -> Option<(Action, f64, f64)> {
        self.supplied("home", at);
        self.command("home", at);
        let way = end(side, self.envelope.travel) - self.carriage.middle();
        self.carriage = Whereabouts::at(end(side, self.envelope.travel));
        self.homed = true;
        let expected_s = trapezoid(way, self.envelope.homing_speed, self.envelope.acceleration);
        Some((Action::Home { side }, 0.0, expected_s))
    }

    fn travel(&mut self, to: &Goal, pace: &Pace, at: &Place) -> Option<(Action, f64, f64)> {
        self.supplied("travel", at);
        let (speed, level) = self.pace(pace)?;
        let travel = self.envelope.travel;
        if !self.at_home("travel", at) {
            self.carriage = self.after_unknown(to);
            return None;
        }
        let start = self.carriage;
        let (destination, target) = match to {
            Goal::End(side) => {
                self.command("travel to end", at);
                self.not_there_yet(*side, at);
                (Destination::End(*side), Whereabouts::at(end(*side, travel)))
            }
            Goal::Position(position) => {
                self.command("travel to position", at);
                let target = Whereabouts::at(position.value);
                self.on_the_rail(target, &position.at);
                (Destination::Position(position.value), target)
            }
            Goal::By(distance) => {
                self.command("travel by", at);
                let target = self.carriage.moved(distance.value);
                self.on_the_rail(target, &distance.at);
                (Destination::By(distance.value), target)
            }
        };
        self.carriage = self.kept_on_the_rail(target);
        // Where the start is known between two places only, patience has to be enough from the farther one.
        let way = match to {
            Goal::By(distance) => distance.value,
            _ => (target.middle() - start.low).abs().max((target.middle() - start.high).abs()),
        };
        let expected_s = trapezoid(way, speed, self.envelope.acceleration);
        Some((Action::Travel { to: destination, speed, level }, 0.0, expected_s))
    }

    /// Where a travel goes whose beginning is unknown, so that what follows is not blamed for it.
    fn after_unknown(&mut self, to: &Goal) -> Whereabouts {
        self.homed = true;
        match to {
            Goal::End(side) => Whereabouts::at(end(*side, self.envelope.travel)),
            Goal::Position(position) => self.kept_on_the_rail(Whereabouts::at(position.value)),
            Goal::By(_) => Whereabouts::at(self.envelope.travel / 2.0),
        }
    }

    fn stop(
        &mut self,
        towards: Side,
        pace: &Pace,
        after: &Put<f64>,
        by: Option<&Put<String>>,
        at: &Place,
    ) -> Option<(Action, f64, f64)> {
        self.supplied("stop", at);
        self.command("travel to end", at);
        let press = by.map(|control| self.control(control));
        if by.is_none() {
            self.command("stop", at);
        }
        let (speed, _) = self.pace(pace)?;
        if self.at_home("stop", at) {
            self.halted(towards, speed, after, at, "stopped");
        }
        let press = if let Some(number) = press { Some(number?) } else { None };
        let expected_s = after.value + self.braking_s(speed);
        Some((Action::Stop { towards, speed, press }, after.value, expected_s))
    }

    fn start(
        &mut self,
        by: &Put<String>,
        towards: Side,
        level: &Put<u32>,
        lasts: &Put<f64>,
        stop_by: Option<&Put<String>>,
        at: &Place,
    ) -> Option<(Action, f64, f64)> {
        self.supplied("start", at);
        self.command("select", at);
        let press = self.control(by);
        let stop_press = stop_by.map(|control| self.control(control));
        if stop_by.is_none() {
            self.command("stop", at);
        }
        let (number, speed) = self.level(level)?;
        if self.at_home("start", at) {
            self.halted(towards, speed, lasts, at, "stopped");
        }
        let stop_press = if let Some(number) = stop_press { Some(number?) } else { None };
        let expected_s = lasts.value + self.braking_s(speed);
        Some((Action::Start { towards, speed, level: number, press: press?, stop_press }, lasts.value, expected_s))
    }

    fn reverse(&mut self, first: Side, pace: &Pace, after: &Put<f64>, at: &Place) -> Option<(Action, f64, f64)> {
        self.supplied("reverse", at);
        self.command("reverse", at);
        self.command("travel to end", at);
        let (speed, _) = self.pace(pace)?;
        if self.at_home("reverse", at) {
            self.halted(first, speed, after, at, "turned round");
        }
        let other = end(first.opposite(), self.envelope.travel);
        let back_s = trapezoid(other - self.carriage.middle(), speed, self.envelope.acceleration);
        self.carriage = Whereabouts::at(other);
        Some((Action::Reverse { first, speed }, after.value, after.value + self.braking_s(speed) + back_s))
    }

    fn crawl(&mut self, towards: Side, lasts: &Put<f64>, at: &Place) -> Option<(Action, f64, f64)> {
        self.supplied("crawl", at);
        self.command("crawl", at);
        self.command("stop", at);
        let speed = self.envelope.levels.first().copied().unwrap_or(0.0);
        if self.at_home("crawl", at) {
            self.halted(towards, speed, lasts, at, "stopped");
        }
        Some((Action::Crawl { towards }, lasts.value, lasts.value))
    }

    fn select(&mut self, level: &Put<u32>, at: &Place) -> Option<(Action, f64, f64)> {
        self.supplied("select", at);
        self.command("select", at);
        let (number, _) = self.level(level)?;
        Some((Action::Select { level: number }, 0.0, EXCHANGE_S))
    }

    fn press(&mut self, control: &Put<String>, lasts: f64, at: &Place) -> Option<(Action, f64, f64)> {
        self.supplied("press", at);
        let control = self.control(control)?;
        self.carriage = Whereabouts::anywhere(self.envelope.travel);
        Some((Action::Press { control }, lasts, lasts))
    }

    /// A maker's own text may set the carriage in motion: after it nobody knows where that stands.
    fn send(&mut self, text: &str, within: f64, at: &Place) -> Option<(Action, f64, f64)> {
        self.supplied("send", at);
        self.command("send", at);
        self.carriage = Whereabouts::anywhere(self.envelope.travel);
        Some((Action::Send { text: text.into() }, within, EXCHANGE_S))
    }

    fn not_there_yet(&self, side: Side, at: &Place) {
        if self.carriage == Whereabouts::at(end(side, self.envelope.travel)) {
            let what = format!("the carriage stands at the {} end already here", side.name());
            self.notes.add(at, what, format!("send it to the {} end, or leave this move out", side.opposite().name()));
        }
    }

    fn on_the_rail(&self, target: Whereabouts, at: &Place) {
        let travel = self.envelope.travel;
        if !target.within(travel) {
            let beyond = if target.low < 0.0 { (-target.low, "left") } else { (target.high - travel, "right") };
            let (beyond, side) = (shown(beyond.0, Dimension::Length), beyond.1);
            let what = format!(
                "this could drive the carriage {beyond} beyond the {side} end; before it, it stands {}",
                self.stands()
            );
            self.notes.add(at, what, format!("stay between 0 mm and {}", shown(travel, Dimension::Length)));
        }
    }

    fn kept_on_the_rail(&self, target: Whereabouts) -> Whereabouts {
        let travel = self.envelope.travel.max(0.0);
        Whereabouts { low: target.low.clamp(0.0, travel), high: target.high.clamp(0.0, travel) }
    }

    /// Follows a motion that is stopped or turned round on its way, which must happen before the end is reached.
    fn halted(&mut self, towards: Side, speed: f64, after: &Put<f64>, at: &Place, how: &str) {
        self.not_there_yet(towards, at);
        let target = self.carriage.stopped(towards, speed, after.value);
        if !target.within(self.envelope.travel) && self.carriage != Whereabouts::at(end(towards, self.envelope.travel))
        {
            let what = format!(
                "the carriage could reach the {} end before it is {how}: it stands {} here, and covers up to {}",
                towards.name(),
                self.stands(),
                shown(speed * (after.value + LATE_MAX), Dimension::Length),
            );
            // Rounded down to a tenth of a second, which is as fine as anyone plans.
            let longest =
                ((self.carriage.room(towards, self.envelope.travel) / speed - LATE_MAX) * 10.0).floor() / 10.0;
            let right = if longest > 0.0 {
                format!("make it at most {}, or start farther away", shown(longest, Dimension::Time))
            } else {
                "put a `home` or a `travel` before it, so that the carriage stands where there is room".into()
            };
            self.notes.add(&after.at, what, right);
        }
        self.carriage = self.kept_on_the_rail(target);
    }

    fn stands(&self) -> String {
        let Whereabouts { low, high } = self.carriage;
        if high - low >= self.envelope.travel {
            return "anywhere".into();
        }
        if low == high {
            return format!("at {}", shown(low, Dimension::Length));
        }
        format!("between {} and {}", shown(low, Dimension::Length), shown(high, Dimension::Length))
    }

    fn braking_s(&self, speed: f64) -> f64 {
        if self.envelope.acceleration > 0.0 { speed / self.envelope.acceleration } else { 0.0 }
    }
}
