//! The text of a jig file with one channel's calibration changed, and every other character as it was.
//!
//! Only the words that change are exchanged, at the places that the reader of the file reports; keys that are missing are
//! added to the channel's own map. A channel that is an alias (`light 2: *light`) gets a map of its own; where the channel
//! is what others repeat (`light 1: &light { … }`), the first of those takes over the old one. The result is read again and
//! has to be the old file but for this channel, or nothing comes of it.

use super::Target;
use crate::jig::{Dates, JigFile, SampleInput, TickClock};
use crate::quantity::Quantity;
use crate::written::{Map, Mistake, Node, Notes, Scalar, Source, read};
use std::ops::Range;

/// What a channel's calibration is to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Renewal {
    /// The channel with its new numbers.
    pub calibrated: Target,
    pub dates: Dates,
    /// Under what conditions, in words.
    pub environment: Option<String>,
}

/// A jig file's new text.
#[derive(Debug, Clone, PartialEq)]
pub struct Rewritten {
    pub text: String,
    /// Each key that is written, with what stood there before, as in the file.
    pub changes: Vec<Change>,
}

/// One key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    pub key: &'static str,
    pub before: Option<String>,
    pub now: String,
}

/// The new text of the jig file whose text is `source`.
///
/// # Errors
/// Where the file is written in a way that cannot be changed without changing more.
pub fn rewrite(source: &Source, jig: &JigFile, renewal: &Renewal) -> Result<Rewritten, Mistake> {
    let name = renewal.calibrated.name();
    let cannot = |why: &str| {
        let right = format!("write `{name}` as one map in braces, each key with its value, and calibrate again");
        Mistake::new(format!("the calibration of `{name}` cannot be written into this file: {why}"), right)
    };
    let root = read(&Notes::on(source)).ok_or_else(|| cannot("it cannot be read"))?;
    let entry = entry(&root, &renewal.calibrated, &name).ok_or_else(|| cannot("it is not there"))?;
    let file = Text { source, text: source.text() };
    let place = file.place(&entry).ok_or_else(|| cannot("its map is written in an unusual way"))?;
    let changes = changes(entry.map, renewal);
    let edits = match place {
        Written::Own => file.in_place(entry.map, &changes),
        Written::Alias(extent) => file.flow(entry.map, &changes).map(|map| vec![(extent, map)]),
        Written::Anchored { anchor, extent } => match file.alias(&anchor, &entry) {
            None => file.in_place(entry.map, &changes),
            Some(_) if file.text[extent.clone()].contains('#') => {
                return Err(cannot("a comment in its map would be lost"));
            }
            Some(heir) => file
                .flow(entry.map, &changes)
                .zip(file.flow(entry.map, &[]))
                .map(|(own, inherited)| vec![(extent, own), (heir, format!("&{anchor} {inherited}"))]),
        },
    };
    let text = file.edited(edits.ok_or_else(|| cannot("a value of it is written in an unusual way"))?);
    if reread(source, &text, jig, renewal) {
        return Ok(Rewritten { text, changes });
    }
    Err(cannot("more than this channel would change"))
}

/// Whether the new text is the old file but for the one channel, and that one as it should be.
fn reread(source: &Source, text: &str, jig: &JigFile, renewal: &Renewal) -> bool {
    let Ok(mut new) = JigFile::read(&Source::new(source.name(), text)) else { return false };
    let name = renewal.calibrated.name();
    let (Ok(now), Ok(before)) = (Target::named(&new, &name), Target::named(jig, &name)) else { return false };
    let as_meant = now.terms().iter().zip(renewal.calibrated.terms()).all(|(now, meant)| {
        let slack = match meant.uncertainty {
            Some(uncertainty) => 0.01 * uncertainty,
            None => 0.1 * meant.si,
        };
        (now.si - meant.si).abs() <= slack + 1e-9 * meant.si.abs()
    });
    let told = as_meant && now.dates() == renewal.dates && new.environments.get(&name) == renewal.environment.as_ref();
    put(&mut new, with_numbers_of(now, &before));
    new.environments.remove(&name);
    new.environments.extend(jig.environments.get(&name).map(|words| (name, words.clone())));
    told && new == *jig
}

/// A channel's key with its map.
struct Entry<'n> {
    key: &'n Scalar,
    map: &'n Map,
    /// The entries that it stands among.
    among: &'n Map,
}

fn entry<'n>(root: &'n Node, target: &Target, name: &str) -> Option<Entry<'n>> {
    let Node::Map(root) = root else { return None };
    let among = match target {
        Target::Sample(_) => match root.get("samples")? {
            Node::Map(samples) => samples,
            _ => return None,
        },
        Target::Clock(_) | Target::Encoder(_) => root,
    };
    let (key, node) = among.entries.iter().find(|(key, _)| key.text == name)?;
    let Node::Map(map) = node else { return None };
    Some(Entry { key, map, among })
}

/// How a channel's map stands in the file.
enum Written {
    /// As a map of its own.
    Own,
    /// As `*name`, here.
    Alias(Range<usize>),
    /// As `&name { … }`, here.
    Anchored { anchor: String, extent: Range<usize> },
}

/// What takes the place of some bytes.
type Edit = (Range<usize>, String);

struct Text<'s> {
    source: &'s Source,
    text: &'s str,
}

impl Text<'_> {
    fn place(&self, entry: &Entry<'_>) -> Option<Written> {
        let start = self.value_start(entry.key)?;
        match self.text.as_bytes().get(start) {
            Some(b'*') => Some(Written::Alias(start..self.word_end(start))),
            Some(b'&') => {
                let name_end = self.word_end(start);
                let anchor = self.text[start + 1..name_end].to_owned();
                let mut end = self.last_value_end(entry.map)?;
                if self.text[name_end..].trim_start_matches([' ', '\t']).starts_with('{') {
                    end += self.text[end..].find('}')? + 1;
                }
                Some(Written::Anchored { anchor, extent: start..end })
            }
            _ => Some(Written::Own),
        }
    }

    /// Where the value of a key begins on the key's own line; the end of that line where nothing stands there.
    fn value_start(&self, key: &Scalar) -> Option<usize> {
        let key = self.quoted(key.at.span(self.source));
        let rest = self.text.get(key.end..)?;
        let after = rest.trim_start_matches([' ', '\t']).strip_prefix(':')?;
        let value = after.trim_start_matches([' ', '\t']);
        Some(self.text.len() - value.len())
    }

    /// A word with the quotes about it.
    fn quoted(&self, word: Range<usize>) -> Range<usize> {
        let sign = |at: usize| self.text.as_bytes().get(at).copied().filter(|sign| matches!(sign, b'"' | b'\''));
        match (word.start.checked_sub(1).and_then(sign), sign(word.end)) {
            (Some(before), Some(after)) if before == after => word.start - 1..word.end + 1,
            _ => word,
        }
    }

    /// The end of an anchor or an alias.
    fn word_end(&self, start: usize) -> usize {
        let rest = &self.text[start..];
        start + rest.find(|sign: char| sign.is_whitespace() || ",[]{}".contains(sign)).unwrap_or(rest.len())
    }

    /// A value as it stands in the file: an alias, a text in quotes, or a plain word.
    fn value(&self, key: &Scalar, node: &Node) -> Option<Range<usize>> {
        let Node::Scalar(word) = node else { return None };
        let start = self.value_start(key)?;
        let rest = &self.text[start..];
        match rest.as_bytes().first()? {
            b'*' => Some(start..self.word_end(start)),
            b'"' => {
                let mut is_escaped = false;
                let end = rest[1..].find(|sign: char| {
                    let ends = sign == '"' && !is_escaped;
                    is_escaped = sign == '\\' && !is_escaped;
                    ends
                })?;
                Some(start..start + end + 2)
            }
            b'\'' => {
                let bytes = rest.as_bytes();
                let mut at = 1;
                while bytes.get(at..at + 2) == Some(b"''") || *bytes.get(at)? != b'\'' {
                    at += if bytes.get(at..at + 2) == Some(b"''") { 2 } else { 1 };
                }
                Some(start..start + at + 1)
            }
            _ => Some(word.at.span(self.source)).filter(|span| span.start == start),
        }
    }

    fn last_value_end(&self, map: &Map) -> Option<usize> {
        let ends = map.entries.iter().map(|(key, node)| self.value(key, node).map(|extent| extent.end));
        ends.collect::<Option<Vec<_>>>()?.into_iter().max()
    }

    /// The map in braces, with what changes.
    fn flow(&self, map: &Map, changes: &[Change]) -> Option<String> {
        let mut parts = Vec::new();
        for (key, node) in &map.entries {
            let change = changes.iter().find(|change| change.key == key.text);
            let value = match change {
                Some(change) => change.now.clone(),
                None => self.text[self.value(key, node)?].to_owned(),
            };
            parts.push(format!("{}: {value}", self.text.get(self.quoted(key.at.span(self.source)))?));
        }
        let added = changes.iter().filter(|change| map.get(change.key).is_none());
        parts.extend(added.map(|change| format!("{}: {}", change.key, change.now)));
        Some(format!("{{ {} }}", parts.join(", ")))
    }

    /// The edits that change a map where it stands.
    fn in_place(&self, map: &Map, changes: &[Change]) -> Option<Vec<Edit>> {
        let mut edits = Vec::new();
        let mut added = Vec::new();
        for change in changes {
            match map.entries.iter().find(|(key, _)| key.text == change.key) {
                Some((key, node)) => edits.push((self.value(key, node)?, change.now.clone())),
                None => added.push(format!("{}: {}", change.key, change.now)),
            }
        }
        if !added.is_empty() {
            edits.push(self.addition(map, &added)?);
        }
        Some(edits)
    }

    /// Where keys are added to a map, and as what.
    fn addition(&self, map: &Map, added: &[String]) -> Option<Edit> {
        let (first, _) = map.entries.first()?;
        let begin = self.quoted(first.at.span(self.source)).start;
        let line = &self.text[self.text[..begin].rfind('\n').map_or(0, |end| end + 1)..begin];
        let end = self.last_value_end(map)?;
        if line.chars().all(|sign| sign == ' ') && !self.is_in_braces(begin) {
            let line_end = self.text[end..].find('\n').map_or(self.text.len(), |length| end + length);
            let at = line_end - usize::from(self.text[..line_end].ends_with('\r'));
            let ending = if self.text.contains("\r\n") { "\r\n" } else { "\n" };
            return Some((at..at, added.iter().map(|key| format!("{ending}{line}{key}")).collect()));
        }
        Some((end..end, added.iter().map(|key| format!(", {key}")).collect()))
    }

    /// Whether the first key of a map follows a brace, on its line or an earlier one.
    fn is_in_braces(&self, begin: usize) -> bool {
        self.text[..begin].trim_end().ends_with('{')
    }

    /// Where this anchor is first repeated among the same entries.
    fn alias(&self, anchor: &str, entry: &Entry<'_>) -> Option<Range<usize>> {
        let wanted = format!("*{anchor}");
        let values = entry.among.entries.iter().filter_map(|(key, _)| self.value_start(key));
        values.map(|start| start..self.word_end(start)).find(|extent| self.text[extent.clone()] == wanted)
    }

    fn edited(&self, mut edits: Vec<Edit>) -> String {
        edits.sort_by_key(|(extent, _)| extent.start);
        let mut text = self.text.to_owned();
        for (extent, words) in edits.into_iter().rev() {
            text.replace_range(extent, &words);
        }
        text
    }
}

/// Each key that is to be written, with what stands there now. A number keeps the unit that it was written in.
fn changes(map: &Map, renewal: &Renewal) -> Vec<Change> {
    let change = |key, now: String| {
        let before = match map.get(key) {
            Some(Node::Scalar(word)) => Some(word.text.trim().to_owned()),
            _ => None,
        };
        Change { key, before, now }
    };
    let mut changes = Vec::new();
    for term in renewal.calibrated.terms() {
        let mut change = change(term.key, String::new());
        let written = change.before.as_deref().and_then(|text| Quantity::parse(text, term.dimension).ok());
        change.now = term.text(written.map_or_else(|| term.usual_unit(), Quantity::unit));
        changes.push(change);
    }
    changes.push(change("calibrated", renewal.dates.calibrated.to_string()));
    changes.push(change("due", renewal.dates.due.to_string()));
    changes.extend(renewal.environment.as_ref().map(|words| change("environment", in_quotes(words))));
    changes
}

/// Words as a YAML text in double quotes.
fn in_quotes(words: &str) -> String {
    format!("\"{}\"", words.replace('\\', "\\\\").replace('"', "\\\""))
}

/// A channel with the numbers and dates of another.
fn with_numbers_of(own: Target, other: &Target) -> Target {
    match (own, other) {
        (Target::Sample(own), Target::Sample(other)) => {
            Target::Sample(SampleInput { calibration: other.calibration, dates: other.dates, ..own })
        }
        (Target::Clock(own), Target::Clock(other)) => {
            let TickClock { error, uncertainty, dates, .. } = *other;
            Target::Clock(TickClock { error, uncertainty, dates, ..own })
        }
        (_, other) => *other,
    }
}

/// Puts a channel in the place of the one of its name.
fn put(jig: &mut JigFile, target: Target) {
    match target {
        Target::Sample(input) => {
            jig.samples.iter_mut().filter(|own| own.channel == input.channel).for_each(|own| *own = input);
        }
        Target::Clock(clock) => jig.clock = clock,
        Target::Encoder(encoder) => jig.encoder = Some(encoder),
    }
}

#[cfg(test)]
mod tests;
