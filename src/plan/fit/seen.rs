//! What a jig sees of what a check requires. A requirement whose channels it lacks is refused, or where the plan says so left
//! out and told: never quietly.

use super::Fitter;
use crate::decide::{Limits, Rule};
use crate::plan::Requirement;
use crate::plan::draft::{DraftCheck, DraftRequirement};

impl Fitter<'_> {
    /// What holds of a check on this jig, and what is left out, in words.
    pub(super) fn seen(&self, check: &DraftCheck) -> (Vec<Requirement>, Vec<String>) {
        let (mut requirements, mut left_out) = (Vec::new(), Vec::new());
        for requirement in &check.requirements {
            let missing = self.missing_channels(requirement);
            if requirement.where_seen && !missing.is_empty() {
                let (name, missing) = (requirement.measurand.name, missing.join(", "));
                left_out.push(format!("{}: {name} is not looked at, since the jig lacks {missing}", check.name));
                continue;
            }
            self.channels(requirement, &missing, &check.name);
            requirements.push(fitted(requirement, check, &self.rule));
        }
        (requirements, left_out)
    }

    /// The channels of a requirement that the jig lacks.
    fn missing_channels(&self, requirement: &DraftRequirement) -> Vec<String> {
        let measurand = requirement.measurand;
        let edges = measurand
            .edges
            .iter()
            .filter(|edge| !self.envelope.edges.contains(edge))
            .map(|edge| edge.name().to_owned());
        let samples = measurand
            .samples
            .iter()
            .filter(|sample| !self.envelope.samples.contains(sample))
            .map(|sample| sample.name());
        edges.chain(samples).map(|name| format!("`{name}`")).collect()
    }

    /// A requirement whose channels the jig lacks could only ever make the run invalid.
    fn channels(&self, requirement: &DraftRequirement, missing: &[String], check: &str) {
        let measurand = requirement.measurand;
        if !missing.is_empty() {
            let channels = if missing.len() == 1 { "the channel" } else { "the channels" };
            let jig = &self.envelope.jig;
            self.notes.add(
                &requirement.at,
                format!("`{}` needs {channels} {}, which the jig `{jig}` lacks", measurand.name, missing.join(", ")),
                format!("run the plan on a jig that has it, or take this requirement out of the check `{check}`"),
            );
        }
    }
}

/// A requirement of a check that may be looked at after several rounds has its share of the accepted risk at each.
fn fitted(draft: &DraftRequirement, check: &DraftCheck, plans: &Rule) -> Requirement {
    let (lower, upper) = draft.tolerance.limits();
    let limits = Limits { lower, upper };
    let own = draft.rule;
    let rule = check.rounds.as_ref().map_or(own, |rounds| Some(own.unwrap_or(*plans).shared_among(rounds.value)));
    Requirement { measurand: draft.measurand, tolerance: draft.tolerance.clone(), limits, rule }
}

#[cfg(test)]
mod tests {
    use crate::capture::SampleChannel;
    use crate::plan::tests::bench;
    use crate::plan::{Draft, Envelope};
    use crate::written::Source;

    /// What only some jigs see is required there, and told about elsewhere; it is never the only thing that a check requires.
    #[test]
    fn what_a_jig_does_not_see_is_left_out_and_told() {
        let text = "plan: trial\nrevision: 1\nmodel: dunlin-600\ndecision rule: { false accept at most: 2.5 % }\nchecks:\n  \
                    - name: bar\n    moves: [ { power: on }, { wait: 3 s } ]\n    require: { start-up time: at most 2 s }\n    \
                    require where seen: { flicker depth: at most 5 % }\n";
        let draft = Draft::read(&Source::new("a.yaml", text)).expect("a sound plan");
        let (mut seeing, blind) = (bench(), bench());
        seeing.samples = vec![SampleChannel::LightFlicker];
        let blind = Envelope {
            samples: blind.samples.into_iter().filter(|one| *one != SampleChannel::LightFlicker).collect(),
            ..blind
        };
        let (seeing, blind) = (draft.fit(&seeing).expect("it fits"), draft.fit(&blind).expect("it fits"));
        assert_eq!((seeing.checks[0].requirements.len(), seeing.checks[0].left_out.len()), (2, 0));
        assert_eq!(blind.checks[0].requirements.len(), 1);
        let told = &blind.checks[0].left_out[0];
        assert!(told.starts_with("bar: flicker depth is not looked at, since the jig lacks `light flicker`"), "{told}");
        let alone = text.replace("    require: { start-up time: at most 2 s }\n", "");
        let wrong = Draft::read(&Source::new("a.yaml", alone)).expect_err("it requires nothing firm");
        assert!(wrong.iter().any(|problem| problem.what.contains("needs the key `require`")), "{wrong:?}");
    }
}
