//! The value changes of a dump: one pass over the bytes, nothing allocated per change.

use super::header::{Header, Signal, shown};
use super::is_blank;
use crate::capture::chunks::Chunks;
use crate::capture::wires::Intake;
use crate::capture::{ForeignError, TICK_MAX, Taken, Tick};
use std::collections::HashMap;
use std::io::Read;

/// Reads all value changes into `intake`.
pub fn read<R: Read>(chunks: &mut Chunks<R>, header: &Header, intake: Intake<'_>) -> Result<Taken, ForeignError> {
    let codes = Codes::of(&header.signals);
    let mut body = Body {
        header,
        codes,
        intake,
        origin: None,
        now: 0,
        expects: Expects::Anything,
        value: Vec::new(),
        off_since: None,
    };
    loop {
        let place = chunks.place();
        let text = chunks.whole(is_blank)?;
        let Some(last) = text.last() else { break };
        let is_cut = !is_blank(*last);
        body.text(text, place, is_cut);
        if body.intake.is_hopeless() {
            body.intake.finish(body.now);
            return Err(ForeignError::hopeless(format!("byte {place}")));
        }
        let used = text.len();
        chunks.used(used);
    }
    Ok(body.finish())
}

/// What the next token is.
#[derive(Clone, Copy, PartialEq)]
enum Expects {
    Anything,
    /// The identifier code behind a vector (`b`) or real (`r`).
    Code(u8),
    /// The end of a comment or of an unknown section.
    SectionEnd,
}

struct Body<'a, 'h> {
    header: &'h Header,
    codes: Codes,
    intake: Intake<'a>,
    /// The first time, from which ticks count.
    origin: Option<Tick>,
    now: Tick,
    expects: Expects,
    /// Digits of the vector or real whose code comes next.
    value: Vec<u8>,
    /// Since when dumping is switched off.
    off_since: Option<Tick>,
}

impl Body<'_, '_> {
    fn text(&mut self, text: &[u8], place: u64, is_cut: bool) {
        let mut at = 0;
        while at < text.len() {
            if is_blank(text[at]) {
                at += 1;
                continue;
            }
            let mut end = at + 1;
            while end < text.len() && !is_blank(text[end]) {
                end += 1;
            }
            let token = &text[at..end];
            if is_cut && end == text.len() && !token.starts_with(b"#") && token != b"$end" {
                self.lose(format!("the end of the dump, which was cut off within `{}`", shown(token)));
                self.expects = Expects::Anything;
                return;
            }
            self.token(token, place + at as u64);
            at = end;
        }
    }

    #[inline]
    fn token(&mut self, token: &[u8], place: u64) {
        match (self.expects, token[0]) {
            (Expects::Anything, b'#') => self.time(&token[1..], place),
            (Expects::Anything, first @ (b'0' | b'1' | b'x' | b'X' | b'z' | b'Z')) => {
                self.scalar(first, &token[1..], place)
            }
            (Expects::Anything, first @ (b'b' | b'B' | b'r' | b'R' | b's' | b'S')) => {
                self.value.clear();
                self.value.extend_from_slice(&token[1..]);
                self.expects = Expects::Code(first.to_ascii_lowercase());
            }
            (Expects::Anything, b'$') => self.keyword(token),
            (Expects::Anything, _) => self.lose(format!("a value change at byte {place}: `{}` is none", shown(token))),
            (Expects::Code(kind), _) => {
                self.expects = Expects::Anything;
                self.valued(kind, token, place);
            }
            (Expects::SectionEnd, _) if token.ends_with(b"$end") => self.expects = Expects::Anything,
            (Expects::SectionEnd, _) => {}
        }
    }

    #[inline]
    fn time(&mut self, digits: &[u8], place: u64) {
        // Up to eighteen digits cannot overflow.
        let mut time = 0u64;
        let mut is_number = !digits.is_empty() && digits.len() <= 18;
        for digit in digits {
            is_number &= digit.is_ascii_digit();
            time = time.wrapping_mul(10).wrapping_add(u64::from(digit.wrapping_sub(b'0')));
        }
        let time = if is_number { Some(time) } else { long_time(digits) };
        let Some(tick) = time.and_then(|time| self.header.clock.tick(time)) else {
            return self.lose(format!("what came at `#{}`, byte {place}, which is no time", shown(digits)));
        };
        let origin = *self.origin.get_or_insert(tick);
        match tick.checked_sub(origin).filter(|tick| *tick >= self.now) {
            Some(tick) if tick <= TICK_MAX => self.now = tick,
            Some(_) => {
                let digits = shown(digits);
                self.lose(format!("what came at #{digits}, byte {place}: no capture is that long after its beginning"));
            }
            None => self.lose(format!("the order of events: time goes back to #{} at byte {place}", shown(digits))),
        }
    }

    #[inline]
    fn scalar(&mut self, level: u8, code: &[u8], place: u64) {
        if code.is_empty() {
            return self.lose(format!("a value change at byte {place}: `{}` has no identifier code", level as char));
        }
        let Some(slot) = self.codes.slot(code) else { return };
        if self.off_since.is_some() {
            return;
        }
        for index in 0..self.codes.taps[slot].len() {
            let wire = self.codes.taps[slot][index];
            let signal = &self.header.signals[wire];
            if signal.is_event {
                self.intake.pulse(wire, self.now);
            } else if signal.bit.is_some_and(|bit| bit > 0) {
                // A scalar on a vector's code fills it from the left.
                self.intake.level(wire, self.now, extended(level));
            } else {
                self.levelled(wire, level);
            }
        }
    }

    /// A one-bit value, for a digital line or as a number.
    #[inline]
    fn levelled(&mut self, wire: usize, level: u8) {
        let known = known(level);
        self.intake.level(wire, self.now, known);
        if let Some(high) = known {
            self.intake.number(wire, self.now, f64::from(u8::from(high)));
        }
    }

    fn valued(&mut self, kind: u8, code: &[u8], place: u64) {
        let Some(slot) = self.codes.slot(code) else { return };
        if self.off_since.is_some() {
            return;
        }
        for index in 0..self.codes.taps[slot].len() {
            let wire = self.codes.taps[slot][index];
            let signal = &self.header.signals[wire];
            match kind {
                b'b' if !signal.is_real => self.vector(wire, place),
                b'r' if signal.is_real => self.real(wire, place),
                _ => self.lose(format!("a value of `{}` at byte {place}, which is not of its kind", shown(code))),
            }
        }
    }

    fn vector(&mut self, wire: usize, place: u64) {
        let signal = &self.header.signals[wire];
        if self.value.is_empty()
            || !self.value.iter().all(|digit| matches!(digit, b'0' | b'1' | b'x' | b'X' | b'z' | b'Z'))
        {
            let value = shown(&self.value);
            return self.lose(format!("a value change at byte {place}: `b{value}` is no vector"));
        }
        let leftmost = self.value[0];
        let digit = |bit: usize| self.value.iter().rev().nth(bit).copied();
        if let Some(bit) = signal.bit {
            let level = digit(bit).map_or_else(|| extended(leftmost), known);
            return self.intake.level(wire, self.now, level);
        }
        match number(&self.value, signal) {
            None => self.intake.level(wire, self.now, None),
            Some(number) => {
                self.intake.level(wire, self.now, Some(number % 2.0 == 1.0));
                self.intake.number(wire, self.now, number);
            }
        }
    }

    fn real(&mut self, wire: usize, place: u64) {
        match std::str::from_utf8(&self.value).ok().and_then(|text| text.parse::<f64>().ok()) {
            Some(value) => self.intake.number(wire, self.now, value),
            None => {
                let value = shown(&self.value);
                self.lose(format!("a value change at byte {place}: `r{value}` is no real"));
            }
        }
    }

    fn keyword(&mut self, token: &[u8]) {
        match token {
            b"$dumpvars" | b"$dumpall" | b"$end" => {}
            b"$dumpoff" => {
                self.off_since.get_or_insert(self.now);
            }
            b"$dumpon" => {
                if let Some(since) = self.off_since.take() {
                    self.lose(format!("everything from tick {since} to tick {}: dumping was switched off", self.now));
                }
            }
            _ if token.len() > 4 && token.ends_with(b"$end") => {}
            _ => self.expects = Expects::SectionEnd,
        }
    }

    fn lose(&mut self, what: String) {
        self.intake.lose(self.now, what);
    }

    fn finish(mut self) -> Taken {
        match self.expects {
            Expects::Anything => {}
            Expects::Code(_) => self.lose("the end of the dump, which was cut off within a value change".into()),
            Expects::SectionEnd => self.lose("the end of the dump, which was cut off within a comment".into()),
        }
        self.intake.finish(self.now)
    }
}

/// A time of more digits than eighteen, leading zeros and all.
fn long_time(digits: &[u8]) -> Option<u64> {
    std::str::from_utf8(digits).ok().filter(|text| text.bytes().all(|byte| byte.is_ascii_digit()))?.parse().ok()
}

/// The level of a digit; x and z are not known.
#[inline]
fn known(digit: u8) -> Option<bool> {
    match digit {
        b'0' => Some(false),
        b'1' => Some(true),
        _ => None,
    }
}

/// What stands to the left of a value's leftmost digit (clause 18.2.2, table 18-1): 0 before 0 and 1, else the digit.
fn extended(leftmost: u8) -> Option<bool> {
    known(leftmost).map(|_| false)
}

/// A vector as a number; `None` where a digit is unknown, infinity where it has more than 63 bits.
fn number(digits: &[u8], signal: &Signal) -> Option<f64> {
    let mut value = 0u64;
    let mut is_long = false;
    for digit in digits {
        is_long |= value >> 62 != 0;
        value = value << 1 | u64::from(known(*digit)?);
    }
    if is_long {
        return Some(f64::INFINITY);
    }
    let is_negative = signal.is_signed && digits.len() == signal.size && digits[0] == b'1' && signal.size < 63;
    Some(if is_negative { value as f64 - (1u64 << signal.size) as f64 } else { value as f64 })
}

/// Which wires hang on which identifier code. Almost every code has one or two characters.
struct Codes {
    /// By the code's one or two characters; 0 is none.
    short: Vec<u8>,
    long: HashMap<Vec<u8>, u8>,
    /// By slot.
    taps: Vec<Vec<usize>>,
}

impl Codes {
    fn of(signals: &[Signal]) -> Self {
        let mut codes = Self { short: vec![0; 1 << 16], long: HashMap::new(), taps: vec![Vec::new()] };
        for (wire, signal) in signals.iter().enumerate() {
            let fresh = codes.taps.len() as u8;
            let slot = match short(&signal.code) {
                Some(index) => &mut codes.short[index],
                None => codes.long.entry(signal.code.clone()).or_default(),
            };
            if *slot == 0 {
                *slot = fresh;
                codes.taps.push(Vec::new());
            }
            codes.taps[usize::from(*slot)].push(wire);
        }
        codes
    }

    #[inline]
    fn slot(&self, code: &[u8]) -> Option<usize> {
        let slot = match short(code) {
            Some(index) => self.short[index],
            None if self.long.is_empty() => 0,
            None => self.long.get(code).copied().unwrap_or(0),
        };
        (slot != 0).then_some(usize::from(slot))
    }
}

#[inline]
fn short(code: &[u8]) -> Option<usize> {
    match *code {
        [one] => Some(usize::from(one)),
        [one, two] => Some(usize::from(one) | usize::from(two) << 8),
        _ => None,
    }
}
