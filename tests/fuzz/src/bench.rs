//! Unit and jig by which captures are measured here: the shipped ones.

use railproof::jig::JigFile;
use railproof::measure::Setup;
use railproof::run;
use railproof::unit::Unit;
use railproof::written::Source;
use std::path::Path;

/// Both, as measuring wants them.
pub fn setup() -> Setup {
    let unit = Unit::read(&source("fixtures/units/dunlin-600.yaml")).expect("it is shipped");
    let jig = JigFile::read(&source("fixtures/jigs/simulated.yaml")).expect("it is shipped");
    run::setup(&unit, &jig)
}

fn source(path: &str) -> Source {
    let own = Path::new(env!("CARGO_MANIFEST_DIR"));
    let whole = own.ancestors().map(|folder| folder.join(path)).find(|whole| whole.is_file());
    let text = std::fs::read_to_string(whole.expect("a folder of the project")).expect("a file of the project");
    Source::new(path, text)
}
