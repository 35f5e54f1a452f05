//! Stored records of every format, kept for ever: every later version has to read and show them.

use railproof::record::Record;
use serde_json::Value;

/// The text of a kept record.
pub fn text(name: &str) -> String {
    let path = format!("{}/tests/data/records/{name}.json", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// A kept record, with its JSON changed before it is read.
pub fn changed(name: &str, change: impl FnOnce(&mut Value)) -> Record {
    let mut value: Value = serde_json::from_str(&text(name)).expect("a kept record is JSON");
    change(&mut value);
    serde_json::from_value(value).expect("a changed record is still one")
}
