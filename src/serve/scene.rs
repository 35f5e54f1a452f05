//! What there is to be seen of one bench, and how a run's events change it.

use super::workshop::Order;
use crate::decide::Decision;
use crate::event::{Event, Live, Watcher};
use crate::record::stored::Verdict;
use crate::report::{self, Brief};
use std::sync::Arc;
use tokio::sync::watch;

/// One bench.
#[derive(Debug, Clone, Default)]
pub struct Scene {
    /// Grows whenever anything but [`Scene::live`] changes.
    pub version: u64,
    /// How many runs were begun here since the server started.
    pub runs: u64,
    pub stage: Stage,
    /// How things stand in the run that goes on.
    pub live: Option<Live>,
    /// What somebody who cannot see the screen should hear.
    pub said: String,
}

/// What goes on.
#[derive(Debug, Clone, Default)]
pub enum Stage {
    /// Nothing was begun yet.
    #[default]
    Free,
    Running(Box<Running>),
    Over(Arc<Over>),
}

/// A run that goes on.
#[derive(Debug, Clone)]
pub struct Running {
    pub order: Order,
    /// The plan's name and revision.
    pub plan: String,
    pub checks: Vec<CheckLine>,
    /// Which check goes on.
    pub current: Option<usize>,
    /// Its round, from the second on.
    pub round: Option<usize>,
    /// Its move, in words.
    pub doing: String,
    pub question: Option<Asked>,
    /// Somebody pressed stop.
    pub is_stopping: bool,
    /// The bench is safe, and the record is being written.
    pub is_closing: bool,
    /// How long the whole should take, s of bench time.
    pub expected_s: f64,
}

/// A check on the list.
#[derive(Debug, Clone)]
pub struct CheckLine {
    pub name: String,
    /// Once it is decided.
    pub verdict: Option<Verdict>,
}

/// A question that is open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// Its number at this bench, so that a late answer goes to no other question.
    pub number: u64,
    pub text: String,
    /// Whether it is answered by yes or no.
    pub is_yes_or_no: bool,
}

/// A run that is over.
#[derive(Debug)]
pub struct Over {
    pub order: Order,
    pub plan: String,
    /// The run's id and what it came to; or why there is no record.
    pub ended: Result<(String, Brief), String>,
}

impl Scene {
    /// Changes everything but the live part.
    pub fn change(&mut self, how: impl FnOnce(&mut Self)) {
        how(self);
        self.version += 1;
    }

    /// Whether a run goes on.
    pub fn is_running(&self) -> bool {
        matches!(self.stage, Stage::Running(_))
    }

    /// The run that goes on.
    pub fn running(&mut self) -> Option<&mut Running> {
        if let Stage::Running(running) = &mut self.stage { Some(running) } else { None }
    }

    /// Which panel shows it: another one is put up whenever this changes.
    pub fn phase(&self) -> String {
        let word = match self.stage {
            Stage::Free => "free",
            Stage::Running(_) => "running",
            Stage::Over(_) => "over",
        };
        format!("{word}-{}", self.runs)
    }
}

/// Sets the scene as the run goes.
pub struct SceneWatcher<'a> {
    scene: &'a watch::Sender<Scene>,
}

impl<'a> SceneWatcher<'a> {
    pub fn new(scene: &'a watch::Sender<Scene>) -> Self {
        Self { scene }
    }

    fn change(&self, how: impl FnOnce(&mut Running, &mut String)) {
        self.scene.send_modify(|scene| {
            scene.change(|scene| {
                if let Stage::Running(running) = &mut scene.stage {
                    how(running, &mut scene.said);
                }
            });
        });
    }
}

impl Watcher for SceneWatcher<'_> {
    fn see(&mut self, event: &Event<'_>) {
        match event {
            Event::RunBegins { plan, expected_s } => self.change(|running, said| {
                let line = |name: &str| CheckLine { name: report::visible(name), verdict: None };
                running.plan = report::visible(&format!("{}, revision {}", plan.name, plan.revision));
                running.checks = plan.checks.iter().map(|check| line(&check.name)).collect();
                running.expected_s = *expected_s;
                *said = format!("The run begins: {} checks.", plan.checks.len());
            }),
            Event::CheckBegins { check } => self.change(|running, _| {
                (running.current, running.round) = (Some(*check), None);
                running.doing.clear();
            }),
            Event::RoundBegins { round, .. } => self.change(|running, _| running.round = Some(*round)),
            Event::MoveBegins { label, .. } => self.change(|running, _| running.doing = report::visible(label)),
            Event::Live(live) => self.scene.send_modify(|scene| scene.live = Some(*live)),
            Event::CheckEnds(outcome) => self.change(|running, said| {
                let Some(line) = running.checks.get_mut(outcome.check) else { return };
                line.verdict = Some(outcome.decision.into());
                *said = format!("{}: {}.", line.name, outcome.decision.words());
            }),
            Event::RunEnds(outcome) => self.change(|running, _| {
                for outcome in &outcome.checks {
                    if let Some(line) = running.checks.get_mut(outcome.check) {
                        line.verdict = Some(outcome.decision.into());
                    }
                }
                (running.question, running.current, running.is_closing) = (None, None, true);
                running.doing = closing(outcome.decision).into();
            }),
        }
    }
}

fn closing(decision: Decision) -> &'static str {
    match decision {
        Decision::Invalid => "the bench is safe; what was seen is being kept",
        _ => "the bench is safe; the record is being written and sealed",
    }
}
