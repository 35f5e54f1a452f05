//! The person at the bench, as the runner sees them: a question out, an answer in, without ever holding up the bench.

/// A question to the operator.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Question<'a> {
    /// Its text.
    pub text: &'a str,
    /// The answer that the plan wants.
    pub wanted: &'a str,
}

/// Whether an answer is `yes` or `no`.
pub fn is_yes_or_no(answer: &str) -> bool {
    ["yes", "no"].iter().any(|known| answer.trim().eq_ignore_ascii_case(known))
}

/// What has become of a question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reply {
    /// Nothing yet.
    Awaited,
    /// It is answered.
    Said(String),
    /// Nobody is there to answer it, now or later.
    Nobody,
}

/// Whoever answers.
pub trait Operator {
    /// Puts the question. Called once a question.
    fn ask(&mut self, question: Question<'_>);
    /// The answer, once there is one. Never waits.
    fn answer(&mut self) -> Reply;
}

/// An operator who answers from what was prepared: given answers first (a piece of the question → the answer), then the
/// `otherwise` rule.
#[derive(Debug, Clone, Default)]
pub struct Answering {
    given: Vec<(String, String)>,
    otherwise_as_wanted: bool,
    pending: Option<String>,
}

impl Answering {
    /// Answers with the first of `given` whose first text occurs in the question (an empty one occurs in all); if none
    /// does and `otherwise_as_wanted`, as the plan wants.
    pub fn new(given: Vec<(String, String)>, otherwise_as_wanted: bool) -> Self {
        Self { given, otherwise_as_wanted, pending: None }
    }

    /// The prepared answer to a question, if there is one.
    pub fn prepared(&self, question: Question<'_>) -> Option<String> {
        let asked = question.text.to_lowercase();
        self.given
            .iter()
            .find(|(piece, _)| asked.contains(&piece.to_lowercase()))
            .map(|(_, answer)| answer.clone())
            .or_else(|| self.otherwise_as_wanted.then(|| question.wanted.to_owned()))
    }
}

impl Operator for Answering {
    fn ask(&mut self, question: Question<'_>) {
        self.pending = self.prepared(question);
    }

    fn answer(&mut self) -> Reply {
        self.pending.take().map_or(Reply::Nobody, Reply::Said)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_given_answer_that_fits_is_used() {
        let belt = Question { text: "Is the belt path straight?", wanted: "yes" };
        let latch = Question { text: "Does the pack latch?", wanted: "yes" };
        let mut operator = Answering::new(vec![("Belt Path".into(), "no".into())], true);
        operator.ask(belt);
        assert_eq!(operator.answer(), Reply::Said("no".into()));
        assert_eq!(operator.answer(), Reply::Nobody);
        operator.ask(latch);
        assert_eq!(operator.answer(), Reply::Said("yes".into()));
        assert_eq!(Answering::new(vec![], false).prepared(latch), None);
    }
}
