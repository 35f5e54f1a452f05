//! What can be known of disk and clock before anything moves: whether the record of this run will find room, and whether the
//! computer knows what day it is.

use super::{Exit, Failure};
use crate::clock::WallTime;
use crate::measure::Setup;
use crate::plan::Plan;
use crate::record::{self, RunFolder};
use anyhow::anyhow;
use std::path::Path;
use std::time::Duration;
use time::OffsetDateTime;

/// What an edge takes on the disk at most: a stamp that tells nothing of the next one, packed (benches/captures.rs: 1.75 bytes
/// with jitter on a clock of 1 ns).
const EDGE_BYTES: f64 = 4.0;
/// What everything else of a second takes at most: samples of all channels, the transcript.
const SECOND_BYTES: f64 = 50_000.0;
/// Record, sheets and what a file system keeps for itself.
const RECORD_BYTES: u64 = 20_000_000;
/// How far the clocks of benches that share a results folder may be apart.
const APART: Duration = Duration::from_secs(60);
/// How far the calendar clock may be from the monotonic one after a run before somebody has set it: more than any clock drifts.
const SET_FROM: Duration = Duration::from_secs(2);

/// Whether the run's record will find room where it is to stand.
///
/// # Errors
/// A disk that is full, or does not take a file; nothing has moved then.
pub fn room(folder: &RunFolder, plan: &Plan, setup: &Setup, fastest: f64) -> Result<(), Failure> {
    let rounds = plan.checks.iter().map(|check| check.expected_s() * f64::from(check.rounds_max));
    let edges = fastest * (setup.unit.steps_per_metre + setup.jig.encoder_edges_per_metre);
    let captures = rounds.sum::<f64>() * (edges * EDGE_BYTES + SECOND_BYTES);
    folder.check_room(captures.min(1e15) as u64 + RECORD_BYTES).map_err(|error| Failure::new(Exit::Invalid, error))
}

/// Whether the computer's clock may be right: no run that stands in these results began after now.
///
/// # Errors
/// A clock that was set back, or never set; nothing has moved then.
pub fn calendar(results: &Path, serial: &str, now: WallTime) -> Result<(), Failure> {
    let Some((run, began)) = newest(results, serial).filter(|(_, began)| *began > now + APART) else { return Ok(()) };
    let shown = super::show::rfc3339;
    let why = format!(
        "the computer's clock says {}, but run {run} in {} began {}; set the clock; nothing was moved",
        shown(now),
        results.display(),
        shown(began)
    );
    Err(Failure::new(Exit::Invalid, anyhow!(why)))
}

/// The newest run that is known, and when it began: of every bench, and of this unit.
fn newest(results: &Path, serial: &str) -> Option<(String, WallTime)> {
    let of_benches = record::seal::remembered(results).into_iter().map(|head| head.link.run);
    let runs = of_benches.chain(record::predecessors(results, serial));
    runs.filter_map(|run| began(&run).map(|at| (run, at))).max_by_key(|(_, at)| *at)
}

/// When a run began, by its id: a UUID of version 7 begins with it.
fn began(run: &str) -> Option<WallTime> {
    let id = uuid::Uuid::parse_str(run).ok().filter(|id| id.get_version_num() == 7)?;
    let (seconds, nanoseconds) = id.get_timestamp()?.to_unix();
    let whole = OffsetDateTime::from_unix_timestamp(i64::try_from(seconds).ok()?).ok()?;
    whole.checked_add(time::Duration::nanoseconds(i64::from(nanoseconds)))
}

/// That somebody set the calendar clock during a run, which lasted `took` by the monotonic one; `None` where nobody did.
pub fn clock_was_set(started: WallTime, took: Duration, ended: WallTime) -> Option<String> {
    let off = ended - started - took;
    if off.unsigned_abs() < SET_FROM {
        return None;
    }
    let (seconds, way) = (off.as_seconds_f64().abs(), if off.is_negative() { "back" } else { "forward" });
    Some(format!(
        "the computer's clock was set {way} by {seconds:.0} s during the run, so that its date cannot be trusted"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Outside: RFC 9562, A.6, UUID version 7 of 2022-02-22 14:22:22 in zone −05:00; how: from memory
    #[test]
    fn a_run_id_says_when_the_run_began() {
        let at = began("017F22E2-79B0-7CC3-98C4-DC0C0C07398F").expect("it is of version 7");
        assert_eq!(super::super::show::rfc3339(at), "2022-02-22T19:22:22Z");
        assert_eq!(began("0198f2a4-6c10-4d3e-9b51-000000000001"), None, "that of version 4 says nothing");
        assert_eq!(began("run-1"), None);
    }

    #[test]
    fn a_clock_that_is_set_is_noticed_and_one_that_drifts_is_not() {
        let started = WallTime::UNIX_EPOCH;
        let took = Duration::from_secs(600);
        let after = |seconds: f64| clock_was_set(started, took, started + time::Duration::seconds_f64(seconds));
        assert_eq!(after(600.06), None);
        assert!(after(-3000.0).expect("set").contains("set back by 3600 s"));
        assert!(after(700.0).expect("set").contains("set forward by 100 s"));
    }
}
