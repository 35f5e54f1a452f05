//! Calibration on the bench itself: the operator sets the reference, the jig is read, and nothing moves.

use super::calibrate::CalibrateArgs;
use crate::capture::SampleChannel;
use crate::care::calibrate::{Live, NotRead, READINGS_MIN, Reading, Target};
use crate::cli::bench::{Choice, OpenBench};
use crate::cli::inputs::{InputFile, refuse};
use crate::cli::operator::TerminalOperator;
use crate::cli::signals::watch_for_signals;
use crate::cli::{Exit, Failure, say};
use crate::clock::ComputerClock;
use crate::jig::JigFile;
use crate::quantity::{Dimension, Quantity};
use crate::run::{Answering, Operator, Question, Reply};
use crate::unit::Unit;
use anyhow::anyhow;
use clap::Args;
use std::io::IsTerminal;
use std::path::PathBuf;
use std::time::Duration;

/// After a reference was set, its input and the jig's filters settle.
const SETTLING: Duration = Duration::from_secs(1);

/// How a channel is read on the bench.
#[derive(Debug, Args)]
pub struct LiveArgs {
    /// Read the channel on the bench itself, with the reference set to these values in turn: `6.0 V, 7.2 V, 8.4 V`
    #[arg(long, value_name = "VALUES", requires = "unit", allow_hyphen_values = true)]
    pub points: Option<String>,
    /// The unit file, which says how the bench's ports are opened
    #[arg(long, value_name = "FILE")]
    unit: Option<PathBuf>,
    /// How long the channel is read at each value
    #[arg(long, value_name = "S", default_value_t = 10, value_parser = clap::value_parser!(u64).range(1..=600))]
    seconds: u64,
    /// The cautions have been seen to
    #[arg(long)]
    confirmed: bool,
    #[command(flatten)]
    bench: Choice,
}

/// Reads the channel at each value that is asked for.
pub fn readings(args: &CalibrateArgs, points: &str, jig: &JigFile, target: &Target) -> Result<Vec<Reading>, Failure> {
    let channel = sampled(target)?;
    let values = values(points, target)?;
    let live = &args.live;
    if args.reference_uncertainties.is_empty() {
        return Err(usage("say by --reference-uncertainty how far the reference is in doubt".into()));
    }
    // The parser sees to it that it is there.
    let path = live.unit.as_deref().ok_or_else(|| usage("--points needs --unit".into()))?;
    let unit_file = InputFile::read(path)?;
    let unit = Unit::read(&unit_file.source).map_err(|problems| refuse(&problems))?;
    let interrupted = watch_for_signals()?;
    let mut bench = live.bench.open(&unit, jig, "none")?;
    let simulated = bench.simulated();
    if simulated && bench.reference.is_none() {
        let why = "a served simulated bench has no inputs that a reference could be set at";
        return Err(usage(format!("{why}; take a jig file of the kind `simulated`, or a table of readings (--from)")));
    }
    let mut operator = TerminalOperator::new(Answering::new(Vec::new(), false));
    if !simulated {
        if !std::io::stdin().is_terminal() {
            let why = "nobody is at the terminal to set the reference; take a table of readings (--from)";
            return Err(usage(why.into()));
        }
        if !live.confirmed {
            let heading = "Before a reference is connected:";
            operator.confirm(heading, &cautions(target), &ComputerClock::new(), &interrupted)?;
        }
    }
    let OpenBench { clock, port, jig, reference } = &mut bench;
    let mut on_bench = Live { clock: &**clock, port: &mut **port, jig: &mut **jig, interrupted: &interrupted };
    let mut readings = Vec::new();
    for value in values {
        let said = match reference {
            Some(connect) => {
                if !connect(channel, value.si()) {
                    return Err(usage(format!("the simulated jig has no channel `{}`", target.name())));
                }
                value.si()
            }
            None => ask(&mut on_bench, &mut operator, value).map_err(not_read)?,
        };
        on_bench.idle(Some(SETTLING), || false).map_err(not_read)?;
        let wait = Duration::from_secs(live.seconds);
        let reading = on_bench.read(target, channel, wait, said).map_err(not_read)?;
        say(&format!("  {}: {} {:.2}", reading.place, target.counts(), reading.count));
        readings.push(reading);
    }
    Ok(readings)
}

/// The channel, if a reference can be set at it.
fn sampled(target: &Target) -> Result<SampleChannel, Failure> {
    let why = match target {
        Target::Sample(input) => return Ok(input.channel),
        Target::Clock(_) => {
            "no value can be set at the clock, and the computer's own clock is no reference for it; time a known interval on \
             the jig, such as the pulses of a frequency standard, and give a table of ticks and seconds (--from)"
        }
        Target::Encoder(_) => {
            "no value can be set at the encoder; move the carriage by hand along a scale or gauge blocks, count its edges in \
             a capture, and give a table of edges and lengths (--from)"
        }
    };
    Err(usage(why.into()))
}

/// The values to set.
fn values(points: &str, target: &Target) -> Result<Vec<Quantity>, Failure> {
    let parse = |text: &str| Quantity::parse(text, target.reference());
    let values: Result<Vec<Quantity>, _> = points.split(',').map(parse).collect();
    let values = values.map_err(|misread| usage(format!("--points: {misread}")))?;
    let mut distinct: Vec<f64> = values.iter().map(|value| value.si()).collect();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    if distinct.len() < READINGS_MIN {
        let why = format!("--points: {} different values show no line; name at least {READINGS_MIN}", distinct.len());
        return Err(usage(why));
    }
    Ok(values)
}

/// What has to be so before wires are changed.
fn cautions(target: &Target) -> Vec<String> {
    let mut cautions = vec![
        "The unit is off the jig: nothing may move while wires are changed.".to_owned(),
        "The reference's output is limited to what the input bears before it is connected.".to_owned(),
    ];
    let own = match target.reference() {
        Dimension::Voltage | Dimension::Current => {
            "The lithium packs are out of their holders: a supply across a pack charges or shorts it, and it may burn."
        }
        Dimension::Temperature => {
            "What is hot or cold is out of the reach of hands, and no water can get at the wires."
        }
        _ => "Nobody looks into the lamp.",
    };
    cautions.push(own.to_owned());
    cautions
}

/// Has the reference set, while the bench goes on, and takes what it says.
fn ask(bench: &mut Live<'_>, operator: &mut dyn Operator, value: Quantity) -> Result<f64, NotAnswered> {
    loop {
        let text = format!("Set the reference to {value}. What does it say? Write it with its unit, or ok for {value}");
        operator.ask(Question { text: &text, wanted: "ok" });
        let mut reply = Reply::Awaited;
        bench.idle(None, || {
            reply = operator.answer();
            reply != Reply::Awaited
        })?;
        let Reply::Said(answer) = reply else { return Err(NotAnswered::Nobody) };
        if answer.eq_ignore_ascii_case("ok") {
            return Ok(value.si());
        }
        match Quantity::parse(&answer, value.dimension()) {
            Ok(said) => return Ok(said.si()),
            Err(misread) => say(&format!("  {misread}")),
        }
    }
}

/// Why a reference has no value.
#[derive(Debug)]
enum NotAnswered {
    Nobody,
    Bench(NotRead),
}

impl From<NotRead> for NotAnswered {
    fn from(not_read: NotRead) -> Self {
        Self::Bench(not_read)
    }
}

fn not_read(why: impl Into<NotAnswered>) -> Failure {
    match why.into() {
        NotAnswered::Nobody => usage("nobody answered; nothing was changed".into()),
        NotAnswered::Bench(NotRead::Interrupted) => Failure::new(Exit::Interrupted, NotRead::Interrupted),
        NotAnswered::Bench(why) => Failure::new(Exit::Invalid, why),
    }
}

fn usage(why: String) -> Failure {
    Failure::new(Exit::Usage, anyhow!(why))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::{self, World, WorldSettings};
    use std::sync::atomic::AtomicBool;

    /// An operator who says one thing after the other, each only when he is looked at a second time.
    struct Saying(Vec<&'static str>, bool);

    impl Operator for Saying {
        fn ask(&mut self, _: Question<'_>) {
            self.1 = false;
        }

        fn answer(&mut self) -> Reply {
            if !std::mem::replace(&mut self.1, true) {
                return Reply::Awaited;
            }
            if self.0.is_empty() { Reply::Nobody } else { Reply::Said(self.0.remove(0).into()) }
        }
    }

    fn asked(answers: &[&'static str], interrupted: bool) -> Result<f64, Exit> {
        let (clock, mut port, mut jig) =
            sim::bench(World::new(&WorldSettings::default()), time::OffsetDateTime::UNIX_EPOCH);
        let interrupted = AtomicBool::new(interrupted);
        let mut bench = Live { clock: &clock, port: &mut port, jig: &mut jig, interrupted: &interrupted };
        let value = Quantity::parse("7.2 V", Dimension::Voltage).expect("a voltage");
        ask(&mut bench, &mut Saying(answers.to_vec(), false), value).map_err(|why| not_read(why).exit)
    }

    #[test]
    fn a_reference_says_what_it_says_or_what_it_should() {
        assert_eq!(asked(&["OK"], false), Ok(7.2));
        assert_eq!(asked(&["7.2013 V"], false), Ok(7.2013));
        assert_eq!(asked(&["about 7", "7.2013", "7201.3 mV"], false), Ok(7.2013));
        assert_eq!(asked(&[], false), Err(Exit::Usage));
        assert_eq!(asked(&["ok"], true), Err(Exit::Interrupted));
    }
}
