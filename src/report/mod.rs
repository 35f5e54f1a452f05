//! Records made readable: a table for the terminal, JUnit XML for a pipeline, a certificate or nonconformity sheet in HTML
//! and PDF, plots.
//!
//! Everything here is a pure function of a stored record, so that every sheet can be made again years later, with the same
//! bytes. Deliberately absent: live runs, files, clocks, and any decision of its own.

mod budget;
mod capability;
mod compare;
mod drift;
mod face;
mod found;
mod gauge;
mod history;
mod junit;
pub mod look;
mod number;
mod overdue;
mod page;
mod plot;
mod recall;
mod rounds;
mod rule;
mod scale;
mod sections;
mod sheet;
mod study;
mod svg;
mod text;
mod words;
mod worst;

pub use budget::{budget, budgets};
pub use capability::{capability, capability_html};
pub use compare::{compared, compared_html, compared_junit};
pub use drift::{Individuals, drift_html};
pub use face::Weight;
pub use found::found;
pub use gauge::{gauge, gauge_html};
pub use history::{history, moment, standing, told};
pub use junit::{JunitError, junit};
pub use look::words as verdict_words;
pub use number::{duration, measured, plain, with_unit};
pub use plot::{Plot, Stretch, plots, plots_of};
pub use recall::recalled;
pub use sections::{Section, sections_html};
pub use sheet::{Brief, ClaimSheet, Failure, Kind, Point, SheetError, brief, kind, sheet_html, sheet_pdf};
pub use text::text;
pub use words::{visible, visible_within};
