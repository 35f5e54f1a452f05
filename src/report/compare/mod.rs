//! A comparison of two sets of runs made readable: text, a page with plots, and JUnit XML for a pipeline.

mod junit;
mod page;
mod plots;
mod text;

pub use junit::compared_junit;
pub use page::compared_html;
pub use text::compared;

use super::number;
use super::words::visible_within;
use crate::study::compare::{Comparison, Design, MoreRuns, Outcome, Row, Set, Study};

/// Mark and words of an outcome.
const fn mark(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Worse => "✗",
        Outcome::CannotTell => "?",
        Outcome::Better | Outcome::Equivalent | Outcome::Alike => "✓",
    }
}

/// The outcomes in the order in which they are told.
const OUTCOMES: [Outcome; 5] =
    [Outcome::Worse, Outcome::CannotTell, Outcome::Better, Outcome::Equivalent, Outcome::Alike];

/// What was compared: `5 runs of 5 units`.
fn set(set: &Set) -> String {
    let units = if set.units == 1 { "1 unit".into() } else { format!("{} units", set.units) };
    match set.runs {
        Some(1) => format!("1 run of {units}"),
        Some(runs) => format!("{runs} runs of {units}"),
        None => format!("{} values", set.units),
    }
}

/// The first sentence.
fn verdict(study: &Study) -> String {
    let compared = &study.compared;
    let count = |outcome: Outcome| compared.count(outcome);
    let [first, second] = [0, 1].map(|place: usize| visible_within(&study.sets[place].name, 120));
    let (worse, open) = (count(Outcome::Worse), count(Outcome::CannotTell) + compared.refused.len());
    let all = compared.rows.len() + compared.refused.len();
    let head = match (worse, open) {
        (0, 0) => format!("Nothing got worse from {first} to {second}: that is proven for all {all} quantities"),
        (0, open) => format!(
            "From {first} to {second} nothing is proven to be worse; {open} of {all} quantities cannot be told yet"
        ),
        (worse, 0) => format!("From {first} to {second} {worse} of {all} quantities got worse, and nothing else did"),
        (worse, open) => {
            format!("From {first} to {second} {worse} of {all} quantities got worse; {open} cannot be told yet")
        }
    };
    format!("{head}.")
}

/// How many of each outcome.
fn counts(compared: &Comparison) -> String {
    let counted = OUTCOMES.iter().map(|outcome| format!("{} {}", outcome.words(), compared.count(*outcome)));
    let refused = (!compared.refused.is_empty()).then(|| format!("not compared {}", compared.refused.len()));
    counted.chain(refused).collect::<Vec<_>>().join("; ")
}

/// Rows of an outcome: readings of one measurand together, those whose differences take most of their margin first.
fn ordered(compared: &Comparison, outcome: Outcome) -> Vec<&Row> {
    let greatest = |row: &Row| {
        let alike = compared.rows.iter().filter(|other| other.outcome == outcome && is_reading_of_same(row, other));
        alike.map(|row| in_margins(row).abs()).fold(0.0, f64::max)
    };
    let rows = compared.rows.iter().filter(|row| row.outcome == outcome);
    let mut rows: Vec<(f64, &Row)> = rows.map(|row| (greatest(row), row)).collect();
    let name = |row: &Row| (row.quantity.check.clone(), row.quantity.measurand.clone(), row.quantity.reading.clone());
    rows.sort_by(|(most, one), (other_most, other)| {
        other_most.total_cmp(most).then_with(|| name(one).cmp(&name(other)))
    });
    rows.into_iter().map(|(_, row)| row).collect()
}

/// Whether two rows are readings of one measurand of one check.
fn is_reading_of_same(one: &Row, other: &Row) -> bool {
    one.quantity.check == other.quantity.check && one.quantity.measurand == other.quantity.measurand
}

/// In which checks the rows of an outcome are, with how many: `step clock at top speed (22)`.
fn places(compared: &Comparison, outcome: Outcome) -> Option<String> {
    let mut checks: Vec<(&str, usize)> = Vec::new();
    for row in compared.rows.iter().filter(|row| row.outcome == outcome && !row.quantity.check.is_empty()) {
        match checks.iter_mut().find(|(check, _)| *check == row.quantity.check) {
            Some((_, count)) => *count += 1,
            None => checks.push((&row.quantity.check, 1)),
        }
    }
    let told: Vec<String> =
        checks.into_iter().map(|(check, count)| format!("{} ({count})", visible_within(check, 120))).collect();
    (!told.is_empty()).then(|| format!("{}: {}", outcome.words(), told.join(", ")))
}

/// The difference in margins; in standard errors where there is no margin.
fn in_margins(row: &Row) -> f64 {
    match (&row.margin, &row.test) {
        (Some(margin), _) => row.difference / margin.value,
        (None, Some(test)) => row.difference / test.standard_error,
        (None, None) => row.difference,
    }
}

/// Half of the interval's width; nothing where there is none.
fn doubt(row: &Row) -> f64 {
    row.interval.map_or(0.0, |(low, high)| 0.5 * (high - low))
}

/// `11.38 → 313.40 µs`.
fn means(row: &Row) -> String {
    let doubt = doubt(row);
    let digits = |value: f64| if doubt > 0.0 { number::beside(value, doubt) } else { number::significant(value, 4) };
    let both = format!("{} → {}", digits(row.before.mean), digits(row.after.mean));
    number::with_unit(&both, &row.quantity.unit)
}

/// `+302.02 ± 0.41 µs`.
fn difference(row: &Row) -> String {
    let sign = if row.difference > 0.0 { "+" } else { "" };
    let doubt = doubt(row);
    if doubt == 0.0 {
        return number::with_unit(&format!("{sign}{}", number::significant(row.difference, 4)), &row.quantity.unit);
    }
    format!("{sign}{}", number::measured(row.difference, doubt, "")) + &number::with_unit("", &row.quantity.unit)
}

/// How likely a chance would do the same, as a table has it.
fn probability(value: f64) -> String {
    if value < 1e-6 { "< 10⁻⁶".into() } else { number::significant(value, 2) }
}

/// What else is to be said of a row.
fn remark(row: &Row) -> Option<String> {
    let more = row.more_runs.map(|more| match (more, row.design) {
        (MoreRuns::About(1), Design::Pairs) => "1 more unit on both sides would tell".to_owned(),
        (MoreRuns::About(more), Design::Pairs) => format!("about {more} more units on both sides would tell"),
        (MoreRuns::About(more), Design::Units) => format!("about {more} more units a side would tell"),
        (MoreRuns::About(more), Design::Runs) => format!("about {more} more runs a side would tell"),
        (MoreRuns::TooMany, _) => "more than 10000 runs a side would be needed".to_owned(),
    });
    let said: Vec<String> = row.remark.map(str::to_owned).into_iter().chain(more).collect();
    (!said.is_empty()).then(|| said.join("; "))
}

/// Quantiles of step intervals that moved, if exploration allows one in ten of them to be false.
fn moved(study: &Study) -> Vec<&Row> {
    let is_moved = |row: &&Row| row.false_discovery.is_some_and(|share| share <= FALSE_DISCOVERY);
    let mut rows: Vec<&Row> = study.intervals.rows.iter().filter(is_moved).collect();
    rows.sort_by(|one, other| other.difference.abs().total_cmp(&one.difference.abs()));
    rows
}

/// The share of what exploration points at that may be false.
const FALSE_DISCOVERY: f64 = 0.1;

/// How the numbers were found, each with its source.
fn methods(study: &Study) -> Vec<String> {
    let risk = number::plain(study.settings.risk * 100.0);
    let margin = number::plain(study.settings.margins.share * 100.0);
    let mut designs: Vec<&str> = study.compared.rows.iter().map(|row| row.design.words()).collect();
    designs.sort_unstable();
    designs.dedup();
    vec![
        format!("compared: {}", if designs.is_empty() { "nothing".into() } else { designs.join("; ") }),
        "difference of means, ± its interval: two samples by Welch (1947), pairs by Student (1908)".into(),
        "shift and its interval: Hodges and Lehmann (1963); ranks: Mann and Whitney (1947), pairs Wilcoxon (1945), every \
         way of dealing them counted up to 60 values, ties included"
            .into(),
        format!(
            "worse, better: two-sided, the chance of any false proof at most {risk} % over all quantities (Holm 1979; what \
             never varies takes no share, Tarone 1990), and confirmed by the ranks"
        ),
        format!(
            "equivalent: two one-sided tests at {risk} % (Schuirmann 1987) against the margin: {margin} % of half the \
             tolerance's width, or of its one limit, or as given"
        ),
        "how many more: so many that 4 in 5 repetitions would tell, if things are as they look".into(),
        format!(
            "step intervals, exploration: of what is listed at most {} % is expected to be false (Benjamini and Hochberg 1995)",
            number::plain(FALSE_DISCOVERY * 100.0)
        ),
    ]
}
