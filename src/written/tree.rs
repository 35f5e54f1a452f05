//! YAML as a tree whose every word knows its place.
//!
//! serde_yaml hands out words without their places. Two things give them back: a word that stands in the file as it is
//! read is borrowed from the file's text, so its address is its place; any other thing (a folded text, an escaped one, a
//! list) is remembered by its number in the order of reading, and found again, when a problem has to be shown there, by a
//! second reading that fails at just that number, because serde_yaml's errors do have an exact place.

use super::{Notes, Problem, Source, syntax};
use serde::de::{self, DeserializeSeed, Deserializer, EnumAccess, MapAccess, SeqAccess, Visitor};
use std::collections::HashSet;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// Largest file that is read, bytes.
pub const BYTES_MAX: usize = 4_000_000;
/// Most words, lists and maps of a file, those that aliases repeat included.
const NODES_MAX: usize = 200_000;
/// Deepest nesting of lists and maps.
const DEPTH_MAX: usize = 32;
/// Deepest nesting of brackets that the YAML reader is shown: the time it takes grows with the square of that.
const BRACKETS_MAX: usize = 1000;

/// Where something stands in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    span: Option<Range<usize>>,
    ordinal: usize,
    path: Arc<str>,
}

impl Place {
    /// Its bytes in the text it was read from.
    pub fn span(&self, source: &Source) -> Range<usize> {
        self.span.clone().unwrap_or_else(|| find(source, self.ordinal))
    }

    /// Its place in the structure: `checks[1].moves[0].travel.speed`.
    pub fn path(&self) -> &str {
        &self.path
    }
}

/// A word or a text, as written; a number is its digits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scalar {
    /// What it says; empty where nothing was written.
    pub text: String,
    /// Where.
    pub at: Place,
}

/// A list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct List {
    /// What it holds.
    pub items: Vec<Node>,
    /// Where it begins.
    pub at: Place,
}

/// A map. A key that stands there twice is noted as a problem when read and held once, as first written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Map {
    /// Keys and what stands under them, in order.
    pub entries: Vec<(Scalar, Node)>,
    /// Its first key, or where it begins if it is empty.
    pub at: Place,
}

impl Map {
    /// What stands under a key.
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entries.iter().find(|(name, _)| name.text == key).map(|(_, node)| node)
    }
}

/// Anything that stands in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Node {
    /// A word or a text.
    Scalar(Scalar),
    /// A list.
    List(List),
    /// A map.
    Map(Map),
}

impl Node {
    /// Where it stands.
    pub fn at(&self) -> &Place {
        match self {
            Self::Scalar(scalar) => &scalar.at,
            Self::List(list) => &list.at,
            Self::Map(map) => &map.at,
        }
    }

    /// What kind of thing it is, in words.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Scalar(scalar) if scalar.text.is_empty() => "nothing",
            Self::Scalar(_) => "a single value",
            Self::List(_) => "a list",
            Self::Map(_) => "a map of keys",
        }
    }
}

/// Reads the file that `notes` are about. `None` when it is no YAML at all; that is noted.
pub fn read(notes: &Notes) -> Option<Node> {
    let source = notes.source();
    if source.text().len() > BYTES_MAX {
        let what = format!("this file has {} bytes; the most is {BYTES_MAX}", source.text().len());
        notes.push(Problem::new(source, 0..0, "", what, "split it into several files"));
        return None;
    }
    if source.text().lines().all(|line| line.trim_start().starts_with('#') || line.trim().is_empty()) {
        let right = "begin with `plan:`, `unit:` or `jig:` and a name";
        notes.push(Problem::new(source, 0..0, "", "this file says nothing", right));
        return None;
    }
    if let Some(at) = too_many_brackets(source.text()) {
        let right = "plans, unit files and jig files need far fewer levels";
        notes.push(Problem::new(source, at..at + 1, "", "this is nested too deeply", right));
        return None;
    }
    let mut survey = Survey { ordinal: 0, stop_at: None };
    let read = Shaped { survey: &mut survey, depth: 0, is_key: false }
        .deserialize(serde_yaml::Deserializer::from_str(source.text()))
        .and_then(|shape| {
            let mut reading = Reading { source, notes, ordinal: 0 };
            Filled { reading: &mut reading, shape: &shape, path: "".into() }
                .deserialize(serde_yaml::Deserializer::from_str(source.text()))
        });
    read.map_err(|error| notes.push(syntax::explained(source, &error))).ok()
}

/// Where more brackets are open than any file needs, those in texts and comments counted along.
fn too_many_brackets(text: &str) -> Option<usize> {
    let mut open = 0usize;
    text.bytes().position(|byte| {
        match byte {
            b'[' | b'{' => open += 1,
            b']' | b'}' => open = open.saturating_sub(1),
            _ => {}
        }
        open > BRACKETS_MAX
    })
}

/// What a thing is, before its words are read: serde_yaml must be asked for words as words, or `017` comes as a number.
enum Shape {
    Scalar,
    List(Vec<Shape>),
    Map(Vec<Shape>),
}

struct Survey {
    ordinal: usize,
    stop_at: Option<usize>,
}

impl Survey {
    fn count<E: de::Error>(&mut self) -> Result<(), E> {
        if self.stop_at == Some(self.ordinal) {
            return Err(syntax::own_error("found", ""));
        }
        self.ordinal += 1;
        if self.ordinal > NODES_MAX {
            return Err(syntax::own_error("this file says too much", "split it into several files, or use `repeat`"));
        }
        Ok(())
    }
}

/// The first reading: only the shape.
struct Shaped<'s> {
    survey: &'s mut Survey,
    depth: usize,
    is_key: bool,
}

impl<'de> DeserializeSeed<'de> for Shaped<'_> {
    type Value = Shape;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Shape, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl Shaped<'_> {
    fn scalar<E: de::Error>(self) -> Result<Shape, E> {
        self.survey.count()?;
        Ok(Shape::Scalar)
    }

    fn deeper<E: de::Error>(&self) -> Result<usize, E> {
        if self.is_key {
            return Err(syntax::own_error("a key is a single word here", "write `key: value`"));
        }
        if self.depth >= DEPTH_MAX {
            return Err(syntax::own_error(
                "this is nested too deeply",
                "plans, unit files and jig files need far fewer levels",
            ));
        }
        Ok(self.depth + 1)
    }
}

impl<'de> Visitor<'de> for Shaped<'_> {
    type Value = Shape;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a value, a list or a map")
    }

    fn visit_bool<E: de::Error>(self, _: bool) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_i64<E: de::Error>(self, _: i64) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_u64<E: de::Error>(self, _: u64) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_i128<E: de::Error>(self, _: i128) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_u128<E: de::Error>(self, _: u128) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_f64<E: de::Error>(self, _: f64) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_str<E: de::Error>(self, _: &str) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_unit<E: de::Error>(self) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_none<E: de::Error>(self) -> Result<Shape, E> {
        self.scalar()
    }

    fn visit_enum<A: EnumAccess<'de>>(self, _: A) -> Result<Shape, A::Error> {
        Err(syntax::own_error(
            "tags (`!word`) have no meaning here",
            "leave the tag out; put the text in quotes if it is a text",
        ))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Shape, A::Error> {
        self.survey.count()?;
        let depth = self.deeper()?;
        let mut shapes = Vec::new();
        while let Some(shape) = items.next_element_seed(Shaped { survey: self.survey, depth, is_key: false })? {
            shapes.push(shape);
        }
        Ok(Shape::List(shapes))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Shape, A::Error> {
        self.survey.count()?;
        let depth = self.deeper()?;
        let mut shapes = Vec::new();
        while entries.next_key_seed(Shaped { survey: self.survey, depth, is_key: true })?.is_some() {
            shapes.push(entries.next_value_seed(Shaped { survey: self.survey, depth, is_key: false })?);
        }
        Ok(Shape::Map(shapes))
    }
}

struct Reading<'s> {
    source: &'s Source,
    notes: &'s Notes,
    ordinal: usize,
}

impl Reading<'_> {
    fn next(&mut self, path: Arc<str>, span: Option<Range<usize>>) -> Place {
        self.ordinal += 1;
        Place { span, ordinal: self.ordinal - 1, path }
    }

    /// Where a word stands that was lent from the text itself.
    fn span_of(&self, word: &str) -> Option<Range<usize>> {
        let start = (word.as_ptr() as usize).checked_sub(self.source.text().as_ptr() as usize)?;
        let span = start..start + word.len();
        (!word.is_empty() && self.source.text().get(span.clone()) == Some(word)).then_some(span)
    }
}

/// The second reading: the words, guided by the shape.
struct Filled<'r, 's> {
    reading: &'r mut Reading<'s>,
    shape: &'r Shape,
    path: Arc<str>,
}

impl<'de> DeserializeSeed<'de> for Filled<'_, '_> {
    type Value = Node;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Node, D::Error> {
        match self.shape {
            Shape::Scalar => deserializer.deserialize_str(self),
            Shape::List(_) => deserializer.deserialize_seq(self),
            Shape::Map(_) => deserializer.deserialize_map(self),
        }
    }
}

impl<'de> Visitor<'de> for Filled<'_, '_> {
    type Value = Node;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("the same as in the first reading")
    }

    fn visit_borrowed_str<E: de::Error>(self, word: &'de str) -> Result<Node, E> {
        let span = self.reading.span_of(word);
        Ok(Node::Scalar(Scalar { text: word.into(), at: self.reading.next(self.path, span) }))
    }

    fn visit_str<E: de::Error>(self, word: &str) -> Result<Node, E> {
        Ok(Node::Scalar(Scalar { text: word.into(), at: self.reading.next(self.path, None) }))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut access: A) -> Result<Node, A::Error> {
        let at = self.reading.next(self.path.clone(), None);
        let shapes = if let Shape::List(shapes) = self.shape { shapes.as_slice() } else { &[] };
        let mut items = Vec::with_capacity(shapes.len());
        for (number, shape) in shapes.iter().enumerate() {
            let path = format!("{}[{number}]", self.path).into();
            items.extend(access.next_element_seed(Filled { reading: self.reading, shape, path })?);
        }
        // serde_yaml wants to be told that the end was seen.
        while access.next_element::<de::IgnoredAny>()?.is_some() {}
        Ok(Node::List(List { items, at }))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Node, A::Error> {
        let start = self.reading.next(self.path.clone(), None);
        let shapes = if let Shape::Map(shapes) = self.shape { shapes.as_slice() } else { &[] };
        let mut entries: Vec<(Scalar, Node)> = Vec::with_capacity(shapes.len());
        let mut seen = HashSet::with_capacity(shapes.len());
        for shape in shapes {
            let key = Filled { reading: self.reading, shape: &Shape::Scalar, path: self.path.clone() };
            let Some(Node::Scalar(mut key)) = access.next_key_seed(key)? else { break };
            let dot = if self.path.is_empty() { "" } else { "." };
            let path: Arc<str> = format!("{}{dot}{}", self.path, key.text).into();
            key.at.path = path.clone();
            let node = access.next_value_seed(Filled { reading: self.reading, shape, path })?;
            if seen.insert(key.text.clone()) {
                entries.push((key, node));
            } else {
                let what = format!("the key `{}` stands here a second time", key.text);
                self.reading.notes.add(&key.at, what, "keep one of the two");
            }
        }
        while access.next_entry::<de::IgnoredAny, de::IgnoredAny>()?.is_some() {}
        let at = entries.first().map_or(start.clone(), |(key, _)| Place { path: start.path, ..key.at.clone() });
        Ok(Node::Map(Map { entries, at }))
    }
}

/// Finds the thing with this number by a reading that fails there.
fn find(source: &Source, ordinal: usize) -> Range<usize> {
    let mut survey = Survey { ordinal: 0, stop_at: Some(ordinal) };
    let stopped = Shaped { survey: &mut survey, depth: 0, is_key: false }
        .deserialize(serde_yaml::Deserializer::from_str(source.text()));
    let start = stopped.err().and_then(|error| error.location()).map_or(0, |location| location.index());
    syntax::token(source.text(), start)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tree(text: &str) -> (Option<Node>, Notes, Source) {
        let source = Source::new("a.yaml", text);
        let notes = Notes::on(&source);
        (read(&notes), notes, source)
    }

    fn shown(text: &str) -> String {
        let (node, notes, _) = tree(text);
        let problems = notes.finish(node).map(|_| ()).unwrap_err();
        problems.iter().map(|problem| format!("{}:{}: {}\n", problem.line, problem.column, problem.what)).collect()
    }

    fn walk<'n>(node: &'n Node, into: &mut Vec<&'n Scalar>) {
        match node {
            Node::Scalar(scalar) => into.push(scalar),
            Node::List(list) => list.items.iter().for_each(|item| walk(item, into)),
            Node::Map(map) => map.entries.iter().for_each(|(key, node)| {
                into.push(key);
                walk(node, into);
            }),
        }
    }

    #[test]
    fn every_word_knows_its_place_and_is_read_as_written() {
        let text = "µ name: 017\nlist: [no, ~, \"q\", 'it''s', \"a\\tb\"]\nempty:\n? long\n: >\n  folded\n  text\nx: &a {y: 0x1F}\nz: *a\n";
        let (node, _, source) = tree(text);
        let node = node.unwrap();
        let mut words = Vec::new();
        walk(&node, &mut words);
        let seen: Vec<(&str, usize, usize, &str)> = words
            .iter()
            .map(|word| {
                let (line, column) = source.line_and_column(word.at.span(&source).start);
                (word.text.as_str(), line, column, word.at.path())
            })
            .collect();
        assert_eq!(
            seen,
            [
                ("µ name", 1, 1, "µ name"),
                ("017", 1, 9, "µ name"),
                ("list", 2, 1, "list"),
                ("no", 2, 8, "list[0]"),
                ("~", 2, 12, "list[1]"),
                ("q", 2, 16, "list[2]"),
                ("it's", 2, 20, "list[3]"),
                ("a\tb", 2, 29, "list[4]"),
                ("empty", 3, 1, "empty"),
                ("", 3, 7, "empty"),
                ("long", 4, 3, "long"),
                ("folded text\n", 5, 3, "long"),
                ("x", 8, 1, "x"),
                ("y", 8, 8, "x.y"),
                ("0x1F", 8, 11, "x.y"),
                ("z", 9, 1, "z"),
                ("y", 8, 8, "z.y"),
                ("0x1F", 8, 11, "z.y"),
            ]
        );
    }

    #[test]
    fn lists_and_empty_maps_are_found_too() {
        let (node, _, source) = tree("a:\n  - [1]\n  - {}\n");
        let Some(Node::Map(root)) = node else { panic!("a map") };
        let Some(Node::List(list)) = root.get("a") else { panic!("a list") };
        let places: Vec<_> =
            list.items.iter().map(|item| source.line_and_column(item.at().span(&source).start)).collect();
        assert_eq!(places, [(2, 5), (3, 5)]);
    }

    #[test]
    fn a_key_twice_is_noted_where_it_stands_again() {
        assert_eq!(
            shown("a: 1\nb: {c: 1, c: 2}\na: 3\n"),
            "2:11: the key `c` stands here a second time\n3:1: the key `a` stands here a second time\n"
        );
    }

    #[test]
    fn bombs_do_not_go_off() {
        let deep = format!("a: {}1{}", "[".repeat(100), "]".repeat(100));
        assert!(shown(&deep).contains("nested too deeply"), "{}", shown(&deep));
        // The reader itself would be at this for half an hour.
        let abyss = format!("a: {}", "[".repeat(1_000_000));
        assert_eq!(shown(&abyss), "1:1004: this is nested too deeply\n");
        let mut laughs = String::from("a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n");
        for level in 1..9 {
            let parts = vec![format!("*a{}", level - 1); 10].join(", ");
            laughs += &format!("a{level}: &a{level} [{parts}]\n");
        }
        let said = shown(&laughs);
        assert!(said.contains("far too long") || said.contains("says too much"), "{said}");
        assert!(shown(&"a: 1\n".repeat(1_000_000)).contains("the most is"));
    }
}
