//! What records are asked, of whoever holds them: the index of a results folder, or the store that benches share.
//!
//! Both have the same tables, so that there is one SQL text for both ([`tables`] says how), and who asks need not know which
//! of them answers.

mod carried;
mod columns;
mod heading;
mod runs;
mod search;
mod sweep;
pub(super) mod tables;

pub use carried::{Said, Shortfall};
pub use columns::{CheckColumn, Column, Columns, Entry};
pub use heading::Heading;
pub use runs::{Known, of_moment};
pub use search::{Found, FoundValue, Named, Wanted, WantedValue};
pub use sweep::{Sweep, Swept};
pub use tables::{Asked, Cell, Row, Tables, Trouble};

use super::index::{IndexError, Scope};
use super::store::StoreError;
use super::stored::Part;

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum Unanswered {
    /// The index of the folder.
    #[error(transparent)]
    Index(#[from] IndexError),
    /// The shared store.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Whoever holds records.
pub trait Answers {
    /// Asks the tables, once they have all that the scope covers.
    ///
    /// # Errors
    /// What the database says.
    fn ask<T>(&mut self, scope: Scope<'_>, question: impl FnMut(&mut dyn Tables) -> Asked<T>) -> Result<T, Unanswered>;

    /// What is to be told since it was last asked.
    fn told(&mut self) -> Vec<String>;

    /// The runs of a serial number, by their ids.
    ///
    /// # Errors
    /// What the database says.
    fn runs_of(&mut self, serial: &str) -> Result<Vec<Known>, Unanswered> {
        self.ask(Scope::Serial(serial), |tables| runs::of(tables, serial))
    }

    /// Serial numbers that have runs.
    ///
    /// # Errors
    /// What the database says.
    fn serials(&mut self) -> Result<Vec<String>, Unanswered> {
        let query = "SELECT text FROM serial WHERE id IN (SELECT serial FROM run) ORDER BY text";
        self.ask(Scope::All, |tables| tables::texts(tables, query, &[]))
    }

    /// What is searched for, oldest first.
    ///
    /// # Errors
    /// What the database says.
    fn find(&mut self, wanted: &Wanted) -> Result<Vec<Found>, Unanswered> {
        self.ask(Scope::All, |tables| search::find(tables, wanted))
    }

    /// Hands out the runs of which something is found, whole.
    ///
    /// # Errors
    /// What the database says.
    fn sweep(&mut self, wanted: &Wanted, sweep: &mut dyn Sweep) -> Result<(), Unanswered> {
        self.ask(Scope::All, |tables| sweep::all(tables, wanted, sweep).map(|_| ()))
    }

    /// The values of every run that is wanted; checks, values and decisions that are searched for play no part.
    ///
    /// # Errors
    /// What the database says.
    fn columns(&mut self, wanted: &Wanted) -> Result<Columns, Unanswered> {
        self.ask(Scope::All, |tables| columns::of(tables, wanted))
    }

    /// All names that there are.
    ///
    /// # Errors
    /// What the database says.
    fn names(&mut self, named: Named) -> Result<Vec<String>, Unanswered> {
        self.ask(Scope::All, |tables| search::names(tables, named))
    }

    /// Serial numbers of which a record names the part with this lot.
    ///
    /// # Errors
    /// What the database says.
    fn carriers(&mut self, part: &Part) -> Result<Vec<String>, Unanswered> {
        self.ask(Scope::All, |tables| carried::carriers(tables, part))
    }

    /// Lots of a part that any record names.
    ///
    /// # Errors
    /// What the database says.
    fn lots(&mut self, part: &str) -> Result<Vec<String>, Unanswered> {
        self.ask(Scope::All, |tables| carried::lots(tables, part))
    }

    /// What the record of a run says of a part.
    ///
    /// # Errors
    /// What the database says.
    fn said_of(&mut self, serial: &str, run: &str, part: &str) -> Result<Said, Unanswered> {
        self.ask(Scope::Serial(serial), |tables| carried::said_of(tables, serial, run, part))
    }
}
