//! Settled temperatures against another program's fit.

use super::{check, setup, tick, travel, value};
use railproof::capture::{EdgeChannel, Part, SampleChannel};

/// An exponential from 22 °C towards 44 °C with 120 s, for 180 s, with a little noise in steps of 1/16 K. scipy's curve_fit
/// finds it in the same codes: settled 43.893 913 °C with a standard deviation of 55.999 mK, 118.764 349 s with 0.597 163 s.
// Outside: settled temperature and time constant of an exponential, with their standard deviations, scipy.optimize.curve_fit; how: package scipy 1.17.1
#[test]
fn settled_temperature_by_another_fit() {
    let setup = setup(0.0);
    let mut part = Part::default();
    part.push_edge(EdgeChannel::Direction, 0, true);
    for step in 0..=36_000_u32 {
        part.push_edge(EdgeChannel::Step, tick(1.0 + 5e-3 * f64::from(step)), true);
    }
    for second in 0..=180_u32 {
        let noise = (f64::from((second * second * 37 + second * 613) % 1000) / 1000.0 - 0.5) * 0.2;
        let celsius = 44.0 - 22.0 * (-f64::from(second) / 120.0).exp() + noise;
        part.push_sample(
            SampleChannel::MotorTemperature,
            tick(1.0 + f64::from(second)),
            (celsius / 0.0625).round() as i32,
        );
    }
    let check = check(&setup, travel(2.5e-3), &part, tick(182.0));
    for (name, expected, deviation) in
        [("motor settled temperature", 43.893_913, 0.055_999), ("motor warming time constant", 118.764_349, 0.597_163)]
    {
        let found = value(name, &check, &setup);
        assert!((found.value - expected).abs() < 1e-3 * deviation, "{name}: {found:?}");
        let fit = found.budget.iter().find(|line| line.from == "repeat, fit").expect("the fit's line");
        assert!((fit.standard_uncertainty() / deviation - 1.0).abs() < 2e-3, "{name}: {fit:?}");
        assert_eq!(fit.degrees_of_freedom, 178.0, "{name}");
    }
}
