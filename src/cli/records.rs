//! The folder of kept records, for every command that asks what is in it.

use super::store::StoreChoice;
use super::{Exit, Failure, say};
use crate::record::events::Event;
use crate::record::history::History;
use crate::record::source::Unread;
use crate::record::stored::Part;
use crate::record::{self, Answers, Index, Source, Unanswered};
use clap::Args;
use std::path::{Path, PathBuf};

/// Which folder.
#[derive(Args)]
pub struct Records {
    /// Folder of the records
    #[arg(long, value_name = "DIR", default_value = "results", env = "RAILPROOF_RESULTS")]
    pub results: PathBuf,
}

impl Records {
    /// Its index. What has to be told of it is told by [`tell`], once all is asked.
    pub fn index(&self) -> Result<Index, Failure> {
        Index::open(&self.results).map_err(failed)
    }

    /// The folder as a source.
    pub fn source(&self) -> Result<Source, Failure> {
        Source::folder(&self.results).map_err(failed)
    }
}

/// Records of a folder, or of the store that benches share.
#[derive(Args)]
pub struct Anywhere {
    #[command(flatten)]
    records: Records,
    #[command(flatten)]
    store: StoreChoice,
}

impl Anywhere {
    /// Whichever was chosen, open.
    pub fn source(&self) -> Result<Source, Failure> {
        match self.store.address()? {
            Some(address) => Source::store(&address).map_err(failed),
            None => self.records.source(),
        }
    }
}

/// The history of a serial number; without entries for one that never ran and nothing happened to.
pub fn history_of(source: &mut Source, serial: &str) -> Result<History, Failure> {
    record::check_serial(serial).map_err(|error| Failure::new(Exit::Usage, error))?;
    let runs = source.runs_of(serial).map_err(failed)?;
    tell(source);
    Ok(History::of(serial, runs, events_of(source, serial)?))
}

/// The events of a serial number; lines that are none are told.
pub fn events_of(source: &mut Source, serial: &str) -> Result<Vec<Event>, Failure> {
    let found = source.events_of(serial).map_err(unread)?;
    found.passed_over.iter().for_each(|told| say(&format!("railproof: {told}")));
    Ok(found.lines)
}

/// The record is in place; an index that cannot take it in does so later, before it answers anything.
pub fn note(results: &Path, serial: &str) {
    let noted = Index::open(results).map_err(Unanswered::from).and_then(|mut index| {
        index.runs_of(serial)?;
        Ok(index.told())
    });
    let told = noted.unwrap_or_else(|error| vec![error.to_string()]);
    for told in told {
        say(&format!("railproof: the record is kept; of its index: {told}; if in doubt, railproof index --rebuild"));
    }
}

/// The parts of a unit as it is built: those that are told now, and of earlier runs those that nobody told anew.
pub fn carried_on(results: &Path, serial: &str, is_simulated: bool, told: Vec<Part>) -> Vec<Part> {
    if !results.is_dir() {
        return told;
    }
    let asked = Index::open(results).map_err(Unanswered::from).and_then(|mut index| {
        let runs = index.runs_of(serial)?;
        tell(&mut index);
        Ok(runs)
    });
    let runs = match asked {
        Ok(runs) => runs,
        Err(error) => {
            say(&format!("railproof: no parts of earlier runs are carried on: {error}"));
            return told;
        }
    };
    let runs = runs.into_iter().filter(|run| run.is_simulated == is_simulated).collect();
    let built = History::of(serial, runs, Vec::new()).as_built.into_iter();
    let untold = built.filter(|built| told.iter().all(|told| told.name != built.part.name));
    let carried = untold.map(|built| Part { carried_on_from: Some(built.since), ..built.part });
    let carried: Vec<Part> = carried.collect();
    told.into_iter().chain(carried).collect()
}

/// Tells what there is to tell of a source of records.
pub fn tell(source: &mut impl Answers) {
    for told in source.told() {
        say(&format!("railproof: {told}"));
    }
}

/// A folder, an index or a store that cannot be read is a wrong input; a store that is away is nobody's mistake.
pub fn failed(error: impl Into<Unanswered>) -> Failure {
    let error = error.into();
    let is_away = matches!(&error, Unanswered::Store(store) if store.is_away());
    Failure::new(if is_away { Exit::Invalid } else { Exit::BadInput }, error)
}

/// What cannot be had of a record.
pub fn unread(error: Unread) -> Failure {
    match error {
        Unread::Unanswered(error) => failed(error),
        error => Failure::new(Exit::BadInput, error),
    }
}
