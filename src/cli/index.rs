//! `railproof index`: brings the index of the records up to date, or makes it anew.

use super::records::{Records, failed, tell};
use super::{Exit, Failure, Format, print};
use clap::Args;
use serde_json::json;

/// Which index, and what to do.
#[derive(Args)]
pub struct IndexArgs {
    #[command(flatten)]
    records: Records,
    /// Forget the index and make it anew from the folders
    #[arg(long)]
    rebuild: bool,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Takes in what is new and says how many records there are.
pub fn index(args: &IndexArgs) -> Result<Exit, Failure> {
    let mut index = args.records.index()?;
    let runs = if args.rebuild { index.rebuild() } else { index.count() }.map_err(failed)?;
    tell(&mut index);
    let place = args.records.results.display();
    print(&match args.format {
        Format::Text if runs == 1 => format!("1 run is indexed below {place}\n"),
        Format::Text => format!("{runs} runs are indexed below {place}\n"),
        Format::Json => format!("{:#}\n", json!({ "runs": runs, "kept": index.is_kept() })),
    })?;
    Ok(Exit::Done)
}
