//! Captures that are not what they should be, for every reader: what the fuzzer of `tests/fuzz/` looks for at length is
//! looked for here in a moment.

#[path = "fuzz/src/bench.rs"]
mod bench;
#[path = "fuzz/src/chance.rs"]
mod chance;
#[path = "fuzz/src/corpus.rs"]
mod corpus;
#[path = "fuzz/src/mutate.rs"]
mod mutate;
#[path = "fuzz/src/properties.rs"]
mod properties;

use chance::Chance;
use corpus::{Kind, Valid};
use properties::outcome;
use proptest::prelude::*;
use railproof::measure::Setup;
use std::sync::LazyLock;

static SETUP: LazyLock<Setup> = LazyLock::new(bench::setup);
static VALID: LazyLock<Vec<Valid>> = LazyLock::new(corpus::all);

#[test]
fn valid_captures_are_whole() {
    for one in VALID.iter() {
        let found = outcome(one.kind, &one.bytes, one.wires, &SETUP);
        // The dump was switched off for a while.
        let losses = usize::from(one.kind == Kind::Dump);
        assert_eq!((found.losses, found.refused), (losses, false), "{:?}", one.kind);
        assert!(found.said.iter().any(|said| said.contains("step")), "{:?}: {:?}", one.kind, found.said);
    }
}

/// A file that was cut is told to be; only a table cannot know how many rows it had, and ends behind one.
#[test]
fn a_capture_cut_anywhere_is_no_whole_one() {
    for one in VALID.iter() {
        let whole = outcome(one.kind, &one.bytes, one.wires, &SETUP);
        for length in (0..one.bytes.len()).step_by(19) {
            let bytes = &one.bytes[..length];
            let found = outcome(one.kind, bytes, one.wires, &SETUP);
            let is_told = found.refused || found.losses > 0;
            // Nothing hangs on a time behind which nothing comes.
            let is_time = bytes.rsplit(u8::is_ascii_whitespace).next().is_some_and(|token| token.starts_with(b"#"));
            let ends_behind_a_token = bytes.last().is_none_or(u8::is_ascii_whitespace);
            let ends_before_a_blank = one.bytes[length].is_ascii_whitespace();
            let may_be_whole = one.kind != Kind::Ours && (is_time || ends_behind_a_token || ends_before_a_blank);
            assert!(is_told || may_be_whole, "{:?} cut at {length}", one.kind);
            assert!(is_told || found.said.len() <= whole.said.len(), "{:?} cut at {length}", one.kind);
        }
    }
}

#[test]
fn empty_doubled_and_foreign_files_are_told() {
    for one in VALID.iter() {
        assert!(outcome(one.kind, b"", one.wires, &SETUP).refused, "{:?}", one.kind);
        let twice = [&one.bytes[..], &one.bytes].concat();
        let found = outcome(one.kind, &twice, one.wires, &SETUP);
        assert!(found.refused || found.losses > 0, "{:?} twice", one.kind);
        for other in VALID.iter().filter(|other| other.kind != one.kind) {
            assert!(outcome(one.kind, &other.bytes, one.wires, &SETUP).refused, "{:?}", one.kind);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

    #[test]
    fn a_changed_capture_never_gets_the_better_of_a_reader(seed: u64) {
        let mut chance = Chance::of(seed);
        let one = chance.one(&VALID);
        let mut bytes = one.bytes.clone();
        let other = chance.one(&VALID).bytes.clone();
        let sealed = mutate::mutate(one.kind, &mut bytes, &other, &mut chance);
        let found = outcome(one.kind, &bytes, one.wires, &SETUP);
        // Our own file tells every change; a text that was changed may be another sound text.
        let passes = one.kind == Kind::Ours && found.losses == 0 && !found.refused;
        prop_assert!(!passes || sealed || bytes == one.bytes, "a change went unnoticed");
    }
}
