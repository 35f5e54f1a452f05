//! What holds of every reader whatever it is given: it does not panic, what it hands out is in order and within its
//! range, and a file that is not what it was is never taken for a whole one. What it hands out is measured, too.

use crate::corpus::Kind;
use railproof::capture::csv::CsvReader;
use railproof::capture::vcd::VcdReader;
use railproof::capture::{
    AsFound, Calibrations, CaptureSink, EdgeChannel, Mark, Part, PhaseFinder, Rules, SampleChannel, TICK_MAX, Tick,
    Wire, file,
};
use railproof::measure::{CATALOGUE, Session, Setup};

/// What came out of a reader.
#[derive(Debug, Default, PartialEq)]
pub struct Outcome {
    /// Everything but the losses, as text of it that tells any two apart.
    pub said: Vec<String>,
    pub losses: usize,
    /// Whether the reader gave up.
    pub refused: bool,
}

/// Reads a file and measures what is in it.
pub fn outcome(kind: Kind, bytes: &[u8], wires: &[&str], setup: &Setup) -> Outcome {
    let mut measuring = Measuring::new(kind, setup.clone());
    let refused = if kind == Kind::Ours {
        let mut watch = Watch::new(&mut measuring);
        let summary = file::read(bytes, &mut watch);
        let (edges, samples, losses) = (watch.edges, watch.samples, watch.losses);
        if let Ok(summary) = &summary {
            assert_eq!((summary.edges, summary.samples, summary.losses), (edges, samples, losses), "it counts right");
            assert_eq!(summary.whole, losses == 0, "what is not whole is told");
        }
        summary.is_err()
    } else {
        foreign(kind, bytes, wires, &mut measuring)
    };
    Outcome { said: measuring.said, losses: measuring.session.losses().len(), refused }
}

/// Reads another instrument's file and finds the motions in it; whether it was refused.
fn foreign(kind: Kind, bytes: &[u8], wires: &[&str], measuring: &mut Measuring) -> bool {
    let wires: Vec<Wire> = wires.iter().map(|text| Wire::parse(text).expect("a wire")).collect();
    let mut namer = AsFound::new(measuring.setup.unit.steps_per_metre);
    let rules = Rules { rest: 150_000_000, crawl_interval: 2_000_000_000, crawl_steps: 16, has_direction: true };
    let mut finder = PhaseFinder::new(rules, &mut namer, measuring);
    let mut watch = Watch::new(&mut finder);
    let calibrations = |perfect: Result<Calibrations, _>| perfect.unwrap_or_default();
    let taken = if kind == Kind::Dump {
        VcdReader::open(bytes, &wires).and_then(|reader| {
            let calibrations = calibrations(reader.perfect_calibrations());
            reader.replay(&calibrations, &mut watch)
        })
    } else {
        CsvReader::open(|| Ok(bytes), &wires).and_then(|reader| {
            let calibrations = calibrations(reader.perfect_calibrations());
            reader.replay(&calibrations, &mut watch)
        })
    };
    if let Ok(taken) = &taken {
        assert!(taken.ended <= TICK_MAX, "the end is within the clock's range");
        assert_eq!(taken.samples, watch.samples, "it counts right");
        assert!(taken.losses >= watch.losses, "every loss is told");
    }
    let ended = taken.as_ref().map_or(0, |taken| taken.ended);
    finder.finish(ended);
    taken.is_err()
}

/// Sees to it that what passes is in order.
struct Watch<'a> {
    sink: &'a mut dyn CaptureSink,
    last_edges: [Tick; EdgeChannel::ALL.len()],
    last_samples: [Tick; SampleChannel::COUNT],
    edges: u64,
    samples: u64,
    losses: u64,
}

impl<'a> Watch<'a> {
    fn new(sink: &'a mut dyn CaptureSink) -> Self {
        let (last_edges, last_samples) = ([0; EdgeChannel::ALL.len()], [0; SampleChannel::COUNT]);
        Self { sink, last_edges, last_samples, edges: 0, samples: 0, losses: 0 }
    }
}

fn in_order(ticks: impl Iterator<Item = Tick>, last: &mut Tick) -> u64 {
    ticks
        .inspect(|tick| {
            assert!(*tick >= *last && *tick <= TICK_MAX, "tick {tick} after {last}");
            *last = *tick;
        })
        .count() as u64
}

impl CaptureSink for Watch<'_> {
    fn part(&mut self, part: &Part) {
        for (column, last) in part.edges.iter().zip(&mut self.last_edges) {
            self.edges += in_order(column.iter().map(|edge| edge.tick()), last);
        }
        for (column, last) in part.samples.iter().zip(&mut self.last_samples) {
            self.samples += in_order(column.iter().map(|sample| sample.at), last);
        }
        self.losses += part.losses.len() as u64;
        self.sink.part(part);
    }

    fn mark(&mut self, mark: &Mark) {
        assert!(mark.at <= TICK_MAX, "a mark is within the clock's range");
        self.sink.mark(mark);
    }
}

/// Measures all there is, and writes down what came.
struct Measuring {
    session: Session,
    setup: Setup,
    said: Vec<String>,
}

impl Measuring {
    fn new(kind: Kind, mut setup: Setup) -> Self {
        if kind != Kind::Ours {
            setup.jig.ticks_per_second = 1_000_000_000;
        }
        Self { session: Session::new(setup.clone()), setup, said: Vec::new() }
    }
}

impl CaptureSink for Measuring {
    fn part(&mut self, part: &Part) {
        self.said.extend(part.edges.iter().zip(EdgeChannel::ALL).filter(|(column, _)| !column.is_empty()).map(
            |(column, channel)| {
                let sum = column.iter().fold(0_u64, |sum, edge| {
                    sum.rotate_left(7).wrapping_add(edge.tick()).wrapping_mul(3) ^ u64::from(edge.level())
                });
                format!("{} {} {sum}", channel.name(), column.len())
            },
        ));
        let samples: Vec<_> = part.samples.iter().flatten().map(|sample| (sample.at, sample.code)).collect();
        self.said.push(format!("{samples:?} {:?} {:?}", part.driven, part.lines));
        self.session.part(part);
    }

    fn mark(&mut self, mark: &Mark) {
        self.said.push(format!("{mark:?}"));
        self.session.mark(mark);
        if let Some(check) = self.session.take_check() {
            for measurand in CATALOGUE.iter().filter(|measurand| measurand.is_supported(&self.setup)) {
                self.said.push(format!("{} {:?}", measurand.name, measurand.read(&check, &self.setup)));
            }
        }
    }
}
