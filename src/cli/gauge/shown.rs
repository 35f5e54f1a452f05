//! A study of the jig as programs get it.

use crate::cli::show;
use crate::study::gauge::{Gauge, Line, Row, Spread, Trueness};
use serde_json::{Value, json};

/// Everything that was found.
pub fn as_json(study: &Gauge) -> Value {
    json!({
        "of": study.name,
        "simulated": study.simulated,
        "quantities": study.rows.iter().map(row).collect::<Vec<_>>(),
        "not_studied": study.refused.iter().map(|one| json!({ "quantity": one.name, "why": one.why })).collect::<Vec<_>>(),
        "methods": {
            "anova": "Burdick, Borror and Montgomery 2005",
            "ranges": "AIAG Measurement Systems Analysis; Duncan, appendix D3",
            "bias": "Student 1908",
        },
    })
}

fn spread(spread: &Spread) -> Value {
    json!({
        "repeatability": spread.repeatability,
        "reproducibility": spread.reproducibility,
        "jig": spread.jig,
        "units": spread.units,
        "total": spread.total,
        "of_study": spread.of_study(),
        "classes": spread.classes(),
    })
}

fn line(line: &Line) -> Value {
    json!({
        "source": line.source,
        "degrees_of_freedom": line.freedom,
        "sum_of_squares": line.squares,
        "mean_square": line.mean_square(),
        "f": line.test.map(|test| test.0),
        "probability": line.test.map(|test| test.1),
    })
}

fn trueness(trueness: &Trueness) -> Value {
    json!({
        "bias": trueness.bias,
        "interval": trueness.interval,
        "probability": trueness.probability,
        "linearity": trueness.linearity.map(|one| json!({
            "slope": one.slope, "intercept": one.intercept, "probability": one.probability,
        })),
    })
}

fn row(row: &Row) -> Value {
    let found = json!({
        "units": row.units,
        "appraisers": row.appraisers,
        "repeats": row.repeats,
        "mean": row.mean,
        "design": row.anova.kind.words(),
        "anova": row.anova.lines.iter().map(line).collect::<Vec<_>>(),
        "spread": spread(&row.anova.spread),
        "between_appraisers": row.anova.appraisers,
        "interaction": row.anova.interaction,
        "of_tolerance": row.anova.spread.of_tolerance(&row.quantity, row.mean),
        "by_ranges": row.ranges.map(|ranges| json!({ "mean_range": ranges.mean_range, "spread": spread(&ranges.spread) })),
        "trueness": row.trueness.as_ref().map(trueness),
    });
    show::quantity(&row.quantity, found)
}
