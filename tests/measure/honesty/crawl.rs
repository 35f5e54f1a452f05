//! The time-lapse crawl.

use super::{Coverage, draw, draws};
use railproof::capture::{Action, Side};

#[test]
fn crawl() {
    let mut interval = Coverage::of("crawl interval");
    let mut increment = Coverage::of("crawl increment");
    let mut scatter = Coverage::of("crawl interval scatter");
    for seed in 0..draws() {
        let mut world = draw(seed);
        world.begin();
        world.phase(Action::Crawl { towards: Side::Right }, |world| {
            let mut next = world.now;
            for _ in 0..16 {
                let times: Vec<f64> = (0..16).map(|step| next + 0.5e-3 * f64::from(step)).collect();
                world.steps(true, &times);
                next += 2.0 + 1e-3 * world.normal();
            }
            world.now = next;
        });
        let check = world.end();
        interval.take(&check, 0, 2.0, seed);
        increment.take(&check, 0, 0.2e-3, seed);
        scatter.take(&check, 0, 1e-3, seed);
    }
    interval.check();
    // Increments of whole cells of the encoder come out exact.
    increment.check();
    scatter.check();
}
