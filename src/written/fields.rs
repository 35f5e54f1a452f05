//! Takes a map apart key by key: what is missing, what is unknown, what cannot be understood, each at its place.

use super::{List, Map, Node, Notes, Place, Scalar, nearest};
use std::cell::RefCell;

/// Why a word cannot be understood, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mistake {
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub right: String,
}

impl Mistake {
    /// Both.
    pub fn new(what: impl Into<String>, right: impl Into<String>) -> Self {
        Self { what: what.into(), right: right.into() }
    }
}

impl From<Mistake> for (String, String) {
    fn from(mistake: Mistake) -> Self {
        (mistake.what, mistake.right)
    }
}

/// The keys of one map while it is read. Ask for every key that may stand there, then [`Fields::end`] notes what was not
/// asked for and what was needed but is not there.
#[must_use = "call `end`, or unknown keys go unnoticed"]
pub struct Fields<'n> {
    map: &'n Map,
    what: String,
    notes: &'n Notes,
    asked: RefCell<Vec<&'n str>>,
    missing: RefCell<Vec<(&'n str, String)>>,
}

impl<'n> Fields<'n> {
    /// The keys of `node`, which must be a map. `what` it is, with its article: "a check"; `example` of how it is written.
    pub fn of(node: &'n Node, what: &str, example: &str, notes: &'n Notes) -> Option<Self> {
        let Node::Map(map) = node else {
            notes.add(
                node.at(),
                format!("{what} is a map of keys, but this is {}", node.kind()),
                format!("write `{example}`"),
            );
            return None;
        };
        Some(Self { map, what: what.into(), notes, asked: RefCell::default(), missing: RefCell::default() })
    }

    /// Where the map stands.
    pub fn at(&self) -> &'n Place {
        &self.map.at
    }

    /// The notes that it writes to.
    pub fn notes(&self) -> &'n Notes {
        self.notes
    }

    /// What stands under a key that may be absent.
    pub fn node(&self, key: &'n str) -> Option<&'n Node> {
        if !self.asked.borrow().contains(&key) {
            self.asked.borrow_mut().push(key);
        }
        self.map.get(key)
    }

    /// What stands under a key that must be there. `example` is what may stand after the key.
    pub fn need(&self, key: &'n str, example: &str) -> Option<&'n Node> {
        let node = self.node(key);
        if node.is_none() {
            self.missing.borrow_mut().push((key, example.into()));
        }
        node
    }

    /// The word under a key that may be absent.
    pub fn word(&self, key: &'n str, example: &str) -> Option<&'n Scalar> {
        self.node(key).and_then(|node| word(node, key, example, self.notes))
    }

    /// The word under a key that must be there.
    pub fn need_word(&self, key: &'n str, example: &str) -> Option<&'n Scalar> {
        self.need(key, example).and_then(|node| word(node, key, example, self.notes))
    }

    /// The word under a key that may be absent, understood by `parse`.
    pub fn parsed<T, E: Into<(String, String)>>(
        &self,
        key: &'n str,
        example: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        self.word(key, example).and_then(|word| word.understood(self.notes, parse))
    }

    /// The word under a key that must be there, understood by `parse`.
    pub fn need_parsed<T, E: Into<(String, String)>>(
        &self,
        key: &'n str,
        example: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        self.need_word(key, example).and_then(|word| word.understood(self.notes, parse))
    }

    /// The list under a key that may be absent.
    pub fn list(&self, key: &'n str, example: &str) -> Option<&'n List> {
        self.node(key).and_then(|node| list(node, key, example, self.notes))
    }

    /// The list under a key that must be there.
    pub fn need_list(&self, key: &'n str, example: &str) -> Option<&'n List> {
        self.need(key, example).and_then(|node| list(node, key, example, self.notes))
    }

    /// The words of the list under a key; none where the key is absent.
    pub fn words(&self, key: &'n str, example: &str) -> Vec<&'n Scalar> {
        let items = self.list(key, example).map_or(&[][..], |list| &list.items);
        items.iter().filter_map(|item| word(item, key, "a single text", self.notes)).collect()
    }

    /// The map under a key that may be absent, taken apart in its turn.
    pub fn fields(&self, key: &'n str, example: &str) -> Option<Fields<'n>> {
        self.node(key).and_then(|node| Fields::of(node, &format!("`{key}`"), &format!("{key}: {example}"), self.notes))
    }

    /// The map under a key that must be there, taken apart in its turn.
    pub fn need_fields(&self, key: &'n str, example: &str) -> Option<Fields<'n>> {
        self.need(key, example)
            .and_then(|node| Fields::of(node, &format!("`{key}`"), &format!("{key}: {example}"), self.notes))
    }

    /// Notes keys that nobody asked for, and needed ones that are not there. A needed key that is only misspelt is noted
    /// once, where it stands.
    pub fn end(self) {
        let asked = self.asked.take();
        let mut missing = self.missing.take();
        for (key, _) in self.map.entries.iter().filter(|(key, _)| !asked.contains(&key.text.as_str())) {
            let absent = asked.iter().copied().filter(|known| self.map.get(known).is_none());
            let meant = nearest(&key.text, absent).or_else(|| nearest(&key.text, asked.iter().copied()));
            missing.retain(|(needed, _)| meant != Some(needed));
            self.notes.add(
                &key.at,
                format!("{} has no key `{}`", self.what, key.text),
                remedy(&key.text, meant, &asked),
            );
        }
        for (key, example) in missing {
            self.notes.add(
                &self.map.at,
                format!("{} needs the key `{key}`", self.what),
                format!("add `{key}: {example}`"),
            );
        }
    }
}

fn remedy(key: &str, meant: Option<&str>, asked: &[&str]) -> String {
    match meant {
        _ if key == "<<" => "maps cannot be merged by `<<`; write the keys out".into(),
        Some(meant) => format!("did you mean `{meant}`?"),
        None => format!("leave it out; the keys here are {}", in_words(asked)),
    }
}

/// Words in a row: "`a`, `b` and `c`".
fn in_words(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| format!("`{word}`")).collect();
    match quoted.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
        None => "none at all".into(),
    }
}

fn word<'n>(node: &'n Node, key: &str, example: &str, notes: &Notes) -> Option<&'n Scalar> {
    match node {
        Node::Scalar(scalar) if !scalar.text.trim().is_empty() => Some(scalar),
        _ => {
            let what = format!("`{key}` wants a single value, but this is {}", node.kind());
            notes.add(node.at(), what, format!("write for example `{key}: {example}`"));
            None
        }
    }
}

fn list<'n>(node: &'n Node, key: &str, example: &str, notes: &Notes) -> Option<&'n List> {
    match node {
        Node::List(list) => Some(list),
        _ => {
            let what = format!("`{key}` wants a list, but this is {}", node.kind());
            notes.add(node.at(), what, format!("write for example `{key}: {example}`"));
            None
        }
    }
}

impl Scalar {
    /// What `parse` makes of it. Its mistake, what is wrong and what would be right, is noted at the word's place.
    pub fn understood<T, E: Into<(String, String)>>(
        &self,
        notes: &Notes,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        parse(self.text.trim())
            .map_err(|error| {
                let (what, right) = error.into();
                notes.add(&self.at, what, right);
            })
            .ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::written::{Source, read};
    use expect_test::{Expect, expect};

    fn small(text: &str) -> Result<u32, Mistake> {
        text.parse().map_err(|_| Mistake::new(format!("`{text}` is no number"), "write for example `3`"))
    }

    fn takes(text: &str, expected: Expect) {
        let notes = Notes::on(&Source::new("a.yaml", text));
        let root = read(&notes);
        let value = root.as_ref().and_then(|root| {
            let fields = Fields::of(root, "a shelf", "shelf: low", &notes)?;
            let name = fields.need_word("shelf", "low").map(|word| word.text.clone());
            let boards = fields.need_parsed("boards", "3", small);
            let legs = fields.parsed("legs", "4", small).unwrap_or(4);
            let books = fields.words("books", "[ \"Tides\" ]").len();
            if let Some(size) = fields.fields("size", "{ width: 3 }") {
                size.parsed("width", "3", small);
                size.end();
            }
            fields.end();
            Some((name?, boards?, legs, books))
        });
        let said = match notes.finish(value) {
            Ok(value) => format!("{value:?}"),
            Err(problems) => problems
                .iter()
                .map(|problem| {
                    format!(
                        "{}:{} {} | {} | {}",
                        problem.line, problem.column, problem.path, problem.what, problem.right
                    )
                })
                .collect::<Vec<_>>()
                .join("\n"),
        };
        expected.assert_eq(&said);
    }

    #[test]
    fn all_that_is_wrong_with_a_map_is_noted_at_once() {
        takes("shelf: low\nboards: 3\nbooks: [a, b]\n", expect![[r#"("low", 3, 4, 2)"#]]);
        takes(
            "boards: three\nlegs: [1]\nsize: { widht: 1 }\nbooks: a\n",
            expect![[r#"
            1:1  | a shelf needs the key `shelf` | add `shelf: low`
            1:9 boards | `three` is no number | write for example `3`
            2:7 legs | `legs` wants a single value, but this is a list | write for example `legs: 4`
            3:9 size.widht | `size` has no key `widht` | did you mean `width`?
            4:8 books | `books` wants a list, but this is a single value | write for example `books: [ "Tides" ]`"#]],
        );
        takes(
            "shelf: low\nbord: 3\ncolour: red\n<<: { legs: 3 }\n",
            expect![[r#"
            2:1 bord | a shelf has no key `bord` | did you mean `boards`?
            3:1 colour | a shelf has no key `colour` | leave it out; the keys here are `shelf`, `boards`, `legs`, `books` and `size`
            4:1 << | a shelf has no key `<<` | maps cannot be merged by `<<`; write the keys out"#]],
        );
        takes(
            "shelf:\nboards: 3\nboards: 4\n",
            expect![[r#"
            1:7 shelf | `shelf` wants a single value, but this is nothing | write for example `shelf: low`
            3:1 boards | the key `boards` stands here a second time | keep one of the two"#]],
        );
        takes("- shelf\n", expect!["1:1  | a shelf is a map of keys, but this is a list | write `shelf: low`"]);
    }
}
