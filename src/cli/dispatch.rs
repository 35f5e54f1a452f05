//! `railproof dispatch` and `railproof receive`: a unit leaves, a unit comes back.
//!
//! What the records speak against is refused, and done all the same where somebody says why.

use super::history::unknown;
use super::records::{Records, history_of};
use super::{Exit, Failure, Format, print, say, show};
use crate::clock::{Clock, ComputerClock};
use crate::record::dispatch::Held;
use crate::record::events::{self, Event, FORMAT, What};
use crate::record::history::{History, Standing};
use crate::record::stored::Verdict;
use anyhow::anyhow;
use clap::Args;

/// Which unit leaves.
#[derive(Args)]
pub struct DispatchArgs {
    #[command(flatten)]
    noted: Noted,
}

/// Which unit came back, and why.
#[derive(Args)]
pub struct ReceiveArgs {
    #[command(flatten)]
    noted: Noted,
    /// What the sender complains of; it stands in the history alone, never in a record or a certificate
    #[arg(long, value_name = "TEXT")]
    complaint: String,
}

/// What both have.
#[derive(Args)]
struct Noted {
    /// Serial number of the unit
    #[arg(value_name = "SN")]
    serial: String,
    #[command(flatten)]
    records: Records,
    /// Anything worth knowing
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Why it is done although the records speak against it
    #[arg(long, value_name = "WHY")]
    because: Option<String>,
    /// Who notes it, by initials or id
    #[arg(long, value_name = "NAME", env = "RAILPROOF_OPERATOR")]
    operator: Option<String>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// A refusal and what it ends with.
type Refusal = (Exit, String);

/// Notes that a unit leaves on its last conforming record.
pub fn dispatch(args: &DispatchArgs) -> Result<Exit, Failure> {
    let noted = &args.noted;
    let event = noted.add(|history| {
        let held = history.dispatchable().err();
        if let Some((exit, why)) = held.as_ref().map(|held| noted.refusal(held)) {
            let gone = matches!(held, Some(Held::Gone(_)));
            if gone || noted.because.is_none() {
                return Err((exit, why));
            }
            say(&format!("railproof: {why}"));
        }
        let as_shipped = history.last_conforming().map(|run| run.id.clone());
        Ok(Event { as_shipped, ..noted.event(What::Dispatched, history) })
    })?;
    let on = match &event.as_shipped {
        Some(record) => format!("as-shipped record {record}"),
        None => "without any conforming record".into(),
    };
    noted.print(&event, &format!("{} is dispatched, {on}", noted.serial))
}

/// Notes that a unit came back.
pub fn receive(args: &ReceiveArgs) -> Result<Exit, Failure> {
    let noted = &args.noted;
    let mut last = "no as-shipped record is known".to_owned();
    let event = noted.add(|history| {
        if let Some(record) = &history.as_shipped {
            last = format!("it was shipped on record {record}");
        }
        match &history.standing {
            Standing::Returned(at) => {
                let why = format!("{} was returned before, at {at}, and has not been dispatched since", noted.serial);
                return Err((Exit::Usage, why));
            }
            Standing::OnTheShelf if !history.entries.is_empty() => {
                say(&format!("railproof: {} was never dispatched, as far as is known here", noted.serial));
            }
            _ => {}
        }
        Ok(Event { complaint: Some(args.complaint.clone()), ..noted.event(What::Received, history) })
    })?;
    noted.print(&event, &format!("{} is back; {last}", noted.serial))
}

impl Noted {
    /// Adds the event that `decide` makes of the history, with no other event in between.
    fn add(&self, decide: impl FnOnce(&History) -> Result<Event, Refusal>) -> Result<Event, Failure> {
        let mut source = self.records.source()?;
        let known = history_of(&mut source, &self.serial)?;
        if known.entries.is_empty() && self.because.is_none() {
            let why = format!("{}, or say with --because why there are none", unknown(&mut source, &self.serial)?);
            return Err(Failure::new(Exit::Usage, anyhow!(why)));
        }
        let runs: Vec<_> = known.runs().map(|passed| passed.run.clone()).collect();
        let added = events::add(&self.records.results, &self.serial, |before| {
            decide(&History::of(&self.serial, runs, before.to_vec()))
        });
        let added = added.map_err(|error| Failure::new(Exit::Invalid, error))?;
        added.map_err(|(exit, why)| Failure::new(exit, anyhow!(why)))
    }

    fn event(&self, event: What, history: &History) -> Event {
        Event {
            format: FORMAT,
            event,
            at: show::rfc3339(ComputerClock::new().wall()),
            after: history.runs().next_back().map(|passed| passed.run.id.clone()),
            as_shipped: None,
            complaint: None,
            note: self.note.clone(),
            because: self.because.clone(),
            by: self.operator.clone(),
        }
    }

    /// Why a unit is held, what to do, and the exit status of what was last decided.
    fn refusal(&self, held: &Held) -> Refusal {
        let serial = &self.serial;
        let (exit, why) = match held {
            Held::Gone(at) => {
                let why =
                    format!("{serial} was dispatched before, at {at}; note its return with `railproof receive` first");
                return (Exit::Usage, why);
            }
            Held::Unproven { only_simulated: true } => (
                Exit::Invalid,
                format!("the runs of {serial} are simulated or invalid and certify nothing; test the unit on a bench"),
            ),
            Held::Unproven { only_simulated: false } => {
                (Exit::Invalid, format!("no run of {serial} has proven anything; test the unit"))
            }
            Held::Decided(run) if run.decision == Verdict::Undecided => {
                (Exit::Undecided, format!("the last record of {serial}, {}, is undecided; test the unit again", run.id))
            }
            Held::Decided(run) => (
                Exit::DoesNotConform,
                format!("by its last record, {}, {serial} does not conform; repair and test it", run.id),
            ),
            Held::Reworked { record, part } => {
                let why = format!(
                    "the {part} of {serial} was changed since its last conforming record, {record}; test the unit"
                );
                (Exit::Undecided, why)
            }
        };
        (exit, format!("{why}, or say why it leaves all the same with --because"))
    }

    fn print(&self, event: &Event, said: &str) -> Result<Exit, Failure> {
        print(&match self.format {
            Format::Text => format!("{said}\n"),
            Format::Json => format!("{:#}\n", serde_json::to_value(event).unwrap_or_default()),
        })?;
        Ok(Exit::Done)
    }
}
