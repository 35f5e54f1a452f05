//! Talking with the unit while the jig goes on sensing: every wait of a run goes through [`Conductor::pump`].

use super::{conduct::Conductor, halt::Halt};
use crate::capture::{Cue, Line, Mark, MarkKind, Talker, Tick};
use crate::clock::HostTime;
use crate::unit::{Heard, Request};
use std::sync::atomic::Ordering;
use std::time::Duration;

/// How long a serial converter may hold a line back where no exchange has shown it (common practice: 16 ms).
const LINK_DELAY: Duration = Duration::from_millis(16);
/// How often a command has to be refused before it is the unit that refuses it. Of a twelve-character command, one bit in a
/// thousand spoils every tenth; five in a row come once in 100,000.
pub(super) const REFUSALS: u32 = 5;
/// The longest the run looks away from interlocks and interruptions.
const SLICE: Duration = Duration::from_millis(20);

impl Conductor<'_, '_> {
    /// Lets the bench go on until the unit says something or `until` comes. Returns what it said.
    pub(super) fn pump(&mut self, until: HostTime) -> Result<Option<Heard>, Halt> {
        loop {
            if let Some(heard) = self.heard.pop_front() {
                return Ok(Some(heard));
            }
            if self.job.interrupted.load(Ordering::Relaxed) {
                return Err(Halt::Interrupted);
            }
            let now = self.bench.clock.now();
            if now >= until {
                return Ok(None);
            }
            self.bytes.clear();
            let received = self.bench.port.receive(&mut self.bytes, until.min(now.after(SLICE)))?;
            if received > 0 {
                self.take_bytes();
            }
            self.bench.jig.collect(&mut self.part)?;
            self.look()?;
            self.live();
        }
    }

    /// Lets the bench go on for a time. What the unit says meanwhile is set down and passed over, unless it shows that
    /// something is wrong.
    pub(super) fn pump_for(&mut self, wait: Duration) -> Result<(), Halt> {
        let until = self.bench.clock.now().after(wait);
        while let Some(heard) = self.pump(until)? {
            self.unexpected(heard)?;
        }
        Ok(())
    }

    /// Sends a request and waits for its answer.
    ///
    /// What is unanswered is sent again where that does no harm, and what is refused always: a refused command was not
    /// carried out. Before the unit is blamed for either, the link has to be beyond suspicion. A refusal that does not
    /// last, or a question refused after silence, is noise on the line: a unit does not change its mind.
    pub(super) fn request(&mut self, request: &Request) -> Result<Heard, Halt> {
        let unit = self.bench.unit;
        let Some(command) = unit.dialect.compose(request) else {
            return Err(Halt::Bench(format!("the unit file has no command for {request:?}; add it under `commands`")));
        };
        let tries = if request.may_be_repeated() { unit.link.tries } else { 1 };
        let (mut unanswered, mut refusal) = (0, None);
        for _ in 0..tries.max(REFUSALS) {
            match self.say_and_wait(request, &command)? {
                Some(Heard::Refused { answer }) => refusal = Some(answer),
                Some(heard) => {
                    return match refusal {
                        Some(answer) => Err(changed_its_mind(&command, &answer)),
                        None => Ok(heard),
                    };
                }
                None => {
                    self.cue(Cue::Unanswered { command: command.clone() });
                    unanswered += 1;
                    if unanswered == tries {
                        // What it said before it fell silent proves nothing.
                        refusal = None;
                        break;
                    }
                }
            }
        }
        if let Some(answer) = refusal {
            return self.refused(&command, answer);
        }
        self.question_after_silence()?;
        let waited = unit.link.answer_within.as_millis();
        Err(self.silence(format!("the unit did not answer `{command}` within {waited} ms ({tries} tries)")))
    }

    /// A line that the unit refused however often it was asked.
    pub(super) fn refused<T>(&mut self, command: &str, answer: String) -> Result<T, Halt> {
        let why = format!("the unit refused `{command}`: `{answer}`");
        self.cue(Cue::Refused { command: command.to_owned(), answer });
        Err(Halt::Unit(why))
    }

    /// Who is to blame for a silence: the link, where it holds half a line.
    pub(super) fn silence(&self, why: String) -> Halt {
        match self.link.unfinished() {
            Some(half) => garbled(&format!("{why}, but began a line: `{half}`")),
            None => Halt::Unit(why),
        }
    }

    /// Asks something harmless after a command that had no answer. A line whose end was garbled stands before this
    /// question still, and makes the unit refuse it.
    pub(super) fn question_after_silence(&mut self) -> Result<(), Halt> {
        let Some(question) = self.bench.unit.dialect.compose(&Request::State) else { return Ok(()) };
        match self.say_and_wait(&Request::State, &question)? {
            Some(Heard::Refused { answer }) => {
                Err(garbled(&format!("after a command without an answer, `{question}` was answered `{answer}`")))
            }
            _ => Ok(()),
        }
    }

    /// Makes a request whose moment matters. The unit heard it somewhere between the sending and the answer, anywhere
    /// there being as likely: a rectangular distribution (JCGM 100:2008, 4.3.7), whatever the cable and its converter do.
    pub(super) fn timed_request(&mut self, request: &Request, cue: Cue) -> Result<(), Halt> {
        self.request(request)?;
        self.mark_between(self.said_at, self.bench.clock.now(), cue);
        Ok(())
    }

    fn mark_between(&mut self, earliest: HostTime, latest: HostTime, cue: Cue) {
        let (from, _) = self.bench.jig.tick_at(earliest);
        let (to, doubt) = self.bench.jig.tick_at(latest);
        let width = to.saturating_sub(from);
        let doubt = (width as f64 / 12f64.sqrt()).hypot(doubt as f64).ceil() as Tick;
        self.mark(Mark { at: from + width / 2, doubt, kind: MarkKind::Cue(cue) });
    }

    /// Sends a line. Its time in the transcript is the moment after its last byte was handed over.
    pub(super) fn say(&mut self, text: &str, ending: &str) -> Result<(), Halt> {
        let mut bytes = text.as_bytes().to_vec();
        bytes.extend_from_slice(ending.as_bytes());
        self.said_at = self.bench.clock.now();
        let deadline = self.said_at.after(Duration::from_secs(1));
        self.bench.port.send(&bytes, deadline)?;
        let (at, _) = self.bench.jig.tick_at(self.bench.clock.now());
        self.part.lines.push(Line { at, from: Talker::Bench, text: text.to_owned() });
        Ok(())
    }

    fn say_and_wait(&mut self, request: &Request, command: &str) -> Result<Option<Heard>, Halt> {
        // An answer counts only to the command that it follows.
        self.heard.clear();
        self.pending = Some(command.to_owned());
        self.say(command, self.bench.unit.link.ending(request))?;
        let asks = matches!(request, Request::State | Request::Identity);
        if !asks && self.bench.unit.dialect.answers.acknowledged.is_none() {
            self.pending = None;
            return Ok(Some(Heard::Acknowledged));
        }
        let until = self.bench.clock.now().after(self.bench.unit.link.answer_within);
        while let Some(heard) = self.pump(until)? {
            if answers(request, &heard) {
                self.pending = None;
                return Ok(Some(heard));
            }
            self.unexpected(heard)?;
        }
        self.pending = None;
        Ok(None)
    }

    /// What nobody waits for: mostly in order, sometimes the sign that the unit or the link failed.
    pub(super) fn unexpected(&mut self, heard: Heard) -> Result<(), Halt> {
        match heard {
            Heard::Banner(_) => {
                self.cue(Cue::Restarted);
                Err(Halt::Unit("the unit started afresh by itself".into()))
            }
            Heard::Garbled { why } => Err(garbled(&why)),
            Heard::Refused { answer } => Err(Halt::Unit(format!("the unit refused: `{answer}`"))),
            Heard::Alarm { line } => Err(Halt::Unit(format!("the unit stopped by itself: `{line}`"))),
            _ => Ok(()),
        }
    }

    /// After the supply was switched on: waits for the banner and has the unit say who it is.
    pub(super) fn await_start_up(&mut self) -> Result<(), Halt> {
        let unit = self.bench.unit;
        let until = self.bench.clock.now().after(unit.link.start_up_within);
        let mut told = self.await_banner(until)?;
        self.starting = false;
        let heard_at = self.bench.clock.now();
        let mut delay = LINK_DELAY;
        if unit.dialect.knows("identity")
            && let Heard::Identity(again) = self.request(&Request::Identity)?
        {
            told = agreed(told, again)?;
            // What a whole question and answer took bounds what the banner can have been held back.
            delay = self.bench.clock.now().since(self.said_at);
            // A digit that was flipped on the line would be the unit's fault.
            if told.iter().any(|(what, value)| self.should_report(what).is_some_and(|expected| expected != value))
                && let Heard::Identity(again) = self.request(&Request::Identity)?
            {
                told = agreed(told, again)?;
            }
        }
        self.mark_between(heard_at.before(delay), heard_at, Cue::StartedUp);
        for (what, value) in told {
            let expected = self.should_report(&what).map(str::to_owned);
            self.cue(Cue::Reported { what, value, expected });
        }
        Ok(())
    }

    /// What the unit has to say of itself, where that is known.
    fn should_report(&self, what: &str) -> Option<&str> {
        match what {
            "serial" => Some(self.job.serial),
            "model" => Some(&self.bench.unit.reports_as),
            _ => None,
        }
    }

    /// What the banner says; nothing of a unit that has none, once it has had its time.
    fn await_banner(&mut self, until: HostTime) -> Result<Vec<(String, String)>, Halt> {
        let mut garbage = None;
        while let Some(heard) = self.pump(until)? {
            match heard {
                Heard::Banner(told) => return Ok(told),
                // A serial line may glitch while the supply rises.
                Heard::Garbled { why } => garbage = Some(why),
                _ => {}
            }
        }
        if self.bench.unit.dialect.answers.banner.is_none() {
            return Ok(Vec::new());
        }
        let waited = self.bench.unit.link.start_up_within.as_secs_f64();
        match garbage {
            Some(why) => Err(garbled(&format!("no start-up banner within {waited} s, but {why}"))),
            None => Err(self.silence(format!(
                "the unit said nothing within {waited} s of its supply coming on; look at the service cable and its port first"
            ))),
        }
    }

    fn take_bytes(&mut self) {
        let (at, _) = self.bench.jig.tick_at(self.bench.clock.now());
        let Self { link, bytes, heard, part, pending, wanted, bench, powered, starting, .. } = self;
        link.accept(bytes, |text| {
            let said = if *starting { text.trim_start_matches(is_glitch) } else { &text };
            if !*powered {
                // A line without supply floats: what comes from there is set down and means nothing.
            } else if wanted.take_if(|pattern| pattern.is_match(&text)).is_some() {
                heard.push_back(Heard::Remark);
            } else {
                heard.push_back(bench.unit.dialect.interpret(said, pending.as_deref()));
            }
            part.lines.push(Line { at, from: Talker::Unit, text });
        });
    }
}

/// A line that was refused at first and then taken.
pub(super) fn changed_its_mind(command: &str, answer: &str) -> Halt {
    garbled(&format!("`{command}` was answered `{answer}`, then taken"))
}

/// The link cannot be trusted, so nothing that was said over it proves anything about the unit.
fn garbled(why: &str) -> Halt {
    Halt::Bench(format!("the unit link is garbled: {why}; check its cable, ground and baud rate"))
}

/// Whether this is what a request waits for. A question is answered by what it asks for, whether or not the firmware
/// acknowledges it first; and what answers a question is no leave to take a command as heard.
fn answers(request: &Request, heard: &Heard) -> bool {
    match heard {
        Heard::Refused { .. } => true,
        Heard::State { .. } => matches!(request, Request::State),
        Heard::Identity(_) => matches!(request, Request::Identity),
        Heard::Acknowledged => !matches!(request, Request::State | Request::Identity),
        _ => false,
    }
}

/// Whether a character may come of a line that glitches while the supply rises, and be part of no word.
fn is_glitch(character: char) -> bool {
    character.is_control() || character == '\u{FFFD}'
}

/// What banner and identity both tell must agree: a line protocol without check sum cannot tell a flipped digit from a
/// real one, so nothing is believed that was heard differently before.
fn agreed(banner: Vec<(String, String)>, identity: Vec<(String, String)>) -> Result<Vec<(String, String)>, Halt> {
    for (what, value) in &banner {
        if let Some((_, again)) = identity.iter().find(|(name, _)| name == what).filter(|(_, again)| again != value) {
            return Err(garbled(&format!("the unit gave its {what} as `{value}`, then as `{again}`")));
        }
    }
    let extra = banner.into_iter().filter(|(what, _)| !identity.iter().any(|(name, _)| name == what));
    Ok(extra.chain(identity.iter().cloned()).collect())
}
