//! The look that all sheets share: few colours, all dark enough to print on a grey printer, and never the only sign of
//! anything: a decision always has its mark and its words as well.

use crate::record::stored::Verdict;

/// What everything is printed on.
pub const PAPER: &str = "#ffffff";
/// Text.
pub const INK: &str = "#17242b";
/// Labels and notes.
pub const QUIET: &str = "#55646c";
/// Hairlines.
pub const LINE: &str = "#c9d2d6";
/// Grid of a plot.
pub const GRID: &str = "#e4e9eb";
/// Ground of a heading row.
pub const WASH: &str = "#f1f4f5";
/// The zone within tolerance.
pub const ZONE: &str = "#cfe3e1";
/// Guard bands.
pub const GUARD: &str = "#e2c98f";
/// Curves of a plot, each with its own dash pattern so that they differ without colour.
pub const CURVES: [(&str, &str); 5] = [
    ("#12616a", ""),
    ("#a2592a", "4 1.6"),
    ("#5b4a86", "1.2 1.2"),
    ("#3d6b2f", "6 1.5 1.2 1.5"),
    ("#7a2f4a", "2.5 1.2"),
];
/// Curves that are only there for company.
pub const COMPANY: &str = "#c3cdd1";

/// Colour of a decision.
pub const fn colour(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Conforms => "#12616a",
        Verdict::Undecided => "#8a5a00",
        Verdict::DoesNotConform => "#a12a1e",
        Verdict::Invalid => "#54466e",
    }
}

/// Ground behind a decision.
pub const fn wash(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Conforms => "#e8f2f1",
        Verdict::Undecided => "#fbf3df",
        Verdict::DoesNotConform => "#fbebe8",
        Verdict::Invalid => "#efecf5",
    }
}

/// Mark of a decision, so that it shows without colour.
pub const fn mark(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Conforms => "✓",
        Verdict::Undecided => "?",
        Verdict::DoesNotConform => "✗",
        Verdict::Invalid => "!",
    }
}

/// A decision in words.
pub const fn words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Conforms => "conforms",
        Verdict::Undecided => "undecided",
        Verdict::DoesNotConform => "does not conform",
        Verdict::Invalid => "invalid",
    }
}
