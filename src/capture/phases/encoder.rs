//! The encoder's two tracks as a count: as much as finding motions needs.

/// The carriage's way, counted in encoder edges. A leads B towards the right.
#[derive(Debug, Clone, Copy, Default)]
pub struct Encoder {
    levels: [Option<bool>; 2],
    pub cell: i64,
}

impl Encoder {
    /// Whether both tracks have stated their level.
    pub fn is_known(&self) -> bool {
        self.levels.iter().all(Option::is_some)
    }

    /// An edge of one track: 0 is A.
    pub fn step(&mut self, track: usize, level: bool) {
        let before = self.levels[track].replace(level);
        if let (Some(before), Some(other)) = (before, self.levels[1 - track]) {
            let rightward = (level != other) == (track == 0);
            self.cell += if before == level {
                0
            } else if rightward {
                1
            } else {
                -1
            };
        }
    }
}
