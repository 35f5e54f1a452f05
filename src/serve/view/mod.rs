//! The pages, made whole here: every text is escaped by construction, and none of them runs.

pub mod assets;
mod begin;
mod frame;
mod kept;
mod over;
mod panel;
mod running;

pub use begin::{confirm, plan_name};
pub use frame::{Page, door, notice, page, unit_path};
pub use kept::{Closer, run, today, unit};
pub use panel::{Size, bench, id, overview};
pub use running::{carriage, live, parts};
