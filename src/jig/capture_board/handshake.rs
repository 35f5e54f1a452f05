//! The first words with a board: who it is, whether it fits the jig file, how its clock relates to the computer's.

use std::time::Duration;

use super::Expected;
use super::listener::{Listener, News};
use super::protocol::{BoardFacts, ToBoard, VERSION};
use super::relation::Relation;
use crate::capture::Part;
use crate::clock::{Clock, ComputerClock};
use crate::jig::JigError;
use crate::port::Port;

/// A board that restarts when its port is opened takes a second or two.
const GREETING_WAIT: Duration = Duration::from_millis(4000);
/// How often it is greeted meanwhile.
const GREETING_REPEAT: Duration = Duration::from_millis(300);
/// How long any other answer may take.
const WAIT: Duration = Duration::from_millis(2000);
/// Round trips from which the shortest relates the clocks.
const ROUND_TRIPS: u16 = 8;

/// What is known after the first words.
pub(super) struct Greeted {
    pub facts: BoardFacts,
    pub clock: ComputerClock,
    pub listener: Listener,
    pub relation: Relation,
    pub evidence: Part,
    /// Number of the next frame to the board.
    pub sequence: u16,
    /// Number of the next heartbeat.
    pub heartbeat: u16,
}

/// Greets the board, checks it and starts it.
pub(super) fn greet(
    port: &mut dyn Port,
    port_clock: &ComputerClock,
    expected: &Expected<'_>,
) -> Result<Greeted, JigError> {
    let mut talk = Talk {
        port,
        port_clock,
        clock: port_clock.clone(),
        listener: Listener::new(),
        relation: Relation::new(1e9),
        evidence: Part::default(),
        sequence: 0,
    };
    let facts = talk.identity()?;
    check(&facts, expected)?;
    if facts.scale_thousandths != 1000 {
        talk.clock = ComputerClock::scaled(f64::from(facts.scale_thousandths) / 1000.0);
    }
    talk.relation = Relation::new(f64::from(facts.ticks_per_second));
    talk.say(ToBoard::Start)?;
    talk.until(WAIT, |news| matches!(news, News::Started).then_some(()))?;
    for number in 0..ROUND_TRIPS {
        talk.listener.beat_sent(number, talk.clock.now());
        talk.say(ToBoard::Heartbeat { number })?;
        talk.until(WAIT, |news| matches!(news, News::Beat).then_some(()))?;
    }
    let Talk { clock, listener, relation, evidence, sequence, .. } = talk;
    Ok(Greeted { facts, clock, listener, relation, evidence, sequence, heartbeat: ROUND_TRIPS })
}

fn check(facts: &BoardFacts, expected: &Expected<'_>) -> Result<(), JigError> {
    let unfit = |what: String, remedy: &str| JigError::Protocol { what, remedy: remedy.to_owned() };
    if facts.version != VERSION {
        return Err(unfit(
            format!(
                "the capture board speaks version {} of its protocol, this program version {VERSION}",
                facts.version
            ),
            "bring the board's firmware and railproof to the same version",
        ));
    }
    if u64::from(facts.ticks_per_second) != expected.ticks_per_second {
        return Err(unfit(
            format!(
                "the capture board's clock has {} ticks a second, the jig file says {}",
                facts.ticks_per_second, expected.ticks_per_second
            ),
            "correct the jig file, or connect the board that it describes",
        ));
    }
    if facts.ticks_per_second == 0 || facts.scale_thousandths == 0 {
        return Err(unfit("the capture board's clock stands still".to_owned(), "check the board's firmware"));
    }
    let edges =
        expected.edges.iter().filter(|&&channel| !facts.has_edges(channel)).map(|channel| channel.name().into());
    let samples = expected.samples.iter().filter(|&&channel| !facts.has_samples(channel)).map(|channel| channel.name());
    let outputs = expected.outputs.iter().filter(|&&output| !facts.has_output(output)).map(|output| output.name());
    match edges.chain(samples).chain(outputs).next() {
        Some(channel) => Err(JigError::NoChannel { channel }),
        None => Ok(()),
    }
}

/// Talk with a board, one question after the other.
struct Talk<'a> {
    port: &'a mut dyn Port,
    port_clock: &'a ComputerClock,
    clock: ComputerClock,
    listener: Listener,
    relation: Relation,
    evidence: Part,
    sequence: u16,
}

impl Talk<'_> {
    fn identity(&mut self) -> Result<BoardFacts, JigError> {
        let give_up = self.port_clock.now().after(GREETING_WAIT);
        loop {
            self.sequence = 0;
            self.port.send(&[0], self.port_clock.now().after(WAIT))?;
            self.say(ToBoard::Hello)?;
            let answer = self.until(GREETING_REPEAT, |news| match news {
                News::Identity(facts) => Some(facts.clone()),
                _ => None,
            });
            match answer {
                Err(JigError::Silent { .. }) if self.port_clock.now() < give_up => (),
                Err(JigError::Silent { .. }) => {
                    return Err(JigError::Silent { waited_ms: GREETING_WAIT.as_millis() as u64 });
                }
                answer => return answer,
            }
        }
    }

    fn say(&mut self, message: ToBoard) -> Result<(), JigError> {
        let mut bytes = Vec::new();
        message.frame(self.sequence).write(&mut bytes);
        self.sequence = self.sequence.wrapping_add(1);
        Ok(self.port.send(&bytes, self.port_clock.now().after(WAIT))?)
    }

    /// Listens until the news that `wanted` picks out; keeps the evidence that comes before.
    fn until<T>(&mut self, wait: Duration, wanted: impl Fn(&News) -> Option<T>) -> Result<T, JigError> {
        let deadline = self.port_clock.now().after(wait);
        let mut bytes = Vec::new();
        let mut news = Vec::new();
        loop {
            bytes.clear();
            if self.port.receive(&mut bytes, deadline)? == 0 || self.port_clock.now() >= deadline {
                return Err(JigError::Silent { waited_ms: wait.as_millis() as u64 });
            }
            self.listener.hear(&bytes, self.clock.now(), &mut self.relation, &mut news);
            let mut found = None;
            for item in news.drain(..) {
                found = found.or_else(|| wanted(&item));
                match item {
                    News::Arrived(part) => super::append(&mut self.evidence, *part),
                    News::Refused { reason, .. } => return Err(super::refusal(reason)),
                    _ => (),
                }
            }
            if let Some(found) = found {
                return Ok(found);
            }
        }
    }
}
