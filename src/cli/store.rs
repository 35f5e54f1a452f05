//! Which store benches share, for every command that asks or feeds it.

use super::{Exit, Failure};
use crate::record::store::{Address, May, Secrets};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

/// The variable that names the store; since others cannot see it, a password may be in it.
pub const VARIABLE: &str = "RAILPROOF_STORE";

/// How the way to the store may be.
#[derive(Debug, Clone, Copy, Args)]
pub struct Way {
    /// The way to the store leaves this computer without a tunnel, over a network that nobody else can read
    #[arg(long)]
    without_encryption: bool,
}

/// A store that is asked in the place of the results folder.
#[derive(Debug, Args)]
pub struct StoreChoice {
    /// Ask the store that benches share, such as postgres://bench-3@localhost/railproof, in place of the folder
    #[arg(long, value_name = "URL")]
    store: Option<String>,
    /// Ask the store that the variable RAILPROOF_STORE names
    #[arg(long, conflicts_with = "store")]
    shared: bool,
    #[command(flatten)]
    way: Way,
}

impl StoreChoice {
    /// Where the store is, if one is asked.
    pub fn address(&self) -> Result<Option<Address>, Failure> {
        if self.store.is_some() || self.shared { self.way.to(self.store.as_deref()).map(Some) } else { Ok(None) }
    }
}

impl Way {
    /// The address that was given, or else the one that the variable has.
    pub fn to(self, given: Option<&str>) -> Result<Address, Failure> {
        let wrong = |why: String| Failure::new(Exit::Usage, anyhow!(why));
        let variable = || std::env::var(VARIABLE).ok().filter(|text| !text.is_empty());
        let may = May { hold_password: given.is_none(), be_read: self.without_encryption };
        let text = given.map(str::to_owned).or_else(variable).ok_or_else(|| {
            wrong(format!("no store is named; write its address, or put it into the variable {VARIABLE}"))
        })?;
        Address::parse(&text, may, &secrets()).map_err(wrong)
    }
}

fn secrets() -> Secrets {
    let file = std::env::var_os("PGPASSFILE").filter(|path| !path.is_empty()).map(PathBuf::from);
    let usual = || std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".pgpass"));
    Secrets { password: std::env::var("PGPASSWORD").ok(), file: file.or_else(usual) }
}
