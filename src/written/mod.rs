//! What people write: a file's text, exact places in it, and problems that say what is wrong and what would be right.
//!
//! [`read`] turns YAML into a tree whose every word knows its place; [`Fields`] takes a map of that tree apart key by key
//! and [`Notes`] collects what is wrong on the way, so that one reading of a file shows all of its mistakes. serde_yaml is
//! the reader; a tree of our own stands above it because its typed reading stops at the first mistake, and because it
//! gives the place of a mistake only while it visits the very word. Deliberately absent: files, and what the words mean.

mod fields;
mod nearest;
mod notes;
mod problem;
mod source;
mod syntax;
mod tree;

pub use fields::{Fields, Mistake};
pub use nearest::nearest;
pub use notes::Notes;
pub use problem::{Problem, Style};
pub use source::Source;
pub use tree::{BYTES_MAX, List, Map, Node, Place, Scalar, read};
