//! What the rows of an export refer to: texts that recur, and the runs, each once.

use super::partition::Partition;
use super::tables::ValueRow;
use crate::record::history::Kind;
use crate::record::index::Known;
use crate::record::stored::Verdict;
use parquet::data_type::ByteArray;
use serde::Serialize;
use std::collections::HashMap;
use time::OffsetDateTime;

/// Number of a text.
pub type Name = u32;

/// The selected runs, by their places, and all texts.
#[derive(Default)]
pub struct Fleet {
    texts: Vec<ByteArray>,
    names: HashMap<String, Name>,
    verdicts: [Option<Name>; 4],
    pub runs: Vec<RunRow>,
    pub heads: Vec<Head>,
    pub partitions: Vec<Partition>,
}

/// A run.
pub struct RunRow {
    /// Number of its partition.
    pub partition: u32,
    pub run: Name,
    pub serial: Name,
    pub model: Name,
    pub started_ms: i64,
    pub ended_ms: i64,
    pub decision: Name,
    pub occasion: Name,
    pub origin: Name,
    pub is_simulated: bool,
    pub is_interrupted: bool,
    pub firmware: Option<Name>,
    pub plan: Name,
    pub revision: u32,
    pub jig: Name,
    pub bench: Option<Name>,
    pub operator: Option<Name>,
}

/// What many values have in common.
pub struct Head {
    pub check: Name,
    pub measurand: Name,
    pub reading: Name,
    pub tolerance: Name,
    pub unit: Name,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

impl Fleet {
    /// A text by its number.
    pub fn text(&self, name: Name) -> ByteArray {
        self.texts[name as usize].clone()
    }

    /// The number of a text that recurs.
    pub fn name(&mut self, text: &str) -> Name {
        if let Some(name) = self.names.get(text) {
            return *name;
        }
        let name = self.once(text);
        self.names.insert(text.to_owned(), name);
        name
    }

    /// The number of a text that is not looked for again.
    fn once(&mut self, text: &str) -> Name {
        self.texts.push(ByteArray::from(text));
        (self.texts.len() - 1) as Name
    }

    /// What a value has in common with others.
    pub fn head(&self, row: &ValueRow) -> &Head {
        &self.heads[row.head as usize]
    }

    /// A word as records have it.
    fn word(&mut self, word: impl Serialize) -> Name {
        let word = serde_json::to_value(word).unwrap_or_default();
        self.name(word.as_str().unwrap_or_default())
    }

    /// A decision's word.
    pub fn verdict(&mut self, verdict: Verdict) -> Name {
        if let Some(name) = self.verdicts[verdict as usize] {
            return name;
        }
        let name = self.word(verdict);
        self.verdicts[verdict as usize] = Some(name);
        name
    }

    /// Adds the selected runs of one serial number; gives the place of each.
    pub fn add<'k>(&mut self, serial: &str, runs: impl Iterator<Item = (&'k Known, Kind)>) -> Vec<usize> {
        let serial = self.once(serial);
        runs.map(|(run, kind)| {
            let row = self.row(serial, run, kind);
            self.runs.push(row);
            self.runs.len() - 1
        })
        .collect()
    }

    fn row(&mut self, serial: Name, run: &Known, kind: Kind) -> RunRow {
        let ms = |moment: OffsetDateTime| (moment.unix_timestamp_nanos() / 1_000_000) as i64;
        RunRow {
            partition: self.partition(Partition::of(run)),
            run: self.once(&run.id),
            serial,
            model: self.name(&run.model),
            started_ms: ms(run.started),
            ended_ms: ms(run.ended),
            decision: self.verdict(run.decision),
            occasion: self.name(kind.word()),
            origin: self.word(run.origin),
            is_simulated: run.is_simulated,
            is_interrupted: run.is_interrupted,
            firmware: run.firmware.as_deref().map(|text| self.name(text)),
            plan: self.name(&run.plan),
            revision: run.revision,
            jig: self.name(&run.jig),
            bench: run.bench.as_deref().map(|text| self.name(text)),
            operator: run.operator.as_deref().map(|text| self.name(text)),
        }
    }

    fn partition(&mut self, partition: Partition) -> u32 {
        // The runs of a serial number are neighbours, and so, mostly, are their months.
        let place = self.partitions.iter().rposition(|known| *known == partition).unwrap_or_else(|| {
            self.partitions.push(partition);
            self.partitions.len() - 1
        });
        place as u32
    }
}
