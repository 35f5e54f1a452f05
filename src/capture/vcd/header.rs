//! The definitions of a dump: its timescale, and which identifier code stands for which signal.

use super::is_blank;
use crate::capture::chunks::Chunks;
use crate::capture::wires::LISTED_MAX;
use crate::capture::{Channel, EdgeChannel, ForeignError, Tick, Wire};
use std::io::Read;

/// A tick is no finer than this many to the second: ticks then stay exact in double arithmetic for a hundred days.
const TICKS_PER_SECOND_MAX: u64 = 1_000_000_000;

/// What the definitions say.
pub struct Header {
    pub clock: DumpClock,
    /// The signal of each wire.
    pub signals: Vec<Signal>,
}

/// How a dump's times become ticks: time × `times` / `per`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DumpClock {
    pub ticks_per_second: u64,
    pub times: u64,
    pub per: u64,
}

impl DumpClock {
    /// From `1`, `10` or `100`, a power of ten of a second, and how many such units make a tick of the clock behind it.
    fn new(count: u64, power: u32, units: u64) -> Self {
        // From seconds down every unit is a whole part of one.
        let per_second = 10u64.pow(power);
        let rate = per_second / count;
        if units > 1 && rate.is_multiple_of(units) && rate / units <= TICKS_PER_SECOND_MAX {
            return Self { ticks_per_second: rate / units, times: 1, per: units };
        }
        if power == 0 {
            return Self { ticks_per_second: 1, times: count, per: 1 };
        }
        if rate <= TICKS_PER_SECOND_MAX {
            Self { ticks_per_second: rate, times: 1, per: 1 }
        } else {
            Self { ticks_per_second: TICKS_PER_SECOND_MAX, times: 1, per: rate / TICKS_PER_SECOND_MAX }
        }
    }

    /// The tick nearest to a time of the dump; `None` beyond what a tick can be.
    #[inline]
    pub fn tick(&self, time: u64) -> Option<Tick> {
        let scaled = if self.per == 1 {
            time.checked_mul(self.times)?
        } else {
            time / self.per + u64::from(time % self.per * 2 >= self.per)
        };
        (scaled < 1 << 62).then_some(scaled)
    }
}

/// A signal that a wire stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signal {
    /// Its identifier code.
    pub code: Vec<u8>,
    /// Which bit of it, counted from the right; all of it where none was named.
    pub bit: Option<usize>,
    /// How many bits it was declared with.
    pub size: usize,
    pub is_real: bool,
    /// Whether each of its changes is a pulse: a Verilog event.
    pub is_event: bool,
    /// Whether its numbers are in two's complement.
    pub is_signed: bool,
    full_name: String,
}

impl Header {
    pub fn read<R: Read>(chunks: &mut Chunks<R>, wires: &[Wire]) -> Result<Self, ForeignError> {
        let mut reading = Reading {
            wires,
            found: vec![Vec::new(); wires.len()],
            scopes: Vec::new(),
            known: Vec::new(),
            clock: None,
            tick: 1,
        };
        let mut section = Section::default();
        loop {
            let place = chunks.place();
            let text = chunks.whole(is_blank)?;
            if text.is_empty() {
                return Err(ForeignError::malformed(
                    format!("byte {place}"),
                    "the file ends before its definitions do",
                    "take a copy that is whole",
                ));
            }
            let mut at = 0;
            while at < text.len() {
                if is_blank(text[at]) {
                    at += 1;
                    continue;
                }
                let end = at + text[at..].iter().position(|byte| is_blank(*byte)).unwrap_or(text.len() - at);
                match section.token(&text[at..end], place + at as u64, &mut reading)? {
                    Next::More => at = end,
                    Next::BodyAt(offset) => {
                        let used = at + offset;
                        chunks.used(used);
                        return reading.finish();
                    }
                }
            }
            let used = text.len();
            chunks.used(used);
        }
    }
}

/// What follows a token of the definitions.
enum Next {
    More,
    /// The body begins so many bytes into the token.
    BodyAt(usize),
}

/// The section that is being read: its keyword and words.
#[derive(Default)]
struct Section {
    keyword: Vec<u8>,
    words: Vec<String>,
    length: usize,
}

/// Text of one section; comments beyond it are not kept.
const SECTION_MAX: usize = 1 << 16;

impl Section {
    fn token(&mut self, token: &[u8], place: u64, reading: &mut Reading<'_>) -> Result<Next, ForeignError> {
        if self.keyword.is_empty() {
            return self.begin(token, place, reading);
        }
        let (word, ends) = match token.strip_suffix(b"$end") {
            Some(word) => (word, true),
            None => (token, false),
        };
        self.length += word.len();
        if !word.is_empty() && self.length <= SECTION_MAX {
            self.words.push(String::from_utf8_lossy(word).into_owned());
        }
        if !ends {
            return Ok(Next::More);
        }
        let done = std::mem::take(self);
        if done.keyword == b"$enddefinitions" {
            return Ok(Next::BodyAt(token.len()));
        }
        reading.section(&done, place)?;
        Ok(Next::More)
    }

    fn begin(&mut self, token: &[u8], place: u64, reading: &mut Reading<'_>) -> Result<Next, ForeignError> {
        let body = [&b"$dumpvars"[..], b"$dumpall", b"$dumpon", b"$dumpoff"];
        if token[0] == b'#' || body.contains(&token) {
            // The definitions were never ended; some writers forget it.
            return Ok(Next::BodyAt(0));
        }
        if token == b"$end" {
            return Ok(Next::More);
        }
        if token[0] != b'$' {
            return Err(ForeignError::malformed(
                format!("byte {place}"),
                format!("`{}` stands where a section such as $timescale or $var should begin", shown(token)),
                if reading.clock.is_none() {
                    "name a value change dump (VCD), a CSV or a capture of railproof"
                } else {
                    "take a copy that is whole"
                },
            ));
        }
        if let Some(keyword) = token.strip_suffix(b"$end").filter(|keyword| !keyword.is_empty()) {
            if keyword == b"$enddefinitions" {
                return Ok(Next::BodyAt(token.len()));
            }
            return reading
                .section(&Section { keyword: keyword.to_vec(), ..Self::default() }, place)
                .map(|()| Next::More);
        }
        self.keyword = token[..token.len().min(64)].to_vec();
        Ok(Next::More)
    }
}

pub(super) fn shown(token: &[u8]) -> String {
    let text: String =
        String::from_utf8_lossy(&token[..token.len().min(40)]).chars().flat_map(char::escape_debug).collect();
    if token.len() > 40 { format!("{text}…") } else { text }
}

/// What the definitions have said so far.
struct Reading<'a> {
    wires: &'a [Wire],
    /// Signals that may be meant by each wire.
    found: Vec<Vec<Signal>>,
    scopes: Vec<String>,
    /// Names for a message.
    known: Vec<String>,
    /// The timescale: its number and its power of ten of a second.
    clock: Option<(u64, u32)>,
    /// How many times the timescale a tick is, where the dump says so.
    tick: u64,
}

/// A dump with deeper scopes was not made by hand or tool.
const SCOPES_MAX: usize = 1000;

impl Reading<'_> {
    fn section(&mut self, section: &Section, place: u64) -> Result<(), ForeignError> {
        let place = || format!("byte {place}");
        match &section.keyword[..] {
            b"$timescale" => {
                let text = section.words.concat();
                let clock = timescale(&text).ok_or_else(|| {
                    ForeignError::malformed(
                        place(),
                        format!("`{text}` is no timescale"),
                        "write 1, 10 or 100 and s, ms, us, ns, ps or fs, for example $timescale 1 us $end",
                    )
                })?;
                self.clock = Some(clock);
            }
            b"$scope" => {
                if self.scopes.len() >= SCOPES_MAX {
                    return Err(ForeignError::malformed(
                        place(),
                        "more than 1000 scopes lie in each other",
                        "take a copy that is whole",
                    ));
                }
                self.scopes.push(section.words.get(1..).unwrap_or_default().join(" "));
            }
            b"$upscope" => drop(self.scopes.pop()),
            b"$comment" => self.tick = super::write::tick(&section.words.join(" ")).unwrap_or(self.tick),
            b"$var" => self.variable(&section.words, &place)?,
            _ => {}
        }
        Ok(())
    }

    /// `$var type size code reference [range] $end`; a reference may have blanks in it.
    fn variable(&mut self, words: &[String], place: &dyn Fn() -> String) -> Result<(), ForeignError> {
        let [kind, size, code, reference @ ..] = words else {
            return Err(ForeignError::malformed(
                place(),
                "this $var has too few words",
                "write type, size, code and name",
            ));
        };
        let mut reference = reference.join(" ");
        if reference.is_empty() {
            // Some writers give an unnamed pin its code for a name.
            reference.clone_from(code);
        }
        let size: usize = size.parse().ok().filter(|size| *size <= 1 << 20).ok_or_else(|| {
            ForeignError::malformed(
                place(),
                format!("`{size}` is no size of a variable"),
                "write the number of its bits",
            )
        })?;
        let path: String = self.scopes.iter().map(|scope| format!("{scope}.")).collect();
        let variable = Variable { kind, size, code, reference: &reference, path: &path };
        if self.known.len() <= LISTED_MAX {
            self.known.push(reference.clone());
        }
        for (wire, found) in self.wires.iter().zip(&mut self.found) {
            if let Some(signal) = variable.signal(&wire.name).filter(|signal| !found.contains(signal)) {
                found.push(signal);
                // Two suffice to say that the name is not enough.
                found.truncate(LISTED_MAX);
            }
        }
        Ok(())
    }

    fn finish(self) -> Result<Header, ForeignError> {
        let clock = self.clock.ok_or_else(|| {
            ForeignError::malformed(
                "the definitions",
                "there is no $timescale, so its times mean nothing",
                "add a line such as $timescale 1 us $end",
            )
        })?;
        let signals = self
            .wires
            .iter()
            .zip(self.found)
            .map(|(wire, found)| {
                let signal = settle(&wire.name, found, &self.known)?;
                fits(wire, &signal)?;
                Ok(signal)
            })
            .collect::<Result<Vec<_>, ForeignError>>()?;
        Ok(Header { clock: DumpClock::new(clock.0, clock.1, self.tick), signals })
    }
}

/// The one signal that is meant: an exact full name wins over the name inside a scope; aliases of one code are one.
fn settle(name: &str, mut found: Vec<Signal>, known: &[String]) -> Result<Signal, ForeignError> {
    if let Some(exact) = found.iter().position(|signal| signal.full_name == name) {
        found.swap(0, exact);
        found.truncate(1);
    }
    let Some(first) = found.first().cloned() else {
        return Err(ForeignError::NoSignal { name: name.to_owned(), known: known.to_vec() });
    };
    if found.iter().any(|other| (&other.code, other.bit) != (&first.code, first.bit)) {
        let candidates = found.into_iter().map(|signal| signal.full_name).collect();
        return Err(ForeignError::Ambiguous { name: name.to_owned(), candidates });
    }
    Ok(first)
}

fn fits(wire: &Wire, signal: &Signal) -> Result<(), ForeignError> {
    let is_step = wire.channel == Channel::Edge(EdgeChannel::Step);
    let why = match wire.channel {
        Channel::Sample(_) if signal.is_event => "it is an event, which has no value".to_owned(),
        Channel::Sample(_) => return Ok(()),
        _ if signal.is_real => "it is a real, and the channel is a digital line".to_owned(),
        _ if signal.is_event && !is_step => "it is an event, which has no level; only `step` can be one".to_owned(),
        _ if signal.size > 1 && signal.bit.is_none() => {
            format!("it has {} bits; name one of them, for example {}[0]", signal.size, split_range(&wire.name).0)
        }
        _ => return Ok(()),
    };
    Err(ForeignError::Unfit { name: wire.name.clone(), channel: wire.channel.name(), why })
}

/// A variable as it was declared.
struct Variable<'a> {
    kind: &'a str,
    size: usize,
    code: &'a str,
    reference: &'a str,
    path: &'a str,
}

impl Variable<'_> {
    /// The signal, where `wanted` names it or one of its bits, with or without its scopes.
    fn signal(&self, wanted: &str) -> Option<Signal> {
        let (base, range) = split_range(self.reference);
        // One bit of a vector that was declared by itself is `bus [3]` and never `bus`.
        let is_lone_bit = range.is_some_and(|(left, right)| left == right);
        let bit = if self.is_called(self.reference, wanted) || (!is_lone_bit && self.is_called(base, wanted)) {
            None
        } else {
            let (wanted_base, wanted_range) = split_range(wanted);
            let (bit, _) = wanted_range.filter(|(left, right)| left == right && self.is_called(base, wanted_base))?;
            let (left, right) = range.unwrap_or((self.size as i64 - 1, 0));
            let offset = if left >= right { bit - right } else { right - bit };
            Some(usize::try_from(offset).ok().filter(|offset| *offset < self.size)?)
        };
        Some(Signal {
            code: self.code.as_bytes().to_vec(),
            bit,
            size: self.size,
            is_real: matches!(self.kind, "real" | "realtime"),
            is_event: self.kind == "event",
            is_signed: self.kind == "integer",
            full_name: format!("{}{}", self.path, self.reference),
        })
    }

    /// Whether the signal `name` of this scope is meant by `wanted`: its full name or the end of it.
    fn is_called(&self, name: &str, wanted: &str) -> bool {
        // Blanks and the backslash of an escaped identifier are no part of a name.
        let plain = |text: &str| text.split_whitespace().collect::<String>().replace('\\', "");
        let (full, wanted) = (plain(&format!("{}{name}", self.path)), plain(wanted));
        full.strip_suffix(&wanted).is_some_and(|before| before.is_empty() || before.ends_with('.'))
    }
}

/// `bus[7:0]` is `bus` from 7 down to 0, `bus [3]` is `bus` from 3 to 3.
fn split_range(name: &str) -> (&str, Option<(i64, i64)>) {
    let split = || {
        let (base, range) = name.strip_suffix(']')?.rsplit_once('[')?;
        let (left, right) = range.split_once(':').unwrap_or((range, range));
        // A declaration's own bounds are small; larger ones would overflow their difference.
        let bound = |text: &str| text.trim().parse::<i32>().ok().map(i64::from);
        Some((base.trim_end(), (bound(left)?, bound(right)?)))
    };
    split().map_or((name, None), |(base, range)| (base, Some(range)))
}

/// `1us`, `100ps`.
fn timescale(text: &str) -> Option<(u64, u32)> {
    let digits = text.len() - text.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    let count = match &text[..digits] {
        "1" => 1,
        "10" => 10,
        "100" => 100,
        _ => return None,
    };
    let power = match &text[digits..] {
        "s" => 0,
        "ms" => 3,
        "us" | "µs" | "\u{3bc}s" => 6,
        "ns" => 9,
        "ps" => 12,
        "fs" => 15,
        _ => return None,
    };
    Some((count, power))
}
