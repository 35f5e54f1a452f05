//! Valid captures to begin from: the same short motion there and back, as each reader gets it.

use railproof::capture::file::CaptureWriter;
use railproof::capture::{
    Action, CaptureSink, Cue, Destination, Driven, EdgeChannel, Line, Mark, MarkKind, OutputChannel, Part, Phase,
    SampleChannel, Side, Talker,
};
use std::fmt::Write;

/// Ticks in a second of our own capture.
const CLOCK: u64 = 2_000_000;

/// A reader, a file that it reads, and which signals of it are which channels.
pub struct Valid {
    pub kind: Kind,
    pub bytes: Vec<u8>,
    pub wires: &'static [&'static str],
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Ours,
    Dump,
    Table,
}

/// All of them.
pub fn all() -> Vec<Valid> {
    let dump = &["step=step", "direction=bus[1]", "encoder a=bus[0]", "left end stop=stop", "pack voltage=pack"];
    let levels = &["step=step", "direction=dir", "left end stop=stop", "pack voltage=pack"];
    vec![
        Valid { kind: Kind::Ours, bytes: ours(), wires: &[] },
        Valid { kind: Kind::Dump, bytes: self::dump().into(), wires: dump },
        Valid { kind: Kind::Table, bytes: self::levels().into(), wires: levels },
        Valid { kind: Kind::Table, bytes: edges().into(), wires: &["step=step", "left end stop=stop"] },
    ]
}

/// Moments of steps, s: up a ramp, a cruise of 900 steps at 7.2 kHz, and a stop.
fn steps() -> impl Iterator<Item = f64> {
    (0..60).map(|step| 0.02 * f64::from(step).sqrt()).chain((1..900).map(|step| 0.1536 + f64::from(step) / 7200.0))
}

fn ours() -> Vec<u8> {
    let mut writer = CaptureWriter::new(Vec::new(), CLOCK).expect("memory");
    let mark = |at, kind| Mark { at, doubt: 40, kind };
    let mut count = 0;
    for (check, side) in [Side::Left, Side::Right].into_iter().enumerate() {
        let start = check as u64 * CLOCK;
        writer.mark(&mark(start, MarkKind::CheckBegins { check }));
        let action = Action::Travel { to: Destination::End(side), speed: 0.09, level: Some(5) };
        let phase = Phase { check, ordinal: 0, label: "to an end at 90 mm/s".into(), action };
        writer.mark(&mark(start + 10, MarkKind::PhaseBegins(phase)));
        let mut part = Part::default();
        part.driven.push(Driven { at: start + 20, output: OutputChannel::UnitSupply, on: check == 0 });
        part.lines.push(Line { at: start + 30, from: Talker::Bench, text: "GO L 90.0".into() });
        part.push_edge(EdgeChannel::Direction, start + 40, side == Side::Right);
        for (number, seconds) in steps().enumerate() {
            let at = start + 1000 + (seconds * CLOCK as f64) as u64;
            part.push_edge(EdgeChannel::Step, at + (number as u64 * 7919) % 13, true);
            let track = if count % 2 == 0 { EdgeChannel::EncoderA } else { EdgeChannel::EncoderB };
            part.push_edge(track, at + 3, count % 4 < 2);
            count += 1;
            if number % 50 == 0 {
                part.push_sample(SampleChannel::PackVoltage, at, 7400 - number as i32);
            }
        }
        part.push_edge(EdgeChannel::LeftEndStop, start + 700_000, side == Side::Left);
        writer.part(&part);
        writer.mark(&mark(start + 20_000, MarkKind::Cue(Cue::Commanded)));
        writer.mark(&mark(start + 800_000, MarkKind::Cue(Cue::Done)));
        writer.mark(&mark(start + 900_000, MarkKind::PhaseEnds));
        writer.mark(&mark(start + 900_001, MarkKind::RoundEnds { check }));
        writer.mark(&mark(start + 900_001, MarkKind::CheckEnds { check }));
    }
    writer.finish().expect("memory")
}

fn dump() -> String {
    let mut text = String::from(
        "$date today $end\n$comment a slider $end\n$timescale 100 ns $end\n$scope module bench $end\n\
         $var wire 1 ! step $end\n$var wire 2 \" bus [1:0] $end\n$var reg 1 # stop $end\n$var real 64 $ pack $end\n\
         $upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0!\nb10 \"\n0#\nr7.4 $\n$end\n",
    );
    for (number, seconds) in steps().enumerate() {
        let at = 10_000 + (seconds * 1e7) as u64;
        let bus = number / 2 % 2;
        write!(text, "#{at}\n1!\n#{}\n0!\nb1{bus} \"\n", at + 50).expect("memory");
        if number % 50 == 0 {
            writeln!(text, "r{:.3} $", 7.4 - number as f64 / 1000.0).expect("memory");
        }
    }
    text.push_str("#9000000\n$dumpoff\nx!\n$end\n#9100000\n$dumpon\n0!\n$end\n1#\n#9900000\n");
    text
}

fn levels() -> String {
    let mut text = String::from("scope of bench 3\ntime [us],step,dir,stop,pack\n");
    for row in 0..3000 {
        let stop = u8::from(row > 2800);
        writeln!(text, "{}.5,{},1,{stop},7.{:03}", row * 10, u8::from(row % 14 < 3), 400 - row % 9).expect("memory");
    }
    text
}

fn edges() -> String {
    let mut text = String::from("step;stop\n");
    for (number, seconds) in steps().enumerate() {
        let stop = if number < 2 { format!("0,{}", 300 + number) } else { String::new() };
        writeln!(text, "{};{stop}", format!("{seconds:.9}").replace('.', ",")).expect("memory");
    }
    text
}
