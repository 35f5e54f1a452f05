//! What became of a unit as text: where it stands, what it is built of, then a line a run and event.

use super::look;
use super::text::{DECISION, WIDTH_MAX, WIDTH_MIN, empty_table, folded, laid_out, styled};
use super::words::visible;
use crate::record::events::{Event, What};
use crate::record::history::{Entry, History, Kind, Passed, Standing};
use anstyle::Style;
use time::OffsetDateTime;
use time::macros::format_description;

/// Room for a day and an hour.
const WHEN: u16 = 16;

/// The history, `width` columns wide.
pub fn history(history: &History, width: u16) -> String {
    let width = width.clamp(WIDTH_MIN, WIDTH_MAX);
    let model = history.runs().next_back().map(|passed| format!(", {}", visible(&passed.run.model)));
    let title = format!("{}{}: {}", visible(&history.serial), model.unwrap_or_default(), standing(&history.standing));
    let mut text = styled(&folded(&title, "  ", width).join("\n"), Style::new().bold()) + "\n";
    for line in [as_shipped(history), as_built(history)].into_iter().flatten() {
        text.push_str(&format!("{}\n", folded(&line, "  ", width).join("\n")));
    }
    text.push('\n');
    let mut table = empty_table(width);
    table.set_header(["decision", "when (UTC)", "what"]);
    for entry in &history.entries {
        table.add_row(match entry {
            Entry::Run(passed) => run(passed),
            Entry::Event(happened) => event(happened),
        });
    }
    text.push_str(&laid_out(&mut table, &[DECISION, WHEN, 0]));
    text
}

/// What an entry tells beside its decision and its time.
pub fn told(entry: &Entry) -> String {
    match entry {
        Entry::Run(passed) => said(passed),
        Entry::Event(happened) => event(happened).join(" "),
    }
}

/// Where a unit stands: `on the shelf`, `shipped on 2026-11-28`.
pub fn standing(standing: &Standing) -> String {
    match standing {
        Standing::OnTheShelf => "on the shelf".into(),
        Standing::Shipped(at) => format!("shipped on {}", day(at)),
        Standing::Returned(at) => format!("returned on {}", day(at)),
    }
}

fn day(at: &str) -> String {
    visible(at.split('T').next().unwrap_or_default())
}

fn as_shipped(history: &History) -> Option<String> {
    let id = history.as_shipped.as_ref()?;
    let record = history.runs().find(|passed| passed.run.id == *id);
    let said = record.map_or_else(
        || "not in this folder of results".into(),
        |Passed { run, .. }| {
            let simulated = if run.is_simulated { ", simulated: it certifies nothing" } else { "" };
            format!("{}, revision {}, {}{simulated}", visible(&run.plan), run.revision, moment(run.started))
        },
    );
    Some(format!("as shipped: record {} ({said})", visible(id)))
}

fn as_built(history: &History) -> Option<String> {
    let parts = history.as_built.iter().map(|built| &built.part);
    let parts: Vec<_> = parts.map(|part| format!("{} {}", visible(&part.name), visible(&part.lot))).collect();
    (!parts.is_empty()).then(|| format!("as built: {}", parts.join(", ")))
}

fn run(passed: &Passed) -> Vec<String> {
    let run = &passed.run;
    let decision = format!("{} {}", look::mark(run.decision), look::words(run.decision));
    vec![decision, moment(run.started), format!("{}\n{}", said(passed), visible(&run.id))]
}

/// Plan, what the run is among the others, and what else is worth knowing.
fn said(passed: &Passed) -> String {
    let run = &passed.run;
    let mut said = vec![format!("{}, revision {}: {}", visible(&run.plan), run.revision, kind(passed.kind))];
    let changes = passed.changes.iter();
    said.extend(
        changes.map(|change| format!("{} {} → {}", visible(&change.name), visible(&change.from), visible(&change.to))),
    );
    said.extend(run.firmware.iter().map(|firmware| format!("firmware {}", visible(firmware))));
    said.extend(run.is_simulated.then(|| "simulated".into()));
    said.extend(run.is_interrupted.then(|| "interrupted".into()));
    said.extend(passed.clock_was_set_back.then(|| "its clock was behind that of an earlier run".into()));
    said.join(", ")
}

/// What a run is among those of its unit.
fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::First => "first run",
        Kind::AfterInvalid => "again after an invalid run",
        Kind::Retest => "retest",
        Kind::Rework => "after rework",
        Kind::Repeat => "repeated",
    }
}

fn event(event: &Event) -> Vec<String> {
    let what = match event.event {
        What::Dispatched => "→ dispatched",
        What::Received => "← returned",
    };
    let at = OffsetDateTime::parse(&event.at, &time::format_description::well_known::Rfc3339);
    let said = [
        event.complaint.as_ref().map(|complaint| format!("complaint: {}", visible(complaint))),
        event.note.as_ref().map(|note| format!("note: {}", visible(note))),
        event.because.as_ref().map(|because| format!("because: {}", visible(because))),
        event.by.as_ref().map(|by| format!("noted by {}", visible(by))),
    ];
    let said: Vec<String> = said.into_iter().flatten().collect();
    vec![what.into(), at.map_or_else(|_| visible(&event.at), moment), said.join("; ")]
}

/// Day and hour in UTC.
pub fn moment(at: OffsetDateTime) -> String {
    let form = format_description!("[year]-[month]-[day] [hour]:[minute]");
    at.to_offset(time::UtcOffset::UTC).format(form).unwrap_or_default()
}
