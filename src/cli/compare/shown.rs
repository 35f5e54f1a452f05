//! A comparison as programs get it.

use crate::cli::show;
use crate::study::compare::{Comparison, MoreRuns, Row, Set, Study};
use serde_json::{Value, json};

/// Everything that was found.
pub fn as_json(study: &Study) -> Value {
    let Study { sets, settings, compared, intervals, told, .. } = study;
    let all = compared.rows.len() + compared.refused.len();
    json!({
        "first": set(&sets[0]),
        "second": set(&sets[1]),
        "outcome": compared.outcome().words(),
        "quantities": all,
        "risk": settings.risk,
        "told": told,
        "compared": rows(compared),
        "not_compared": compared.refused.iter().map(|refused| json!({ "quantity": refused.name, "why": refused.why })).collect::<Vec<_>>(),
        "step_intervals": rows(intervals),
        "methods": {
            "difference": "Welch 1947; pairs: Student 1908",
            "shift": "Hodges and Lehmann 1963",
            "ranks": "Mann and Whitney 1947; pairs: Wilcoxon 1945; counted up to 60 values, ties included",
            "holm": "Holm 1979; Tarone 1990",
            "false_discovery": "Benjamini and Hochberg 1995",
            "equivalence": "Schuirmann 1987",
            "effect": "Hedges 1981; pairs: mean over deviation of the differences",
        },
    })
}

fn set(set: &Set) -> Value {
    json!({ "name": set.name, "runs": set.runs, "units": set.units, "simulated": set.simulated })
}

fn rows(compared: &Comparison) -> Vec<Value> {
    compared.rows.iter().map(row).collect()
}

fn row(row: &Row) -> Value {
    let Row { quantity, before, after, .. } = row;
    let side = |side: &crate::study::compare::Side| json!({ "count": side.count, "mean": side.mean, "standard_deviation": side.deviation });
    let more_runs = row.more_runs.map(|more| match more {
        MoreRuns::About(more) => json!(more),
        MoreRuns::TooMany => json!("more than 10000"),
    });
    let found = json!({
        "outcome": row.outcome.words(),
        "remark": row.remark,
        "design": row.design.words(),
        "first": side(before),
        "second": side(after),
        "difference": row.difference,
        "interval": row.interval,
        "t": row.test.map(|test| json!({
            "value": test.value / test.standard_error,
            "standard_error": test.standard_error,
            "degrees_of_freedom": test.degrees_of_freedom,
            "probability": test.two_sided(),
        })),
        "shift": row.shift.map(|shift| json!({
            "value": shift.value, "low": shift.low, "high": shift.high, "confidence": shift.confidence,
        })),
        "ranks": row.ranks.map(|ranks| json!({
            "probability": ranks.two_sided(), "below": ranks.below, "above": ranks.above,
            "way": format!("{:?}", ranks.way).to_lowercase(),
        })),
        "superiority": row.superiority,
        "effect": row.effect,
        "margin": row.margin.as_ref().map(|margin| json!({ "value": margin.value, "from": margin.from })),
        "equivalence": row.equivalence,
        "probability": row.probability,
        "holm": row.holm,
        "false_discovery": row.false_discovery,
        "more_runs": more_runs,
    });
    show::quantity(quantity, found)
}
