//! Where a reading of a file collects what is wrong with it, so that all mistakes are shown at once.

use super::{Place, Problem, Source};
use std::cell::RefCell;

/// What is wrong with one file so far. Shared by all who read parts of it.
#[derive(Debug)]
pub struct Notes {
    source: Source,
    problems: RefCell<Vec<Problem>>,
}

impl Notes {
    /// More problems than this of one file are not shown: nobody reads them, and the first ones cause the rest.
    pub const SHOWN_MAX: usize = 100;

    /// Nothing wrong with `source` yet.
    pub fn on(source: &Source) -> Self {
        Self { source: source.clone(), problems: RefCell::default() }
    }

    /// The file that these notes are about.
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// Notes what is wrong at a place, and what would be right there.
    pub fn add(&self, at: &Place, what: impl Into<String>, right: impl Into<String>) {
        if self.problems.borrow().len() < Self::SHOWN_MAX {
            let problem = Problem::new(&self.source, at.span(&self.source), at.path(), what, right);
            self.push(problem);
        }
    }

    /// Notes a problem that already has its place. The same at the same place is noted once: an alias repeats its text's
    /// mistakes, a `repeat` those of its moves.
    pub fn push(&self, problem: Problem) {
        let mut problems = self.problems.borrow_mut();
        let is_new = problems.iter().all(|known| known.span != problem.span || known.what != problem.what);
        if problems.len() < Self::SHOWN_MAX && is_new {
            problems.push(problem);
        }
    }

    /// How many problems there are.
    pub fn count(&self) -> usize {
        self.problems.borrow().len()
    }

    /// What was read, or all problems in the order of their places. `value` is `None` only where a problem was noted.
    pub fn finish<T>(self, value: Option<T>) -> Result<T, Vec<Problem>> {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|problem| problem.span.start);
        match value {
            Some(value) if problems.is_empty() => Ok(value),
            None if problems.is_empty() => {
                Err(vec![Problem::new(&self.source, 0..0, "", "this file is incomplete", "complete it")])
            }
            _ => Err(problems),
        }
    }
}
