//! A rehearsal in tables: the same for terminal and page; and as JSON.

use crate::cli::show;
use crate::record::stored::Verdict;
use crate::report::Section;
use crate::stats::{Reached, student};
use crate::study::rehearse::{CheckWorth, Findings, Of, Rehearsal, Rehearsed, Severities};
use serde_json::{Value, json};

/// Units that are shown one by one, of each kind.
const SHOWN_MAX: usize = 10;

const TRUTH: &str = "What counts as truth: a unit is broken where a fault of it breaks a promise to the buyer, which a fault does from the \
severity that the population file gives (1 where it gives none; at any where the fault is there or not). A unit without a fault is \
sound. A unit between the two is slight: it counts neither as an escape nor as a false reject, whatever was decided.";

const METHOD: &str = "Intervals are exact, of 95 % (Clopper and Pearson 1934). Severities: logistic regression with Firth's penalty \
(Firth 1993), with the expanded uncertainty of the fit (k for 95 %). All units are simulated: the figures are as good as population \
file and simulated world.";

/// The result for the terminal.
pub fn text(rehearsal: &Rehearsal, findings: &Findings) -> String {
    let mut text = String::new();
    for Section { heading, says, table, .. } in sections(rehearsal, findings) {
        text.push_str(&format!("{heading}\n"));
        for said in &says {
            text.push_str(&format!("{}\n", wrapped(said, usize::from(show::terminal_width()))));
        }
        if let Some((heads, rows)) = table {
            text.push_str(&format!("\n{}", show::table(&heads, rows)));
        }
        text.push('\n');
    }
    text
}

/// Words in lines no longer than so many characters.
fn wrapped(text: &str, width: usize) -> String {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let line = lines.last_mut().expect("there is a line");
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > width {
            lines.push(word.to_owned());
        } else {
            line.push_str(if line.is_empty() { "" } else { " " });
            line.push_str(word);
        }
    }
    lines.join("\n")
}

/// All tables.
pub fn sections(rehearsal: &Rehearsal, findings: &Findings) -> Vec<Section> {
    let names: Vec<&str> = rehearsal.rehearsal.checks.iter().map(|check| check.name.as_str()).collect();
    let mut all =
        vec![whole(rehearsal, findings), faults(findings), checks(findings), shorter(findings), severities(findings)];
    all.extend(one_by_one("Escapes, one by one", Findings::escapes(rehearsal), &names));
    all.extend(one_by_one("Sound units held up, one by one", Findings::held_up(rehearsal), &names));
    all.push(Section::saying("How to read this", vec![TRUTH.to_owned(), METHOD.to_owned()]));
    all
}

fn whole(Rehearsal { rehearsal, units, .. }: &Rehearsal, findings: &Findings) -> Section {
    let (population, sound) = (&findings.population, &findings.sound);
    let rows = [
        ("sound units rejected", sound.rejected),
        ("sound units left undecided", sound.undecided),
        ("sound units with an invalid run", sound.invalid),
        ("as built: with a fault that breaks a promise", population.broken),
        ("as built: with a slight fault", population.slight),
        ("as built: shipped", population.shipped),
        ("shipped as built, and broken", population.broken_shipped),
    ];
    let took = findings.seconds().map_or_else(
        || "no sound unit is among them".to_owned(),
        |seconds| format!("a sound unit takes {seconds:.0} s of machine time"),
    );
    Section {
        heading: format!("Rehearsal of {} revision {}, SIMULATED", rehearsal.plan, rehearsal.revision),
        says: vec![format!(
            "{} units of the population {}, seed {}; {took}.",
            units.len(),
            rehearsal.population,
            rehearsal.seed
        )],
        table: Some((
            vec!["rate", "units", "of", "share", "interval"],
            rows.map(|(what, of)| rate_row(what, of)).to_vec(),
        )),
    }
}

fn rate_row(what: &str, of: Of) -> Vec<String> {
    vec![
        what.to_owned(),
        of.count.to_string(),
        of.among.to_string(),
        of.share().map_or_else(|| "–".into(), percent),
        interval(of),
    ]
}

fn percent(share: f64) -> String {
    format!("{:.2} %", 100.0 * share)
}

fn interval(of: Of) -> String {
    if of.among == 0 {
        return "nothing known".into();
    }
    let (low, high) = of.interval();
    format!("{:.2} to {:.2} %", 100.0 * low, 100.0 * high)
}

fn faults(findings: &Findings) -> Section {
    let rows = findings.faults.iter().map(|fault| {
        let counts = [fault.caught, fault.undecided, fault.invalid, fault.escaped].map(|of| of.count.to_string());
        let mut row = vec![fault.fault.clone(), fault.caught.among.to_string()];
        row.extend(counts);
        row.push(interval(fault.escaped));
        row
    });
    Section {
        heading: "Faults".into(),
        says: vec!["Units with this fault alone, where it breaks a promise. One that conforms is an escape.".into()],
        table: Some((
            vec!["fault", "units", "caught", "undecided", "invalid", "escaped", "escape rate"],
            rows.collect(),
        )),
    }
}

fn checks(findings: &Findings) -> Section {
    let rows = findings.checks.iter().map(|check| {
        vec![
            check.name.clone(),
            check.seconds.map_or_else(|| "–".into(), |seconds| format!("{seconds:.1}")),
            check.catches.to_string(),
            check.unique.to_string(),
            check.false_rejects.to_string(),
            check.undecided.to_string(),
            dropping(check),
        ]
    });
    Section {
        heading: "Checks".into(),
        says: vec![
            "Broken units that a check catches and those that no other check catches; sound units that it alone rejects or leaves \
             undecided. Dropping it would do what the last column says."
                .into(),
        ],
        table: Some((vec!["check", "s", "catches", "alone", "rejects", "undecided", "dropping it"], rows.collect())),
    }
}

fn dropping(check: &CheckWorth) -> String {
    if check.needed {
        return "later checks need what it switches".into();
    }
    let mut lets: Vec<String> =
        check.unique_faults.iter().take(3).map(|(fault, count)| format!("{count} {fault}")).collect();
    if check.unique_faults.len() > 3 {
        lets.push("others".into());
    }
    if lets.is_empty() { "lets nothing more through".into() } else { format!("lets through {}", lets.join(", ")) }
}

fn shorter(findings: &Findings) -> Section {
    let shorter = &findings.shorter;
    let names: Vec<String> = shorter.drop.iter().map(|check| format!("`{}`", findings.checks[*check].name)).collect();
    let said = if names.is_empty() {
        "Every check catches something that no choice of the others does: the plan cannot be shorter with the same catches.".into()
    } else {
        format!(
            "Without {} the plan would be {:.0} s shorter and catch the same units. What the population does not know of, such a \
             check may still catch; rehearse the shorter plan before you use it.",
            names.join(", "),
            shorter.saves_s
        )
    };
    Section::saying("A shorter plan", vec![said])
}

/// Requirement by requirement: too long for a terminal.
pub fn requirements(findings: &Findings) -> Section {
    let rows = findings.checks.iter().flat_map(|check| {
        check.requirements.iter().map(|one| {
            let counts = [one.catches, one.unique, one.holds_up].map(|count| count.to_string());
            [vec![check.name.clone(), one.name.clone()], counts.to_vec()].concat()
        })
    });
    Section {
        heading: "Requirements".into(),
        says: vec![
            "Broken units for which a requirement is a reason that its check does not conform, those for which it is the only reason \
             in the whole plan, and sound units that it holds up."
                .into(),
        ],
        table: Some((vec!["check", "requirement", "catches", "alone", "holds up"], rows.collect())),
    }
}

fn severities(findings: &Findings) -> Section {
    let rows = findings.severities.iter().map(|one| {
        let caught = one.units.iter().filter(|(_, caught)| *caught).count();
        vec![
            one.fault.clone(),
            one.units.len().to_string(),
            caught.to_string(),
            reached(one, one.half),
            reached(one, one.nearly_all),
        ]
    });
    Section {
        heading: "Severities".into(),
        says: vec!["How severe a fault must be to be caught; 0 is as good as none, 1 plainly bad.".into()],
        table: Some((vec!["fault", "units", "caught", "half of them from", "99 % from"], rows.collect())),
    }
}

fn reached(of: &Severities, reached: Option<Reached>) -> String {
    let Some(Reached { at, uncertainty }) = reached else {
        return if of.units.iter().all(|(_, caught)| *caught) { "all were caught" } else { "not told" }.into();
    };
    let doubt = uncertainty * student::two_sided_quantile(crate::stats::COVERAGE, f64::INFINITY);
    match at {
        at if at > 1.0 => "beyond 1".into(),
        at if at < 0.01 => "below 0.01".into(),
        at => format!("{at:.2} ± {doubt:.2}"),
    }
}

fn one_by_one<'u>(heading: &str, units: impl Iterator<Item = &'u Rehearsed>, names: &[&str]) -> Option<Section> {
    let units: Vec<&Rehearsed> = units.collect();
    let rows = units.iter().take(SHOWN_MAX).map(|unit| {
        let faults: Vec<String> = unit.faults.iter().map(|one| format!("{}:{:.2}", one.fault, one.severity)).collect();
        let why: Vec<&str> = (0..unit.checks.len())
            .filter(|check| unit.checks[*check].decision != Verdict::Conforms)
            .map(|check| names[check])
            .collect();
        vec![
            unit.number.to_string(),
            faults.join(" + "),
            crate::report::verdict_words(unit.decision).to_owned(),
            why.join(", "),
        ]
    });
    let says =
        vec![format!("{} in all; `railproof rehearse … --look NUMBER` shows what was measured on one.", units.len())];
    (!units.is_empty()).then(|| Section {
        heading: heading.to_owned(),
        says,
        table: Some((vec!["number", "faults", "decision", "in"], rows.collect())),
    })
}

fn of_json(of: Of) -> Value {
    let (low, high) = of.interval();
    json!({ "count": of.count, "among": of.among, "share": of.share(), "interval": [low, high] })
}

fn reached_json(reached: Option<Reached>) -> Value {
    reached
        .map_or(Value::Null, |reached| json!({ "severity": reached.at, "standard_uncertainty": reached.uncertainty }))
}

/// The result for programs.
pub fn json(whole: &Rehearsal, findings: &Findings) -> Value {
    let Rehearsal { rehearsal, units, .. } = whole;
    let escapes: Vec<u64> = Findings::escapes(whole).map(|unit| unit.number).collect();
    let held_up: Vec<u64> = Findings::held_up(whole).map(|unit| unit.number).collect();
    let (sound, population) = (&findings.sound, &findings.population);
    let faults = findings.faults.iter().map(|fault| {
        json!({ "fault": fault.fault, "explanation": fault.explanation, "caught": of_json(fault.caught),
                "undecided": of_json(fault.undecided), "invalid": of_json(fault.invalid), "escaped": of_json(fault.escaped) })
    });
    let checks = findings.checks.iter().map(|check| {
        let unique: Vec<_> = check.unique_faults.iter().map(|(fault, units)| json!({ "fault": fault, "units": units })).collect();
        let requirements: Vec<_> = check
            .requirements
            .iter()
            .map(|one| json!({ "measurand": one.name, "catches": one.catches, "unique": one.unique, "holds_up": one.holds_up }))
            .collect();
        json!({ "check": check.name, "needed": check.needed, "seconds": check.seconds, "catches": check.catches,
                "unique": check.unique, "unique_faults": unique, "false_rejects": check.false_rejects,
                "undecided": check.undecided, "requirements": requirements })
    });
    let severities = findings.severities.iter().map(|one| {
        json!({ "fault": one.fault, "units": one.units.len(), "half": reached_json(one.half), "nearly_all": reached_json(one.nearly_all) })
    });
    let drop: Vec<&str> = findings.shorter.drop.iter().map(|check| findings.checks[*check].name.as_str()).collect();
    json!({
        "simulated": true,
        "plan": rehearsal.plan, "revision": rehearsal.revision, "population": rehearsal.population,
        "seed": rehearsal.seed, "units": units.len(), "truth": TRUTH, "method": METHOD,
        "machine_time_s": findings.seconds(),
        "sound": { "rejected": of_json(sound.rejected), "undecided": of_json(sound.undecided), "invalid": of_json(sound.invalid) },
        "as_built": { "broken": of_json(population.broken), "slight": of_json(population.slight),
                      "shipped": of_json(population.shipped), "broken_shipped": of_json(population.broken_shipped) },
        "faults": faults.collect::<Vec<_>>(),
        "checks": checks.collect::<Vec<_>>(),
        "severities": severities.collect::<Vec<_>>(),
        "shorter": { "drop": drop, "saves_s": findings.shorter.saves_s },
        "escapes": escapes, "held_up": held_up,
    })
}
