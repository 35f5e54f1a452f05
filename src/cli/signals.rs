//! Ctrl-C, Ctrl-\\, Ctrl-Z, termination and a closed terminal become a flag, so that whatever goes on can end in good
//! order. Ctrl-Z is among them because a run that sleeps would leave the unit supplied with nobody watching it.

use super::{Exit, Failure};
use anyhow::Context;
use signal_hook::consts::{SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP, SIGTTIN};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// The flag that the signals set.
///
/// # Errors
/// Where they cannot be watched for: then nothing should be started that they are to end.
pub fn watch_for_signals() -> Result<Arc<AtomicBool>, Failure> {
    let flag = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGTSTP, SIGTTIN] {
        signal_hook::flag::register(signal, Arc::clone(&flag))
            .context("Ctrl-C cannot be watched for")
            .map_err(|error| Failure { exit: Exit::Invalid, error })?;
    }
    Ok(flag)
}
