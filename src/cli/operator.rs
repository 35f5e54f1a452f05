//! The operator at the terminal: questions go to standard error, answers come from standard input, while the bench goes on.

use super::{Exit, Failure};
use crate::run::{Answering, Operator, Question};
use anyhow::anyhow;
use crossbeam_channel::{Receiver, bounded};
use std::io::{BufRead, IsTerminal};

/// Answers that were given on the command line first, then whoever sits at the terminal.
pub struct TerminalOperator {
    prepared: Answering,
    ready: Option<String>,
    lines: Option<Receiver<String>>,
}

impl TerminalOperator {
    /// An operator; the terminal is asked only where a question has no prepared answer.
    pub fn new(prepared: Answering) -> Self {
        Self { prepared, ready: None, lines: None }
    }

    fn lines(&mut self) -> &Receiver<String> {
        self.lines.get_or_insert_with(|| {
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
        })
    }
}

impl Operator for TerminalOperator {
    fn ask(&mut self, question: Question<'_>) {
        self.ready = self.prepared.prepared(question);
        if self.ready.is_none() {
            anstream::eprintln!("\n  {} [yes/no, then Enter]", question.text);
            self.lines();
        }
    }

    fn answer(&mut self) -> Option<String> {
        if let Some(answer) = self.ready.take() {
            return Some(answer);
        }
        let line = self.lines.as_ref()?.try_recv().ok()?;
        match line.trim().to_lowercase().as_str() {
            "y" => Some("yes".into()),
            "n" => Some("no".into()),
            "" => None,
            answer => Some(answer.into()),
        }
    }
}

/// Reads `--answer`: `yes` for every question, or `belt path=no` for those in which `belt path` occurs.
pub fn given_answers(texts: &[String]) -> Vec<(String, String)> {
    let mut answers: Vec<(String, String)> = texts
        .iter()
        .map(|text| match text.split_once('=') {
            Some((piece, answer)) => (piece.trim().to_owned(), answer.trim().to_owned()),
            None => (String::new(), text.trim().to_owned()),
        })
        .collect();
    // An answer for all comes after those for some.
    answers.sort_by_key(|(piece, _)| piece.is_empty());
    answers
}

/// Has the operator confirm what the plan wants before anything moves.
///
/// # Errors
/// Where nobody is there to confirm, or the answer is not yes.
pub fn confirm(before: &[String], confirmed: bool) -> Result<(), Failure> {
    if before.is_empty() || confirmed {
        return Ok(());
    }
    anstream::eprintln!("Before anything moves:");
    before.iter().for_each(|item| anstream::eprintln!("  - {item}"));
    if !std::io::stdin().is_terminal() {
        let why = "nobody is at the terminal to confirm this; see to it and add --confirmed";
        return Err(Failure::new(Exit::Usage, anyhow!(why)));
    }
    anstream::eprintln!("Is all of this so? [yes/no]");
    let mut line = String::new();
    let read = std::io::stdin().lock().read_line(&mut line);
    match (read, line.trim().to_lowercase().as_str()) {
        (Ok(_), "yes" | "y") => Ok(()),
        _ => Err(Failure::new(Exit::Usage, anyhow!("not confirmed; nothing was moved"))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_for_some_questions_come_before_the_one_for_all() {
        let given = given_answers(&["yes".into(), "belt path = no".into()]);
        assert_eq!(given, [("belt path".into(), "no".into()), (String::new(), "yes".into())]);
    }
}
