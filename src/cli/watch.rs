//! The terminal while a run goes: which check, which move, how long it still takes; a line for each decided check.

use super::say;
use crate::event::{CheckOutcome, Event, Live, Watcher};
use anstyle::{AnsiColor, Style};
use indicatif::{ProgressBar, ProgressStyle};
use std::time::Duration;

use crate::decide::Decision;

/// Shows a run on standard error. The progress line appears on a terminal alone; decided checks are always told.
pub struct TerminalWatcher {
    bar: ProgressBar,
    names: Vec<String>,
    now: String,
    /// The round, from the second on.
    round: Option<usize>,
}

impl TerminalWatcher {
    /// A watcher.
    pub fn new() -> Self {
        let bar = ProgressBar::new(0);
        bar.set_style(ProgressStyle::with_template("{wide_msg}").expect("the template is a constant"));
        Self { bar, names: Vec::new(), now: String::new(), round: None }
    }

    fn tell(&self, line: &str) {
        self.bar.suspend(|| say(line));
    }

    fn check_ended(&self, outcome: &CheckOutcome) {
        let name = self.names.get(outcome.check).map_or("", String::as_str);
        let style = style(outcome.decision);
        let took = outcome.ended_s - outcome.began_s;
        let rounds = outcome.rounds.as_ref().map_or(1, |rounds| rounds.done);
        let rounds = if rounds > 1 { format!(", {rounds} rounds") } else { String::new() };
        self.tell(&format!("  {style}{:<16}{style:#} {name} ({took:.1} s{rounds})", outcome.decision.words()));
    }

    fn live(&self, live: &Live) {
        let mut line = format!("  {} · {} left", self.now, minutes(live.left_s));
        if let Some(position) = live.position {
            line += &format!(" · {:.1} mm", position * 1000.0);
        }
        if let Some(voltage) = live.pack_voltage {
            line += &format!(" · {voltage:.2} V");
        }
        self.bar.set_message(line);
    }
}

impl Watcher for TerminalWatcher {
    fn see(&mut self, event: &Event<'_>) {
        match event {
            Event::RunBegins { plan, expected_s } => {
                self.names = plan.checks.iter().map(|check| check.name.clone()).collect();
                let checks = plan.checks.len();
                self.tell(&format!(
                    "{} revision {}: {checks} checks, about {} of bench time",
                    plan.name,
                    plan.revision,
                    minutes(*expected_s)
                ));
            }
            Event::CheckBegins { check } => {
                self.round = None;
                self.now = self.names.get(*check).cloned().unwrap_or_default();
            }
            Event::RoundBegins { check, round } => {
                self.round = Some(*round);
                let name = self.names.get(*check).map_or("", String::as_str);
                self.tell(&format!("  undecided so far {name}: round {round} begins"));
            }
            Event::MoveBegins { check, label, .. } => {
                let name = self.names.get(*check).map_or("", String::as_str);
                let round = self.round.map(|round| format!(", round {round}")).unwrap_or_default();
                self.now = format!("{name}{round}: {label}");
            }
            Event::Live(live) => self.live(live),
            Event::CheckEnds(outcome) => self.check_ended(outcome),
            Event::RunEnds(_) => self.bar.finish_and_clear(),
        }
    }
}

/// Seconds as a person at a bench says them.
fn minutes(seconds: f64) -> String {
    let whole = Duration::from_secs_f64(seconds.max(0.0)).as_secs();
    if whole < 100 { format!("{whole} s") } else { format!("{} min {:02} s", whole / 60, whole % 60) }
}

fn style(decision: Decision) -> Style {
    let colour = match decision {
        Decision::Conforms => AnsiColor::Green,
        Decision::Undecided => AnsiColor::Yellow,
        Decision::DoesNotConform | Decision::Invalid => AnsiColor::Red,
    };
    Style::new().fg_color(Some(colour.into()))
}
