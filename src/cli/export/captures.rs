//! The captures of one run for other viewers: as a value change dump or as a table.

use super::super::evidence::FolderEvidence;
use super::super::inputs::{InputFile, gather, refuse};
use super::super::judge::read_record;
use super::super::{Exit, Failure, Format, print, say};
use super::ExportArgs;
use crate::capture::csv::CsvWriter;
use crate::capture::file::{CaptureError, CaptureReader};
use crate::capture::vcd::VcdWriter;
use crate::capture::{
    Calibrations, CaptureSink, Channel, EdgeChannel, Happened, InOrder, Mark, Part, SampleChannel, Tick,
};
use crate::jig::JigFile;
use crate::record::Record;
use crate::record::export::ExportError;
use anyhow::anyhow;
use clap::ValueEnum;
use serde_json::json;
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

/// So many losses are told one by one.
const TOLD_MAX: usize = 20;

/// A form that captures are written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum CaptureForm {
    /// Value change dump (IEEE 1364), for viewers of waveforms
    Vcd,
    /// Table of moments (RFC 4180)
    Csv,
}

impl CaptureForm {
    /// What a channel is called in it.
    fn name(self, channel: Channel) -> String {
        match self {
            Self::Vcd => VcdWriter::<File>::name(channel),
            Self::Csv => CsvWriter::<File>::name(channel),
        }
    }
}

/// What was written.
#[derive(Default)]
struct Written {
    /// Those on which something happened.
    channels: BTreeSet<Channel>,
    events: u64,
    losses: Vec<String>,
}

/// Writes the captures of the run in a folder.
pub fn captures(args: &ExportArgs, run: &Path, form: CaptureForm) -> Result<Exit, Failure> {
    let record = read_record(&run.join("record.json"))?;
    let input = |role: &str| {
        let file = record.plan.inputs.iter().find(|input| input.role == role).map(|input| run.join(&input.file));
        file.ok_or_else(|| Failure::new(Exit::BadInput, anyhow!("{}: the run has no {role} file", run.display())))
    };
    let (unit, jig) = (input("unit")?, input("jig")?);
    let mut problems = Vec::new();
    let read = gather(JigFile::read(&InputFile::read(&jig)?.source), &mut problems);
    let calibrations = read.ok_or_else(|| refuse(&problems))?.calibrations();
    let written = placed(&args.into, form, &run.join(FolderEvidence::FILE), &record, &calibrations)?;
    written.losses.iter().take(TOLD_MAX).for_each(|lost| say(&format!("railproof: lost: {lost}")));
    let mut again = vec!["railproof".to_owned(), "measure".to_owned(), args.into.display().to_string()];
    again.extend(["--unit".to_owned(), unit.display().to_string(), "--jig".to_owned(), jig.display().to_string()]);
    for channel in &written.channels {
        again.extend(["--channel".to_owned(), format!("{}={}", channel.name(), form.name(*channel))]);
    }
    print(&match args.format {
        Format::Text => {
            let quoted = again.iter().map(|word| if word.contains(' ') { format!("\"{word}\"") } else { word.clone() });
            let again = quoted.collect::<Vec<_>>().join(" ");
            let (place, serial, id) = (args.into.display(), &record.unit.serial, &record.run.id);
            format!("{place}: {} events of {serial}, run {id}; it is measured again by\n{again}\n", written.events)
        }
        Format::Json => format!(
            "{:#}\n",
            json!({
                "into": args.into,
                "run": record.run.id,
                "serial": record.unit.serial,
                "simulated": record.run.is_simulated(),
                "events": written.events,
                "losses": written.losses,
                "channels": written.channels.iter().map(|channel| channel.name()).collect::<Vec<_>>(),
                "measure": again,
            })
        ),
    })?;
    Ok(if written.losses.is_empty() { Exit::Done } else { Exit::Invalid })
}

/// Writes them beside their place, and moves them there when all is on the disk.
fn placed(
    into: &Path,
    form: CaptureForm,
    capture: &Path,
    record: &Record,
    calibrations: &Calibrations,
) -> Result<Written, Failure> {
    let bad = |why: String| Failure::new(Exit::BadInput, anyhow!(why));
    if into.exists() {
        return Err(bad(format!("{} is there; remove it, or name another file with --into", into.display())));
    }
    let name = into.file_name().ok_or_else(|| bad(format!("{} is no name of a file", into.display())))?;
    let part = into.with_file_name(format!(".{}.part", name.to_string_lossy()));
    let disk = |said| Failure::new(Exit::BadInput, ExportError::disk("write", into, said));
    let done = File::create(&part).map_err(disk).and_then(|file| {
        let written = written(&file, form, capture, record, calibrations)?;
        file.sync_all().and_then(|()| fs::rename(&part, into)).map_err(disk)?;
        Ok(written)
    });
    if done.is_err() {
        // It is the error that has to be told.
        drop(fs::remove_file(&part));
    }
    done
}

fn written(
    file: &File,
    form: CaptureForm,
    capture: &Path,
    record: &Record,
    calibrations: &Calibrations,
) -> Result<Written, Failure> {
    let unreadable = |error: CaptureError| Failure::new(Exit::BadInput, anyhow!("{}: {error}", capture.display()));
    let open = || File::open(capture).map_err(CaptureError::from).and_then(CaptureReader::open).map_err(unreadable);
    let mut seen = Seen::default();
    open()?.replay(&mut seen).map_err(unreadable)?;
    let channels: Vec<Channel> = seen.0.iter().copied().collect();
    let mut written = Written { channels: seen.0, ..Written::default() };
    let reader = open()?;
    let ticks = reader.ticks_per_second();
    let out = BufWriter::with_capacity(1 << 16, file);
    let remark = record.run.is_simulated().then_some(("simulated", "no unit was tested"));
    let done = match form {
        CaptureForm::Vcd => {
            let remark = remark.map_or_else(String::new, |(name, says)| format!("; {name}: {says}"));
            let about = format!("unit {}, run {}{remark}", record.unit.serial, record.run.id);
            let mut writer = VcdWriter::new(out, &about, ticks, &channels, calibrations);
            let ended = written.replay(reader, |at, happened| writer.happened(at, happened)).map_err(unreadable)?;
            writer.finish(ended)
        }
        CaptureForm::Csv => {
            let mut writer = CsvWriter::new(out, remark, ticks, &channels, calibrations);
            let ended = written.replay(reader, |at, happened| writer.happened(at, happened)).map_err(unreadable)?;
            writer.finish(ended)
        }
    };
    let flushed = done.and_then(|mut out| out.flush());
    flushed.map_err(|said| Failure::new(Exit::BadInput, ExportError::disk("write", capture, said)))?;
    Ok(written)
}

impl Written {
    /// Hands on what happened, in order of time; gives the last moment.
    fn replay(
        &mut self,
        reader: CaptureReader<File>,
        mut take: impl FnMut(Tick, &Happened),
    ) -> Result<Tick, CaptureError> {
        let mut in_order = InOrder::new(reader.ticks_per_second(), |at, happened: &Happened| {
            match happened {
                Happened::Lost(what) => self.losses.push(what.to_string()),
                _ => self.events += 1,
            }
            take(at, happened);
        });
        reader.replay(&mut in_order)?;
        Ok(in_order.finish())
    }
}

/// On which channels anything happened.
#[derive(Default)]
struct Seen(BTreeSet<Channel>);

impl CaptureSink for Seen {
    fn part(&mut self, part: &Part) {
        let edges = EdgeChannel::ALL.into_iter().filter(|channel| !part.edges(*channel).is_empty());
        let samples = (0..SampleChannel::COUNT).filter_map(SampleChannel::at);
        let samples = samples.filter(|channel| !part.samples(*channel).is_empty());
        let outputs = part.driven.iter().map(|driven| Channel::Output(driven.output));
        self.0.extend(edges.map(Channel::Edge).chain(samples.map(Channel::Sample)).chain(outputs));
    }

    fn mark(&mut self, _: &Mark) {}
}
