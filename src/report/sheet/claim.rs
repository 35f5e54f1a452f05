//! The claim sheet: what a returned unit was like when it left, what it is like now, side by side.
//!
//! It is set like the sheets of a run, with a comparison where those have their results. What the sender complains of may stand
//! here, and on no certificate.

use super::{Compared, Fact, Sheet, SheetError, html, pdf, phrases};
use crate::record::Record;
use crate::record::stored::Verdict;
use crate::report::number;
use crate::report::words::{visible, visible_within};
use crate::study::claim::{self, Claim, Told, Value};

/// All that a claim sheet is made from.
#[derive(Debug, Clone, Copy)]
pub struct ClaimSheet<'a> {
    pub claim: &'a Claim,
    pub shipped: &'a Record,
    pub now: &'a Record,
    /// SHA-256 of the two records' files.
    pub digests: [&'a str; 2],
    /// When it was dispatched, and when it came back, in RFC 3339.
    pub dispatched: Option<&'a str>,
    pub returned: Option<&'a str>,
    /// What the sender complains of.
    pub complaint: Option<&'a str>,
}

impl ClaimSheet<'_> {
    /// As one HTML file that needs nothing else.
    pub fn html(&self) -> String {
        html::page(&self.sheet())
    }

    /// As PDF/A-2a with the tags of PDF/UA-1.
    ///
    /// # Errors
    /// Where the PDF's own check finds a violation; the text names it.
    pub fn pdf(&self) -> Result<Vec<u8>, SheetError> {
        pdf::document(&self.sheet())
    }

    /// The finding in a sentence.
    pub fn sentence(&self) -> String {
        sentence(self.claim)
    }

    /// The comparison in words: value, as shipped, now, change, E_n, what that means.
    pub fn rows(&self) -> Vec<[String; 6]> {
        let row = |one: &claim::Compared| {
            let Compared { name, note, shipped, now, change, e_n, told, .. } = compared(one);
            let note = if one.phase.is_empty() { note } else { visible(&one.phase) };
            let name = if note.is_empty() { name } else { format!("{name}, {note}") };
            [name, shipped, now, change, e_n, told.to_owned()]
        };
        self.claim.compared.iter().map(row).collect()
    }

    fn sheet(&self) -> Sheet {
        let Self { claim, shipped, now, digests, .. } = *self;
        let verdict = match (claim.changes().is_empty(), claim.perhaps().next().is_some()) {
            (false, _) => Verdict::DoesNotConform,
            (true, true) => Verdict::Undecided,
            (true, false) => Verdict::Conforms,
        };
        let simulated = shipped.run.is_simulated() || now.run.is_simulated();
        Sheet {
            verdict,
            title: "Claim sheet",
            maker: visible_within(&now.unit.maker, 120),
            model: visible_within(&now.unit.title, 120),
            serial: visible_within(&now.unit.serial, 120),
            headline: match verdict {
                Verdict::Conforms => "As shipped",
                Verdict::Undecided => "Perhaps changed",
                _ => "Changed",
            },
            statement: sentence(claim),
            simulated: simulated.then_some(phrases::SIMULATED),
            overdue: Vec::new(),
            reasons: Vec::new(),
            facts: self.facts(),
            failures: Vec::new(),
            rule: rule(claim),
            groups: Vec::new(),
            comparison: claim.compared.iter().map(compared).collect(),
            plots: Vec::new(),
            calibrations: Vec::new(),
            notes: claim.not_compared.iter().map(|(name, why)| format!("Not compared: {name}; {why}.")).collect(),
            cautions: phrases::CAUTIONS,
            ended: phrases::date(&now.run.ended),
            run_id: visible_within(&now.run.id, 60),
            digest: visible_within(digests[1], 80),
        }
    }

    fn facts(&self) -> Vec<Fact> {
        let Self { shipped, now, digests, dispatched, returned, complaint, .. } = *self;
        let mut facts = Vec::new();
        let mut fact = |name, value: String, is_wide| {
            if !value.is_empty() {
                facts.push(Fact { name, value, is_wide });
            }
        };
        let moment = |at: Option<&str>| at.map(|at| visible(&phrases::moment(at))).unwrap_or_default();
        let run = |record: &Record, digest: &str| {
            let said = format!(
                "{}, revision {}, {}: {}; run {}, SHA-256 of its record.json {digest}",
                record.plan.name,
                record.plan.revision,
                phrases::moment(&record.run.started),
                phrases::headline(record.decision).to_lowercase(),
                record.run.id
            );
            visible(&said)
        };
        let firmware =
            |record: &Record| record.unit.reports.get("firmware").cloned().unwrap_or_else(|| "not told".into());
        fact("Dispatched", moment(dispatched), false);
        fact("Returned", moment(returned), false);
        let (before, after) = (firmware(shipped), firmware(now));
        let both = if before == after { before } else { format!("{before}, now {after}") };
        fact("Firmware", visible(&both), false);
        fact("Complaint", complaint.map(visible).unwrap_or_default(), true);
        fact("As shipped", run(shipped, digests[0]), true);
        fact("Now", run(now, digests[1]), true);
        let jig = |record: &Record| visible(&format!("{}: {}", record.bench.jig, record.bench.describes));
        let bench = match self.claim.same_jig {
            true => format!("{}, the same with the same calibration both times", jig(now)),
            false => format!("{}; as shipped {}", jig(now), jig(shipped)),
        };
        fact("Bench", bench, true);
        fact("Origin", phrases::origin(now).map(|origin| visible(&origin)).unwrap_or_default(), true);
        facts
    }
}

fn rule(claim: &Claim) -> String {
    let jig = if claim.same_jig {
        "Both runs were made on one jig with one calibration, so that doubt which they share is no doubt in the change."
    } else {
        "The runs were made on two jigs or calibrations, so that the whole doubt of both counts."
    };
    format!(
        "E_n is the change divided by its expanded uncertainty for 95 % (ISO 13528:2022, 9.7): beyond 1 in either direction a change \
         is larger than its doubt. {jig} Of {} values some are beyond 1 by chance alone; a change counts as proven where it stands \
         against all of them at 5 % (Holm 1979). A change of less than a tenth of what the tolerance allows is slight, since no two runs \
         find a unit at the same charge and warmth. Several readings are compared by their means.",
        claim.compared.len()
    )
}

/// What changed, in a sentence.
fn sentence(claim: &Claim) -> String {
    const NAMED_MAX: usize = 3;
    let changes = claim.changes();
    let perhaps = claim.perhaps().count();
    if claim.compared.is_empty() {
        return "The two runs have no value in common, so nothing is told.".into();
    }
    let alone = changes.is_empty() && perhaps == 0;
    let slightly = if claim.slight().next().is_some() { ", or changed slightly" } else { "" };
    let all = format!("everything {}that both runs measured is as shipped{slightly}", if alone { "" } else { "else " });
    let rest = match perhaps {
        0 => all,
        1 => format!("1 value may have changed, {all}"),
        more => format!("{more} values may have changed, {all}"),
    };
    if changes.is_empty() {
        return capitalised(&rest) + ".";
    }
    let mut named: Vec<&claim::Compared> = Vec::new();
    for one in &changes {
        let related =
            |known: &&claim::Compared| known.measurand == one.measurand || is_of_pack(known) && is_of_pack(one);
        if named.len() < NAMED_MAX && !named.iter().any(related) {
            named.push(one);
        }
    }
    let mut parts: Vec<String> = named.iter().map(|one| phrase(one)).collect();
    let last = parts.pop().unwrap_or_default();
    let mut said = if parts.is_empty() { last } else { format!("{} and {last}", parts.join(", ")) };
    match changes.len() - named.len() {
        0 => {}
        1 => said.push_str("; 1 other value changed with it"),
        more => said.push_str(&format!("; {more} other values changed with it")),
    }
    format!("{}; {rest}.", capitalised(&said))
}

fn is_of_pack(one: &claim::Compared) -> bool {
    one.measurand.starts_with("pack ")
}

/// `the pack's series resistance rose from 0.121 Ω to 0.282 Ω`
fn phrase(one: &claim::Compared) -> String {
    let name = visible_within(&one.measurand, 80);
    let name = name.strip_prefix("pack ").map_or_else(|| format!("the {name}"), |what| format!("the pack's {what}"));
    let value = |value: &Value| {
        number::with_unit(&number::beside(value.value, value.expanded_uncertainty), &visible_within(&one.unit, 24))
    };
    let went = if one.change < 0.0 { "fell" } else { "rose" };
    format!("{name} {went} from {} to {}", value(&one.shipped), value(&one.now))
}

fn capitalised(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().chain(characters).collect())
}

fn compared(one: &claim::Compared) -> Compared {
    let unit = visible_within(&one.unit, 24);
    let value = |value: &Value| number::measured(value.value, value.expanded_uncertainty, &unit);
    let mut notes: Vec<String> =
        [&one.phase].into_iter().filter(|phase| !phase.is_empty()).map(|phase| visible(phase)).collect();
    if one.now.readings > 1 {
        notes.push(format!("mean of {}", one.now.readings));
    }
    if one.shipped.check != one.now.check {
        notes.push(format!("as shipped in {}, now in {}", visible(&one.shipped.check), visible(&one.now.check)));
    }
    Compared {
        name: visible(&one.measurand),
        note: notes.join("; "),
        shipped: value(&one.shipped),
        now: value(&one.now),
        change: number::measured(one.change, one.expanded_uncertainty, &unit),
        e_n: one.e_n.map_or_else(|| "–".into(), |e_n| number::rounded(e_n, if e_n.abs() < 10.0 { 2 } else { 0 })),
        wears: one.wears,
        told: match one.told {
            Told::AsShipped => "as shipped",
            Told::Slightly => "slightly changed",
            Told::Perhaps => "perhaps changed",
            Told::Changed => "changed",
            Told::NotJudged => "a count, not judged",
        },
        verdict: match one.told {
            Told::AsShipped | Told::Slightly => Verdict::Conforms,
            Told::Perhaps | Told::NotJudged => Verdict::Undecided,
            Told::Changed => Verdict::DoesNotConform,
        },
    }
}
