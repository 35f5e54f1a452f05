//! The bench screen: a web page for the tablet at the jig, which starts runs, shows them and stops them.
//!
//! Whoever looks is shown the state of the bench, never a history of messages: each bench has one [`Scene`], the run's own
//! thread changes it, and every open page is sent what the scene has become. So a reload, a second tablet and a connection
//! that was lost all show the same, a slow page misses intermediate states and never holds up a run, and nothing grows.
//! Pages are made here, whole and escaped; the script puts the pieces that changed where they belong.
//!
//! Deliberately absent: what benches there are and how a run is carried out ([`Workshop`] is handed in), and printing.

mod bench;
mod guard;
mod pages;
mod scene;
mod stored;
mod stream;
mod view;
mod web;
mod workshop;

pub use guard::{Access, Token, TokenError};
pub use web::{Settings, serve};
pub use workshop::{Attending, BenchInfo, Order, PlanInfo, Workshop};
