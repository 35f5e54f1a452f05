//! railproof: automated bench test of finished motorised slider drive units.
//!
//! The map of the house, in reading order. A run goes from left to right:
//!
//! ```text
//! plan ──► run ──► capture ──► measure ──► decide ──► record ──► report
//!          │  ▲
//!          ▼  │
//!         bench  =  unit link (serial)  +  jig (edges, samples, outputs)
//! ```
//!
//! Everything right of *capture* is a pure function of the capture and the input files. Each floor of the house imports
//! only from floors below it; `tests/house_rules.rs` reads the imports and keeps it so.

// Floor 0: nothing of ours below.
pub mod clock;
pub mod quantity;
pub mod stats;
pub mod written;

// Floor 1: evidence and what it says.
pub mod capture;
pub mod decide;
pub mod measure;
pub mod port;

// Floor 2: what users write, and what stands on the bench.
pub mod jig;
pub mod plan;
pub mod unit;

// Floor 3: the contract between a run and all who watch it.
pub mod event;

// Floor 4: doing it.
pub mod record;
pub mod run;
pub mod sim;

// Floor 5: showing it, keeping the jig true, and what many runs tell.
pub mod care;
pub mod rehearsal;
pub mod report;
pub mod serve;
pub mod study;

// Floor 6: the command line, which alone chooses a bench.
pub mod cli;
