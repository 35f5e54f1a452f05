//! The thread between a board's port and the runner: listens, hands evidence on, passes orders, keeps the heart beating.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender, TryRecvError, TrySendError};

use super::append;
use super::listener::{Listener, News};
use super::protocol::ToBoard;
use super::relation::Relation;
use crate::capture::{Loss, OutputChannel, Part};
use crate::clock::{Clock, ComputerClock, HostTime};
use crate::jig::JigError;
use crate::port::{Port, PortError};

/// Twice as often as the protocol asks for: the board's watchdog waits 250 ms, and a busy computer may hold this up.
const HEARTBEAT_EVERY: Duration = Duration::from_millis(50);
/// How long a look at the port takes at most; an order waits as long.
const LOOK: Duration = Duration::from_millis(1);
/// A board takes a few bytes at once, or it is not there.
const SEND_WAIT: Duration = Duration::from_millis(500);
/// A board whose heartbeats go unanswered for so long is not there either.
const SILENCE_MAX: Duration = Duration::from_millis(2000);
/// How long the last words may take.
const FAREWELL_WAIT: Duration = Duration::from_millis(300);
/// The most edges and samples that are kept for a runner that does not look: 80 MB.
const BACKLOG_MAX: usize = 10_000_000;

/// What the runner wants of the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    Drive { request: u8, output: OutputChannel, on: bool },
    Settle { request: u8 },
    Safe { request: u8 },
    End,
}

/// What the thread has for the runner.
#[derive(Debug)]
pub(super) enum Report {
    News(News),
    /// The last report: why there will be no more.
    Failed(JigError),
}

/// Everything that the thread works with.
pub(super) struct Link {
    pub port: Box<dyn Port + Send>,
    /// The clock of the port's deadlines and of the watchdog: never scaled.
    pub port_clock: ComputerClock,
    /// The clock of the run.
    pub clock: ComputerClock,
    pub listener: Listener,
    pub relation: Arc<Mutex<Relation>>,
    pub sequence: u16,
    pub heartbeat: u16,
    pub orders: Receiver<Order>,
    pub reports: Sender<Report>,
}

impl Link {
    /// Works until the runner ends it or the board is gone. The last thing said to a board that is there is to be safe.
    pub fn serve(mut self) {
        let mut outbox = Outbox::default();
        let failure = self.work(&mut outbox).err();
        let farewell = self.port_clock.now().after(FAREWELL_WAIT);
        // The board's watchdog does the same if this does not reach it.
        let _ = self.say(ToBoard::Safe { request: u8::MAX });
        let _ = self.linger(farewell);
        if let Some(failure) = failure {
            // Blocks only until the runner looks, or is gone.
            for report in outbox.waiting.into_iter().chain([Report::Failed(failure)]) {
                let _ = self.reports.send(report);
            }
        }
    }

    fn work(&mut self, outbox: &mut Outbox) -> Result<(), JigError> {
        let mut beat_due = self.port_clock.now();
        let mut answered = self.port_clock.now();
        let mut bytes = Vec::new();
        let mut news = Vec::new();
        loop {
            loop {
                match self.orders.try_recv() {
                    Ok(Order::Drive { request, output, on }) => self.say(ToBoard::Drive { request, output, on })?,
                    Ok(Order::Settle { request }) => self.say(ToBoard::Settle { request })?,
                    Ok(Order::Safe { request }) => self.say(ToBoard::Safe { request })?,
                    Ok(Order::End) | Err(TryRecvError::Disconnected) => return Ok(()),
                    Err(TryRecvError::Empty) => break,
                }
            }
            if self.port_clock.now() >= beat_due {
                self.beat()?;
                beat_due = self.port_clock.now().after(HEARTBEAT_EVERY);
            }
            bytes.clear();
            if self.port.receive(&mut bytes, self.port_clock.now().after(LOOK))? > 0 {
                let heard = self.clock.now();
                let mut relation = self.relation.lock().unwrap_or_else(PoisonError::into_inner);
                self.listener.hear(&bytes, heard, &mut relation, &mut news);
            }
            if news.iter().any(|item| matches!(item, News::Beat)) {
                answered = self.port_clock.now();
            }
            if self.port_clock.now().since(answered) > SILENCE_MAX {
                return Err(JigError::Silent { waited_ms: SILENCE_MAX.as_millis() as u64 });
            }
            news.drain(..).for_each(|item| outbox.put(item));
            outbox.hand_on(&self.reports);
        }
    }

    fn beat(&mut self) -> Result<(), PortError> {
        let number = self.heartbeat;
        self.heartbeat = number.wrapping_add(1);
        self.listener.beat_sent(number, self.clock.now());
        self.say(ToBoard::Heartbeat { number })
    }

    fn say(&mut self, message: ToBoard) -> Result<(), PortError> {
        let mut bytes = Vec::new();
        message.frame(self.sequence).write(&mut bytes);
        self.sequence = self.sequence.wrapping_add(1);
        self.port.send(&bytes, self.port_clock.now().after(SEND_WAIT))
    }

    /// Waits for the board to say that it is safe, since bytes that nobody has read may be lost when a port closes.
    fn linger(&mut self, deadline: HostTime) -> Result<(), PortError> {
        let mut bytes = Vec::new();
        let mut news = Vec::new();
        while self.port.receive(&mut bytes, deadline)? > 0 && self.port_clock.now() < deadline {
            let mut relation = self.relation.lock().unwrap_or_else(PoisonError::into_inner);
            self.listener.hear(&bytes, self.clock.now(), &mut relation, &mut news);
            bytes.clear();
            if news.iter().any(|item| matches!(item, News::Settled { request: u8::MAX, .. })) {
                break;
            }
        }
        Ok(())
    }
}

/// What the runner has not taken yet. Evidence grows together, so that a runner that is busy asking the operator finds
/// all of it.
#[derive(Default)]
struct Outbox {
    waiting: VecDeque<Report>,
    held: usize,
    full: bool,
}

impl Outbox {
    fn put(&mut self, item: News) {
        match item {
            News::Arrived(part) => self.put_evidence(part),
            News::Beat => (),
            answer => self.waiting.push_back(Report::News(answer)),
        }
    }

    fn put_evidence(&mut self, mut part: Box<Part>) {
        self.held += entries(&part);
        if self.held > BACKLOG_MAX {
            let at = part.edges.iter().flatten().map(|edge| edge.tick()).max().unwrap_or(0);
            let what = format!("edges and samples beyond {BACKLOG_MAX} that the run did not collect in time");
            part = Box::default();
            if !std::mem::replace(&mut self.full, true) {
                part.losses.push(Loss { at, what });
            }
        }
        match self.waiting.back_mut() {
            Some(Report::News(News::Arrived(last))) => append(last, *part),
            _ => self.waiting.push_back(Report::News(News::Arrived(part))),
        }
    }

    fn hand_on(&mut self, to: &Sender<Report>) {
        while let Some(report) = self.waiting.pop_front() {
            match to.try_send(report) {
                Ok(()) => (),
                Err(TrySendError::Full(report)) => {
                    self.waiting.push_front(report);
                    return;
                }
                Err(TrySendError::Disconnected(_)) => return,
            }
        }
        (self.held, self.full) = (0, false);
    }
}

fn entries(part: &Part) -> usize {
    part.edges.iter().map(Vec::len).sum::<usize>() + part.samples.iter().map(Vec::len).sum::<usize>()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::EdgeChannel;

    fn evidence(edges: usize) -> News {
        let mut part = Part::default();
        (0..edges).for_each(|edge| part.push_edge(EdgeChannel::Step, edge as u64, true));
        News::Arrived(Box::new(part))
    }

    #[test]
    fn evidence_waits_for_a_busy_runner_and_answers_keep_their_place() {
        let (to, from) = crossbeam_channel::bounded(1);
        let mut outbox = Outbox::default();
        for _ in 0..100 {
            outbox.put(evidence(10));
            outbox.hand_on(&to);
        }
        outbox.put(News::Settled { request: 1, at: 5 });
        outbox.put(evidence(1));
        let mut edges = Vec::new();
        for _ in 0..4 {
            outbox.hand_on(&to);
            edges.push(match from.try_recv() {
                Ok(Report::News(News::Arrived(part))) => entries(&part),
                Ok(Report::News(News::Settled { .. })) => usize::MAX,
                other => panic!("{other:?}"),
            });
        }
        assert_eq!(edges, [10, 990, usize::MAX, 1]);
    }

    #[test]
    fn a_backlog_without_end_becomes_one_loss() {
        let (to, from) = crossbeam_channel::bounded(0);
        let mut outbox = Outbox::default();
        for _ in 0..103 {
            outbox.put(evidence(BACKLOG_MAX / 100));
            outbox.hand_on(&to);
        }
        drop(from);
        let [Report::News(News::Arrived(part))] = &outbox.waiting.make_contiguous()[..] else { panic!("one part") };
        assert_eq!((entries(part), part.losses.len()), (BACKLOG_MAX, 1));
    }
}
