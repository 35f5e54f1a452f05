//! The line made readable: yields, how far values keep from their limits, and what did not stay as it was.

use super::drift::Individuals;
use super::number;
use super::page::{STUDY, page};
use super::plot::{Plot, individuals};
use super::study::{found_how, found_how_html, opening, opening_html};
use super::text::{WIDTH_MAX, WIDTH_MIN, empty_table, folded, laid_out};
use super::words::visible_within;
use crate::study::capability::{Capability, Index, Indices, Path, Row, Share, Yields};
use maud::{PreEscaped, html};

/// Checks told one by one.
const CHECKS_MAX: usize = 12;
/// Charts drawn: of what is worst first.
const CHARTS_MAX: usize = 40;

/// The whole study, `width` columns wide.
pub fn capability(study: &Capability, width: u16) -> String {
    let width = width.clamp(WIDTH_MIN, WIDTH_MAX);
    let paragraph = |text: &str, indent: &str| folded(text, indent, width).join("\n") + "\n";
    let mut text = opening(&verdict(study), study.simulated, width);
    if let Some(yields) = &study.yields {
        for line in yield_lines(yields) {
            text += &paragraph(&line, "  ");
        }
        let mut table = empty_table(width);
        table.set_header(["check", "failed at first", "cumulative", "conforms at first, 95 %"]);
        for cells in pareto(yields) {
            table.add_row(cells);
        }
        text += &format!("\n{}", laid_out(&mut table, &[30, 0, 0, 22]));
    }
    if !study.rows.is_empty() {
        let mut table = empty_table(width);
        table.set_header(["quantity", "mean ± s", "Pp, Ppk", "Cp, Cpk", "jig out"]);
        for row in worst_first(study) {
            let name = format!("{}\n  {}", visible_within(&row.quantity.name(), 160), kind(row));
            table.add_row([name, scatter(row), pair(row.overall), pair(row.short), pair(row.without_jig.ok())]);
        }
        text += &format!("\n{}", laid_out(&mut table, &[30, 0, 0, 0, 0]));
    }
    let said: Vec<String> = study.rows.iter().flat_map(|row| findings(study, row)).collect();
    if !said.is_empty() {
        text += "\nWhat did not stay as it was\n";
        for line in said {
            text += &paragraph(&format!("  {line}"), "    ");
        }
    }
    for told in &study.told {
        text += &paragraph(told, "  ");
    }
    text + &found_how(&study.refused, &methods(study), width)
}

/// The page, with a chart of each quantity.
pub fn capability_html(study: &Capability) -> String {
    let title = format!("Capability: {}", visible_within(&study.name, 160));
    let body = html! {
        body {
            h1 { (title) }
            (opening_html(&verdict(study), study.simulated))
            @if let Some(yields) = &study.yields {
                @for line in yield_lines(yields) { p { (line) } }
                table {
                    thead { tr { th { "check" } th { "failed at first" } th { "cumulative" } th { "conforms at first, 95 %" } } }
                    tbody { @for cells in pareto(yields) { tr { @for cell in cells { td { (cell) } } } } }
                }
            }
            table {
                thead { tr { th { "quantity" } th { "mean ± s" } th { "Pp, Ppk" } th { "Cp, Cpk" } th { "Pp, Ppk, jig out" } } }
                tbody {
                    @for row in worst_first(study) {
                        tr {
                            td class="name" { (visible_within(&row.quantity.name(), 160)) br; small { (kind(row)) } }
                            td class="number" { (scatter(row)) }
                            td class="number" { (pair(row.overall)) }
                            td class="number" { (pair(row.short)) }
                            td class="number" { (pair(row.without_jig.ok())) }
                        }
                    }
                }
            }
            h2 { "Charts" }
            div class="plots" {
                @for row in worst_first(study).into_iter().take(CHARTS_MAX) {
                    figure {
                        @if let Some(Plot { svg, .. }) = individuals(&charted(row)) { (PreEscaped(svg)) }
                        figcaption {
                            (visible_within(&row.quantity.name(), 160))
                            @for said in findings(study, row) { br; (said) }
                        }
                    }
                }
            }
            (found_how_html(&study.refused, &methods(study)))
        }
    };
    page(&title, STUDY, &body)
}

fn verdict(study: &Capability) -> String {
    let nearer = |row: &&Row| row.overall.map(|indices| indices.nearer.value);
    let known = study.rows.iter().filter(|row| row.overall.is_some()).count();
    let Some(worst) = worst_first(study).first().copied().filter(|row| nearer(row).is_some()) else {
        return format!("{}: no quantity can be set against its limits yet.", visible_within(&study.name, 120));
    };
    format!(
        "{}: of {known} quantities with limits {} keeps least from them, Ppk {}.",
        visible_within(&study.name, 120),
        visible_within(&worst.quantity.name(), 160),
        worst.overall.map_or_else(String::new, |indices| index(indices.nearer)),
    )
}

/// Those that keep least from their limits first, those without an index last.
fn worst_first(study: &Capability) -> Vec<&Row> {
    let mut rows: Vec<&Row> = study.rows.iter().collect();
    let nearer = |row: &Row| row.overall.map_or(f64::INFINITY, |indices| indices.nearer.value);
    rows.sort_by(|one, other| nearer(one).total_cmp(&nearer(other)));
    rows
}

fn yield_lines(yields: &Yields) -> Vec<String> {
    let mut lines = vec![
        format!("first-pass yield {}", share(&yields.first_pass)),
        format!("final yield {}", share(&yields.in_the_end)),
    ];
    if yields.proved_nothing > 0 {
        lines.push(format!("{} runs were invalid or interrupted and say nothing of a unit", yields.proved_nothing));
    }
    lines
}

/// `97 of 100, 97.0 % (91.5 % to 99.4 %)`.
fn share(share: &Share) -> String {
    let percent = |value: f64| format!("{} %", number::rounded(100.0 * value, 1));
    match share.value() {
        Some(value) => {
            let (low, high) = share.interval;
            format!("{} of {}, {} ({} to {})", share.hits, share.of, percent(value), percent(low), percent(high))
        }
        None => "of no unit".into(),
    }
}

fn pareto(yields: &Yields) -> Vec<[String; 4]> {
    let all: u64 = yields.checks.iter().map(|check| check.failed).sum();
    let mut sum = 0;
    let cells = yields.checks.iter().take(CHECKS_MAX).map(|check| {
        sum += check.failed;
        let cumulative =
            if all == 0 { "0 %".into() } else { format!("{} %", number::rounded(100.0 * sum as f64 / all as f64, 0)) };
        [visible_within(&check.name, 120), check.failed.to_string(), cumulative, share(&check.conforms)]
    });
    cells.collect()
}

/// `89.97 ± 0.12 mm/s`: mean and standard deviation.
fn scatter(row: &Row) -> String {
    number::with_unit(&number::measured(row.mean, row.deviation, ""), &row.quantity.unit)
}

/// `1.32 (1.11 to 1.53)`.
fn index(index: Index) -> String {
    let shown = |value: f64| number::rounded(value, 2);
    match index.interval {
        Some((low, high)) => format!("{} ({} to {})", shown(index.value), shown(low), shown(high)),
        None => shown(index.value),
    }
}

fn pair(indices: Option<Indices>) -> String {
    let Some(indices) = indices else { return "–".into() };
    let width = indices.width.map_or_else(|| "–".to_owned(), index);
    format!("{width}\n{}", index(indices.nearer))
}

/// How many, and what distribution.
fn kind(row: &Row) -> String {
    let test = row
        .normality
        .map(|test| format!(", A² {} (P {})", number::rounded(test.statistic, 2), small(test.probability)));
    let jig = match (&row.without_jig, row.jig) {
        (Err(why), Some(_)) if matches!(row.path, Path::Normal) => format!("; {why}"),
        _ => String::new(),
    };
    format!("{} values, {}{}{jig}", row.values.len(), row.path.words(), test.unwrap_or_default())
}

fn small(probability: f64) -> String {
    if probability < 1e-4 { "< 0.0001".into() } else { number::significant(probability, 2) }
}

/// What is no chance.
fn findings(study: &Capability, row: &Row) -> Vec<String> {
    let name = visible_within(&row.quantity.name(), 160);
    let risk = study.settings.risk;
    let shown = |value: f64| number::beside(value, row.deviation);
    let mut said = Vec::new();
    let step = row.step.as_ref().filter(|step| step.probability <= risk);
    if let Some(step) = step {
        let when =
            step.moment.as_ref().map(|moment| format!(", on {}", visible_within(moment, 40))).unwrap_or_default();
        said.push(format!(
            "{name}: a step at value {} of {}{when}, from {} to {} {} (P {})",
            step.at + 1,
            row.charted.len(),
            shown(step.before),
            shown(step.after),
            row.quantity.unit,
            small(step.probability)
        ));
    } else if let Some((correlation, probability)) = row.drift.filter(|(_, probability)| *probability <= risk) {
        let way = if correlation > 0.0 { "rises" } else { "falls" };
        said.push(format!(
            "{name}: it {way} over time (rank correlation {}, P {})",
            number::rounded(correlation, 2),
            small(probability)
        ));
    }
    if let Some(probability) = row.groups_differ.filter(|probability| *probability <= risk) {
        let by = study.by.as_deref().unwrap_or("group");
        let groups = row.groups.iter().map(|group| {
            let nearer = group.nearer.map(|nearer| format!(", Ppk {}", number::rounded(nearer, 2))).unwrap_or_default();
            format!("{} {} (n = {}{nearer})", visible_within(&group.name, 60), shown(group.mean), group.count)
        });
        let groups: Vec<String> = groups.collect();
        said.push(format!("{name}: it differs by {by} (P {}): {}", small(probability), groups.join(", ")));
    }
    if !row.signals.is_empty() {
        let first = row.signals[0];
        let more = row.signals.len() - 1;
        let more = if more == 0 { String::new() } else { format!(", and {more} more signals") };
        said.push(format!("{name}: value {}: {}{more}", first.at + 1, first.rule.words()));
    }
    said
}

fn charted(row: &Row) -> Individuals {
    Individuals {
        name: row.quantity.name(),
        unit: row.quantity.unit.clone(),
        values: row.charted.clone(),
        limits: Some((row.limits.lower, row.limits.centre, row.limits.upper)),
        flagged: row.signals.iter().map(|signal| signal.at).collect(),
        says: Vec::new(),
    }
}

fn methods(study: &Capability) -> Vec<String> {
    let risk = number::plain(study.settings.risk * 100.0);
    vec![
        "each unit counts with its first run; yields with exact intervals (Clopper and Pearson 1934)".into(),
        "Pp, Ppk: by all of the spread; Cp, Cpk: by the mean moving range, or the mean range of subgroups (ISO 22514-2); \
         intervals by χ² (Kane 1986) and Bissell (1990)"
            .into(),
        "normal: Anderson and Darling (1954; D'Agostino and Stephens 1986) at 5 %; else percentiles 0.135, 50 and 99.865 % of the \
         log-normal distribution where it fits, or of 741 values and more (ISO 22514-2)"
            .into(),
        "jig out: the mean square of the values' standard uncertainties, or the spread that a study of the jig gave, taken from \
         their variance; uncertainties also hold what all values share, so that this is the most that can be the jig's"
            .into(),
        "charts: individual values, limits 2.660 mean moving ranges from the centre, or means of subgroups (ISO 7870-2); rules of \
         Western Electric (1956) and Nelson (1984)"
            .into(),
        format!(
            "steps: Pettitt (1979); drift: Spearman (1904); groups of five and more: Kruskal and Wallis (1952); the chance of any \
             false proof by one of them at most {risk} % over all quantities (Holm 1979)"
        ),
    ]
}
