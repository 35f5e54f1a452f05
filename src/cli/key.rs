//! `railproof key`: the key that a bench seals its records with.

use super::{Exit, Failure, print, say};
use crate::record::seal::{self, BenchKey, line_for, load, make};
use anyhow::anyhow;
use clap::{Args, Subcommand};
use std::path::{Path, PathBuf};

/// What to do with the key.
#[derive(Debug, Args)]
pub struct KeyArgs {
    #[command(subcommand)]
    command: KeyCommand,
}

#[derive(Debug, Subcommand)]
enum KeyCommand {
    /// Make this bench's key, which its owner alone can read, and print its line for a trust file
    New(NewArgs),
    /// Print the key's line for a trust file
    Show(KeyChoice),
}

/// Whose key to make.
#[derive(Debug, Args)]
struct NewArgs {
    /// Name of the bench: letters, digits, `.`, `_`, `@`, `-`; without it the computer's name
    #[arg(long, value_name = "NAME")]
    bench: Option<String>,
    #[command(flatten)]
    key: KeyChoice,
}

/// Where the key is.
#[derive(Debug, Clone, Default, Args)]
pub struct KeyChoice {
    /// File of the bench's key; without it `railproof/bench.key` in the user's folder of settings
    #[arg(long, value_name = "FILE", env = "RAILPROOF_KEY")]
    key: Option<PathBuf>,
}

impl KeyChoice {
    /// The key, where there is one. One that was asked for has to be there.
    pub fn load(&self) -> Result<Option<BenchKey>, Failure> {
        let asked_for = self.asked_for();
        let Some(path) = asked_for.map(Path::to_owned).or_else(usual_place) else { return Ok(None) };
        if asked_for.is_none() && !path.exists() {
            return Ok(None);
        }
        load(&path).map(Some).map_err(|error| Failure::new(Exit::BadInput, error))
    }

    fn place(&self) -> Result<PathBuf, Failure> {
        let why = || anyhow!("neither HOME nor XDG_CONFIG_HOME says where keys are kept; add --key FILE");
        self.asked_for().map(Path::to_owned).or_else(usual_place).ok_or_else(|| Failure::new(Exit::Usage, why()))
    }

    /// An empty variable of the environment is none.
    fn asked_for(&self) -> Option<&Path> {
        self.key.as_deref().filter(|path| !path.as_os_str().is_empty())
    }
}

/// In the user's folder of settings, as the XDG Base Directory Specification says where that is.
fn usual_place() -> Option<PathBuf> {
    let folder = |name| std::env::var_os(name).map(PathBuf::from).filter(|folder| folder.is_absolute());
    let settings = folder("XDG_CONFIG_HOME").or_else(|| folder("HOME").map(|home| home.join(".config")));
    settings.map(|settings| settings.join("railproof/bench.key"))
}

/// The name of a bench that has no key.
pub fn unnamed() -> String {
    seal::bench_of(&rustix::system::uname().nodename().to_string_lossy())
}

/// Makes or shows a key.
pub fn key(args: &KeyArgs) -> Result<Exit, Failure> {
    match &args.command {
        KeyCommand::New(args) => {
            let bench = args.bench.clone().unwrap_or_else(unnamed);
            seal::check_bench(&bench).map_err(|why| Failure::new(Exit::Usage, anyhow!("`{bench}`: {why}")))?;
            let path = args.key.place()?;
            let key = make(&path, &bench).map_err(|error| Failure::new(Exit::BadInput, error))?;
            say(&format!("railproof: {} was made; keep it to this bench, and keep no copy", path.display()));
            show(&key)
        }
        KeyCommand::Show(choice) => match choice.load()? {
            Some(key) => show(&key),
            None => {
                let why = anyhow!("{}: there is no key; `railproof key new` makes one", choice.place()?.display());
                Err(Failure::new(Exit::BadInput, why))
            }
        },
    }
}

fn show(key: &BenchKey) -> Result<Exit, Failure> {
    print(&format!("{}\n", line_for(key.bench(), key.public())))?;
    Ok(Exit::Done)
}
