//! The operator at the terminal: questions go to standard error, answers come from standard input, while the bench goes on.

use super::{Exit, Failure, say};
use crate::clock::{Clock, ComputerClock};
use crate::run::{Answering, Operator, Question, Reply, is_yes_or_no};
use anyhow::anyhow;
use crossbeam_channel::{Receiver, TryRecvError, bounded};
use std::io::{BufRead, IsTerminal};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How often somebody who is to confirm something is looked for, and an interruption with them.
const LOOK: Duration = Duration::from_millis(50);

/// Lines from standard input, read by a thread of their own so that nobody ever waits for them.
struct Terminal {
    lines: Option<Receiver<String>>,
}

impl Terminal {
    /// Begins to listen, and forgets what was typed before anything was asked.
    fn attend(&mut self) {
        let lines = self.lines.get_or_insert_with(|| {
            let (sender, receiver) = bounded(16);
            // The thread ends with standard input or with the program; nobody waits for it.
            std::thread::spawn(move || {
                for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                    if sender.send(line).is_err() {
                        break;
                    }
                }
            });
            receiver
        });
        while lines.try_recv().is_ok() {}
    }

    /// What was typed since, without the blanks around it; an empty line is no answer.
    fn reply(&self) -> Reply {
        match self.lines.as_ref().map(Receiver::try_recv) {
            Some(Ok(line)) if line.trim().is_empty() => Reply::Awaited,
            Some(Ok(line)) => Reply::Said(whole(&line)),
            Some(Err(TryRecvError::Empty)) => Reply::Awaited,
            Some(Err(TryRecvError::Disconnected)) | None => Reply::Nobody,
        }
    }

    /// Waits for `yes`.
    fn await_yes(&self, clock: &ComputerClock, stop: &AtomicBool) -> Result<(), Failure> {
        loop {
            if stop.load(Ordering::Relaxed) {
                return Err(Failure::new(Exit::Interrupted, anyhow!("interrupted; nothing was moved")));
            }
            match self.reply() {
                Reply::Said(answer) if answer.eq_ignore_ascii_case("yes") => return Ok(()),
                Reply::Said(_) | Reply::Nobody => {
                    return Err(Failure::new(Exit::Usage, anyhow!("not confirmed; nothing was moved")));
                }
                Reply::Awaited => clock.sleep_until(clock.now().after(LOOK)),
            }
        }
    }
}

/// Answers that were given on the command line first, then whoever sits at the terminal.
pub struct TerminalOperator {
    prepared: Answering,
    ready: Option<String>,
    terminal: Terminal,
    /// Whether the pending question has `yes` and `no` for answers, so that anything else was mistyped.
    yes_or_no: bool,
}

impl TerminalOperator {
    /// An operator; the terminal is asked only where a question has no prepared answer.
    pub fn new(prepared: Answering) -> Self {
        Self { prepared, ready: None, terminal: Terminal { lines: None }, yes_or_no: false }
    }

    /// Has the operator confirm what has to be so below a heading, before anything is done.
    ///
    /// # Errors
    /// Where nobody is there to confirm, somebody interrupts, or the answer is not yes.
    pub fn confirm(
        &mut self,
        heading: &str,
        before: &[String],
        clock: &ComputerClock,
        stop: &AtomicBool,
    ) -> Result<(), Failure> {
        if before.is_empty() {
            return Ok(());
        }
        say(heading);
        before.iter().for_each(|item| say(&format!("  - {item}")));
        if !std::io::stdin().is_terminal() {
            let why = "nobody is at the terminal to confirm this; see to it and add --confirmed";
            return Err(Failure::new(Exit::Usage, anyhow!(why)));
        }
        say("Is all of this so? [yes/no]");
        self.terminal.attend();
        self.terminal.await_yes(clock, stop)
    }
}

impl Operator for TerminalOperator {
    fn ask(&mut self, question: Question<'_>) {
        self.ready = self.prepared.prepared(question);
        self.yes_or_no = is_yes_or_no(question.wanted);
        if self.ready.is_none() {
            let how = if self.yes_or_no { "yes/no, then Enter" } else { "then Enter" };
            say(&format!("\n  {} [{how}]", question.text));
            self.terminal.attend();
        }
    }

    fn answer(&mut self) -> Reply {
        if let Some(answer) = self.ready.take() {
            return Reply::Said(answer);
        }
        match self.terminal.reply() {
            // A slip of the finger must not reject a unit.
            Reply::Said(answer) if self.yes_or_no && !is_yes_or_no(&answer) => {
                say("  Please answer yes or no.");
                Reply::Awaited
            }
            reply => reply,
        }
    }
}

/// An answer without the blanks around it; `y` and `n` are short for `yes` and `no`.
fn whole(answer: &str) -> String {
    match answer.trim() {
        "y" | "Y" => "yes".into(),
        "n" | "N" => "no".into(),
        answer => answer.into(),
    }
}

/// Reads `--answer`: `yes` for every question, or `belt path=no` for those in which `belt path` occurs.
pub fn given_answers(texts: &[String]) -> Vec<(String, String)> {
    let mut answers: Vec<(String, String)> = texts
        .iter()
        .map(|text| match text.split_once('=') {
            Some((piece, answer)) => (piece.trim().to_owned(), whole(answer)),
            None => (String::new(), whole(text)),
        })
        .collect();
    // An answer for all comes after those for some.
    answers.sort_by_key(|(piece, _)| piece.is_empty());
    answers
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(lines: &[&str]) -> (crossbeam_channel::Sender<String>, Terminal) {
        let (sender, receiver) = bounded(16);
        lines.iter().for_each(|line| sender.send((*line).to_owned()).expect("room"));
        (sender, Terminal { lines: Some(receiver) })
    }

    fn operator(terminal: Terminal) -> TerminalOperator {
        TerminalOperator { terminal, ..TerminalOperator::new(Answering::new(Vec::new(), false)) }
    }

    #[test]
    fn an_answer_is_what_was_typed_after_the_question_and_no_slip() {
        let (keyboard, terminal) = typed(&["no"]);
        let mut operator = operator(terminal);
        operator.ask(Question { text: "Is the belt path straight?", wanted: "yes" });
        assert_eq!(operator.answer(), Reply::Awaited, "typed before it was asked");
        for slip in ["", "  ", "yees", "no idea"] {
            keyboard.send(slip.into()).expect("room");
            assert_eq!(operator.answer(), Reply::Awaited, "{slip}");
        }
        keyboard.send(" Y ".into()).expect("room");
        assert_eq!(operator.answer(), Reply::Said("yes".into()));
        operator.ask(Question { text: "Which lot?", wanted: "L1" });
        keyboard.send("L2".into()).expect("room");
        assert_eq!(operator.answer(), Reply::Said("L2".into()));
    }

    #[test]
    fn a_terminal_that_is_closed_while_a_question_is_pending_has_nobody_at_it() {
        let (keyboard, terminal) = typed(&[]);
        let mut operator = operator(terminal);
        operator.ask(Question { text: "Is the belt path straight?", wanted: "yes" });
        drop(keyboard);
        assert_eq!(operator.answer(), Reply::Nobody);
    }

    #[test]
    fn nothing_is_confirmed_but_by_yes() {
        let clock = ComputerClock::new();
        let confirmed = |lines: &[&str], stop: bool| {
            let (_keyboard, terminal) = typed(lines);
            terminal.await_yes(&clock, &AtomicBool::new(stop)).map_err(|failure| failure.exit)
        };
        assert_eq!(confirmed(&["", "yes"], false), Ok(()));
        assert_eq!(confirmed(&["no", "yes"], false), Err(Exit::Usage));
        assert_eq!(confirmed(&[], true), Err(Exit::Interrupted));
    }

    #[test]
    fn answers_for_some_questions_come_before_the_one_for_all() {
        let given = given_answers(&["yes".into(), "belt path = n".into()]);
        assert_eq!(given, [("belt path".into(), "no".into()), (String::new(), "yes".into())]);
    }
}
