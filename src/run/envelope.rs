//! What a unit file and a jig file together say to a plan, to measuring and to those who watch for danger.

use crate::capture::{Calibration, EdgeChannel, SampleChannel};
use crate::jig::{JigFile, Trips};
use crate::measure::{JigFacts, Setup};
use crate::plan::Envelope;
use crate::unit::{MotionEnd, Unit};

/// Commands as plans speak of them, and the command of the dialect that each rests on.
const COMMANDS: [(&str, &str); 8] = [
    ("home", "home"),
    ("travel to end", "to end"),
    ("travel to position", "to position"),
    ("travel by", "by"),
    ("stop", "stop"),
    // A unit is turned round by sending it to the other end.
    ("reverse", "to end"),
    ("crawl", "crawl"),
    ("select", "select"),
];

/// What this unit can do on this jig.
pub fn envelope(unit: &Unit, jig: &JigFile) -> Envelope {
    let known = COMMANDS.iter().filter(|(_, command)| unit.dialect.knows(command)).map(|(name, _)| *name);
    Envelope {
        model: unit.model.clone(),
        travel: unit.facts.travel,
        speed_max: unit.speed_max,
        homing_speed: unit.homing_speed,
        acceleration: unit.acceleration,
        steps_per_metre: unit.facts.steps_per_metre,
        step_timer: unit.facts.step_timer,
        levels: unit.facts.levels.clone(),
        controls: unit.controls.clone(),
        start_up_s: unit.link.start_up_within.as_secs_f64(),
        commands: known.chain(["send"]).collect(),
        tells_rest: !matches!(unit.dialect.motion_end, MotionEnd::Watched { .. }),
        edges: jig.edge_channels(),
        samples: jig.sample_channels(),
        outputs: jig.output_channels(),
        jig: jig.name.clone(),
    }
}

/// Numbers of unit and jig for measuring.
pub fn setup(unit: &Unit, jig: &JigFile) -> Setup {
    Setup {
        unit: unit.facts.clone(),
        jig: JigFacts {
            ticks_per_second: jig.clock.ticks_per_second,
            clock_error: jig.clock.error,
            clock_uncertainty: jig.clock.uncertainty,
            stamp_uncertainty: jig.clock.stamp_uncertainty,
            encoder_edges_per_metre: jig.encoder.as_ref().map_or(0.0, |encoder| encoder.edges_per_metre),
            encoder_uncertainty: jig.encoder.as_ref().map_or(0.0, |encoder| encoder.uncertainty),
            edges: jig.edge_channels(),
            calibrations: jig.calibrations(),
            lit_above: jig.lit_above,
        },
    }
}

/// Numbers of unit and jig for those who watch for danger.
#[derive(Debug, Clone, PartialEq)]
pub struct Protection {
    /// The jig's limits.
    pub trips: Trips,
    /// Calibration of each sample channel that the jig has, by [`SampleChannel::index`].
    pub calibrations: [Option<Calibration>; SampleChannel::COUNT],
    /// Which digital channels the jig has.
    pub edges: Vec<EdgeChannel>,
    /// Nominal ticks of the jig's clock in a second.
    pub ticks_per_second: u64,
    /// Step pulses per metre of the carriage.
    pub steps_per_metre: f64,
    /// Pause between two increments of a crawl, s.
    pub crawl_interval: f64,
    /// Time that the unit takes to brake from its highest speed, s.
    pub braking_s: f64,
}

/// How this unit on this jig is watched.
pub fn protection(unit: &Unit, jig: &JigFile) -> Protection {
    Protection {
        trips: jig.trips,
        calibrations: jig.calibrations(),
        edges: jig.edge_channels(),
        ticks_per_second: jig.clock.ticks_per_second,
        steps_per_metre: unit.facts.steps_per_metre,
        crawl_interval: unit.facts.crawl_interval,
        braking_s: unit.speed_max / unit.acceleration,
    }
}
