//! What the YAML reader says, in words that help whoever wrote the file.

use super::{Problem, Source};
use serde::de;
use std::ops::Range;

const OWN: char = '\u{1}';

/// An error of ours on its way through serde_yaml, which adds words around it.
pub(super) fn own_error<E: de::Error>(what: &str, right: &str) -> E {
    E::custom(format_args!("{OWN}{what}{OWN}{right}{OWN}"))
}

/// An error of the reader, with its place.
pub(super) fn explained(source: &Source, error: &serde_yaml::Error) -> Problem {
    let message = error.to_string();
    let span = token(source.text(), place(source, error, &message));
    if let [_, what, right, _] = message.split(OWN).collect::<Vec<_>>()[..] {
        return Problem::new(source, span, "", what, right);
    }
    let known = KNOWN.iter().find(|(fragment, ..)| message.contains(fragment)).unwrap_or(&UNKNOWN);
    Problem::new(source, span, "", known.1, known.2)
}

/// The bytes from `start` to where a mark under them looks right: a bracket to its other one, all else up to a comment or
/// the end of the line.
pub(super) fn token(text: &str, start: usize) -> Range<usize> {
    let start = text.floor_char_boundary(start);
    let line = text[start..].split(['\n', '\r']).next().unwrap_or("");
    if let Some(end) = closing_bracket(line) {
        return start..start + end;
    }
    let line = line.split_once(" #").map_or(line, |(before, _)| before);
    start..start + line.trim_end().len()
}

/// Where a bracket at the beginning of a line's rest is closed in that line.
fn closing_bracket(line: &str) -> Option<usize> {
    let mut depth = 0u32;
    for (at, sign) in line.char_indices() {
        match sign {
            '[' | '{' => depth += 1,
            ']' | '}' if depth == 1 => return Some(at + 1),
            ']' | '}' => depth = depth.checked_sub(1)?,
            _ if depth == 0 => return None,
            _ => {}
        }
    }
    None
}

/// Where the reader gave up; where it began instead, if that is on an earlier line: a quote that never ends is noticed at
/// the end of the file.
fn place(source: &Source, error: &serde_yaml::Error, message: &str) -> usize {
    let Some(noticed) = error.location() else { return place_without_location(source.text(), message) };
    let begun = message.split_once(", while ").and_then(|(_, context)| place_in(context));
    let within_one = ["quoted scalar", "flow", "simple key"].iter().any(|kind| message.contains(kind));
    match begun {
        Some((line, column)) if within_one && line < noticed.line() => byte_of(source.text(), line, column),
        _ => match message.split_once("not allowed at position ").and_then(|(_, number)| number.parse().ok()) {
            Some(position) => position,
            None => noticed.index(),
        },
    }
}

/// A second document has no location of its own.
fn place_without_location(text: &str, message: &str) -> usize {
    if !message.contains("more than one document") {
        return 0;
    }
    let content = text.find(|c: char| c.is_alphanumeric()).unwrap_or(0);
    text[content..].find("\n---").map_or(0, |found| content + found + 1)
}

/// `… at line 3 column 5`.
fn place_in(context: &str) -> Option<(usize, usize)> {
    let (_, place) = context.rsplit_once("at line ")?;
    let (line, column) = place.split_once(" column ")?;
    Some((line.parse().ok()?, column.parse().ok()?))
}

fn byte_of(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text.split_inclusive('\n').take(line - 1).map(str::len).sum();
    start + text[start..].chars().take(column - 1).map(char::len_utf8).sum::<usize>()
}

type Known = (&'static str, &'static str, &'static str);

const UNKNOWN: Known =
    ("", "this is not valid YAML", "check indentation, colons and quotes here and in the line above");

/// What the reader says, what is wrong, what would be right.
const KNOWN: [Known; 15] = [
    (
        "more than one document",
        "a second document (after `---`) begins here",
        "one file holds one plan, one unit file or one jig file; move the rest into a file of its own",
    ),
    (
        "control characters are not allowed",
        "this is a control character",
        "remove it; in a text in double quotes it may be written as \\x07",
    ),
    (
        "found character that cannot start any token",
        "no value can begin with this character",
        "indent with blanks instead of tabs, and put a text that begins with a sign such as @ % ` in quotes",
    ),
    (
        "mapping values are not allowed",
        "this is the second colon with a blank after it in one entry, or a key that is not indented like its neighbours",
        "begin each key on a line of its own at its neighbours' indentation, and put a text that has a colon in it in quotes",
    ),
    (
        "block sequence entries are not allowed",
        "a list cannot begin in the line of its key",
        "begin its first part with `- ` in the next line, or write it as `[first, second]`",
    ),
    (
        "unknown anchor",
        "this repeats something under a name that nothing before it has",
        "put a text that begins with `*` in quotes",
    ),
    (
        "repetition limit exceeded",
        "repeating by `*name` makes this file far too long",
        "write the parts out, or use `repeat`",
    ),
    ("recursion limit exceeded", "this is nested too deeply", "plans, unit files and jig files need far fewer levels"),
    ("directive", "a line that begins with `%` has no meaning here", "put a text that begins with `%` in quotes"),
    (
        "while scanning a quoted scalar",
        "this quoted text does not end",
        "close the quote, and write a quote inside of a text in single quotes twice",
    ),
    (
        "found unknown escape character",
        "no character is written like this in double quotes",
        "write the backslash twice, or put the text in single quotes",
    ),
    (
        "while scanning a block scalar",
        "`>` and `|` begin a text of several lines, and nothing may follow them in theirs",
        "write a limit as `at least …` or `at most …`, and put a text that begins with such a sign in quotes",
    ),
    (
        "while parsing a flow",
        "this `{` or `[` is not closed, or a comma is missing in it",
        "close it, and set commas between its parts",
    ),
    ("could not find expected ':'", "this line is neither a key nor part of a list", "write `key: value`, or `- part`"),
    (
        "while parsing a block",
        "this is neither a part of the list or map above it, nor its end",
        "give all keys of one map and all `- ` of one list the same indentation, and quote a text that goes on after a quote",
    ),
];

#[cfg(test)]
mod tests {
    use crate::written::{Notes, Source, read};
    use expect_test::{Expect, expect};

    fn shows(text: &str, expected: Expect) {
        let notes = Notes::on(&Source::new("a.yaml", text));
        let node = read(&notes);
        let problems = notes.finish(node).map(|_| ()).unwrap_err();
        let seen: Vec<_> =
            problems.iter().map(|problem| format!("{}:{}: {}", problem.line, problem.column, problem.what)).collect();
        expected.assert_eq(&seen.join("\n"));
    }

    #[test]
    fn what_is_no_yaml_is_explained_where_it_begins() {
        shows("", expect!["1:1: this file says nothing"]);
        shows("# nothing\n\n", expect!["1:1: this file says nothing"]);
        shows("a: 'b\n\n", expect!["1:4: this quoted text does not end"]);
        shows("a:\n\tb: 1\n", expect!["2:1: no value can begin with this character"]);
        shows(
            "a: b: c\n",
            expect![
                "1:5: this is the second colon with a blank after it in one entry, or a key that is not indented like its neighbours"
            ],
        );
        shows("µ: [1, 2\n", expect!["1:4: this `{` or `[` is not closed, or a comma is missing in it"]);
        shows("µ: {b: 1 c: 2}\n", expect!["1:11: this `{` or `[` is not closed, or a comma is missing in it"]);
        shows("a: 1\n---\nb: 2\n", expect!["2:1: a second document (after `---`) begins here"]);
        shows("a: !word 1\n", expect!["1:4: tags (`!word`) have no meaning here"]);
        shows("a: *b\n", expect!["1:4: this repeats something under a name that nothing before it has"]);
        shows("? [a]\n: 1\n", expect!["1:3: a key is a single word here"]);
        shows(
            "a: >= 5\n",
            expect!["1:5: `>` and `|` begin a text of several lines, and nothing may follow them in theirs"],
        );
        shows("a: - b\n", expect!["1:4: a list cannot begin in the line of its key"]);
        shows("a: 'b' c\n", expect!["1:8: this is neither a part of the list or map above it, nor its end"]);
        shows("%a\n", expect!["1:3: a line that begins with `%` has no meaning here"]);
        shows("a: b\u{7}\n", expect!["1:5: this is a control character"]);
        shows("a: \"b\\q\"\n", expect!["1:6: no character is written like this in double quotes"]);
        shows("a: 1\nb\n", expect!["2:1: this line is neither a key nor part of a list"]);
    }
}
