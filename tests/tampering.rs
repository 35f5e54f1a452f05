//! Sealed runs treated badly in random places: whatever was done is named, and nothing else is.
//!
//! `RAILPROOF_DRAWS=1000` does it a thousand times; each draw is undone after it was found.

#[path = "common/sealed_bench.rs"]
mod sealed_bench;

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use sealed_bench::SealedBench;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

/// A kind of finding, and where.
type Named = Vec<(String, PathBuf)>;

struct Draw(Xoshiro256PlusPlus);

impl Draw {
    fn below(&mut self, end: usize) -> usize {
        (self.0.next_u64() % end as u64) as usize
    }

    fn of<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }
}

fn draws() -> u64 {
    std::env::var("RAILPROOF_DRAWS").map_or(24, |draws| draws.parse().expect("a number of draws"))
}

fn verified(bench: &SealedBench) -> Named {
    let output = bench.done(&["verify", "--format", "json"]);
    let answer: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let findings = answer["findings"].as_array().expect("a list of findings");
    let text = |value: &Value| value.as_str().expect("a text").to_owned();
    let mut named: Named =
        findings.iter().map(|finding| (text(&finding["kind"]), PathBuf::from(text(&finding["path"])))).collect();
    named.sort();
    assert_eq!(output.status.code(), Some(i32::from(!named.is_empty())), "{answer}");
    named
}

/// All files of a run.
fn files(run: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(run).expect("a folder").map(|entry| entry.expect("an entry").path()) {
        if entry.is_dir() { found.extend(files(&entry)) } else { found.push(entry) }
    }
    found.sort();
    found
}

fn flip(file: &Path, at: usize, bits: u8) {
    let mut bytes = fs::read(file).expect("it is there");
    bytes[at] ^= bits;
    fs::write(file, bytes).expect("it can be written");
}

fn rename(from: &Path, to: &Path) {
    fs::rename(from, to).expect("it can be moved");
}

fn swap(one: &Path, other: &Path, aside: &Path) {
    rename(one, aside);
    rename(other, one);
    rename(aside, other);
}

#[test]
fn whatever_is_done_to_sealed_runs_is_named_and_nothing_else() {
    let bench = SealedBench::new();
    let aside = bench.folder.path().join("aside");
    // Two benches on one results folder, unsigned and signed runs of one of them, several serial numbers.
    let mut runs: Vec<PathBuf> = ["SM-0001", "SM-0002", "SM-0001"].map(|serial| bench.run(serial)).into();
    assert!(bench.done(&["key", "new"]).status.success());
    runs.extend(["SM-0003", "SM-0001", "SM-0002"].map(|serial| bench.run(serial)));
    fs::remove_dir_all(bench.folder.path().join("config")).expect("it can be removed");
    assert!(bench.done(&["key", "new", "--bench", "bench-2"]).status.success());
    runs.extend(["SM-0003", "SM-0004"].map(|serial| bench.run(serial)));
    assert_eq!(verified(&bench), []);

    let named = |kind: &str, path: &Path| (kind.to_owned(), path.to_owned());
    for seed in 0..draws() {
        let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(seed));
        let run = draw.of(&runs);
        let file = draw.of(&files(run)).clone();
        let (found, mut expected) = match seed % 4 {
            0 => {
                let length = fs::metadata(&file).expect("it is there").len();
                let (at, bits) = (draw.below(length as usize), 1 << draw.below(8));
                flip(&file, at, bits);
                let found = verified(&bench);
                flip(&file, at, bits);
                (found, vec![named("changed", &file)])
            }
            1 => {
                rename(&file, &aside);
                let found = verified(&bench);
                rename(&aside, &file);
                (found, vec![named("missing", &file)])
            }
            2 => {
                let other = loop {
                    let other = draw.of(&runs);
                    if other != run {
                        break other;
                    }
                };
                swap(run, other, &aside);
                let found = verified(&bench);
                swap(run, other, &aside);
                (found, vec![named("moved", run), named("moved", other)])
            }
            _ => {
                rename(run, &aside);
                let found = verified(&bench);
                rename(&aside, run);
                (found, vec![named("missing", run)])
            }
        };
        expected.sort();
        assert_eq!(found, expected, "seed {seed}");
    }
    assert_eq!(verified(&bench), []);
}
