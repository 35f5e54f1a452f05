//! Two-cell pack: open-circuit voltage over its charge, series and contact resistance, one resistor-capacitor pair.

/// States of charge of the table below, as shares of the full charge.
const CHARGES: [f64; 12] = [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0];
/// Open-circuit voltage of two cells in series, V.
///
/// Source: the LG M50 cell of Chen et al. 2020, J. Electrochem. Soc. 167 080534, as PyBaMM 26.10 computes it from the
/// published electrode curves.
const OPEN_CIRCUIT: [f64; 12] = [
    5.000000, 6.218892, 6.591814, 6.970378, 7.162892, 7.334013, 7.501747, 7.681153, 7.895813, 8.084160, 8.193312,
    8.400000,
];

/// Rise of a lithium-ion cell's resistance towards the cold, as the exponent in K of exp(B·(1/T − 1/T₂₅)): doubles from
/// 25 °C to 0 °C (common practice, no source).
const COLD_EXPONENT: f64 = 2260.0;

/// What a pack is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct PackMake {
    /// Share of the full charge that is in it.
    pub charge: f64,
    /// Full charge, A·s.
    pub capacity: f64,
    /// Series resistance of cells, tabs and protection at 25 °C, Ω.
    pub series: f64,
    /// Resistance of the slow part at 25 °C, Ω.
    pub slow: f64,
    /// Time constant of the slow part, s.
    pub slow_seconds: f64,
    /// Resistance of the blade contacts, Ω.
    pub contact: f64,
    /// How unsteady the contacts are: relative standard deviation of their resistance.
    pub contact_unrest: f64,
    /// Conductance across the blade contacts, S.
    pub leak: f64,
}

impl PackMake {
    /// A full, sound camera pack: 2.2 Ah, about 105 mΩ with its contacts (common practice, no source).
    pub const fn sound() -> Self {
        Self {
            charge: 0.95,
            capacity: 2.2 * 3600.0,
            series: 0.080,
            slow: 0.040,
            slow_seconds: 2.0,
            contact: 0.015,
            contact_unrest: 0.0,
            leak: 0.0,
        }
    }

    /// The bench's nearly empty pack: the same make at an eighth of its charge, when its resistance has begun to rise.
    pub const fn nearly_empty() -> Self {
        Self { charge: 0.125, series: 0.100, slow: 0.055, ..Self::sound() }
    }
}

/// What draws from a pack.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Draw {
    /// Power that a switching supply takes whatever the voltage, W.
    pub power: f64,
    /// Conductance across the contacts, S.
    pub conductance: f64,
}

/// Voltage and current at the contacts, on the unit's side of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Terminals {
    /// V.
    pub volts: f64,
    /// Out of the pack, A.
    pub amps: f64,
}

/// A pack in use.
#[derive(Debug, Clone)]
pub struct Pack {
    make: PackMake,
    charge: f64,
    piece: Piece,
    per_capacity: f64,
    per_slow_second: f64,
    slow_volts: f64,
    cold: f64,
    extra_contact: f64,
    now: Terminals,
}

impl Pack {
    /// A pack at rest at a temperature.
    pub fn new(make: PackMake, celsius: f64) -> Self {
        let charge = make.charge;
        let piece = Piece::at(charge);
        let (per_capacity, per_slow_second) = (1.0 / make.capacity, 1.0 / make.slow_seconds);
        let now = Terminals { volts: piece.volts(charge), amps: 0.0 };
        let cold = cold_factor(celsius);
        Self { make, charge, piece, per_capacity, per_slow_second, slow_volts: 0.0, cold, extra_contact: 0.0, now }
    }

    /// Lets `seconds` pass at the present current, then draws `draw`. `unrest` is a deviate that shakes bad contacts.
    pub fn pass(&mut self, seconds: f64, draw: Draw, unrest: f64) -> Terminals {
        let towards = self.now.amps * self.make.slow * self.cold;
        self.slow_volts = towards + (self.slow_volts - towards) * decay(seconds * self.per_slow_second);
        self.charge = (self.charge - self.now.amps * seconds * self.per_capacity).max(0.0);
        if self.charge < self.piece.from {
            self.piece = Piece::at(self.charge);
        }
        let shaken = 1.0 + (self.make.contact_unrest * unrest).clamp(-0.8, 3.0);
        let resistance = self.make.series * self.cold + self.make.contact * shaken + self.extra_contact;
        let draw = Draw { conductance: draw.conductance + self.make.leak, ..draw };
        self.now = terminals(self.piece.volts(self.charge) - self.slow_volts, resistance, draw);
        self.now
    }

    /// Adds resistance to the contacts for as long as it is set, Ω.
    pub fn set_extra_contact(&mut self, ohms: f64) {
        self.extra_contact = ohms;
    }

    /// Whether its contacts shake.
    pub fn is_unsteady(&self) -> bool {
        self.make.contact_unrest > 0.0
    }

    /// Voltage and current as last found.
    pub fn terminals(&self) -> Terminals {
        self.now
    }

    /// Share of the full charge that is left.
    pub fn charge(&self) -> f64 {
        self.charge
    }
}

/// Solves V = E − R·(P/V + G·V). Where the source cannot give the power, the voltage breaks down to the crest of what it
/// can, and a real supply resets there.
fn terminals(source: f64, resistance: f64, draw: Draw) -> Terminals {
    let shunted = 1.0 + resistance * draw.conductance;
    let discriminant = source * source - 4.0 * shunted * resistance * draw.power;
    let volts = 0.5 * (source + discriminant.max(0.0).sqrt()) / shunted;
    Terminals { volts, amps: (source - volts) / resistance }
}

/// One straight piece of the open-circuit curve.
#[derive(Debug, Clone, Copy)]
struct Piece {
    from: f64,
    volts_from: f64,
    slope: f64,
}

impl Piece {
    /// The piece in which a state of charge lies.
    fn at(charge: f64) -> Self {
        let above = CHARGES.iter().position(|&known| known > charge).unwrap_or(CHARGES.len() - 1).max(1);
        let (from, volts_from) = (CHARGES[above - 1], OPEN_CIRCUIT[above - 1]);
        Self { from, volts_from, slope: (OPEN_CIRCUIT[above] - volts_from) / (CHARGES[above] - from) }
    }

    /// Open-circuit voltage, V.
    #[inline]
    fn volts(self, charge: f64) -> f64 {
        self.volts_from + self.slope * (charge - self.from)
    }
}

/// exp(−x): a short series for the small steps of sampling, the library's for long waits.
fn decay(x: f64) -> f64 {
    if x < 0.01 { 1.0 - x * (1.0 - x * (0.5 - x * (1.0 / 6.0))) } else { libm::exp(-x) }
}

fn cold_factor(celsius: f64) -> f64 {
    libm::exp(COLD_EXPONENT * (1.0 / (celsius + 273.15) - 1.0 / 298.15))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pack whose open-circuit voltage stands at 7.60 V, as the closed form assumes.
    fn steady(charge: f64) -> Pack {
        let make = PackMake { charge, capacity: 1e12, contact: 0.0, ..PackMake::sound() };
        Pack::new(make, 25.0)
    }

    /// Charge at which the table gives 7.60 V.
    fn charge_at_7_60() -> f64 {
        0.5 + 0.1 * (7.60 - 7.501747) / (7.681153 - 7.501747)
    }

    /// Constant current as power: P = I·V, found by repetition.
    fn at_current(pack: &mut Pack, seconds: f64, amps: f64) -> f64 {
        pack.pass(seconds, Draw::default(), 0.0);
        let mut volts = pack.terminals().volts;
        for _ in 0..50 {
            volts = pack.pass(0.0, Draw { power: amps * volts, conductance: 0.0 }, 0.0).volts;
        }
        volts
    }

    /// Two-level pulse of IEC 61960-3 (0.2 C for 10 s, 1 C for 1 s) on E = 7.60 V, R₀ = 80 mΩ, R₁ = 40 mΩ, τ = 2 s:
    /// the exact exponentials give U₁ = 7.552107807 V, U₂ = 7.398883351 V and R = 95.765285 mΩ (closed form, computed).
    // Outside: IEC 61960-3 two-level pulse on one RC pair, by the simulated pack; how: closed form, clause from memory
    #[test]
    fn two_level_pulse_agrees_with_the_closed_form() {
        let mut pack = steady(charge_at_7_60());
        assert!((at_current(&mut pack, 2.0, 0.4) - (7.60 - 0.4 * 0.080)).abs() < 1e-9);
        // 40 ms strides, so that the sampling series is what is checked.
        let pass = |pack: &mut Pack, strides: u32| {
            for _ in 0..strides {
                let Terminals { volts, amps } = pack.terminals();
                pack.pass(0.010, Draw { power: volts * amps, conductance: 0.0 }, 0.0);
                let amps_wanted = amps;
                for _ in 0..20 {
                    let volts = pack.terminals().volts;
                    pack.pass(0.0, Draw { power: volts * amps_wanted, conductance: 0.0 }, 0.0);
                }
            }
            pack.terminals().volts
        };
        let first = pass(&mut pack, 1000);
        assert!((first - 7.552_107_807).abs() < 2e-6, "{first}");
        let stepped = at_current(&mut pack, 0.0, 2.0);
        assert!((stepped - 7.424_107_807).abs() < 2e-6, "{stepped}");
        let second = pass(&mut pack, 100);
        assert!((second - 7.398_883_351).abs() < 2e-6, "{second}");
        let resistance = (first - second) / (2.0 - 0.4);
        assert!((resistance - 0.095_765_285).abs() < 2e-6, "{resistance}");
        let released = pack.pass(0.0, Draw::default(), 0.0).volts;
        assert!((released - 7.558_883_351).abs() < 2e-6, "{released}");
    }

    #[test]
    fn a_resistor_draws_by_ohms_law_and_power_is_kept() {
        let mut pack = steady(charge_at_7_60());
        let load = pack.pass(1.0, Draw { power: 0.0, conductance: 1.0 / 6.8 }, 0.0);
        assert!((load.volts - 7.60 * 6.8 / 6.88).abs() < 1e-9, "{load:?}");
        assert!((load.amps - 7.60 / 6.88).abs() < 1e-9, "{load:?}");
        let busy = pack.pass(0.0, Draw { power: 5.0, conductance: 0.0 }, 0.0);
        assert!((busy.volts * busy.amps - 5.0).abs() < 1e-9, "{busy:?}");
    }

    // Outside: Chen et al. (2020), open-circuit voltage of the simulated pack; how: package pybamm 26.10
    #[test]
    fn open_circuit_voltage_is_the_tables() {
        let table = include_str!("../../tests/data/ocv_chen2020.csv").lines().skip(1);
        for (place, line) in table.enumerate() {
            let fields: Vec<f64> = line.split(',').map(|field| field.parse().expect("a number")).collect();
            assert_eq!(CHARGES[place], fields[0]);
            assert!((Piece::at(fields[0]).volts(fields[0]) - fields[2]).abs() < 1e-6, "{line}");
        }
        // Half way between two entries, straight.
        assert!((Piece::at(0.15).volts(0.15) - (6.591814 + 6.970378) / 2.0).abs() < 1e-12);
    }

    #[test]
    fn charge_leaves_with_the_current_and_cold_raises_resistance() {
        let mut pack = Pack::new(PackMake::sound(), 25.0);
        let amps = pack.pass(0.0, Draw { power: 0.0, conductance: 0.1 }, 0.0).amps;
        pack.pass(100.0, Draw::default(), 0.0);
        assert!((0.95 - pack.charge() - amps * 100.0 / 7920.0).abs() < 1e-12);
        // Doubles from 25 °C to 0 °C (common practice, no source).
        assert!((cold_factor(0.0) / cold_factor(25.0) - 2.0).abs() < 0.05);
    }
}
