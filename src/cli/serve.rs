//! `railproof serve`: the bench screen in a browser.

mod paced;
mod workshop;

use super::bench::Choice;
use super::inputs::bytes;
use super::key::KeyChoice;
use super::operator::given_answers;
use super::signals::watch_for_signals;
use super::simulate::scale;
use super::{Exit, Failure, Format, print, say};
use crate::serve::{self, Access, Settings, Token};
use anyhow::{Context, anyhow};
use clap::Args;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use workshop::{Kept, Shop};

const EXAMPLES: &str = "\
Examples:
  railproof serve test-plans/outgoing.yaml --unit fixtures/units/dunlin-600.yaml --jig fixtures/jigs/simulated.yaml
      the screen at http://127.0.0.1:8600, with a simulated unit in real time
  railproof serve test-plans/*.yaml --unit unit.yaml --bench left=left.yaml --bench right=right.yaml
      two jigs side by side
  railproof serve outgoing.yaml --unit unit.yaml --jig jig.yaml --listen 192.168.7.2:8600 \\
      --token-file bench.token --behind-proxy bench.saltmarsh.example
      for tablets, behind a proxy that adds TLS";

/// Which benches and plans the screen offers, and to whom.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct ServeArgs {
    /// The test plans to choose from
    #[arg(required = true, value_name = "PLAN")]
    plans: Vec<PathBuf>,
    /// The unit file of the model
    #[arg(long, value_name = "FILE")]
    unit: PathBuf,
    /// The jig file of the bench
    #[arg(long, value_name = "FILE", required_unless_present = "benches", conflicts_with = "benches")]
    jig: Option<PathBuf>,
    /// A bench by its name and its jig file, where this computer drives several; may be repeated
    #[arg(long = "bench", id = "benches", value_name = "NAME=FILE", value_parser = named_jig)]
    benches: Vec<(String, PathBuf)>,
    /// Folder that records go to
    #[arg(long, value_name = "DIR", default_value = "results", env = "RAILPROOF_RESULTS")]
    results: PathBuf,
    /// Who is at the bench, unless the screen is told otherwise
    #[arg(long, value_name = "NAME", env = "RAILPROOF_OPERATOR")]
    operator: Option<String>,
    /// Answer to the operator's questions that is then not asked for: `yes` for all, or `PIECE OF THE QUESTION=no`; may be
    /// repeated
    #[arg(long = "answer", value_name = "ANSWER")]
    answers: Vec<String>,
    /// Address and port; beyond this computer it takes --token-file and --behind-proxy. Port 0 takes any that is free
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:8600")]
    listen: SocketAddr,
    /// File of the token that opens the screen, readable by its owner alone
    #[arg(long, value_name = "FILE")]
    token_file: Option<PathBuf>,
    /// Name under which a proxy on the way adds TLS; the server itself speaks plain HTTP
    #[arg(long, value_name = "HOST", requires = "token_file")]
    behind_proxy: Option<String>,
    /// Seconds of a simulated world in one of the computer's
    #[arg(long, value_name = "X", default_value_t = 1.0, value_parser = scale)]
    scale: f64,
    /// How the address is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    key: KeyChoice,
    #[command(flatten)]
    choice: Choice,
}

fn named_jig(text: &str) -> Result<(String, PathBuf), String> {
    match text.split_once('=').map(|(name, file)| (name.trim(), file)) {
        Some((name, file)) if !name.is_empty() && name.chars().count() <= 60 && !file.is_empty() => {
            Ok((name.to_owned(), file.into()))
        }
        _ => Err("write the bench's name and its jig file, such as left=fixtures/jigs/left.yaml".into()),
    }
}

/// Serves until it is interrupted.
pub fn serve(args: &ServeArgs) -> Result<Exit, Failure> {
    let access = access(args)?;
    let jigs = match &args.jig {
        Some(jig) => vec![(String::new(), jig.clone())],
        None => args.benches.clone(),
    };
    let shop = Shop::open(
        Kept {
            plans: args.plans.clone(),
            unit: args.unit.clone(),
            results: args.results.clone(),
            operator: args.operator.clone(),
            answers: given_answers(&args.answers),
            scale: args.scale,
            key: args.key.clone(),
            choice: args.choice.clone(),
        },
        jigs,
    )?;
    let stop = watch_for_signals()?;
    let listener = TcpListener::bind(args.listen).map_err(|error| {
        let why = anyhow!("{}: nothing can be served there: {error}; choose another with --listen", args.listen);
        Failure::new(Exit::Usage, why)
    })?;
    let at = listener.local_addr().context("the address is not known").map_err(invalid)?;
    print(&match args.format {
        Format::Text => format!("http://{at}\n"),
        Format::Json => format!("{}\n", serde_json::json!({ "address": format!("http://{at}") })),
    })?;
    say(
        "Serving the bench screen; end with Ctrl-C. A stop on the screen is no emergency stop: wire one into the supply.",
    );
    if !args.listen.ip().is_loopback() {
        say("What goes from here to the proxy is not encrypted; keep that way short.");
    }
    serve::serve(listener, Arc::new(shop), Settings { access }, &stop)
        .context("the screen broke down")
        .map_err(invalid)?;
    Ok(Exit::Done)
}

fn invalid(error: anyhow::Error) -> Failure {
    Failure { exit: Exit::Invalid, error }
}

/// Beyond the loopback interface it takes a token, and a proxy that adds TLS.
fn access(args: &ServeArgs) -> Result<Access, Failure> {
    let usage = |why: String| Failure::new(Exit::Usage, anyhow!(why));
    if !args.listen.ip().is_loopback() && (args.token_file.is_none() || args.behind_proxy.is_none()) {
        return Err(usage(format!(
            "{} can be reached from other computers: give a token with --token-file, and with --behind-proxy the name of the \
             proxy that adds TLS; or listen on 127.0.0.1",
            args.listen.ip()
        )));
    }
    if let Some(name) = args.behind_proxy.as_deref().filter(|name| !is_host(name)) {
        return Err(usage(format!(
            "--behind-proxy `{name}`: write the host's name alone, such as bench.saltmarsh.example"
        )));
    }
    let token = args.token_file.as_deref().map(token).transpose()?;
    Ok(Access { token, behind: args.behind_proxy.clone() })
}

fn is_host(name: &str) -> bool {
    !name.is_empty() && name.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-.".contains(&byte))
}

fn token(path: &Path) -> Result<Token, Failure> {
    let wrong = |why: String| Failure::new(Exit::BadInput, anyhow!("{}: {why}", path.display()));
    let text = bytes(path).map_err(|error| wrong(format!("cannot be read: {error}")))?;
    let text = String::from_utf8(text).map_err(|_| wrong("it is no text".into()))?;
    Token::new(&text).map_err(|error| wrong(error.to_string()))
}
