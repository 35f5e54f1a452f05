//! Writes the manual pages and the shells' completions into a folder: `documents FOLDER DATE`. They come of the definitions
//! that `--help` prints, so that they cannot say anything else.

use clap::Command;
use clap_complete::{Shell, generate_to};
use clap_mangen::Man;
use std::error::Error;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let [_, folder, date] =
        <[String; 3]>::try_from(std::env::args().collect::<Vec<_>>()).map_err(|_| "documents FOLDER DATE")?;
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder)?;
    for shell in [Shell::Bash, Shell::Fish, Shell::Zsh] {
        generate_to(shell, &mut railproof::cli::command(), "railproof", folder)?;
    }
    let mut command = railproof::cli::command().disable_help_subcommand(true);
    command.build();
    pages(&command, folder, &date)
}

/// The page of a command, and those of its own commands.
fn pages(command: &Command, folder: &Path, date: &str) -> Result<(), Box<dyn Error>> {
    for inner in command.get_subcommands() {
        pages(inner, folder, date)?;
    }
    let page = Man::new(command.clone()).date(date).source("railproof").manual("railproof");
    let mut text = Vec::new();
    page.render(&mut text)?;
    // What a command's help ends with is its exit status.
    let text = String::from_utf8(text)?.replace("\n.SH EXTRA\n", "\n.SH \"EXIT STATUS\"\n");
    std::fs::write(folder.join(page.get_filename()), text)?;
    Ok(())
}
