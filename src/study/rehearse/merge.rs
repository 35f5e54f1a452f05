//! Shards put together: the whole, unit for unit, or the reason why they are not one.

use super::stored::{FORMAT, Rehearsal, Rehearsed};

/// Why shards do not make a rehearsal.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[expect(missing_docs, reason = "each is explained by its text")]
pub enum MergeProblem {
    #[error("no shard was given")]
    None,
    #[error("{file}: it has format {format}, and this version reads format {FORMAT}; rehearse again with this version")]
    Format { file: String, format: u32 },
    #[error(
        "{file}: it is of another rehearsal than {first}: {what} differs; put together shards of one rehearsal alone"
    )]
    Other { file: String, first: String, what: &'static str },
    #[error("{file}: unit {number} is not as this rehearsal makes them; the file was changed")]
    Unfit { file: String, number: u64 },
    #[error("{file}: unit {number} is in {other} as well; give each shard once")]
    Twice { file: String, number: u64, other: String },
    #[error("{missing} of {units} units are missing, the first is number {first}; {which}")]
    Missing { missing: u64, units: u64, first: u64, which: String },
}

/// The whole rehearsal that shards, each with the name of its file, make.
///
/// # Errors
/// Where they are of different rehearsals, overlap, or leave units out.
pub fn merged(shards: Vec<(String, Rehearsal)>) -> Result<Rehearsal, MergeProblem> {
    let (first, Rehearsal { rehearsal: setting, shard, .. }) = shards.first().ok_or(MergeProblem::None)?;
    let (first, setting, shard) = (first.clone(), setting.clone(), *shard);
    let mut units: Vec<(Rehearsed, usize)> = Vec::new();
    let mut files = Vec::new();
    for (index, (file, part)) in shards.into_iter().enumerate() {
        if part.rehearsal.format != FORMAT {
            return Err(MergeProblem::Format { file, format: part.rehearsal.format });
        }
        if let Some(what) = part.rehearsal.differs_from(&setting) {
            return Err(MergeProblem::Other { file, first, what });
        }
        if let Some(unfit) = part.units.iter().find(|unit| !part.rehearsal.admits(unit)) {
            return Err(MergeProblem::Unfit { file, number: unfit.number });
        }
        units.extend(part.units.into_iter().map(|unit| (unit, index)));
        files.push(file);
    }
    units.sort_by_key(|(unit, _)| unit.number);
    if let Some([one, other]) = units.windows(2).find(|pair| pair[0].0.number == pair[1].0.number) {
        let (file, other_file) = (files[other.1].clone(), files[one.1].clone());
        return Err(MergeProblem::Twice { file, number: one.0.number, other: other_file });
    }
    let have = units.len() as u64;
    if have < setting.units {
        let first = (0..setting.units)
            .find(|number| units.get(*number as usize).is_none_or(|(unit, _)| unit.number != *number));
        let first = first.unwrap_or_default();
        let which = shard.filter(|shard| shard.of > 0).map_or_else(
            || "give the files of all shards".to_owned(),
            |shard| format!("it belongs to shard {}/{}", first % shard.of + 1, shard.of),
        );
        return Err(MergeProblem::Missing { missing: setting.units - have, units: setting.units, first, which });
    }
    let units = units.into_iter().map(|(unit, _)| unit).collect();
    Ok(Rehearsal { rehearsal: setting, shard: None, units })
}

impl super::Setting {
    /// What is not the same in both.
    fn differs_from(&self, other: &Self) -> Option<&'static str> {
        let digests = ["the plan", "the unit file", "the jig file", "the population file"];
        let digest = (0..4).find(|file| self.sha256[*file] != other.sha256[*file]).map(|file| digests[file]);
        digest
            .or((self.railproof != other.railproof).then_some("the version of railproof"))
            .or((self.seed != other.seed).then_some("the seed"))
            .or((self.units != other.units).then_some("the number of units"))
            .or((self != other).then_some("what it says of plan and population"))
    }

    fn admits(&self, unit: &Rehearsed) -> bool {
        let known = |name: &str| self.faults.iter().any(|fault| fault.name == name);
        unit.number < self.units
            && unit.checks.len() == self.checks.len()
            && unit.faults.iter().all(|one| known(&one.fault) && (0.0..=1.0).contains(&one.severity))
            && unit.checks.iter().zip(&self.checks).all(|(told, planned)| {
                told.because.iter().all(|number| usize::from(*number) < planned.requirements.len())
            })
    }
}
