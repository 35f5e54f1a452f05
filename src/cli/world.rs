//! The simulated world as the command line describes it.

use super::{Exit, Failure};
use crate::jig::{JigFile, References, ValueReference};
use crate::sim::{CheckWiring, Fault, FirmwareVersion, SwitchedReference, World, WorldSettings};
use crate::unit::Unit;
use anyhow::anyhow;
use clap::Args;

/// The one model that the simulated world is made of.
const MODEL: &str = "dunlin-600";

/// What the simulated unit and its bench are to be like.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Simulated world")]
pub struct WorldArgs {
    /// Decides everything that is left to chance
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    #[doc = "A fault of unit or bench, with a severity from 0 to 1; may be repeated"]
    #[arg(long = "fault", value_name = "NAME[:SEVERITY]", value_parser = Fault::parse, long_help = faults_help())]
    pub faults: Vec<Fault>,
    /// Firmware of the unit: 1.4.0 or 1.5.0
    #[arg(long, value_name = "VERSION", default_value = "1.4.0", value_parser = firmware)]
    pub firmware: FirmwareVersion,
}

impl WorldArgs {
    /// The world with a unit of this serial number.
    ///
    /// # Errors
    /// Where the unit file describes another model than the world is made of.
    pub fn world(&self, unit: &Unit, jig: &JigFile, serial: &str) -> Result<World, Failure> {
        is_made_of(unit)?;
        Ok(World::new(&WorldSettings {
            seed: self.seed,
            faults: self.faults.clone(),
            serial: serial.to_owned(),
            firmware: self.firmware,
            wiring: wiring(&jig.references),
            ..WorldSettings::default()
        }))
    }

    /// The faults by name and severity.
    pub fn fault_names(&self) -> Vec<String> {
        self.faults.iter().map(|fault| format!("{}:{}", fault.kind.name(), fault.severity())).collect()
    }
}

/// Whether the simulated world has units of this model.
///
/// # Errors
/// Where the unit file describes another model than the world is made of.
pub fn is_made_of(unit: &Unit) -> Result<(), Failure> {
    if unit.model == MODEL {
        return Ok(());
    }
    let why = format!("the simulated world is a {MODEL}; the unit file describes a {}", unit.model);
    Err(Failure::new(Exit::Usage, anyhow!(why)))
}

/// A simulated bench is wired for its own check as its jig file says.
pub fn wiring(references: &References) -> CheckWiring {
    let switched = |reference: &ValueReference| {
        let (channel, uncertainty) = (reference.channel, reference.uncertainty);
        Some(SwitchedReference { by: reference.by?, channel, value: reference.value(), uncertainty })
    };
    CheckWiring {
        loop_backs: references.loop_backs.iter().map(|wire| (wire.from, wire.to)).collect(),
        references: references.values.iter().filter_map(switched).collect(),
    }
}

/// A firmware that the simulated unit has.
pub fn firmware(text: &str) -> Result<FirmwareVersion, String> {
    [FirmwareVersion::V1_4_0, FirmwareVersion::V1_5_0]
        .into_iter()
        .find(|version| version.text() == text)
        .ok_or_else(|| "the simulated unit has firmware 1.4.0 or 1.5.0".to_owned())
}

fn faults_help() -> String {
    let width = Fault::ALL.iter().map(|kind| kind.name().len()).max().unwrap_or(0);
    let list: String =
        Fault::ALL.iter().map(|kind| format!("\n  {:<width$}  {}", kind.name(), kind.explanation())).collect();
    format!("A fault of unit or bench, with a severity from 0 to 1; may be repeated:{list}")
}
