//! What a unit is built of, as it is told: on the command line, in a file, or scanned.
//!
//! A file has one part a line, its name and then its lot or serial number. Between them stands `=`, as on the command line
//! and in what a scanner reads; or `:`, which makes the file YAML; or a comma, semicolon or tab, which makes it a table.

use super::inputs::InputFile;
use super::{Exit, Failure};
use crate::record::stored::Part;
use anyhow::anyhow;
use std::io::BufRead;
use std::path::Path;

/// No unit has more parts that are told.
const PARTS_MAX: usize = 1000;
/// First cells of a table's line of names.
const HEADS: [&str; 4] = ["part", "parts", "kind", "name"];
/// What a part looks like.
const EXAMPLE: &str = "write NAME=LOT, for example belt=L2207";

/// A part on the command line.
pub fn part(text: &str) -> Result<Part, String> {
    split(text, &['=']).ok_or_else(|| EXAMPLE.into())
}

/// The parts of a file, or of standard input for `-` (until an empty line or its end); those given beside it count for more.
pub fn all(file: Option<&Path>, given: &[Part]) -> Result<Vec<Part>, Failure> {
    let wrong = |why: String| Failure::new(Exit::BadInput, anyhow!(why));
    let mut parts = match file {
        None => Vec::new(),
        Some(path) if path == Path::new("-") => {
            let lines = std::io::stdin().lock().lines().take(PARTS_MAX + 1);
            let lines = lines.take_while(|line| !line.as_ref().is_ok_and(|line| line.trim().is_empty()));
            let lines =
                lines.collect::<Result<Vec<_>, _>>().map_err(|error| wrong(format!("standard input: {error}")))?;
            listed("standard input", lines.iter().map(String::as_str)).map_err(wrong)?
        }
        Some(path) => {
            let file = InputFile::read(path)?;
            listed(file.source.name(), file.source.text().trim_start_matches('\u{feff}').lines()).map_err(wrong)?
        }
    };
    for part in given {
        match parts.iter_mut().find(|listed| listed.name == part.name) {
            Some(listed) => *listed = part.clone(),
            None => parts.push(part.clone()),
        }
    }
    Ok(parts)
}

fn listed<'l>(place: &str, lines: impl Iterator<Item = &'l str>) -> Result<Vec<Part>, String> {
    let mut parts: Vec<Part> = Vec::new();
    for (number, line) in lines.enumerate() {
        let at = format!("{place}:{}", number + 1);
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') || line == "---" {
            continue;
        }
        let part =
            split(line, &['=', ',', ';', '\t', ':']).ok_or_else(|| format!("{at}: this is no part; {EXAMPLE}"))?;
        if number == 0 && HEADS.iter().any(|head| part.name.eq_ignore_ascii_case(head)) {
            continue;
        }
        if parts.iter().any(|other| other.name == part.name) {
            return Err(format!(
                "{at}: `{}` is told twice; give each part a name of its own, such as `belt 2`",
                part.name
            ));
        }
        if parts.len() >= PARTS_MAX {
            return Err(format!("{at}: more than {PARTS_MAX} parts; is this the right file?"));
        }
        parts.push(part);
    }
    Ok(parts)
}

/// Name and lot, at the first of the signs.
fn split(line: &str, signs: &[char]) -> Option<Part> {
    let (name, lot) = line.split_once(signs)?;
    let bare = |text: &str| text.trim().trim_matches(['"', '\'']).trim().to_owned();
    let (name, lot) = (bare(name), bare(lot));
    let is_said = |text: &str| !text.is_empty() && text.len() <= 200 && !text.contains(char::is_control);
    (is_said(&name) && is_said(&lot)).then_some(Part { name, lot, carried_on_from: None })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> Result<Vec<String>, String> {
        let parts = listed("parts.txt", text.lines())?;
        Ok(parts.iter().map(|part| format!("{}={}", part.name, part.lot)).collect())
    }

    #[test]
    fn a_file_is_yaml_a_table_or_what_a_scanner_reads() {
        let expected = Ok(vec!["belt=L2207".to_owned(), "pack=P-0311 B".to_owned()]);
        for text in [
            "belt: L2207\npack: \"P-0311 B\"\n",
            "---\n# as built\nbelt: 'L2207'\r\npack:   P-0311 B",
            "kind,lot\nbelt,L2207\npack,P-0311 B\n",
            "Part;Lot\n\"belt\";\"L2207\"\npack;P-0311 B",
            "belt\tL2207\npack\tP-0311 B\n",
            "belt=L2207\n\npack=P-0311 B\n",
        ] {
            assert_eq!(told(text), expected, "{text:?}");
        }
        assert_eq!(told(""), Ok(Vec::new()));
    }

    #[test]
    fn what_is_no_part_is_told_with_its_line() {
        for (text, says) in [
            ("belt=L1\npack", "parts.txt:2: this is no part; write NAME=LOT"),
            ("belt:\n  lot: L1", "parts.txt:1: this is no part"),
            ("belt=", "parts.txt:1: "),
            ("belt=L1\nbelt=L2", "parts.txt:2: `belt` is told twice"),
            ("belt=L\u{0}1", "parts.txt:1: "),
        ] {
            let why = told(text).expect_err(text);
            assert!(why.contains(says), "{text:?}: {why}");
        }
        let many: String = (0..1001).map(|number| format!("part {number}=L\n")).collect();
        assert!(told(&many).expect_err("too many").contains("parts.txt:1001: more than 1000"));
    }
}
