//! The emulated bench for anybody who wants to see it: a Dunlin 600 and a capture board on two serial ports, both as their own
//! firmware, instruction by instruction.
//!
//! ```sh
//! bash tests/emulated/bench_check.sh --build
//! cargo run --release --example emulated_bench -- 1.4.0
//! ```

#[path = "bench.rs"]
#[expect(dead_code, reason = "the tests need more of it")]
mod bench;

use bench::{CYCLES_PER_SECOND, EmulatedBench};
use railproof::clock::{Clock, ComputerClock};
use railproof::sim::WorldSettings;
use std::time::Duration;

fn main() {
    let firmware = std::env::args().nth(1).unwrap_or_else(|| "1.4.0".to_owned());
    let bench = EmulatedBench::start(&firmware, &WorldSettings::default());
    println!("--unit-port {}", bench.folder.path().join("unit").display());
    println!("--board-port {}", bench.folder.path().join("board").display());
    println!("Serving firmware {firmware}, jig file fixtures/jigs/capture-board.yaml; end with Ctrl-C.");
    let clock = ComputerClock::new();
    let mut told = 0;
    loop {
        clock.sleep_until(clock.now().after(Duration::from_millis(100)));
        let trace = bench.trace();
        for supply in &trace.supply[told..] {
            let seconds = supply.at as f64 / CYCLES_PER_SECOND as f64;
            println!("{seconds:9.3} s  unit supply {}", if supply.on { "on" } else { "off" });
        }
        told = trace.supply.len();
    }
}
