//! What can go wrong with the store, and what to do about it. No message has a secret in it.

use postgres::error::SqlState;
use std::error::Error;
use std::io;

/// Why the store could not do it.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// It has no tables, or those of another version.
    #[error("{}", version(*found, *wanted))]
    Version {
        /// The version of its tables; none where it has none.
        found: Option<i64>,
        /// The one that this railproof reads.
        wanted: i64,
    },
    /// The server refused, or is not there.
    #[error("the store {}", said(.0))]
    Server(#[from] postgres::Error),
    /// It answered something that no version of ours wrote.
    #[error("the store answers what no railproof wrote ({0}); was it changed by hand?")]
    Strange(String),
    /// What was fetched cannot be kept.
    #[error(transparent)]
    Write(#[from] crate::record::WriteError),
}

impl StoreError {
    /// Whether the server is not there, or left while it was asked.
    pub fn is_away(&self) -> bool {
        let Self::Server(error) = self else { return false };
        match error.code() {
            // A server that stops or starts says so (class 57P).
            Some(code) => [
                SqlState::ADMIN_SHUTDOWN,
                SqlState::CRASH_SHUTDOWN,
                SqlState::CANNOT_CONNECT_NOW,
                SqlState::TOO_MANY_CONNECTIONS,
            ]
            .contains(code),
            None => error.is_closed() || error.source().is_some_and(|source| source.is::<io::Error>()),
        }
    }

    /// Whether it is what was sent that the server will not have, such as a text with a zero byte.
    pub fn is_of_the_data(&self) -> bool {
        let Self::Server(error) = self else { return false };
        error.code().is_some_and(|code| code.code().starts_with("22") || code.code().starts_with("23"))
    }

    /// Whether it may do when asked again: others were in the way, or it is away.
    pub fn may_pass(&self) -> bool {
        let Self::Server(error) = self else { return false };
        let in_the_way = [SqlState::T_R_DEADLOCK_DETECTED, SqlState::T_R_SERIALIZATION_FAILURE];
        self.is_away() || error.code().is_some_and(|code| in_the_way.contains(code))
    }
}

fn version(found: Option<i64>, wanted: i64) -> String {
    match found {
        None => "the store has no tables yet; who owns the database makes them with `railproof sync --prepare`".into(),
        Some(found) if found > wanted => format!(
            "the store has tables of version {found}, and this railproof reads {wanted}; install the newer railproof that the \
             other benches have; nothing was sent, and it all stays here until then"
        ),
        Some(found) => format!(
            "the store has tables of version {found}, and this railproof reads {wanted}; who owns the database brings them up \
             with `railproof sync --prepare`"
        ),
    }
}

fn said(error: &postgres::Error) -> String {
    let Some(refusal) = error.as_db_error() else {
        let mut why = error.to_string();
        let mut source = error.source();
        while let Some(deeper) = source {
            why = deeper.to_string();
            source = deeper.source();
        }
        return format!("cannot be reached: {why}; is the server running, and the way there open?");
    };
    let message = refusal.message();
    let code = refusal.code();
    if *code == SqlState::INSUFFICIENT_PRIVILEGE {
        format!("refuses: {message}; who owns it gives this login the rights with GRANT railproof_bench TO …")
    } else if [SqlState::INVALID_PASSWORD, SqlState::INVALID_AUTHORIZATION_SPECIFICATION].contains(code) {
        format!(
            "refuses: {message}; give the password in PGPASSWORD or in ~/.pgpass, and look at the login in the address"
        )
    } else {
        format!("refuses: {message} ({})", code.code())
    }
}
