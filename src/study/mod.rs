//! What many runs tell together. Each study is a pure function of what was stored.
//!
//! Deliberately absent: files, ports and clocks, and live runs.

pub mod rehearse;
