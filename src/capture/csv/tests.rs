//! Tables of every layout with known contents, and everything that can be wrong with one.

use super::CsvReader;
use crate::capture::gathered::{Dripping, Gathered, codes, edges, wires};
use crate::capture::{EdgeChannel, ForeignError, OutputChannel, Part, SampleChannel, Taken};
use proptest::prelude::*;

fn read(table: &[u8], texts: &[&str]) -> Result<(Part, Taken, f64), ForeignError> {
    let reader = CsvReader::open(|| Ok(table), &wires(texts))?;
    let (calibrations, resolution) = (reader.perfect_calibrations()?, reader.resolution_s());
    let mut gathered = Gathered::default();
    let taken = reader.replay(&calibrations, &mut gathered)?;
    Ok((gathered.0, taken, resolution))
}

fn good(table: &str, texts: &[&str]) -> (Part, f64) {
    let (part, _, resolution) = read(table.as_bytes(), texts).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(part.losses, [], "{table}");
    (part, resolution)
}

fn error(table: &str, texts: &[&str]) -> String {
    read(table.as_bytes(), texts).expect_err("it is wrong").to_string()
}

#[test]
fn levels_where_something_changed() {
    let table = "# exported by hand\r\n\r\nTime [s],D0,D1,press\r\n-0.001,0,1,0\r\n0.000000,1,1,0\r\n0.0000025,0,,1\r\n0.5,1,0,1\r\n";
    let (part, resolution) = good(table, &["step=D0", "direction=D1", "press 1=press"]);
    assert_eq!(edges(&part, EdgeChannel::Step), [(1_000_000, true), (501_000_000, true)]);
    assert_eq!(edges(&part, EdgeChannel::Direction), [(0, true), (501_000_000, false)]);
    assert_eq!((part.driven[0].at, part.driven[0].output), (1_002_500, OutputChannel::Press(0)));
    assert_eq!(resolution, 1e-7);
}

#[test]
fn time_and_level_of_one_line() {
    let (part, _) = good("time,level\n0,0\n1e-3,1\n2e-3,0\n3e-3,1\n", &["step=level"]);
    assert_eq!(edges(&part, EdgeChannel::Step), [(1_000_000, true), (3_000_000, true)]);
}

#[test]
fn levels_sample_by_sample() {
    let rows: String = (0..100).map(|row| format!("{}\t{}\n", row * 2, u8::from(row % 10 >= 5))).collect();
    let (part, resolution) = good(&format!("time [us]\tD0\n{rows}"), &["step=D0"]);
    let rising: Vec<(u64, bool)> = (0..10).map(|pulse| ((pulse * 10 + 5) * 2000, true)).collect();
    assert_eq!(edges(&part, EdgeChannel::Step), rising);
    assert_eq!(resolution, 2e-6);
}

#[test]
fn a_decimal_comma_behind_semicolons() {
    let table =
        "\u{feff}\"Zeit\";\"time (ms)\";\"Pack [mV]\";\"Motor [°C]\"\n1;0,5;7400,5;21,25\n2;1,5;;\n3;2,5;7399;-3\n";
    let (part, _) = good(table, &["pack voltage=Pack", "motor temperature=Motor"]);
    assert_eq!(codes(&part, SampleChannel::PackVoltage), [(0, 7_400_500), (2_000_000, 7_399_000)]);
    assert_eq!(codes(&part, SampleChannel::MotorTemperature), [(0, 21_250_000), (2_000_000, -3_000_000)]);
}

#[test]
fn edge_times_column_by_column() {
    let table = "step,dir,left\n1.0,0.5,2.5\n1.1,1.05,2.6\n1.2,,\n1.3,,\n";
    let (part, resolution) = good(table, &["step=step", "direction=dir", "left end stop=left"]);
    // The clock begins a tick before the first edge.
    let tick = |tenths: u64| (tenths - 5) * 100_000_000 + 1;
    assert_eq!(edges(&part, EdgeChannel::Step), [10, 11, 12, 13].map(|tenths| (tick(tenths), true)));
    assert_eq!(edges(&part, EdgeChannel::Direction), [(0, false), (1, true), (550_000_001, false)]);
    assert_eq!(edges(&part, EdgeChannel::LeftEndStop), [(0, false), (tick(25), true), (tick(26), false)]);
    assert_eq!(resolution, 0.01);
}

/// Columns whose times lie far apart in the same row: the parts are in order of time all the same.
#[test]
fn columns_are_merged_by_time() {
    let rows: String = (0..200_000)
        .map(|row| format!("{}e-6,{}\n", row * 100, if row < 10 { (19 + row).to_string() } else { String::new() }))
        .collect();
    let table = format!("s,d\n{rows}");
    struct Ordered(u64);
    impl crate::capture::CaptureSink for Ordered {
        fn part(&mut self, part: &Part) {
            let ticks = || part.edges.iter().flatten().map(|edge| edge.tick());
            assert!(ticks().min() >= Some(self.0));
            self.0 = ticks().max().unwrap_or(self.0);
        }
        fn mark(&mut self, _: &crate::capture::Mark) {}
    }
    let reader = CsvReader::open(|| Ok(table.as_bytes()), &wires(&["step=s", "direction=d"])).unwrap();
    let calibrations = reader.perfect_calibrations().unwrap();
    let mut ordered = Ordered(0);
    let taken = reader.replay(&calibrations, &mut ordered).unwrap();
    assert_eq!((taken.edges, taken.ended), (200_011, 28_000_000_001));
}

#[test]
fn rows_that_say_nothing_certain_are_losses() {
    let table = "time,D0,ain\n0,0,1\n1,?,1\n2,1\nlater,1,1\n1.5,1,1\n0.5,1,1\n3,1,NaN\n4,0,inf\n5,x,2\n6,1,3\n7,1,3.2";
    let (part, taken, _) = read(table.as_bytes(), &["guard=D0", "pack voltage=ain"]).unwrap();
    assert_eq!(
        edges(&part, EdgeChannel::Guard),
        [(0, false), (1_500_000_000, true), (4_000_000_000, false), (6_000_000_000, true)]
    );
    let told: Vec<&str> = part.losses.iter().map(|loss| loss.what.as_str()).collect();
    for (told, expected) in told.iter().zip([
        "line 3 is with a level",
        "line 4 is too short",
        "line 5 is without a time",
        "line 7 is earlier",
        "NaN",
        "inf",
        "not known from",
        "line 12 is cut off",
    ]) {
        assert!(told.contains(expected), "{told}: {expected}");
    }
    assert_eq!((told.len(), taken.losses), (8, 8));
    let table = "a\n1\n3\n2\nsoon\n4";
    let (part, ..) = read(table.as_bytes(), &["step=a"]).unwrap();
    assert_eq!(edges(&part, EdgeChannel::Step).len(), 2);
    assert_eq!(part.losses.len(), 3, "{:?}", part.losses);
}

/// Moments that no capture has, and edges that were listed twice: everything else is kept.
#[test]
fn clocks_that_jump_and_edges_that_come_twice_are_losses() {
    let table = "time,step\n0,0\n1,1\n900000000,0\n2,0\n3,1\n";
    let (part, taken, _) = read(table.as_bytes(), &["step=step"]).expect("a table");
    assert_eq!((part.edges(EdgeChannel::Step).len(), taken.losses), (2, 1), "{:?}", part.losses);
    assert!(part.losses[0].what.contains("longer after the beginning"), "{:?}", part.losses);
    let table = "stop,step\n1,1\n2,2\n2,3\n3,900000000\n";
    let (part, taken, _) = read(table.as_bytes(), &["left end stop=stop", "step=step"]).expect("a table");
    assert_eq!((part.edges(EdgeChannel::LeftEndStop).len(), taken.losses), (4, 2), "{:?}", part.losses);
    assert!(part.losses.iter().any(|loss| loss.what.contains("it comes twice")), "{:?}", part.losses);
}

#[test]
fn tables_that_are_refused() {
    assert!(error("", &["step=D0"]).contains("the table is empty"));
    assert_eq!(error("time,D0\n0,1\n", &["step=D1"]), "the capture has no signal `D1`; it has `time`, `D0`");
    assert!(error("ain\n1\n", &["pack voltage=ain"]).contains("samples need a column of time"));
    assert!(error("time [h],D0\n0,1\n", &["step=D0"]).contains("no unit of time"));
    assert!(error("time,ain [bar]\n0,1\n", &["pack voltage=ain"]).contains("its column is in `bar`"));
    let bad: String = (0..300).map(|row| format!("{row},2\n")).collect();
    assert!(error(&format!("time,D0\n{bad}"), &["step=D0"]).contains("more than 100 things are wrong"));
    assert!(error(&format!("time,D0\n{}", "1".repeat(3 << 20)), &["step=D0"]).contains("without a separator"));
}

const TABLE: &str = "time,D0,D1,ain\n0.00,0,0,7.40\n0.10,1,0,7.38\n0.20,0,1,7.35\n0.30,1,1,7.36\n";

/// However short a copy is: an error, a loss, or all of the rows that are whole, and never another number.
#[test]
fn truncated_at_every_byte() {
    let texts = ["guard=D0", "pack voltage=ain"];
    let (whole, ..) = read(TABLE.as_bytes(), &texts).unwrap();
    for length in 0..=TABLE.len() {
        let Ok((part, ..)) = read(&TABLE.as_bytes()[..length], &texts) else {
            assert!(length < TABLE.find('\n').unwrap(), "{length}");
            continue;
        };
        let voltage = SampleChannel::PackVoltage;
        assert!(whole.samples(voltage).starts_with(part.samples(voltage)), "{length}");
        assert!(whole.edges(EdgeChannel::Guard).starts_with(part.edges(EdgeChannel::Guard)), "{length}");
        let is_between_rows = TABLE[..length].ends_with('\n') || length < TABLE.find('\n').unwrap() + 1;
        assert!(is_between_rows || !part.losses.is_empty(), "{length}");
    }
}

proptest! {
    #[test]
    fn pieces_of_any_size_give_the_same(size in 1usize..30) {
        let wires = wires(&["guard=D0", "pack voltage=ain"]);
        let reader = CsvReader::open(|| Ok(Dripping(TABLE.as_bytes(), size)), &wires).unwrap();
        let calibrations = reader.perfect_calibrations().unwrap();
        let mut gathered = Gathered::default();
        reader.replay(&calibrations, &mut gathered).unwrap();
        prop_assert_eq!(gathered.0, read(TABLE.as_bytes(), &["guard=D0", "pack voltage=ain"]).unwrap().0);
    }

    #[test]
    fn garbage_never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..300), cut in 0..TABLE.len(), edges in any::<bool>()) {
        let mut table = TABLE.as_bytes()[..cut].to_vec();
        table.extend_from_slice(&bytes);
        table.extend_from_slice(&TABLE.as_bytes()[cut..]);
        let texts: &[&str] = if edges { &["guard=time"] } else { &["guard=D0", "pack voltage=ain"] };
        if let Ok((part, ..)) = read(&table, texts) {
            prop_assert!(part.edges(EdgeChannel::Guard).is_sorted_by_key(|edge| edge.tick()));
        }
    }
}
