//! Targets for the tests of this room: those of the shipped simulated jig.

use super::Target;
use crate::jig::JigFile;
use crate::written::Source;

pub fn jig() -> JigFile {
    JigFile::read(&Source::new("simulated.yaml", include_str!("../../../fixtures/jigs/simulated.yaml")))
        .expect("a jig file")
}

fn named(name: &str) -> Target {
    Target::named(&jig(), name).expect("a channel")
}

pub fn volts() -> Target {
    named("pack voltage")
}

pub fn celsius() -> Target {
    named("air temperature")
}

pub fn clock() -> Target {
    named("clock")
}

pub fn encoder() -> Target {
    named("encoder")
}
