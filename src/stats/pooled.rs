//! The mean of several estimates of one thing, each from a round of its own on the same bench.
//!
//! What scatters from reading to reading (type A) is independent from round to round, and averages out. What the bench
//! brings in (type B: calibration, clock, resolution) is the same in every round, and stays as it is. Where the rounds lie
//! farther apart than their own scatter explains, something else changes from round to round: the excess of their variance
//! gets a line of its own, as in a one-way analysis of variance (JCGM 100:2008, H.5).
//!
//! The rounds weigh the same. Weights from their own scatter would favour whichever round came out low, where the scatter
//! grows with the value: of a jitter, for example, whose accepted values lie below.

use super::{Component, Correlation, Estimate, Evaluation, summary};

impl Estimate {
    /// The mean of the estimates of several rounds; `None` of none.
    pub fn pooled(rounds: &[&Self]) -> Option<Self> {
        let (first, rest) = rounds.split_first()?;
        if rest.is_empty() {
            return Some((*first).clone());
        }
        let values: Vec<f64> = rounds.iter().map(|round| round.value).collect();
        let mut pooled = Self::of(summary::mean(&values)?);
        let mut places: Vec<Vec<Option<usize>>> = rounds.iter().map(|round| vec![None; round.budget.len()]).collect();
        while let Some(line) = next_line(rounds, &mut places, pooled.budget.len()) {
            pooled.budget.push(line);
        }
        pooled.correlations = correlations(rounds, &places, &pooled.budget);
        if let Some(line) = excess(rounds, &values) {
            pooled.budget.push(line);
        }
        // Draws do not tell what of them is scatter: the widest stays.
        let widest =
            rounds.iter().max_by(|one, other| one.standard_uncertainty().total_cmp(&other.standard_uncertainty()));
        pooled.drawn = widest.and_then(|round| round.drawn.clone());
        Some(pooled)
    }

    /// How far the mean may well move until there are `times` as many rounds: the standard deviation of its change.
    pub fn may_move(&self, times: f64) -> f64 {
        (self.scatter() * (1.0 - 1.0 / times)).max(0.0).sqrt()
    }

    /// What is to be expected of the mean after `times` as many rounds: the same value, and less scatter.
    pub fn after_more(&self, times: f64) -> Self {
        let mut expected = self.clone();
        for line in expected.budget.iter_mut().filter(|line| line.evaluation == Evaluation::A) {
            line.input_uncertainty /= times.sqrt();
            line.degrees_of_freedom *= times;
        }
        expected
    }

    /// Variance of what scatters from reading to reading.
    fn scatter(&self) -> f64 {
        let is_scatter = |line: &Component| line.evaluation == Evaluation::A;
        let scatter = Self {
            budget: self.budget.iter().map(|line| line.scaled(if is_scatter(line) { 1.0 } else { 0.0 })).collect(),
            ..self.clone()
        };
        scatter.standard_uncertainty().powi(2)
    }
}

/// The next line that no place was found for, together with its like of the other rounds: the first that is left in each.
fn next_line(rounds: &[&Estimate], places: &mut [Vec<Option<usize>>], place: usize) -> Option<Component> {
    let wanted = rounds.iter().zip(places.iter()).find_map(|(round, places)| {
        let free = places.iter().position(Option::is_none)?;
        Some(&round.budget[free])
    })?;
    let mut alike = Vec::new();
    for (round, places) in rounds.iter().zip(places) {
        let like = |number: &usize| places[*number].is_none() && is_alike(&round.budget[*number], wanted);
        if let Some(number) = (0..round.budget.len()).find(like) {
            places[number] = Some(place);
            alike.push(&round.budget[number]);
        }
    }
    Some(together(wanted, &alike, rounds.len() as f64))
}

fn is_alike(one: &Component, other: &Component) -> bool {
    let key = |line: &Component| (line.from, line.evaluation, line.distribution, line.input_unit, line.cause);
    key(one) == key(other)
}

/// One line for those of all rounds; a round without it adds nothing to it.
fn together(wanted: &Component, alike: &[&Component], rounds: f64) -> Component {
    let sum = |power: fn(&Component) -> f64| alike.iter().map(|line| power(line)).sum::<f64>();
    let (contributes, freedom) = match wanted.evaluation {
        Evaluation::A => {
            let squares = sum(|line| line.signed().powi(2));
            let fourths = sum(|line| line.signed().powi(4) / line.degrees_of_freedom);
            (squares.sqrt() / rounds, if fourths > 0.0 { squares.powi(2) / fourths } else { f64::INFINITY })
        }
        // Of one cause that is known, signs that differ cancel; otherwise nobody may count on it.
        Evaluation::B if wanted.cause.is_some() => (sum(Component::signed) / rounds, wanted.degrees_of_freedom),
        Evaluation::B => (sum(Component::standard_uncertainty) / rounds, wanted.degrees_of_freedom),
    };
    let input = wanted.input_uncertainty;
    Component {
        sensitivity: if input > 0.0 { contributes / input } else { 0.0 },
        degrees_of_freedom: freedom,
        ..wanted.clone()
    }
}

/// Correlation of the pooled lines: of what scatters, from the covariances of the rounds' means; of what stays the same,
/// that of the rounds.
fn correlations(rounds: &[&Estimate], places: &[Vec<Option<usize>>], budget: &[Component]) -> Vec<Correlation> {
    let mut found: Vec<Correlation> = Vec::new();
    let number = rounds.len() as f64;
    for (round, places) in rounds.iter().zip(places) {
        for pair in &round.correlations {
            let (Some(one), Some(other)) = (places[pair.lines.0], places[pair.lines.1]) else { continue };
            let scatters = [one, other].iter().all(|place| budget[*place].evaluation == Evaluation::A);
            let whole = budget[one].signed() * budget[other].signed();
            let covariance =
                pair.coefficient * round.budget[pair.lines.0].signed() * round.budget[pair.lines.1].signed();
            let share = match scatters {
                true if whole != 0.0 => covariance / (number * number * whole),
                true => 0.0,
                false => pair.coefficient / number,
            };
            match found.iter_mut().find(|known| known.lines == (one, other)) {
                Some(known) => known.coefficient += share,
                None => found.push(Correlation { lines: (one, other), coefficient: share }),
            }
        }
    }
    found
}

/// What the rounds lie farther apart than their own scatter explains, as a line of the mean's budget.
fn excess(rounds: &[&Estimate], values: &[f64]) -> Option<Component> {
    let between = summary::standard_deviation(values)?.powi(2);
    let number = rounds.len() as f64;
    let within = rounds.iter().map(|round| round.scatter()).sum::<f64>() / number;
    let excess = between - within;
    (excess > 0.0).then(|| Component::repeated("rounds", (excess / number).sqrt(), number - 1.0))
}

#[cfg(test)]
mod tests {
    use super::super::monte_carlo::Draw;
    use super::*;

    fn round(value: f64, scatter: f64) -> Estimate {
        Estimate::of(value)
            .with_freedom("repeat", scatter, 9.0)
            .with("calibration", 0.3)
            .and(Component::normal("clock", 1e-3).through(value, "1").shared("clock of the jig"))
    }

    #[test]
    fn scatter_averages_out_and_what_the_bench_brings_in_stays() {
        let rounds = [round(100.0, 0.4), round(100.1, 0.4), round(99.9, 0.4), round(100.0, 0.4)];
        let pooled = Estimate::pooled(&rounds.each_ref()).expect("there are rounds");
        assert!((pooled.value - 100.0).abs() < 1e-12);
        let lines: Vec<(&str, f64)> =
            pooled.budget.iter().map(|line| (line.from, line.standard_uncertainty())).collect();
        let expected = [("repeat", 0.2), ("calibration", 0.3), ("clock", 0.1)];
        assert_eq!(lines.len(), expected.len(), "the rounds agree: {lines:?}");
        for (line, expected) in lines.iter().zip(expected) {
            assert!(line.0 == expected.0 && (line.1 - expected.1).abs() < 1e-12, "{line:?}");
        }
        assert!((pooled.budget[0].degrees_of_freedom - 36.0).abs() < 1e-9);
        assert_eq!(pooled.budget[2].cause, Some("clock of the jig"));
    }

    #[test]
    fn one_round_is_itself_and_none_is_nothing() {
        let only = round(5.0, 0.1);
        assert_eq!(Estimate::pooled(&[&only]), Some(only));
        assert_eq!(Estimate::pooled(&[]), None);
    }

    /// A round that is out of line must not go unseen: the mean of two that differ by far more than they scatter is in doubt
    /// by half of their difference, and that from one degree of freedom.
    #[test]
    fn rounds_that_differ_widen_the_doubt() {
        let rounds = [round(100.0, 0.01), round(104.0, 0.01)];
        let pooled = Estimate::pooled(&rounds.each_ref()).expect("there are rounds");
        let excess = pooled.budget.last().expect("a line");
        assert_eq!((excess.from, excess.degrees_of_freedom), ("rounds", 1.0));
        assert!((excess.standard_uncertainty() - 2.0).abs() < 1e-3, "{excess:?}");
        assert!(pooled.expanded_uncertainty(0.95) > 20.0);
    }

    #[test]
    fn a_line_that_a_round_lacks_counts_for_the_others_alone() {
        let with = Estimate::of(1.0).with("resolution", 0.2).with_freedom("repeat", 0.1, 4.0);
        let rounds = [with.clone(), Estimate::of(1.0), with];
        let pooled = Estimate::pooled(&rounds.each_ref()).expect("there are rounds");
        let [resolution, repeat] = &pooled.budget[..] else { panic!("two lines: {pooled:?}") };
        assert!((resolution.standard_uncertainty() - 0.4 / 3.0).abs() < 1e-12);
        assert!((repeat.standard_uncertainty() - 0.02_f64.sqrt() / 3.0).abs() < 1e-12);
    }

    #[test]
    fn signs_cancel_only_where_the_cause_is_known() {
        let clock = |value: f64| Component::normal("clock", 1e-3).through(value, "1").shared("clock of the jig");
        let rounds = [2.0, -2.0].map(|value| Estimate::of(value).and(clock(value)).with("calibration", 0.1 * value));
        let pooled = Estimate::pooled(&rounds.each_ref()).expect("there are rounds");
        assert!((pooled.budget[0].standard_uncertainty()).abs() < 1e-15);
        assert!((pooled.budget[1].standard_uncertainty() - 0.2).abs() < 1e-15);
    }

    #[test]
    fn correlated_lines_stay_correlated() {
        let line = |u| Component::repeated("fit", u, 10.0);
        let systematic = |from, u| Component::normal(from, u);
        let one = Estimate::of(1.0).and_correlated(line(3.0), line(4.0), -0.5).and_correlated(
            systematic("gain", 3.0),
            systematic("offset", 4.0),
            0.25,
        );
        let alone = one.standard_uncertainty();
        let pooled = Estimate::pooled(&[&one, &one, &one, &one]).expect("there are rounds");
        assert_eq!(pooled.budget.len(), 4);
        let scatter = 9.0 + 16.0 - 12.0;
        assert!((pooled.standard_uncertainty().powi(2) - (alone.powi(2) - 0.75 * scatter)).abs() < 1e-9);
    }

    #[test]
    fn more_rounds_are_foreseen_as_they_come_out() {
        let one = round(100.0, 0.4);
        let foreseen = one.after_more(4.0);
        let came = Estimate::pooled(&[&one; 4]).expect("there are rounds");
        assert!((foreseen.expanded_uncertainty(0.95) - came.expanded_uncertainty(0.95)).abs() < 1e-12);
    }

    // Outside: components of variance within and between days, JCGM 100:2008, H.5 and table H.9; how: from memory
    #[test]
    fn rounds_are_taken_apart_as_days_are() {
        // Mean of five readings of a Zener standard on each of ten days, less 10 V, and their standard deviations; µV.
        let means = [172.0, 116.0, 13.0, 144.0, 106.0, 31.0, 60.0, 125.0, 163.0, 41.0];
        let deviations = [60.0, 77.0, 111.0, 101.0, 67.0, 93.0, 80.0, 73.0, 88.0, 86.0];
        let days: Vec<Estimate> = means
            .iter()
            .zip(deviations)
            .map(|(mean, deviation)| Estimate::of(*mean).with_freedom("repeat", deviation / 5_f64.sqrt(), 4.0))
            .collect();
        let pooled = Estimate::pooled(&days.iter().collect::<Vec<_>>()).expect("there are days");
        assert_eq!(pooled.value.round(), 97.0);
        let [within, between] = &pooled.budget[..] else { panic!("two lines: {pooled:?}") };
        let number = 10_f64.sqrt();
        assert_eq!((within.standard_uncertainty() * number * 5_f64.sqrt()).round(), 85.0);
        assert_eq!((between.standard_uncertainty() * number).round(), 43.0);
        assert_eq!((pooled.standard_uncertainty()).round(), 18.0);
    }

    /// With nothing but scatter, and with as much again from round to round, the interval covers the truth as often as it says.
    #[test]
    fn the_mean_of_rounds_covers_the_truth() {
        let (draws, freedom) = (20_000, 9.0);
        let mut draw = Draw::new(20_260_301);
        for (number, between, least) in [(2, 0.0, 0.95), (4, 0.0, 0.95), (8, 0.0, 0.945), (8, 1.0, 0.93)] {
            let covered = (0..draws).filter(|_| {
                let rounds: Vec<Estimate> = (0..number)
                    .map(|_| {
                        let value = draw.normal() + between * draw.normal();
                        let deviation = (draw.chi_squared(freedom) / freedom).sqrt();
                        Estimate::of(value).with_freedom("repeat", deviation, freedom)
                    })
                    .collect();
                let pooled = Estimate::pooled(&rounds.iter().collect::<Vec<_>>()).expect("there are rounds");
                pooled.value.abs() <= pooled.expanded_uncertainty(0.95)
            });
            let covered = covered.count() as f64 / f64::from(draws);
            println!("{number} rounds, {between} from round to round: {covered:.4}");
            assert!(covered > least - 0.005 && covered < 0.99, "{number} rounds, {between}: {covered}");
        }
    }
}
