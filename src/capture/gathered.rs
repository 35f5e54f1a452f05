//! What readers of foreign captures hand out, gathered for tests.

use super::{CaptureSink, EdgeChannel, Mark, Part, SampleChannel, Wire};
use std::io::{self, Read};

/// Everything in one part.
#[derive(Debug, Default)]
pub struct Gathered(pub Part);

impl CaptureSink for Gathered {
    fn part(&mut self, part: &Part) {
        for (column, more) in self.0.edges.iter_mut().zip(&part.edges) {
            column.extend_from_slice(more);
        }
        for (column, more) in self.0.samples.iter_mut().zip(&part.samples) {
            column.extend_from_slice(more);
        }
        self.0.driven.extend_from_slice(&part.driven);
        self.0.losses.extend_from_slice(&part.losses);
    }

    fn mark(&mut self, _: &Mark) {
        unreachable!("another instrument makes no marks");
    }
}

/// Bytes in pieces of a size.
pub struct Dripping<'a>(pub &'a [u8], pub usize);

impl Read for Dripping<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.1.min(self.0.len()).min(into.len());
        into[..count].copy_from_slice(&self.0[..count]);
        self.0 = &self.0[count..];
        Ok(count)
    }
}

pub fn wires(texts: &[&str]) -> Vec<Wire> {
    texts.iter().map(|text| Wire::parse(text).unwrap_or_else(|why| panic!("{text}: {why}"))).collect()
}

pub fn edges(part: &Part, channel: EdgeChannel) -> Vec<(u64, bool)> {
    part.edges(channel).iter().map(|edge| (edge.tick(), edge.level())).collect()
}

pub fn codes(part: &Part, channel: SampleChannel) -> Vec<(u64, i32)> {
    part.samples(channel).iter().map(|sample| (sample.at, sample.code)).collect()
}
