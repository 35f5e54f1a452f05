//! A bench behind the screen: one run at a time on a thread of its own, started, answered and stopped from any page.

use super::scene::{Asked, Over, Running, Scene, SceneWatcher, Stage};
use super::workshop::{Attending, Order, Workshop};
use crate::report;
use crate::run::{Answering, Operator, Question, Reply, is_yes_or_no};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use tokio::sync::watch;

/// Characters of an answer that are kept.
const ANSWER_MAX: usize = 200;

/// One bench.
pub struct Bench {
    pub scene: watch::Sender<Scene>,
    interrupted: AtomicBool,
    /// The answer to the open question, with that question's number.
    answer: Mutex<Option<(u64, String)>>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

/// Why something was not done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refused {
    /// A run goes on already.
    Busy,
    /// No thread could be had.
    NoThread,
    /// There is no such question, or not any more.
    NotAsked,
    /// It is no answer to that question.
    NoAnswer,
}

impl Bench {
    pub fn new() -> Self {
        Self {
            scene: watch::Sender::new(Scene::default()),
            interrupted: AtomicBool::new(false),
            answer: Mutex::new(None),
            thread: Mutex::new(None),
        }
    }

    /// Begins a run.
    pub fn start(self: &Arc<Self>, workshop: &Arc<dyn Workshop>, order: Order, plan: String) -> Result<(), Refused> {
        let mut thread = self.thread.lock().unwrap_or_else(PoisonError::into_inner);
        let begun = self.scene.send_if_modified(|scene| {
            let is_free = !scene.is_running();
            if is_free {
                self.interrupted.store(false, Ordering::Relaxed);
                scene.change(|scene| {
                    scene.runs += 1;
                    scene.live = None;
                    scene.said.clear();
                    scene.stage = Stage::Running(Box::new(beginning(order.clone(), plan.clone())));
                });
            }
            is_free
        });
        if !begun {
            return Err(Refused::Busy);
        }
        let (bench, workshop) = (Arc::clone(self), Arc::clone(workshop));
        let shown = (order.clone(), plan.clone());
        match std::thread::Builder::new().name("run".into()).spawn(move || bench.carry_out(&*workshop, &order, plan)) {
            Ok(begun) => *thread = Some(begun),
            Err(_) => {
                let (order, plan) = shown;
                self.over(order, plan, Err("the computer has no thread left for a run; nothing was moved".into()));
                return Err(Refused::NoThread);
            }
        }
        Ok(())
    }

    fn carry_out(&self, workshop: &dyn Workshop, order: &Order, plan: String) {
        let operator = Box::new(ScreenOperator::new(self, workshop.answers().to_vec()));
        let mut watcher = SceneWatcher::new(&self.scene);
        let attending = Attending { operator, watcher: &mut watcher, interrupted: &self.interrupted };
        let ended = catch_unwind(AssertUnwindSafe(|| workshop.carry_out(order, attending)));
        let ended =
            ended.unwrap_or_else(|_| Err("the program failed an assertion of its own; no record was kept".into()));
        let ended = ended.map(|record| (record.run.id.clone(), report::brief(&record)));
        self.over(order.clone(), plan, ended.map_err(|why| report::visible(&why)));
    }

    fn over(&self, order: Order, plan: String, ended: Result<(String, report::Brief), String>) {
        self.scene.send_modify(|scene| {
            scene.change(|scene| {
                let plan = scene.running().map_or(plan, |running| running.plan.clone());
                scene.said = match &ended {
                    Ok((_, brief)) => format!("The run is over. {}. {}", brief.headline, brief.statement),
                    Err(why) => format!("There is no result. {why}"),
                };
                scene.live = None;
                scene.stage = Stage::Over(Arc::new(Over { order, plan, ended }));
            });
        });
    }

    /// Breaks the run off, if one goes on.
    pub fn stop(&self) {
        self.scene.send_if_modified(|scene| {
            let goes_on = scene.is_running();
            if goes_on {
                self.interrupted.store(true, Ordering::Relaxed);
                scene.change(|scene| {
                    if let Some(running) = scene.running() {
                        running.is_stopping = true;
                    }
                    scene.said = "Stopping.".into();
                });
            }
            goes_on
        });
    }

    /// Takes an answer to the question of a number.
    pub fn answer(&self, number: u64, text: &str) -> Result<(), Refused> {
        let text: String = text.trim().chars().take(ANSWER_MAX).collect();
        let mut answer = self.answer.lock().unwrap_or_else(PoisonError::into_inner);
        let scene = self.scene.borrow();
        let Stage::Running(running) = &scene.stage else { return Err(Refused::NotAsked) };
        let asked = running.question.as_ref().filter(|asked| asked.number == number).ok_or(Refused::NotAsked)?;
        let is_one = if asked.is_yes_or_no { is_yes_or_no(&text) } else { !text.is_empty() };
        if !is_one {
            return Err(Refused::NoAnswer);
        }
        // The first of two tablets is heard.
        if answer.as_ref().is_none_or(|(other, _)| *other != number) {
            *answer = Some((number, text));
        }
        Ok(())
    }

    /// Waits until no run goes on.
    pub fn rest(&self) {
        let thread = self.thread.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(thread) = thread {
            // It catches what panics in it.
            drop(thread.join());
        }
    }
}

fn beginning(order: Order, plan: String) -> Running {
    Running {
        order,
        plan,
        checks: Vec::new(),
        current: None,
        round: None,
        doing: "the bench is being made ready".into(),
        question: None,
        is_stopping: false,
        is_closing: false,
        expected_s: 0.0,
    }
}

/// Whoever stands before a screen; what was answered beforehand is not asked.
struct ScreenOperator<'a> {
    bench: &'a Bench,
    prepared: Answering,
    ready: Option<String>,
    number: u64,
}

impl<'a> ScreenOperator<'a> {
    fn new(bench: &'a Bench, answers: Vec<(String, String)>) -> Self {
        Self { bench, prepared: Answering::new(answers, false), ready: None, number: 0 }
    }

    fn show(&self, question: Option<Asked>) {
        self.bench.scene.send_modify(|scene| {
            scene.change(|scene| {
                scene.said = question.as_ref().map(|asked| format!("Question: {}", asked.text)).unwrap_or_default();
                if let Some(running) = scene.running() {
                    running.question = question;
                }
            });
        });
    }
}

impl Operator for ScreenOperator<'_> {
    fn ask(&mut self, question: Question<'_>) {
        self.ready = self.prepared.prepared(question);
        if self.ready.is_none() {
            self.number += 1;
            *self.bench.answer.lock().unwrap_or_else(PoisonError::into_inner) = None;
            let is_yes_or_no = is_yes_or_no(question.wanted);
            self.show(Some(Asked { number: self.number, text: report::visible(question.text), is_yes_or_no }));
        }
    }

    fn answer(&mut self) -> Reply {
        if let Some(answer) = self.ready.take() {
            return Reply::Said(answer);
        }
        let given = self.bench.answer.lock().unwrap_or_else(PoisonError::into_inner).take();
        match given.filter(|(number, _)| *number == self.number) {
            Some((_, text)) => {
                self.show(None);
                Reply::Said(text)
            }
            None => Reply::Awaited,
        }
    }
}
