//! `railproof verify`: proves that records are as they were sealed, or names what is not.

use super::inputs::InputFile;
use super::{Exit, Failure, Format, print};
use crate::record::seal::{Trust, is_digest};
use crate::record::verify::{Finding, Verified, Weight, trust_file, verify as look};
use anyhow::anyhow;
use clap::Args;
use serde_json::json;
use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// So many findings are printed for people; a program gets them all.
const SHOWN_MAX: usize = 200;

/// What to look at.
#[derive(Debug, Args)]
pub struct VerifyArgs {
    /// Folders of runs, of serial numbers, or whole results folders, which are looked at together. Only in a whole one are
    /// runs missed that are not there
    #[arg(value_name = "PATH", default_value = "results", env = "RAILPROOF_RESULTS")]
    paths: Vec<PathBuf>,
    /// A head that a bench had once, as `run` prints it: the run that had it must be there
    #[arg(long, value_name = "DIGEST", value_parser = head)]
    expect_head: Vec<String>,
    /// Trust file: which keys sign for which benches (OpenSSH's `allowed_signers`); without it `trusted-benches` in the
    /// results folder, where there is one
    #[arg(long, value_name = "FILE")]
    trust: Option<PathBuf>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

fn head(text: &str) -> Result<String, String> {
    if is_digest(text) { Ok(text.to_owned()) } else { Err("a head has 64 digits from 0 to 9 and a to f".into()) }
}

/// Looks and tells.
pub fn verify(args: &VerifyArgs) -> Result<Exit, Failure> {
    let trust = trust_of(args.trust.as_deref(), &args.paths)?;
    let verified = look(&args.paths, trust.as_ref()).map_err(|(path, error)| {
        let why = anyhow!("{}: cannot be read: {error}; name a folder of runs", path.display());
        Failure::new(Exit::BadInput, why)
    })?;
    if verified.runs == 0 && verified.weight() == Weight::Remark {
        let names: Vec<String> = args.paths.iter().map(|path| path.display().to_string()).collect();
        let why = anyhow!("there is no run in {}; name a folder of runs, such as results", names.join(", "));
        return Err(Failure::new(Exit::BadInput, why));
    }
    let gone: Vec<&str> =
        args.expect_head.iter().map(String::as_str).filter(|digest| !verified.has_head(digest)).collect();
    print(&match args.format {
        Format::Text => text(&verified, &gone, trust.is_some()),
        Format::Json => json(&verified, &gone, trust.is_some()),
    })?;
    Ok(match verified.weight() {
        _ if !gone.is_empty() => Exit::DoesNotConform,
        Weight::Difference => Exit::DoesNotConform,
        Weight::Unreadable => Exit::BadInput,
        Weight::Unproven if trust.is_some() => Exit::Undecided,
        Weight::Unproven | Weight::Remark => Exit::Done,
    })
}

/// What the trust file says that was given, or else those of the results folders; none where there is no trust file.
pub fn trust_of(given: Option<&Path>, paths: &[PathBuf]) -> Result<Option<Trust>, Failure> {
    let files: BTreeSet<PathBuf> = match given {
        Some(file) => BTreeSet::from([file.to_owned()]),
        None => paths.iter().filter_map(|path| trust_file(path)).collect(),
    };
    let mut trust: Option<Trust> = None;
    for file in files {
        let InputFile { source, .. } = InputFile::read(&file)?;
        let read = Trust::read(source.text()).map_err(|wrong| {
            let lines = wrong.iter().map(|(line, why)| format!("{}:{line}: {why}", file.display()));
            Failure::new(Exit::BadInput, anyhow!(lines.collect::<Vec<_>>().join("\n")))
        })?;
        trust.get_or_insert_default().add(read);
    }
    Ok(trust)
}

fn text(verified: &Verified, gone: &[&str], has_trust: bool) -> String {
    let mut text = String::new();
    let mut line = |written: std::fmt::Arguments<'_>| writeln!(text, "{written}").expect("into memory");
    for finding in verified.findings.iter().take(SHOWN_MAX) {
        let says = if finding.says.is_empty() { String::new() } else { format!(": {}", finding.says) };
        line(format_args!("{:<11} {}{says}", finding.kind.word(), finding.path.display()));
    }
    if let Some(more @ 1..) = verified.findings.len().checked_sub(SHOWN_MAX) {
        line(format_args!("and {more} more; --format json prints them all"));
    }
    for digest in gone {
        line(format_args!("{:<11} no run has the head {digest}: it and what came after it are gone", "missing"));
    }
    for chain in &verified.chains {
        let (bench, first, newest, head) = (&chain.bench, chain.first, chain.newest, &chain.head);
        line(format_args!("{bench}: {}, number {first} to {newest}; head {head}", counted(chain.runs)));
    }
    for ((bench, key), runs) in &verified.keys {
        let key = key.as_ref().map_or("unsigned".to_owned(), |key| format!("signed with {key}"));
        line(format_args!("{bench}: {} {key}", counted(*runs)));
    }
    if verified.unfinished > 0 {
        line(format_args!("{} unfinished, which are no records", counted(verified.unfinished)));
    }
    if !verified.is_whole {
        line(format_args!("name the whole results folder to see whether runs were taken away"));
    }
    line(format_args!("{}: {}", counted(verified.runs), conclusion(verified, gone, has_trust)));
    text
}

fn counted(runs: usize) -> String {
    if runs == 1 { "1 run".into() } else { format!("{runs} runs") }
}

fn conclusion(verified: &Verified, gone: &[&str], has_trust: bool) -> &'static str {
    match verified.weight() {
        Weight::Difference => "not as they were sealed",
        _ if !gone.is_empty() => "not all that there were",
        Weight::Unreadable => "not all could be read",
        Weight::Unproven if has_trust => "no difference found, but not all are signed with a trusted key",
        Weight::Unproven => "no difference found; those without a seal prove less",
        Weight::Remark if has_trust => "as they were sealed, with trusted keys",
        Weight::Remark => "as they were sealed; by whom is not proven without a trust file",
    }
}

fn json(verified: &Verified, gone: &[&str], has_trust: bool) -> String {
    let finding = |finding: &Finding| json!({ "kind": finding.kind.word(), "path": finding.path.display().to_string(), "says": finding.says });
    let chains: Vec<_> = verified
        .chains
        .iter()
        .map(|chain| {
            json!({
                "bench": chain.bench, "chain": chain.chain, "runs": chain.runs,
                "first": chain.first, "newest": chain.newest, "head": chain.head,
            })
        })
        .collect();
    let keys = verified.keys.iter().map(|((bench, key), runs)| json!({ "bench": bench, "key": key, "runs": runs }));
    let keys: Vec<_> = keys.collect();
    let findings: Vec<_> = verified.findings.iter().map(finding).collect();
    let answer = json!({
        "runs": verified.runs, "unfinished": verified.unfinished, "whole": verified.is_whole,
        "trusted keys only": has_trust && verified.weight() == Weight::Remark,
        "conclusion": conclusion(verified, gone, has_trust), "keys": keys, "findings": findings, "heads missing": gone, "chains": chains,
    });
    format!("{answer:#}\n")
}
