//! Calibrations that were past their due date when a run was carried out all the same, and why it was.

use super::words::{visible, visible_within};
use crate::record::Record;

/// Heads them.
pub const TITLE: &str = "Calibration past its due date";

/// Which channels, since when, and the reason given; nothing where nobody had to give one.
pub fn lines(record: &Record) -> Vec<String> {
    let Some(because) = &record.bench.overdue_because else { return Vec::new() };
    let mut due: Vec<(&str, Vec<String>)> = Vec::new();
    for one in record.overdue() {
        let channel = visible_within(&one.channel, 60);
        match due.iter_mut().find(|(date, _)| *date == one.due) {
            Some((_, channels)) => channels.push(channel),
            None => due.push((&one.due, vec![channel])),
        }
    }
    let channels = due.into_iter().map(|(date, channels)| {
        format!("{}: the calibration was due on {}.", visible(&channels.join(", ")), visible_within(date, 30))
    });
    channels.chain([format!("Reason given for running all the same: {}", visible(because))]).collect()
}
