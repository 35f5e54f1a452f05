//! A sheet as PDF/A-2a (ISO 19005-2) with the tags of PDF/UA-1 (ISO 14289-1): it must open in thirty years, and be read
//! aloud today.
//!
//! [`setting`] lays the sheet out into pages, a [`flow::Flow`]; [`press`] prints those, when their number is known.

mod flow;
mod press;
mod setting;
mod table;
#[cfg(test)]
mod tests;
mod tree;

use super::Sheet;

/// Why no PDF came out.
#[derive(Debug, thiserror::Error)]
#[error("the PDF sheet cannot be written ({what}); the HTML sheet says the same")]
pub struct SheetError {
    what: String,
}

/// The sheet as PDF.
pub fn document(sheet: &Sheet) -> Result<Vec<u8>, SheetError> {
    press::print(sheet, setting::set(sheet)).map_err(|what| SheetError { what })
}
