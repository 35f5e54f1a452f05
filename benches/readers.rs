//! Reading captures that other instruments made: bytes a second of one core.

use divan::Bencher;
use divan::counter::BytesCount;
use railproof::capture::csv::CsvReader;
use railproof::capture::vcd::VcdReader;
use railproof::capture::{CaptureSink, Mark, Part, Wire};
use std::fmt::Write;

fn main() {
    divan::main();
}

/// Edges are counted and forgotten.
#[derive(Default)]
struct Counted(usize);

impl CaptureSink for Counted {
    fn part(&mut self, part: &Part) {
        self.0 += part.edges.iter().map(Vec::len).sum::<usize>();
    }

    fn mark(&mut self, _: &Mark) {}
}

/// A traverse at 90 mm/s as a logic analyser at 24 MHz dumps it: step pulses of 5 µs, an encoder of 40 edges/mm.
fn dump() -> String {
    let mut dump = String::from("$timescale 1 ns $end\n$scope module logic $end\n");
    for (code, name) in ["step", "dir", "enc_a", "enc_b", "spare"].iter().enumerate() {
        writeln!(dump, "$var wire 1 {} {name} $end", (b'!' + code as u8) as char).expect("memory");
    }
    dump.push_str("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0!\n1\"\n0#\n0$\n0%\n$end\n");
    for step in 0..500_000u64 {
        let at = 1_000_000_000 + step * 138_889;
        writeln!(dump, "#{at}\n1!\n#{}\n0!", at + 5000).expect("memory");
        if step % 2 == 0 {
            let (code, level) = if step % 4 == 0 { ('#', step / 4 % 2) } else { ('$', step / 4 % 2) };
            writeln!(dump, "#{}\n{level}{code}", at + 70_000).expect("memory");
        }
    }
    dump
}

#[divan::bench(sample_count = 20)]
fn vcd(bencher: Bencher) {
    let dump = dump();
    let wires = ["step=step", "direction=dir", "encoder a=enc_a", "encoder b=enc_b"];
    let wires = wires.map(|text| Wire::parse(text).expect("a wire"));
    bencher.counter(BytesCount::new(dump.len())).bench_local(|| {
        let reader = VcdReader::open(dump.as_bytes(), &wires).expect("a dump");
        let calibrations = reader.perfect_calibrations().expect("no samples");
        let mut counted = Counted::default();
        reader.replay(&calibrations, &mut counted).expect("it is whole");
        counted.0
    });
}

/// The same motion sample by sample at 1 MHz.
#[divan::bench(sample_count = 20)]
fn csv(bencher: Bencher) {
    let mut table = String::from("time,step,dir,pack\n");
    for row in 0..1_000_000u64 {
        writeln!(
            table,
            "{}.{:06},{},1,7.{:03}",
            row / 1_000_000,
            row % 1_000_000,
            u8::from(row % 139 < 5),
            400 - row % 7
        )
        .expect("memory");
    }
    let wires = ["step=step", "direction=dir", "pack voltage=pack"].map(|text| Wire::parse(text).expect("a wire"));
    bencher.counter(BytesCount::new(table.len())).bench_local(|| {
        let reader = CsvReader::open(|| Ok(table.as_bytes()), &wires).expect("a table");
        let calibrations = reader.perfect_calibrations().expect("numbers");
        let mut counted = Counted::default();
        reader.replay(&calibrations, &mut counted).expect("it is whole");
        counted.0
    });
}
