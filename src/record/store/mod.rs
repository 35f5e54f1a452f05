//! The store that benches share: a PostgreSQL database with every bench's sealed runs.
//!
//! The truth stays the sealed folder of a run. The store holds its files as they are, byte by byte, and rows that are derived
//! from the record as those of a folder's index are, so that both are asked alike. A bench brings what is new whenever it can
//! reach the store and never waits for it otherwise. Each run comes in one transaction under its id: however often a bench or a
//! server stops in between, it is there once and whole, or not yet. Nothing in the store is ever changed or deleted, and the
//! role of the benches could not.

mod address;
mod asked;
mod error;
mod events;
mod fetch;
mod names;
mod parcel;
mod schema;
mod send;
mod sync;

pub use address::{Address, May, Secrets};
pub use error::StoreError;
pub use fetch::{Fetched, fetch};
pub use schema::VERSION;
pub use sync::{Synced, Wish, sync};

use super::answers::{Answers, Asked, Tables, Trouble, Unanswered};
use super::index::Scope;
use crate::clock::{Clock, ComputerClock};
use asked::Far;
use names::Names;
use postgres::{Client, NoTls};
use send::Statements;
use std::time::Duration;

/// How long a statement may take.
const STATEMENT_S: u32 = 120;
/// How long a server that is away is asked again, from the last time that it answered.
const PATIENCE: Duration = Duration::from_secs(60);
/// How long between two tries.
const PAUSE: Duration = Duration::from_millis(200);

/// A store that is connected.
pub struct Store {
    address: Address,
    client: Client,
    statements: Option<Statements>,
    names: Names,
}

impl Store {
    /// Connects to a store.
    ///
    /// # Errors
    /// A server that is not there or does not let us in; tables of another version.
    pub fn open(address: &Address) -> Result<Self, StoreError> {
        let mut client = connect(address)?;
        schema::check(&mut client)?;
        Ok(Self { address: address.clone(), client, statements: None, names: Names::default() })
    }

    /// Makes the tables of a store, or brings them up to this version, and gives the bench role its rights. Gives the version
    /// before, where there was one.
    ///
    /// # Errors
    /// What the server says; tables of a newer version.
    pub fn prepare(address: &Address) -> Result<Option<i64>, StoreError> {
        schema::prepare(&mut connect(address)?)
    }

    /// Where it is, without any secret.
    pub fn place(&self) -> String {
        self.address.to_string()
    }

    /// Does something again on a new connection where the server went away, until patience ends.
    fn patiently<T>(&mut self, mut work: impl FnMut(&mut Self) -> Result<T, StoreError>) -> Result<T, StoreError> {
        let clock = ComputerClock::new();
        let late = clock.now().after(PATIENCE);
        loop {
            let error = match work(self) {
                Err(error) if error.may_pass() && clock.now() < late => error,
                done => return done,
            };
            clock.sleep_until(clock.now().after(PAUSE));
            if error.is_away() && self.client.is_closed() {
                match Self::open(&self.address) {
                    Ok(fresh) => *self = fresh,
                    Err(error) if error.may_pass() => {}
                    Err(error) => return Err(error),
                }
            }
        }
    }
}

impl Answers for Store {
    fn ask<T>(&mut self, _: Scope<'_>, mut question: impl FnMut(&mut dyn Tables) -> Asked<T>) -> Result<T, Unanswered> {
        let answer = question(&mut Far(&mut self.client));
        Ok(answer.map_err(|trouble| match trouble {
            Trouble::Store(error) => StoreError::from(error),
            Trouble::Index(error) => StoreError::Strange(error.to_string()),
            Trouble::Strange(says) => StoreError::Strange(says),
        })?)
    }

    fn told(&mut self) -> Vec<String> {
        Vec::new()
    }
}

fn connect(address: &Address) -> Result<Client, StoreError> {
    let mut client = address.config().connect(NoTls)?;
    schema::enter(&mut client)?;
    client
        .batch_execute(&format!("SET statement_timeout = '{STATEMENT_S} s'; SET lock_timeout = '{STATEMENT_S} s'"))?;
    Ok(client)
}
