//! The measurands, seen through a session that takes whole captures.

mod closer;
mod ends;
mod honesty;
mod moves;
mod pack;
mod panel;
mod positioning;
mod robust;
mod spectrum;
mod step_clock;
mod synthetic;
mod talk_and_light;
