//! The runs of a bench against each other: none missing between them, none changed together with its seal.

use super::folder::Found;
use super::{Finding, Kind};
use crate::record::fetched::Foreign;
use crate::record::seal::{Head, Link, SEAL, Seal};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

/// A chain of runs as it was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChainFound {
    pub bench: String,
    pub chain: String,
    pub runs: usize,
    pub first: u64,
    pub newest: u64,
    /// The head of its newest run.
    pub head: String,
}

/// A run with its place in the chain.
struct Placed<'a> {
    path: &'a Path,
    seal: &'a Seal,
    head: &'a Head,
}

/// Holds the runs of every chain against each other. `root` is the results folder, where all of one is to be seen: then runs
/// that are not there are missing.
pub fn order<'f>(
    found: &'f [Found],
    root: Option<&Path>,
    known: &[Head],
    foreign: &HashMap<String, Foreign>,
    findings: &mut Vec<Finding>,
) -> Vec<ChainFound> {
    let mut chains: BTreeMap<&str, Vec<Placed<'_>>> = BTreeMap::new();
    for run in found {
        if let (Some(seal), Some(head)) = (&run.seal, &run.head) {
            chains.entry(&seal.chain).or_default().push(Placed { path: &run.path, seal, head });
        }
    }
    // Runs whose seal is gone or damaged are told about by themselves; they are not missing as well.
    let named = |run: &'f Found| Some((run.path.file_name()?.to_str()?, run));
    let unplaced: BTreeMap<&str, &Found> = found.iter().filter(|run| run.seal.is_none()).filter_map(named).collect();
    // Of a bench whose runs are all gone, what is remembered tells.
    let gone = known.iter().filter(|known| !chains.contains_key(known.chain.as_str()));
    for (known, root) in
        gone.filter(|known| !unplaced.contains_key(known.link.run.as_str())).filter_map(|known| Some((known, root?)))
    {
        let says = format!("run {} of its bench, and every one before it", known.counter);
        findings.push(Finding::new(Kind::Missing, &home(root, &known.link), says));
    }
    let mut told = Vec::new();
    for (chain, mut runs) in chains {
        runs.sort_by(|one, other| (one.seal.counter, one.path).cmp(&(other.seal.counter, other.path)));
        forks(&mut runs, findings);
        // Of a chain that another bench makes, this folder has what was fetched; the rest is not missing here.
        let is_foreign = |run: &Placed<'_>| foreign.contains_key(&run.head.link.digest);
        let is_elsewhere = runs.iter().all(is_foreign) && known.iter().all(|known| known.chain != chain);
        let root = root.filter(|_| !is_elsewhere);
        let mut look = Look { root, unplaced: &unplaced, findings };
        look.chain(&runs);
        look.tail(&runs, known.iter().find(|known| known.chain == chain));
        let (Some(first), Some(newest)) = (runs.first(), runs.last()) else { continue };
        told.push(ChainFound {
            bench: newest.seal.bench.clone(),
            chain: chain.to_owned(),
            runs: runs.len(),
            first: first.seal.counter,
            newest: newest.seal.counter,
            head: newest.head.link.digest.clone(),
        });
    }
    told
}

/// Runs that say they are the same one; a copy of one is no second run.
fn forks(runs: &mut Vec<Placed<'_>>, findings: &mut Vec<Finding>) {
    runs.dedup_by(|next, one| next.head == one.head);
    for pair in runs.windows(2) {
        let [one, next] = pair else { continue };
        if one.seal.counter == next.seal.counter {
            let says = format!(
                "{} says like it that it is run {} of {}; two runs were sealed at once without a lock, or one was put in",
                one.path.display(),
                one.seal.counter,
                one.seal.bench
            );
            findings.push(Finding::new(Kind::Forked, next.path, says));
        }
    }
}

struct Look<'a, 'f> {
    root: Option<&'a Path>,
    unplaced: &'a BTreeMap<&'a str, &'a Found>,
    findings: &'f mut Vec<Finding>,
}

impl Look<'_, '_> {
    fn chain(&mut self, runs: &[Placed<'_>]) {
        if let Some(first) = runs.first() {
            self.gap(0, first);
        }
        for pair in runs.windows(2) {
            let [one, next] = pair else { continue };
            match next.seal.counter - one.seal.counter {
                0 => {}
                1 => self.link(one, next),
                _ => self.gap(one.seal.counter, next),
            }
        }
    }

    fn link(&mut self, one: &Placed<'_>, next: &Placed<'_>) {
        if next.seal.previous.as_ref() != Some(&one.head.link) {
            let says =
                format!("it is not the run that {} was sealed after: its seal was made anew", next.path.display());
            self.findings.push(Finding::new(Kind::Changed, one.path, says));
        } else if goes_back(one.seal, next.seal) {
            let says = format!("sealed before {} by the bench's clock, which was set back", one.path.display());
            self.findings.push(Finding::new(Kind::Remark, next.path, says));
        }
    }

    /// What is missing between the run with the counter `after` and `next`, which knows the one right before it.
    fn gap(&mut self, after: u64, next: &Placed<'_>) {
        let (Some(root), Some(previous)) = (self.root, &next.seal.previous) else { return };
        let last = next.seal.counter - 1;
        if last <= after {
            return;
        }
        let bench = &next.seal.bench;
        if !self.is_unplaced(previous) {
            let says = format!("run {last} of {bench}, which {} was sealed after", next.path.display());
            self.findings.push(Finding::new(Kind::Missing, &home(root, previous), says));
        }
        if last - 1 > after {
            let which = if last - 1 == after + 1 {
                format!("run {}", after + 1)
            } else {
                format!("runs {} to {}", after + 1, last - 1)
            };
            let damaged = if self.unplaced.is_empty() { "" } else { "; those with a damaged seal may be among them" };
            let says = format!("{which} of {bench}, before {}{damaged}", home(root, previous).display());
            self.findings.push(Finding::new(Kind::Missing, root, says));
        }
    }

    /// Whether a run that was sealed is there without a sound seal. One that was made to look as old as from before the seals
    /// is told here, since it alone knows that it is not.
    fn is_unplaced(&mut self, link: &Link) -> bool {
        let Some(run) = self.unplaced.get(link.run.as_str()) else { return false };
        if run.findings.iter().any(|finding| finding.kind == Kind::Unsealed) {
            let says = "the run was sealed, as the bench's other runs tell";
            self.findings.push(Finding::new(Kind::Missing, &run.path.join(SEAL), says));
        }
        true
    }

    /// What the results folder remembers of the bench, beyond the newest run that is there.
    fn tail(&mut self, runs: &[Placed<'_>], known: Option<&Head>) {
        let (Some(root), Some(known), Some(newest)) = (self.root, known, runs.last()) else { return };
        let is_newer = known.counter > newest.seal.counter;
        if is_newer && !runs.iter().any(|run| run.head == known) && !self.is_unplaced(&known.link) {
            let says = format!("run {} of {}, the newest that is remembered", known.counter, newest.seal.bench);
            self.findings.push(Finding::new(Kind::Missing, &home(root, &known.link), says));
        }
    }
}

fn home(root: &Path, link: &Link) -> PathBuf {
    root.join(&link.serial).join(&link.run)
}

/// Whether a run was sealed earlier than the one before it by more than the clock is in doubt of.
fn goes_back(one: &Seal, next: &Seal) -> bool {
    let doubt = one.clock_uncertainty_s.unwrap_or(0.0) + next.clock_uncertainty_s.unwrap_or(0.0);
    one.sealed_at().zip(next.sealed_at()).is_some_and(|(one, next)| (one - next).as_seconds_f64() > doubt)
}
