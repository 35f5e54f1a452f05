//! How often `railproof compare` is right: the demo's firmware regression is found with five runs a side, and where nothing
//! changed a difference is proven in no more comparisons than is stated.
//!
//! Runs of the shipped binary on simulated units are drawn from, five a side, again and again. `RAILPROOF_DRAWS=2000` is the
//! whole of it: the plan for firmware, and as many comparisons.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use railproof::record::index::{Columns, Known, Wanted};
use railproof::record::{Answers, Index, Unanswered};
use railproof::study::compare::{Comparison, Outcome, Settings, compare};
use railproof::study::gathered;
use rand::rngs::SmallRng;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use std::collections::BTreeSet;
use std::fs;
use std::process::Command;
use tempfile::TempDir;

/// Runs a side.
const SIDE: usize = 5;
/// A short plan with what the firmware regression changes and what it does not.
const SHORT: &str = "plan: regression
revision: 1
model: dunlin-600
decision rule: { false accept at most: 2.5 % }
checks:
  - name: there and back
    moves: [ power: on, home: left, travel: { to: right, speed: 90 mm/s } ]
    require:
      cruise speed: 90 mm/s ± 1 %
      period jitter rms: at most 8 µs
      period jitter p99.9: at most 30 µs
      longest step gap: at most 190 µs
      end-stop response: at most 5 ms
      end-stop overrun: at most 3 mm
      missing steps: at most 0
";

/// Two runs of each unit with each firmware.
fn pool(plan: &str, units: usize) -> Columns {
    let folder = TempDir::new().expect("a folder");
    let results = folder.path().join("results");
    let file = folder.path().join("plan.yaml");
    fs::write(&file, plan).expect("it can be written");
    let output = Command::new(assert_cmd::cargo::cargo_bin!("railproof"))
        .args(["compare", "--firmware", "1.4.0", "--against", "1.5.0", "--repeats", "2"])
        .args(["--units", &units.to_string()])
        .args(["--carry-out".as_ref(), file.as_os_str()])
        .args(["--unit".as_ref(), shipped::project("fixtures/units/dunlin-600.yaml").as_os_str()])
        .args(["--jig".as_ref(), shipped::project("fixtures/jigs/simulated.yaml").as_os_str()])
        .args(["--results".as_ref(), results.as_os_str()])
        .output()
        .expect("the binary runs");
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    Index::open(&results)
        .map_err(Unanswered::from)
        .and_then(|mut index| index.columns(&Wanted::default()))
        .expect("it answers")
}

/// The runs of units with a firmware, first or second, oldest first.
fn runs<'c>(columns: &'c Columns, units: &BTreeSet<&str>, firmware: &str, turn: usize) -> BTreeSet<&'c str> {
    let of_unit = |serial: &str| {
        let is_it = |run: &&Known| run.serial == serial && run.firmware.as_deref() == Some(firmware);
        columns.runs.iter().filter(is_it).nth(turn).map(|run| run.id.as_str())
    };
    let serials: BTreeSet<&str> = columns.runs.iter().map(|run| run.serial.as_str()).collect();
    serials.into_iter().filter(|serial| units.contains(serial)).filter_map(of_unit).collect()
}

fn compared(columns: &Columns, before: &BTreeSet<&str>, after: &BTreeSet<&str>) -> Comparison {
    let [before, after] = [before, after].map(|ids| {
        let gathered = gathered(columns, |run| ids.contains(run.id.as_str())).expect("simulated runs alone");
        assert_eq!(gathered.runs, SIDE);
        gathered.series
    });
    compare(&before, &after, &Settings::default())
}

#[test]
fn the_regression_is_found_and_nothing_is_where_nothing_changed() {
    let draws: Option<u32> = std::env::var("RAILPROOF_DRAWS").ok().map(|draws| draws.parse().expect("a number"));
    let firmware = fs::read_to_string(shipped::project("test-plans/firmware.yaml")).expect("the plan");
    let (plan, units) = if draws.is_some() { (firmware.as_str(), 16) } else { (SHORT, 10) };
    let draws = draws.unwrap_or(60);
    let columns = pool(plan, units);
    let serials: Vec<&str> =
        columns.runs.iter().map(|run| run.serial.as_str()).collect::<BTreeSet<_>>().into_iter().collect();
    let (mut found, mut by_pairs, mut apart) = (0, 0, 0);
    for seed in 0..draws {
        let chance = &mut SmallRng::seed_from_u64(u64::from(seed));
        let drawn: Vec<&str> = serials.sample(chance, 2 * SIDE).copied().collect();
        let [some, others] = [0, SIDE].map(|from| drawn[from..from + SIDE].iter().copied().collect::<BTreeSet<&str>>());
        let turn = usize::from(chance.random_bool(0.5));
        let old = runs(&columns, &some, "1.4.0", turn);
        let proves = |comparison: &Comparison| {
            u32::from(comparison.count(Outcome::Worse) + comparison.count(Outcome::Better) > 0)
        };
        by_pairs += proves(&compared(&columns, &old, &runs(&columns, &some, "1.4.0", 1 - turn)));
        apart += proves(&compared(&columns, &old, &runs(&columns, &others, "1.4.0", turn)));
        if seed % 10 == 0 {
            let regression = compared(&columns, &old, &runs(&columns, &some, "1.5.0", turn));
            let of_tail = |name: &str| {
                let mut rows = regression.rows.iter().filter(|row| row.quantity.measurand == name);
                rows.any(|row| row.outcome == Outcome::Worse)
            };
            found += u32::from(of_tail("period jitter p99.9") && of_tail("longest step gap"));
        }
    }
    let looked_at = draws.div_ceil(10);
    println!("found {found} of {looked_at}; nothing changed: {by_pairs} by pairs and {apart} apart of {draws}");
    assert!(found * 100 >= looked_at * 95, "{found} of {looked_at}");
    let most = 0.05 * f64::from(draws) + 2.0 * (0.05 * f64::from(draws)).sqrt();
    assert!(f64::from(by_pairs.max(apart)) <= most, "{by_pairs} by pairs and {apart} apart of {draws}");
}
