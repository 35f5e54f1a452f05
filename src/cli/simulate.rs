//! `railproof simulate`: serves a simulated unit and capture board on two serial ports, for any program to talk to.

use super::inputs::unit_and_jig;
use super::signals::watch_for_signals;
use super::world::WorldArgs;
use super::{Exit, Failure, Format, say};
use crate::jig::{JigFile, JigKind};
use crate::sim::{Heard, ServeSettings, Served, TICKS_PER_SECOND};
use crate::unit::Unit;
use anyhow::{Context as _, anyhow};
use clap::Args;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

#[derive(Args)]
pub struct SimulateArgs {
    /// The unit file of the model
    #[arg(long, value_name = "FILE")]
    unit: PathBuf,
    /// The jig file of the bench
    #[arg(long, value_name = "FILE")]
    jig: PathBuf,
    /// Serial number that the unit says it has
    #[arg(long, value_name = "SN", default_value = "SM-0001")]
    serial: String,
    #[command(flatten)]
    world: WorldArgs,
    /// Seconds of the simulated world in one of the computer's
    #[arg(long, value_name = "X", default_value_t = 1.0, value_parser = scale)]
    scale: f64,
    /// A symbolic link to make to the unit's port
    #[arg(long, value_name = "PATH")]
    unit_link: Option<PathBuf>,
    /// A symbolic link to make to the capture board's port
    #[arg(long, value_name = "PATH")]
    board_link: Option<PathBuf>,
    /// How the names of the ports are printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// How fast a simulated world goes.
pub(super) fn scale(text: &str) -> Result<f64, String> {
    let number = text.parse().ok().filter(|number| (0.1..=100.0).contains(number));
    number.ok_or_else(|| "write a number from 0.1 to 100".to_owned())
}

/// Serves until it is interrupted.
pub fn simulate(args: &SimulateArgs) -> Result<Exit, Failure> {
    let (unit, jig) = check_files(&args.unit, &args.jig)?;
    let stop = watch_for_signals()?;
    let world = args.world.world(&unit, &jig, &args.serial)?;
    let settings = ServeSettings { scale: args.scale, ..ServeSettings::default() };
    let mut served = Served::open(world, settings).context("the simulated bench has no ports").map_err(invalid)?;
    let _unit_link = args.unit_link.as_deref().map(|at| Link::make(at, served.unit_port())).transpose()?;
    let _board_link = args.board_link.as_deref().map(|at| Link::make(at, served.board_port())).transpose()?;
    let unit = shown(args.unit_link.as_deref(), served.unit_port());
    let board = shown(args.board_link.as_deref(), served.board_port());
    tell(args.format, &unit, &board).context("standard output takes nothing").map_err(invalid)?;
    served.serve(&stop, tell_supply).context("the simulated bench broke down").map_err(invalid)?;
    Ok(Exit::Done)
}

fn tell_supply(heard: Heard) {
    say(match heard {
        Heard::SupplyOn => "unit supply on",
        Heard::SupplyOff => "unit supply off",
        Heard::WatchdogOff => "unit supply off by the watchdog: the bench fell silent",
    });
}

fn invalid(error: anyhow::Error) -> Failure {
    Failure::new(Exit::Invalid, error)
}

/// Both files have to be right, and to describe what the simulated world is.
fn check_files(unit_path: &Path, jig_path: &Path) -> Result<(Unit, JigFile), Failure> {
    let (unit, jig) = unit_and_jig(unit_path, jig_path)?;
    let misfit = if jig.kind != JigKind::CaptureBoard {
        let file = jig_path.display();
        format!(
            "{file}: a capture board is served, this jig is of kind `{}`; name a capture board's jig file",
            jig.kind.name()
        )
    } else if jig.clock.ticks_per_second != TICKS_PER_SECOND {
        let file = jig_path.display();
        format!("{file}: the simulated board's clock runs at 2 MHz; write `rate: 2 MHz` under `clock`")
    } else {
        return Ok((unit, jig));
    };
    Err(Failure::new(Exit::BadInput, anyhow!(misfit)))
}

fn shown(link: Option<&Path>, port: &str) -> String {
    link.map_or_else(|| port.to_owned(), |link| link.display().to_string())
}

fn tell(format: Format, unit: &str, board: &str) -> std::io::Result<()> {
    let mut out = anstream::stdout();
    match format {
        Format::Text => writeln!(out, "unit  {unit}\nboard {board}")?,
        Format::Json => writeln!(out, "{}", serde_json::json!({ "unit": unit, "board": board }))?,
    }
    out.flush()?;
    say("Serving a simulated unit and capture board; end with Ctrl-C.");
    Ok(())
}

/// A symbolic link that lives as long as this.
struct Link {
    at: PathBuf,
    to: PathBuf,
}

impl Link {
    /// Makes the link; one that an earlier, killed run left behind is replaced, anything else is not touched.
    fn make(at: &Path, to: &str) -> Result<Self, Failure> {
        let made = match std::fs::symlink_metadata(at) {
            Ok(there) if there.is_symlink() => std::fs::remove_file(at),
            Ok(_) => Err(std::io::Error::new(ErrorKind::AlreadyExists, "something else has this name")),
            Err(_) => Ok(()),
        };
        made.and_then(|()| std::os::unix::fs::symlink(to, at))
            .map(|()| Self { at: at.to_owned(), to: to.into() })
            .map_err(|error| {
                let why = anyhow!("{}: no link can be made: {error}; choose another path", at.display());
                Failure::new(Exit::Usage, why)
            })
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        if std::fs::read_link(&self.at).is_ok_and(|to| to == self.to) {
            // A link that stays behind does no harm: the next run replaces it.
            let _ = std::fs::remove_file(&self.at);
        }
    }
}
