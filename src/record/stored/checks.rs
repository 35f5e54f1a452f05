//! Stored form of what was measured and decided: checks, requirements, readings and their uncertainty budgets.

use super::{Rule, StepClock, Verdict};
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    pub name: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub because: Option<String>,
    pub decision: Verdict,
    /// Why it was not carried out, where it was not.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub not_carried_out: Option<String>,
    pub began_s: f64,
    pub took_s: f64,
    /// Nonconformities beyond the requirements.
    pub findings: Vec<String>,
    /// How often its moves were carried out, where the plan lets it repeat them.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rounds: Option<Rounds>,
    pub requirements: Vec<Requirement>,
    pub moves: Vec<Move>,
    /// What to look at first if it does not conform.
    pub if_not: Vec<String>,
    /// What the step clock was like, motion by motion.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub step_clock: Vec<StepClock>,
}

/// How often the moves of a check were carried out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rounds {
    /// Rounds whose readings the decision rests on.
    pub done: usize,
    /// The most that the plan allows; each look at the readings has its share of the accepted risk.
    pub at_most: usize,
    /// Why no further round followed, where something stayed undecided.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub why_no_more: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    pub label: String,
    pub began_s: f64,
    pub took_s: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Requirement {
    /// Catalogue name of the measurand.
    pub measurand: String,
    /// The tolerance as written in the plan.
    pub tolerance: String,
    /// Unit of every number below; empty for a count.
    pub unit: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lower: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub upper: Option<f64>,
    /// How its values are decided, where that is not the plan's rule.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rule: Option<Rule>,
    pub decision: Verdict,
    pub readings: Vec<Reading>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// The phase that it belongs to.
    pub label: String,
    pub decision: Verdict,
    /// The measured value with its uncertainty and judgement.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub measured: Option<Measured>,
    /// Why there is no value, where there is none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub withheld: Option<String>,
    /// What each round gave by itself, where there were several: the value above is theirs together.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub rounds: Vec<RoundReading>,
}

/// What one round of several gave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RoundReading {
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub value: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub standard_uncertainty: Option<f64>,
    /// Why there is no value, where there is none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub withheld: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    pub value: f64,
    pub standard_uncertainty: f64,
    /// For a coverage probability of 95 %.
    pub expanded_uncertainty: f64,
    pub coverage_factor: f64,
    /// The interval that leaves 2.5 % below and 2.5 % above it, where the distribution was propagated because the budget
    /// alone does not tell it (JCGM 101:2008).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub propagated_interval: Option<(f64, f64)>,
    /// Effective degrees of freedom; absent where infinite.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub degrees_of_freedom: Option<f64>,
    pub budget: Vec<BudgetLine>,
    /// Lines of the budget whose inputs were estimated together.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub correlations: Vec<Correlation>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub acceptance_lower: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub acceptance_upper: Option<f64>,
    /// Distance to the nearest tolerance limit, positive inside.
    pub margin: f64,
    pub conformance_probability: f64,
}

/// A line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BudgetLine {
    /// Where the doubt comes from.
    pub from: String,
    /// What it contributes, in the unit of the value: the input's standard uncertainty times its sensitivity, without sign.
    pub standard_uncertainty: f64,
    /// Absent where infinite.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub degrees_of_freedom: Option<f64>,
    /// The input quantity. Format 1 did not keep it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub input: Option<Input>,
}

/// The input quantity of a budget's line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Input {
    pub evaluation: Evaluation,
    /// `normal`, `rectangular`, `triangular` or `arcsine`.
    pub distribution: String,
    pub standard_uncertainty: f64,
    /// SI unit of the input quantity; absent where it is that of the value.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub unit: Option<String>,
    /// Change of the value per change of the input, with its sign.
    pub sensitivity: f64,
    /// The cause that it shares with contributions to other values, fully correlated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub shared: Option<String>,
}

/// How a contribution was evaluated (JCGM 100:2008, 3.3.4).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Evaluation {
    /// From the scatter of repeated readings.
    A,
    /// From anything else.
    B,
}

/// Two lines of a budget whose inputs were estimated together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correlation {
    /// Places of the two lines in the budget, counted from 0.
    pub lines: (usize, usize),
    /// Correlation coefficient of their inputs, between −1 and 1.
    pub coefficient: f64,
}
