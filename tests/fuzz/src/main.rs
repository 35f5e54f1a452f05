//! Throws changed captures at every reader for a time: `railproof-fuzz SECONDS [SEED]`. What fails is written to a
//! file and named with its seed.

mod bench;
mod chance;
mod corpus;
mod mutate;
mod properties;

use chance::Chance;
use properties::outcome;
use std::panic::{self, AssertUnwindSafe};
use std::process::ExitCode;
use std::time::{Duration, Instant};

fn main() -> ExitCode {
    let mut words = std::env::args().skip(1).map(|word| word.parse::<u64>().expect("write SECONDS [SEED]"));
    let time = Duration::from_secs(words.next().unwrap_or(30));
    let first = words.next().unwrap_or(1);
    let setup = bench::setup();
    let valid = corpus::all();
    let whole: Vec<_> = valid.iter().map(|one| outcome(one.kind, &one.bytes, one.wires, &setup)).collect();
    let began = Instant::now();
    let mut seed = first;
    while began.elapsed() < time || seed == first {
        let mut chance = Chance::of(seed);
        let number = chance.below(valid.len());
        let mut bytes = valid[number].bytes.clone();
        let sealed = mutate::mutate(valid[number].kind, &mut bytes, &chance.one(&valid).bytes.clone(), &mut chance);
        let tried = panic::catch_unwind(AssertUnwindSafe(|| {
            let found = outcome(valid[number].kind, &bytes, valid[number].wires, &setup);
            // Our own file tells every change; a text that was changed may be another sound text.
            let passes = valid[number].kind == corpus::Kind::Ours && found.losses == 0 && !found.refused;
            assert!(!passes || sealed || bytes[..] == valid[number].bytes[..], "a change went unnoticed");
            assert!(bytes[..] != valid[number].bytes[..] || found == whole[number], "the same gives the same");
        }));
        if tried.is_err() {
            let kept = std::env::temp_dir().join(format!("railproof-fuzz-{seed}"));
            std::fs::write(&kept, &bytes).expect("room for the file that failed");
            eprintln!("seed {seed}, {:?}, failed: {}", valid[number].kind, kept.display());
            return ExitCode::FAILURE;
        }
        seed += 1;
    }
    println!("{} changed captures, seeds {first} to {}: none got the better of a reader", seed - first, seed - 1);
    ExitCode::SUCCESS
}
