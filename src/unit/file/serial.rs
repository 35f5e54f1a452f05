//! How a unit file says what serial numbers look like: a pattern alone, or with a check character and an example to try both on.

use super::super::check_character::System;
use super::super::serial::SerialNumbers;
use super::{choice, pattern};
use crate::written::{Fields, Node, Notes, Scalar};
use regex::Regex;

const EXAMPLE: &str = "{ pattern: \"SM-[0-9]{4}-[0-9A-Z*]\", check character: mod 37-2, example: SM-0001-J }";

/// The key `serial numbers` of a unit file.
pub fn serial_numbers(file: &Fields<'_>) -> Option<SerialNumbers> {
    let notes = file.notes();
    match file.need("serial numbers", "\"SM-[0-9]{4}\"")? {
        Node::Map(_) => with_check(file.fields("serial numbers", EXAMPLE)?),
        Node::Scalar(word) if !word.text.trim().is_empty() => {
            Some(SerialNumbers::new(word.understood(notes, whole)?, None))
        }
        other => {
            let what = format!("`serial numbers` wants a pattern, but this is {}", other.kind());
            notes.add(
                other.at(),
                what,
                format!("write `serial numbers: \"SM-[0-9]{{4}}\"`, or `serial numbers: {EXAMPLE}`"),
            );
            None
        }
    }
}

fn with_check(fields: Fields<'_>) -> Option<SerialNumbers> {
    let pattern = fields.need_parsed("pattern", "\"SM-[0-9]{4}-[0-9A-Z*]\"", whole);
    let systems = System::ALL.map(|system| (system.name, system));
    let check = fields.need_parsed("check character", "mod 37-2", |text| choice(text, &systems));
    let example = fields.need_word("example", "SM-0001-J");
    let notes = fields.notes();
    fields.end();
    let numbers = SerialNumbers::new(pattern?, Some(check?));
    fits(&numbers, example?, notes).then_some(numbers)
}

/// Whether pattern and check character fit each other is found on an example.
fn fits(numbers: &SerialNumbers, example: &Scalar, notes: &Notes) -> bool {
    let tried = numbers.check(&example.text).map_err(|why| {
        let right = match numbers.corrected(&example.text) {
            Some(right) => format!("write `{right}`, or take the right pattern and check character"),
            None => "give a serial number as it stands on a unit; a group `(?<checked>…)` in the pattern says which part of \
                     it the check character covers"
                .to_owned(),
        };
        notes.add(&example.at, format!("this example is no serial number: {why}"), right);
    });
    tried.is_ok()
}

fn whole(text: &str) -> Result<Regex, (String, String)> {
    pattern(&format!("^(?:{text})$"))
}
