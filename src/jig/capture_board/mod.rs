//! A capture board on a serial port: it stamps edges on its own clock, so that the computer's load cannot blur them.
//!
//! The protocol is ours; `fixtures/jigs/capture-board-protocol.md` has all that a firmware needs to know. A thread
//! listens, so that nothing is lost while the runner decides, and keeps the heart beating that keeps the unit supplied.
//! Whatever is missing becomes a loss in the evidence, which makes the run invalid; a port that is gone is an error.
//! The board's watchdog and outputs are software: they spare the unit, they protect nobody.

mod frame;
mod handshake;
mod link;
mod listener;
mod protocol;
mod relation;

use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender};

use self::link::{Order, Report};
use self::listener::News;
use self::relation::Relation;
use super::{Jig, JigError, JigIdentity};
use crate::capture::{EdgeChannel, OutputChannel, Part, SampleChannel, Tick};
use crate::clock::{Clock, ComputerClock, HostTime};
use crate::port::Port;

/// How long a request may take, on the computer's own clock.
const ANSWER_WAIT: Duration = Duration::from_millis(2000);

/// What a jig file says that a board has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected<'a> {
    /// Ticks of its clock in a second.
    pub ticks_per_second: u64,
    /// Digital inputs.
    pub edges: &'a [EdgeChannel],
    /// Sampled channels.
    pub samples: &'a [SampleChannel],
    /// Outputs.
    pub outputs: &'a [OutputChannel],
}

/// A capture board that is streaming.
pub struct CaptureBoard {
    identity: JigIdentity,
    outputs: Vec<OutputChannel>,
    clock: ComputerClock,
    port_clock: ComputerClock,
    orders: Sender<Order>,
    reports: Receiver<Report>,
    relation: Arc<Mutex<Relation>>,
    /// Evidence that came while an answer was awaited.
    waiting: Part,
    failure: Option<JigError>,
    request: u8,
    listening: Option<JoinHandle<()>>,
}

impl CaptureBoard {
    /// Greets the board on `port`, checks that it is as `expected`, and starts its stream; all of its outputs are safe.
    ///
    /// `clock` is the one that `port` was opened with, and unscaled. The run has to use [`CaptureBoard::clock`].
    pub fn open(
        mut port: Box<dyn Port + Send>,
        clock: ComputerClock,
        expected: &Expected<'_>,
    ) -> Result<Self, JigError> {
        let greeted = handshake::greet(&mut *port, &clock, expected)?;
        let facts = greeted.facts;
        let outputs =
            (0..OutputChannel::COUNT).filter_map(OutputChannel::at).filter(|&output| facts.has_output(output));
        let identity = JigIdentity {
            describes: facts.text.clone(),
            ticks_per_second: u64::from(facts.ticks_per_second),
            simulated: facts.simulated,
        };
        let relation = Arc::new(Mutex::new(greeted.relation));
        let (orders, orders_end) = crossbeam_channel::bounded(64);
        let (reports_end, reports) = crossbeam_channel::bounded(64);
        let link = link::Link {
            port,
            port_clock: clock.clone(),
            clock: greeted.clock.clone(),
            listener: greeted.listener,
            relation: Arc::clone(&relation),
            sequence: greeted.sequence,
            heartbeat: greeted.heartbeat,
            orders: orders_end,
            reports: reports_end,
        };
        let listening = std::thread::Builder::new()
            .name("capture board".to_owned())
            .spawn(move || link.serve())
            .map_err(|error| JigError::Absent {
                what: format!("no thread could be started for the capture board: {error}"),
                remedy: "close other programs, then run again".to_owned(),
            })?;
        Ok(Self {
            identity,
            outputs: outputs.collect(),
            clock: greeted.clock,
            port_clock: clock,
            orders,
            reports,
            relation,
            waiting: greeted.evidence,
            failure: None,
            request: 0,
            listening: Some(listening),
        })
    }

    /// The clock on which the board's world lives: the computer's own, or a faster one where the board says that its
    /// simulated world runs faster than life.
    pub fn clock(&self) -> ComputerClock {
        self.clock.clone()
    }

    /// Gives an order and waits for its answer; evidence that comes meanwhile is kept.
    fn ask(&mut self, order: impl FnOnce(u8) -> Order) -> Result<Tick, JigError> {
        if let Some(failure) = &self.failure {
            return Err(failure.clone());
        }
        self.request = self.request.checked_add(1).unwrap_or(1);
        let request = self.request;
        let order = order(request);
        let switches = matches!(order, Order::Drive { .. });
        let deadline = self.port_clock.now().after(ANSWER_WAIT);
        // A thread that is gone has left its reason among the reports.
        let _ = self.orders.send_timeout(order, self.port_clock.computer_wait(deadline));
        loop {
            match self.reports.recv_timeout(self.port_clock.computer_wait(deadline)) {
                Ok(Report::News(News::Arrived(part))) => append(&mut self.waiting, *part),
                Ok(Report::News(News::Switched { request: of, at })) if switches && of == request => return Ok(at),
                Ok(Report::News(News::Settled { request: of, at })) if !switches && of == request => return Ok(at),
                Ok(Report::News(News::Refused { request: of, reason })) if of == request || of == 0 => {
                    return Err(refusal(reason));
                }
                Ok(Report::News(_)) => (),
                Ok(Report::Failed(failure)) => return Err(self.fail(failure)),
                Err(RecvTimeoutError::Timeout) => {
                    return Err(self.fail(JigError::Silent { waited_ms: ANSWER_WAIT.as_millis() as u64 }));
                }
                Err(RecvTimeoutError::Disconnected) => return Err(self.fail(lost_thread())),
            }
        }
    }

    fn fail(&mut self, failure: JigError) -> JigError {
        self.failure.get_or_insert(failure).clone()
    }
}

impl Jig for CaptureBoard {
    fn identity(&self) -> &JigIdentity {
        &self.identity
    }

    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError> {
        if !self.outputs.contains(&output) {
            return Err(JigError::NoChannel { channel: output.name() });
        }
        self.ask(|request| Order::Drive { request, output, on })
    }

    fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
        append(into, std::mem::take(&mut self.waiting));
        loop {
            match self.reports.try_recv() {
                Ok(Report::News(News::Arrived(part))) => append(into, *part),
                Ok(Report::News(News::Refused { request: 0, reason })) => return Err(self.fail(refusal(reason))),
                Ok(Report::News(_)) => (),
                Ok(Report::Failed(failure)) => return Err(self.fail(failure)),
                Err(error) if error.is_empty() => return self.failure.clone().map_or(Ok(()), Err),
                Err(_) => return Err(self.fail(lost_thread())),
            }
        }
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        let settled = self.ask(|request| Order::Settle { request });
        append(into, std::mem::take(&mut self.waiting));
        settled
    }

    fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
        self.relation.lock().unwrap_or_else(PoisonError::into_inner).tick_at(moment)
    }

    fn make_safe(&mut self) -> Result<(), JigError> {
        self.ask(|request| Order::Safe { request }).map(drop)
    }
}

impl Drop for CaptureBoard {
    /// Ends the thread, which makes everything safe on its way out.
    fn drop(&mut self) {
        let deadline = self.port_clock.now().after(ANSWER_WAIT);
        let _ = self.orders.send_timeout(Order::End, self.port_clock.computer_wait(deadline));
        // Nobody takes reports any more; a thread that waits to give one must not wait for ever.
        self.reports = crossbeam_channel::never();
        if let Some(listening) = self.listening.take() {
            // A thread that panicked has no more to say, and the board's watchdog has switched off.
            let _ = listening.join();
        }
    }
}

/// Adds what came later to what came before.
fn append(into: &mut Part, mut more: Part) {
    into.edges.iter_mut().zip(&mut more.edges).for_each(|(column, later)| column.append(later));
    into.samples.iter_mut().zip(&mut more.samples).for_each(|(column, later)| column.append(later));
    into.driven.append(&mut more.driven);
    into.lines.append(&mut more.lines);
    into.losses.append(&mut more.losses);
}

fn refusal(reason: u8) -> JigError {
    let what = match reason {
        1 => "the capture board has no such output",
        2 => "the capture board does not speak this version of its protocol",
        3 => "the capture board does not know a message",
        4 => "the capture board was restarted during the run",
        _ => "the capture board refused, for a reason that this program does not know",
    };
    let remedy = "bring its firmware and railproof to the same version, check its supply, then run again";
    JigError::Protocol { what: what.to_owned(), remedy: remedy.to_owned() }
}

fn lost_thread() -> JigError {
    JigError::Protocol {
        what: "the thread that listens to the capture board has ended".to_owned(),
        remedy: "run again; if it comes back, report it with the run's folder".to_owned(),
    }
}

#[cfg(test)]
mod tests;
