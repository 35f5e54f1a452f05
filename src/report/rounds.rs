//! The rounds of a check that repeated its moves, in words.

use super::words::visible;
use crate::record::stored::Check;

/// `2 rounds`; nothing for a check that was carried out once.
pub fn taken(check: &Check) -> Option<String> {
    check.rounds.as_ref().map(|rounds| rounds.done).filter(|done| *done > 1).map(|done| format!("{done} rounds"))
}

/// How often it was carried out, and why no more often, in a sentence without its full stop.
pub fn remark(check: &Check) -> Option<String> {
    let rounds = check.rounds.as_ref()?;
    let taken = taken(check).map(|taken| format!("{taken} of at most {}, judged together", rounds.at_most));
    let why = rounds.why_no_more.as_deref().map(visible);
    let said: Vec<String> = taken.into_iter().chain(why).collect();
    (!said.is_empty()).then(|| said.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::stored::{Rounds, Verdict};

    fn check(rounds: Option<Rounds>) -> Check {
        Check {
            name: "both ways".into(),
            because: None,
            decision: Verdict::Undecided,
            not_carried_out: None,
            began_s: 0.0,
            took_s: 20.0,
            findings: Vec::new(),
            rounds,
            requirements: Vec::new(),
            moves: Vec::new(),
            if_not: Vec::new(),
            step_clock: Vec::new(),
        }
    }

    #[test]
    fn rounds_are_told_where_there_is_something_to_tell() {
        assert_eq!((taken(&check(None)), remark(&check(None))), (None, None));
        let rounds = |done, why: Option<&str>| Some(Rounds { done, at_most: 4, why_no_more: why.map(str::to_owned) });
        assert_eq!((taken(&check(rounds(1, None))), remark(&check(rounds(1, None)))), (None, None));
        let two = check(rounds(2, None));
        assert_eq!(taken(&two).as_deref(), Some("2 rounds"));
        assert_eq!(remark(&two).as_deref(), Some("2 rounds of at most 4, judged together"));
        let once = check(rounds(1, Some("even 4 rounds\u{202E} would hardly settle it")));
        assert_eq!(remark(&once).as_deref(), Some("even 4 rounds[U+202E] would hardly settle it"));
        let four = check(rounds(4, Some("still undecided")));
        assert_eq!(remark(&four).as_deref(), Some("4 rounds of at most 4, judged together; still undecided"));
    }
}
