//! The line as programs get it.

use crate::cli::show;
use crate::stats::control::{Limits, Subgrouped};
use crate::study::capability::{Capability, Index, Indices, Row, Share, Yields};
use serde_json::{Value, json};

/// Everything that was found.
pub fn as_json(study: &Capability) -> Value {
    json!({
        "of": study.name,
        "simulated": study.simulated,
        "confidence": study.settings.confidence,
        "risk": study.settings.risk,
        "yield": study.yields.as_ref().map(yields),
        "quantities": study.rows.iter().map(row).collect::<Vec<_>>(),
        "not_studied": study.refused.iter().map(|one| json!({ "quantity": one.name, "why": one.why })).collect::<Vec<_>>(),
        "methods": {
            "yield": "Clopper and Pearson 1934",
            "indices": "ISO 22514-2; intervals: Kane 1986, Bissell 1990",
            "normality": "Anderson and Darling 1954; D'Agostino and Stephens 1986",
            "charts": "ISO 7870-2; Western Electric 1956; Nelson 1984",
            "step": "Pettitt 1979, Holm 1979",
            "drift": "Spearman 1904, Holm 1979",
            "groups": "Kruskal and Wallis 1952, Holm 1979",
        },
    })
}

fn share(share: &Share) -> Value {
    json!({ "count": share.hits, "of": share.of, "share": share.value(), "interval": share.interval })
}

fn yields(yields: &Yields) -> Value {
    let checks = yields.checks.iter();
    let checks =
        checks.map(|check| json!({ "check": check.name, "failed": check.failed, "conforms": share(&check.conforms) }));
    json!({
        "first_pass": share(&yields.first_pass),
        "final": share(&yields.in_the_end),
        "runs_that_prove_nothing": yields.proved_nothing,
        "checks": checks.collect::<Vec<_>>(),
    })
}

fn indices(indices: Option<Indices>) -> Value {
    let index = |index: Index| json!({ "value": index.value, "interval": index.interval });
    indices.map_or(Value::Null, |one| json!({ "width": one.width.map(index), "nearer": index(one.nearer) }))
}

fn limits(limits: &Limits) -> Value {
    json!({ "lower": limits.lower, "centre": limits.centre, "upper": limits.upper })
}

fn subgrouped(charts: &Subgrouped) -> Value {
    let pair = |(means, spreads): &(Limits, Limits)| json!({ "means": limits(means), "spreads": limits(spreads) });
    json!({
        "size": charts.size,
        "means": charts.means,
        "ranges": charts.ranges,
        "deviations": charts.deviations,
        "by_range": pair(&charts.by_range),
        "by_deviation": pair(&charts.by_deviation),
    })
}

fn row(row: &Row) -> Value {
    let (without_jig, why_not) = match row.without_jig {
        Ok(found) => (Some(found), None),
        Err(why) => (None, Some(why)),
    };
    let groups = row.groups.iter().map(|group| {
        json!({ "name": group.name, "count": group.count, "mean": group.mean, "standard_deviation": group.deviation, "ppk": group.nearer })
    });
    let found = json!({
        "count": row.values.len(),
        "mean": row.mean,
        "standard_deviation": row.deviation,
        "standard_deviation_within": row.within,
        "normality": row.normality.map(|test| json!({ "a_squared": test.statistic, "probability": test.probability })),
        "distribution": row.path.words(),
        "overall": indices(row.overall),
        "short_term": indices(row.short),
        "jig_spread": row.jig,
        "without_jig": indices(without_jig),
        "why_not_without_jig": why_not,
        "chart": limits(&row.limits),
        "subgroups": row.subgrouped.as_ref().map(subgrouped),
        "signals": row.signals.iter().map(|one| json!({ "at": one.at, "rule": one.rule.words() })).collect::<Vec<_>>(),
        "step": row.step.as_ref().map(|step| json!({
            "at": step.at, "moment": step.moment, "before": step.before, "after": step.after, "probability": step.probability,
        })),
        "drift": row.drift.map(|(correlation, probability)| json!({ "correlation": correlation, "probability": probability })),
        "groups": groups.collect::<Vec<_>>(),
        "groups_differ": row.groups_differ,
    });
    show::quantity(&row.quantity, found)
}
