//! A decision rule in words.

use super::number;
use crate::record::stored::{Rule, RuleName};

/// Its name with its number: `false accept at most 2.5 %`.
pub fn named(rule: &Rule) -> String {
    match rule.name {
        RuleName::SimpleAcceptance => "simple acceptance".into(),
        RuleName::GuardBand => format!("guard band of {} U", number::plain(rule.factor.unwrap_or(f64::NAN))),
        RuleName::FalseAccept => format!("false accept at most {}", probability(rule)),
        RuleName::FalseReject => format!("false reject at most {}", probability(rule)),
    }
}

/// What it needs to call a value conforming: `97.5 %`, or a distance.
pub fn needed(rule: &Rule) -> String {
    match (rule.name, rule.probability) {
        (RuleName::FalseAccept, Some(accepted)) => percent(1.0 - accepted),
        (RuleName::GuardBand, _) => {
            format!("a distance of {} U from the limit", number::plain(rule.factor.unwrap_or(f64::NAN)))
        }
        _ => "a finite value".into(),
    }
}

/// What follows from it, in a sentence.
pub fn sentence(rule: &Rule) -> String {
    match rule.name {
        RuleName::SimpleAcceptance => {
            "A requirement conforms where the measured value lies within its tolerance limits; the doubt of the measurement \
             is shared between maker and buyer (simple acceptance, JCGM 106:2012, 8.2)."
                .into()
        }
        RuleName::GuardBand => {
            let factor = number::plain(rule.factor.unwrap_or(f64::NAN));
            format!(
                "A requirement conforms only where the measured value lies inside its tolerance limits by at least \
                 {factor} times the expanded uncertainty U, and does not where it lies outside by more; in between nothing is \
                 proven, and the requirement is undecided (JCGM 106:2012, 8.3.2; ISO 14253-1:2017)."
            )
        }
        RuleName::FalseAccept => format!(
            "A requirement conforms only where the probability that the true value lies beyond a tolerance limit is at most \
             {}; within the guard band that this leaves before a limit nothing is proven, and the requirement is undecided \
             (JCGM 106:2012, ISO 14253-1:2017).",
            probability(rule)
        ),
        RuleName::FalseReject => format!(
            "A requirement does not conform only where that is proven: where the probability that the true value lies \
             within the tolerance limits after all is at most {}. Everything else is called conforming, proven or not \
             (guarded rejection, JCGM 106:2012, 8.3.3).",
            probability(rule)
        ),
    }
}

fn probability(rule: &Rule) -> String {
    percent(rule.probability.unwrap_or(f64::NAN))
}

/// A probability as its author wrote it, to a hundredth of a per cent or finer where it is smaller.
fn percent(probability: f64) -> String {
    format!("{} %", number::plain((probability * 1e6).round() / 1e4))
}
