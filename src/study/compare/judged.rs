//! One quantity compared, and what comes of it.

use super::Settings;
use super::design::{Design, Pairing};
use super::margin::Margin;
use super::more_runs::{Known, MoreRuns};
use crate::stats::ranks::{MannWhitney, Shift, SignedRank, Tails};
use crate::stats::summary::{mean, standard_deviation};
use crate::stats::two_means::{MeanDifference, hedges_g};
use crate::study::{Quantity, Worse, is_constant};

/// What comes of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// A difference is proven, for the worse; or no tolerance says which way is worse.
    Worse,
    /// Neither.
    CannotTell,
    /// A difference is proven, for the better.
    Better,
    /// It is proven that the difference lies within the margin.
    Equivalent,
    /// Every run of both sets gave the very same value.
    Alike,
}

impl Outcome {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Worse => "worse",
            Self::CannotTell => "cannot tell yet",
            Self::Better => "better",
            Self::Equivalent => "equivalent",
            Self::Alike => "alike in every run",
        }
    }
}

/// One set.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Units, or runs of the one unit.
    pub count: usize,
    pub mean: f64,
    pub deviation: f64,
    /// The values themselves, for plots.
    pub values: Vec<f64>,
}

/// One quantity compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub quantity: Quantity,
    pub design: Design,
    pub before: Side,
    pub after: Side,
    /// Difference of the means, second less first.
    pub difference: f64,
    /// Its test, where there is scatter to test it against.
    pub test: Option<MeanDifference>,
    /// Its interval, at the confidence of one less the risk.
    pub interval: Option<(f64, f64)>,
    /// The shift by ranks.
    pub shift: Option<Shift>,
    /// The test by ranks.
    pub ranks: Option<Tails>,
    /// How likely a value of the second set exceeds one of the first, where they are not pairs.
    pub superiority: Option<f64>,
    /// Difference in standard deviations: Hedges' g, or the mean of the pairs' differences over their deviation.
    pub effect: Option<f64>,
    pub margin: Option<Margin>,
    /// Probability of the two one-sided tests.
    pub equivalence: Option<f64>,
    /// Two-sided probability of the difference where there is none; none where every value is the same.
    pub probability: Option<f64>,
    /// The same, corrected for the number of quantities (Holm).
    pub holm: Option<f64>,
    /// The same for exploration (Benjamini and Hochberg).
    pub false_discovery: Option<f64>,
    pub outcome: Outcome,
    /// What is to be said of it.
    pub remark: Option<&'static str>,
    pub more_runs: Option<MoreRuns>,
}

impl Row {
    /// Everything but what depends on the other quantities.
    pub(super) fn of(quantity: Quantity, pairing: &Pairing, settings: &Settings) -> Self {
        let Pairing { design, before, after } = pairing;
        let is_paired = *design == Design::Pairs;
        let differences = if is_paired { pairing.differences() } else { Vec::new() };
        let test = if is_paired { MeanDifference::paired(&differences) } else { MeanDifference::welch(before, after) };
        let confidence = 1.0 - settings.risk;
        let (ranks, superiority, shift, effect) = if is_paired {
            let ranks = SignedRank::of(&differences).map(|test| test.tails);
            let effect = standard_deviation(&differences).zip(mean(&differences));
            let effect = effect.map(|(deviation, mean)| mean / deviation).filter(|effect| effect.is_finite());
            (ranks, None, SignedRank::shift(&differences, confidence), effect)
        } else {
            let test = MannWhitney::of(before, after);
            let shift = MannWhitney::shift(before, after, confidence);
            (test.map(|test| test.tails), test.map(|test| test.superiority), shift, hedges_g(before, after))
        };
        let all: Vec<f64> = before.iter().chain(after).copied().collect();
        let is_alike = is_constant(&all);
        let probability = test.map(|test| test.two_sided()).or_else(|| ranks.map(|ranks| ranks.two_sided()));
        let margin = settings.margins.of(&quantity);
        let (before, after) = (side(before), side(after));
        Self {
            quantity,
            design: *design,
            difference: after.mean - before.mean,
            test,
            interval: test.map(|test| test.interval(confidence)),
            shift,
            superiority,
            effect,
            equivalence: margin.as_ref().zip(test).map(|(margin, test)| test.equivalence(margin.value)),
            margin,
            // Pairs that differ by nothing at all were tested, and differ by nothing.
            probability: if is_alike { None } else { Some(probability.unwrap_or(1.0)) },
            ranks,
            holm: None,
            false_discovery: None,
            outcome: if is_alike { Outcome::Alike } else { Outcome::CannotTell },
            remark: None,
            more_runs: None,
            before,
            after,
        }
    }

    /// What comes of it among so many quantities.
    pub(super) fn judge(&mut self, risk: f64, tested: usize) {
        let Some(holm) = self.holm else { return };
        let is_proven = holm <= risk;
        let is_confirmed = self.ranks.is_some_and(|ranks| ranks.below.min(ranks.above) <= risk);
        let all_pairs_alike = self.test.is_none() && self.difference == 0.0;
        if self.equivalence.is_some_and(|equivalence| equivalence <= risk) {
            self.outcome = Outcome::Equivalent;
            self.remark = (is_proven && is_confirmed).then_some("a difference is proven, and lies within the margin");
        } else if all_pairs_alike {
            (self.outcome, self.remark) =
                (Outcome::Equivalent, Some("every unit gave the very same value on both sides"));
        } else if is_proven && is_confirmed {
            (self.outcome, self.remark) = self.direction();
        } else {
            self.outcome = Outcome::CannotTell;
            self.remark = if is_proven {
                Some("the means differ, but so few values or an odd one among them: the ranks do not confirm it")
            } else if self.margin.is_none() {
                Some("no margin: give one with --margin")
            } else {
                None
            };
            self.more_runs = self.known(risk, tested).map(|known| known.more_runs());
        }
    }

    fn direction(&self) -> (Outcome, Option<&'static str>) {
        let is_worse = match self.quantity.worse() {
            Worse::Higher => self.difference > 0.0,
            Worse::Lower => self.difference < 0.0,
            Worse::AwayFrom(middle) => (self.after.mean - middle).abs() > (self.before.mean - middle).abs(),
            Worse::Unknown => return (Outcome::Worse, Some("it differs; no tolerance says which way is worse")),
        };
        if is_worse { (Outcome::Worse, None) } else { (Outcome::Better, None) }
    }

    fn known(&self, risk: f64, tested: usize) -> Option<Known> {
        let count = self.before.count.min(self.after.count);
        let variance = match self.design {
            Design::Pairs => self.test?.standard_error.powi(2) * count as f64,
            Design::Units | Design::Runs => self.before.deviation.powi(2) + self.after.deviation.powi(2),
        };
        let margin = self.margin.as_ref().map(|margin| margin.value);
        let proof = risk / tested.max(1) as f64;
        let (design, difference) = (self.design, self.difference);
        (variance > 0.0).then_some(Known { design, count, difference, variance, margin, proof, risk })
    }
}

fn side(values: &[f64]) -> Side {
    Side {
        count: values.len(),
        mean: mean(values).unwrap_or_default(),
        deviation: standard_deviation(values).unwrap_or_default(),
        values: values.to_vec(),
    }
}
