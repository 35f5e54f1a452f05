//! Speeds that a timer of whole ticks cannot make. A tolerance that leaves out the nearest one would reject healthy units.

use super::Fitter;
use crate::capture::Action;
use crate::plan::draft::{DraftCheck, DraftRequirement};
use crate::plan::{Move, label};
use crate::quantity::{Dimension, Unit};

impl Fitter<'_> {
    /// Holds what a check requires of its speeds against the nearest ones that the unit's timer makes of those commanded.
    pub(super) fn granularity(&self, check: &DraftCheck, moves: &[Move]) {
        let Some(timer) = self.envelope.step_timer else { return };
        for requirement in &check.requirements {
            let (lower, upper) = requirement.tolerance.limits();
            let is_out =
                |value: f64| lower.is_some_and(|lower| value < lower) || upper.is_some_and(|upper| value > upper);
            let made = moves.iter().filter_map(|planned| {
                let (speed, is_level) = cruise(&planned.action)?;
                let rate = speed * self.envelope.steps_per_metre;
                let error = timer / (timer / rate).round().max(1.0) / rate - 1.0;
                let value = match requirement.measurand.name {
                    "step rate error" => error,
                    "level speed error" if is_level => error,
                    // It may look at several speeds, of which the tolerance is that of one.
                    "cruise speed" if !is_out(speed) => speed * (1.0 + error),
                    _ => return None,
                };
                is_out(value).then_some((speed, error))
            });
            if let Some((speed, error)) = made.max_by(|one, other| one.1.abs().total_cmp(&other.1.abs())) {
                self.too_fine(requirement, speed, error, timer);
            }
        }
    }

    fn too_fine(&self, requirement: &DraftRequirement, speed: f64, error: f64, timer: f64) {
        let what = format!(
            "a healthy unit would not conform: of {} its step timer of {} makes a rate that is {:+.0} ppm off, and comes no nearer",
            label::shown(speed, Dimension::Speed),
            Unit::named("MHz").map_or_else(String::new, |unit| unit.show(timer)),
            1e6 * error
        );
        let right = format!("allow for it, or command {}", label::shown(speed * (1.0 + error), Dimension::Speed));
        self.notes.add(&requirement.at, what, right);
    }
}

/// The speed of a move that cruises, and whether it is a level's.
fn cruise(action: &Action) -> Option<(f64, bool)> {
    match action {
        Action::Travel { speed, level, .. } => Some((*speed, level.is_some())),
        Action::Start { speed, .. } => Some((*speed, true)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use crate::plan::tests::bench;
    use crate::plan::{Draft, Envelope};
    use crate::written::Source;

    /// What is wrong with requiring this of travels at 90 and 40 mm/s.
    fn told(require: &str, envelope: &Envelope) -> Vec<String> {
        let text = format!(
            "plan: trial\nrevision: 1\nmodel: dunlin-600\ndecision rule: {{ false accept at most: 2.5 % }}\nchecks:\n  \
             - name: only\n    moves:\n      - power: on\n      - home: left\n      - travel: {{ to: right, speed: 90 mm/s }}\n      \
             - travel: {{ to: left, level: 5 }}\n    require: {{ {require} }}\n"
        );
        let fitted = Draft::read(&Source::new("trial.yaml", text)).expect("a plan").fit(envelope);
        fitted.err().unwrap_or_default().iter().map(|problem| problem.to_string()).collect()
    }

    /// 2 MHz over 7200 steps/s are 277.8 ticks: 278 make 7194.2 steps/s, 799 ppm less. 3200 steps/s are 625 of them.
    #[test]
    fn a_tolerance_that_no_unit_can_keep_is_refused() {
        for require in ["step rate error: between -700 ppm and 700 ppm", "cruise speed: 90 mm/s ± 0.05 %"] {
            let [problem] = &told(require, &bench())[..] else { panic!("{require}") };
            assert!(
                problem.contains("of 90 mm/s its step timer of 2 MHz makes a rate that is -799 ppm off"),
                "{problem}"
            );
            assert!(problem.contains("or command 89.9281 mm/s"), "{problem}");
        }
        let coarse = Envelope { step_timer: Some(62_500.0), ..bench() };
        let [problem] = &told("level speed error: between -2 % and 2 %", &coarse)[..] else { panic!("a level") };
        // 62.5 kHz over 3200 steps/s are 19.53 ticks: 20 of them.
        assert!(problem.contains("of 40 mm/s") && problem.contains("-23438 ppm"), "{problem}");
    }

    #[test]
    fn what_a_unit_can_keep_is_left_alone() {
        let unknown = Envelope { step_timer: None, ..bench() };
        let tight = "step rate error: between -1 ppm and 1 ppm";
        for (require, envelope) in [
            ("step rate error: between -900 ppm and 900 ppm", &bench()),
            ("cruise speed: 90 mm/s ± 0.1 %", &bench()),
            ("level speed error: between -1 ppm and 1 ppm", &bench()),
            (tight, &unknown),
        ] {
            assert_eq!(told(require, envelope), [""; 0], "{require}");
        }
    }
}
