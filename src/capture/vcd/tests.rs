//! The standard's own example, what logic analysers make of it, and everything that can be wrong with a dump.

use super::VcdReader;
use crate::capture::gathered::{Dripping, Gathered, codes, edges, wires};
use crate::capture::{EdgeChannel, ForeignError, OutputChannel, Part, SampleChannel, Taken, Wire};
use proptest::prelude::*;

fn read(dump: &[u8], texts: &[&str]) -> Result<(Part, Taken, u64), ForeignError> {
    let reader = VcdReader::open(dump, &wires(texts))?;
    let calibrations = reader.perfect_calibrations()?;
    let rate = reader.ticks_per_second();
    let mut whole = Gathered::default();
    let taken = reader.replay(&calibrations, &mut whole)?;
    Ok((whole.0, taken, rate))
}

fn error(dump: &str, texts: &[&str]) -> String {
    read(dump.as_bytes(), texts).expect_err("it is wrong").to_string()
}

/// Value change dump file of IEEE Std 1364-2005, clause 18.2, as its example has it (from memory).
const STANDARD: &str = "\
$date June 26, 1989 10:05:41
$end
$version VERILOG-SIMULATOR 1.0a
$end
$timescale 1 ns
$end
$scope module top $end
$scope module m1 $end
$var trireg 1 *@ net1 $end
$var trireg 1 *# net2 $end
$var trireg 1 *$ net3 $end
$upscope $end
$scope task t1 $end
$var reg 32 (k accumulator[31:0] $end
$var integer 32 {2 index $end
$upscope $end
$upscope $end
$enddefinitions $end
$comment
    $dumpvars was executed at time '#500'.
    All initial values are dumped at this time.
$end
#500
$dumpvars
x*@
x*#
x*$
bx (k
bx {2
$end
#505
0*@
1*#
1*$
b10zx1110x11100 (k
b1111000101z01x {2
#510
0*$
#520
1*$
#530
0*$
bz (k
#535
$dumpall 0*@ 1*# 0*$
bz (k
b1111000101z01x {2
$end
#540
1*$
#1000
$dumpoff
x*@
x*#
x*$
bx (k
bx {2
$end
#2000
$dumpon
z*@
1*#
0*$
b0 (k
bx {2
$end
#2010
1*$
";

// Outside: IEEE Std 1364-2005, clause 18.2, example of a value change dump; how: from memory
#[test]
fn the_standards_example() {
    let (part, taken, rate) =
        read(STANDARD.as_bytes(), &["direction=net2", "guard=top.m1.net3", "encoder a=accumulator[3]"]).unwrap();
    assert_eq!(rate, 1_000_000_000);
    assert_eq!(edges(&part, EdgeChannel::Direction), [(5, true)]);
    let net3 = [(5, true), (10, false), (20, true), (30, false), (40, true), (1500, false), (1510, true)];
    assert_eq!(edges(&part, EdgeChannel::Guard), net3);
    // 10zx1110x11100: bit 3 is the fourth digit from the right. Later all are z, then 0.
    assert_eq!(edges(&part, EdgeChannel::EncoderA), [(5, true), (1500, false)]);
    let losses: Vec<&str> = part.losses.iter().map(|loss| loss.what.as_str()).collect();
    assert_eq!(
        losses,
        [
            "everything from tick 500 to tick 1500: dumping was switched off",
            "what `encoder a` did: its level is not known from tick 30 to tick 1500",
        ]
    );
    assert_eq!((taken.edges, taken.losses, taken.ended), (10, 2, 1510));
}

#[test]
fn of_the_step_line_only_rising_edges_are_kept() {
    let (part, ..) = read(STANDARD.as_bytes(), &["step=net3"]).unwrap();
    // What it was before 505 is not known, so it has not risen there.
    assert_eq!(edges(&part, EdgeChannel::Step), [(20, true), (40, true), (1510, true)]);
}

/// Clause 18.2.2, table 18-2 (from memory): how values are shortened: `0010` is b10, `XX10` bX10, `ZZX0` bZX0, `0X10` b0X10.
#[test]
fn a_shortened_vector_is_extended_to_the_left() {
    let dump = "$timescale 1 us $end $var wire 4 ! v [3:0] $end $enddefinitions $end
        #0 b1111 ! #1 b10 ! #2 b1111 ! #3 bX10 ! #4 b1111 ! #5 bZX0 ! #6 b1111 ! #7 b0X10 ! #8 b1111 !\n";
    let (part, ..) = read(dump.as_bytes(), &["encoder a=v[3]", "encoder b=v[2]", "guard=v[0]"]).unwrap();
    assert_eq!(edges(&part, EdgeChannel::EncoderA), [(0, true), (1, false), (2, true), (7, false), (8, true)]);
    assert_eq!(edges(&part, EdgeChannel::EncoderB), [(0, true), (1, false), (2, true)]);
    assert_eq!(edges(&part, EdgeChannel::Guard).len(), 9);
    assert_eq!(part.losses.len(), 5, "{:?}", part.losses);
}

// Outside: IEEE Std 1364-2005, clause 18.2.3.4, numbers and units of a time scale; how: from memory
#[test]
fn every_timescale_of_the_standard() {
    for (scale, rate, ticks) in [
        ("100 s", 1, 4200),
        ("10s", 1, 420),
        ("1 s", 1, 42),
        ("100 ms", 10, 42),
        ("10 us", 100_000, 42),
        ("1ns", 1_000_000_000, 42),
        ("10\r\n\tns", 100_000_000, 42),
        ("100 ps", 1_000_000_000, 4),
        ("1 ps", 1_000_000_000, 0),
        ("100 fs", 1_000_000_000, 0),
        ("1 fs", 1_000_000_000, 0),
    ] {
        let dump = format!("$timescale {scale} $end $var wire 1 ! D0 $end $enddefinitions $end #0 0! #42 1!\n");
        let (part, _, found) = read(dump.as_bytes(), &["step=D0"]).unwrap();
        assert_eq!((found, edges(&part, EdgeChannel::Step)), (rate, vec![(ticks, true)]), "{scale}");
    }
    // 2 ms after the start, in femtoseconds: rounded to the nearest nanosecond.
    let dump = "$timescale 1 fs $end $var wire 1 ! D0 $end $enddefinitions $end #0 0! #2000000500000 1!\n";
    assert_eq!(edges(&read(dump.as_bytes(), &["step=D0"]).unwrap().0, EdgeChannel::Step), [(2_000_001, true)]);
    for wrong in ["2 ns", "1 min", "ns", ""] {
        let dump = format!("$timescale {wrong} $end $var wire 1 ! D0 $end $enddefinitions $end\n");
        assert!(error(&dump, &["step=D0"]).contains("is no timescale"), "{wrong}");
    }
}

#[test]
fn reals_and_vectors_become_samples() {
    let dump = "$timescale 1 ms $end
        $var real 64 v vpack $end $var wire 12 i adc [11:0] $end $var integer 16 t temp $end $enddefinitions $end
        #0 r7.4 v b1 i b1111111111110000 t #4 r7.399998 v b10100 i #8 r7.4 v bx i #12 b0 i\n";
    let texts = ["pack voltage=vpack", "pack current=adc@0.5 mA", "motor temperature=temp@0.0625 K"];
    let (part, taken, _) = read(dump.as_bytes(), &texts).unwrap();
    assert_eq!(codes(&part, SampleChannel::PackVoltage), [(0, 7_400_000), (4, 7_399_998), (8, 7_400_000)]);
    assert_eq!(codes(&part, SampleChannel::PackCurrent), [(0, 1), (4, 20), (12, 0)]);
    assert_eq!(codes(&part, SampleChannel::MotorTemperature), [(0, -16)]);
    assert_eq!((taken.samples, taken.losses), (7, 1));
    assert!(part.losses[0].what.contains("`pack current`"), "{:?}", part.losses);
    let calibrations = VcdReader::open(dump.as_bytes(), &wires(&texts)).unwrap().perfect_calibrations().unwrap();
    let gain = |channel: SampleChannel| calibrations[channel.index()].map(|calibration| calibration.gain);
    assert_eq!(gain(SampleChannel::PackCurrent), Some(0.5e-3));
    assert_eq!(gain(SampleChannel::PackVoltage), Some(1e-6));
}

#[test]
fn a_number_that_no_converter_gives_is_lost_and_said() {
    let dump = "$timescale 1 ms $end $var real 64 v vpack $end $enddefinitions $end #0 rnan v #1 r-inf v #2 r1e9 v #3 rfast v #4 r7 v\n";
    let (part, ..) = read(dump.as_bytes(), &["pack voltage=vpack"]).unwrap();
    assert_eq!(codes(&part, SampleChannel::PackVoltage), [(4, 7_000_000)]);
    assert_eq!(part.losses.len(), 4);
}

#[test]
fn outputs_and_events() {
    let dump = "$timescale 1 us $end $var wire 1 a press $end $var event 1 b tick $end $enddefinitions $end
        #0 0a #10 1a 1b #20 1b #30 0a 1b\n";
    let (part, ..) = read(dump.as_bytes(), &["press 3=press", "step=tick"]).unwrap();
    let driven: Vec<_> = part.driven.iter().map(|driven| (driven.at, driven.output, driven.on)).collect();
    assert_eq!(driven, [(10, OutputChannel::Press(2), true), (30, OutputChannel::Press(2), false)]);
    assert_eq!(edges(&part, EdgeChannel::Step), [(10, true), (20, true), (30, true)]);
}

/// What logic analysers write (common practice): no scopes, odd places for comments, CRLF, times repeated, several
/// changes on a line, codes of any length, names with blanks, no $dumpvars, definitions without an end.
#[test]
fn quirks_of_logic_analysers() {
    let dump = "$comment one $end\r\n$timescale\r\n 1\r\n us\r\n$end\r\n$comment two$end\r\n$scope module logic $end\r\n\
        $var wire 1 abc Channel 0 $end\r\n$var wire 1 abd bus [1] $end\r\n$comment three $end $upscope $end\r\n\
        #0\r\n0abc 0abd\r\n$comment in the middle $end\r\n#5\r\n#5\r\n1abc\r\n#5\r\n1abd\r\n#7 0abc 0abc\r\n#9\r\n1abc\r\n#12";
    let (part, taken, _) = read(dump.as_bytes(), &["step=Channel 0", "guard=bus[1]"]).unwrap();
    assert_eq!(edges(&part, EdgeChannel::Step), [(5, true), (9, true)]);
    assert_eq!(edges(&part, EdgeChannel::Guard), [(0, false), (5, true)]);
    assert_eq!((taken.losses, taken.ended), (0, 12));
    let tight = "$timescale 1us$end $var wire 1 ! D0 $end $enddefinitions$end #0 0! #1 1!\n";
    assert_eq!(edges(&read(tight.as_bytes(), &["step=D0"]).unwrap().0, EdgeChannel::Step), [(1, true)]);
}

#[test]
fn names_that_are_missing_or_not_enough() {
    let dump =
        "$timescale 1 us $end $scope module a $end $var wire 1 ! D0 $end $var wire 8 # bus [7:0] $end $upscope $end
        $scope module b $end $var wire 1 % D0 $end $var wire 1 ! E0 $end $upscope $end $enddefinitions $end #0\n";
    assert_eq!(error(dump, &["step=D9"]), "the capture has no signal `D9`; it has `D0`, `bus [7:0]`, `D0`, `E0`");
    assert_eq!(error(dump, &["step=D0"]), "several signals are called `D0`: `a.D0`, `b.D0`; name one with its scopes");
    assert_eq!(
        error(dump, &["step=bus"]),
        "`bus` cannot be `step`: it has 8 bits; name one of them, for example bus[0]"
    );
    assert_eq!(
        error(dump, &["step=bus[8]"]),
        "the capture has no signal `bus[8]`; it has `D0`, `bus [7:0]`, `D0`, `E0`"
    );
    assert!(error(dump, &["pack voltage=bus"]).contains("@1.25 mV"));
    assert!(read(dump.as_bytes(), &["step=b.D0", "guard=E0"]).is_ok());
    assert_eq!(error(dump, &["step=E0", "step=a.D0"]), "`step` is given twice; a channel is one signal");
}

#[test]
fn wires_are_read_as_they_are_written() {
    let wire = Wire::parse("pack voltage = ain0@1.25 mV").unwrap();
    assert_eq!((wire.name.as_str(), wire.scale), ("ain0", Some(1.25e-3)));
    assert_eq!(Wire::parse("step=a@b").unwrap().name, "a@b");
    for (wrong, why) in [
        ("step", "CHANNEL=NAME"),
        ("stp=D0", "did you mean `step`?"),
        ("step=", "name is missing"),
        ("pack voltage=a@3 mm", "mm"),
    ] {
        let told = Wire::parse(wrong).expect_err(wrong);
        assert!(told.contains(why), "{told}");
    }
}

#[test]
fn time_that_goes_back_is_a_loss() {
    let dump = "$timescale 1 us $end $var wire 1 ! D0 $end $enddefinitions $end #10 0! #20 1! 0! #15 1! 0! #30 1! #99999999999999999999 0!\n";
    let (part, ..) = read(dump.as_bytes(), &["step=D0"]).unwrap();
    assert_eq!(edges(&part, EdgeChannel::Step), [(10, true), (10, true), (20, true)]);
    let losses: Vec<&str> = part.losses.iter().map(|loss| loss.what.as_str()).collect();
    assert_eq!(losses.len(), 2);
    assert!(losses[0].contains("time goes back to #15") && losses[1].contains("is no time"), "{losses:?}");
}

#[test]
fn a_clock_that_jumps_beyond_all_captures_is_a_loss() {
    let dump =
        "$timescale 1 us $end $var wire 1 ! D0 $end $enddefinitions $end #10 0! #99999999999999999 1! 0! #20 1! ";
    let (part, ..) = read(dump.as_bytes(), &["step=D0"]).unwrap();
    assert_eq!(part.losses.len(), 1, "{:?}", part.losses);
    assert!(part.losses[0].what.contains("no capture is that long"), "{:?}", part.losses);
    assert_eq!(edges(&part, EdgeChannel::Step).last(), Some(&(10, true)));
}

#[test]
fn what_is_no_dump_is_refused() {
    assert!(error("", &["step=D0"]).contains("the file ends before its definitions do"));
    assert!(error("plan: outgoing\n", &["step=D0"]).starts_with("byte 0: `plan:` stands where a section"));
    let no_scale = "$var wire 1 ! D0 $end $enddefinitions $end #0 0!\n";
    assert!(error(no_scale, &["step=D0"]).contains("there is no $timescale"));
    let garbage = format!("$timescale 1 us $end $var wire 1 ! D0 $end $enddefinitions $end #0 {}", "?! ".repeat(200));
    assert!(error(&garbage, &["step=D0"]).contains("more than 100 things are wrong"));
    let endless = format!("$timescale 1 us $end $var wire 1 ! D0 $end $enddefinitions $end #0 {}", "1".repeat(3 << 20));
    assert!(error(&endless, &["step=D0"]).contains("follow without a separator"));
}

/// However short a copy is: an error or evidence with a loss, or all evidence up to a whole line, and no other edge.
#[test]
fn truncated_at_every_byte() {
    let texts = ["guard=net3", "encoder a=accumulator[3]"];
    let (whole, ..) = read(STANDARD.as_bytes(), &texts).unwrap();
    let body = STANDARD.find("#500\n").unwrap();
    for length in 0..STANDARD.len() {
        match read(&STANDARD.as_bytes()[..length], &texts) {
            Ok((part, ..)) => {
                let (some, all) = (part.edges(EdgeChannel::Guard), whole.edges(EdgeChannel::Guard));
                assert!(all.starts_with(some), "{length}");
                let is_between_lines = STANDARD.as_bytes()[length - 1].is_ascii_whitespace();
                let last = STANDARD[..length].split_whitespace().last().unwrap();
                let is_known = is_between_lines || last.starts_with('#') || last == "$end";
                assert!(is_known || !part.losses.is_empty(), "{length}: {last}");
            }
            Err(error) => assert!(length < body, "{length}: {error}"),
        }
    }
}

proptest! {
    #[test]
    fn pieces_of_any_size_give_the_same(size in 1usize..40) {
        let wires = wires(&["guard=net3", "encoder a=accumulator[3]"]);
        let reader = VcdReader::open(Dripping(STANDARD.as_bytes(), size), &wires).unwrap();
        let calibrations = reader.perfect_calibrations().unwrap();
        let mut whole = Gathered::default();
        reader.replay(&calibrations, &mut whole).unwrap();
        prop_assert_eq!(whole.0, read(STANDARD.as_bytes(), &["guard=net3", "encoder a=accumulator[3]"]).unwrap().0);
    }

    #[test]
    fn garbage_never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..400), cut in 0..STANDARD.len()) {
        let mut dump = STANDARD.as_bytes()[..cut].to_vec();
        dump.extend_from_slice(&bytes);
        dump.extend_from_slice(&STANDARD.as_bytes()[cut..]);
        // Whatever comes of it, edges are in order of time.
        if let Ok((part, ..)) = read(&dump, &["guard=net3", "pack current=index@1 mA"]) {
            prop_assert!(part.edges(EdgeChannel::Guard).is_sorted_by_key(|edge| edge.tick()));
        }
    }
}
