//! What Linux knows of the calendar clock's error.

use std::time::Duration;

/// The kernel's own account (adjtimex(2)): `maxerror`, which grows from one comparison with a time server to the next.
pub fn uncertainty() -> Option<Duration> {
    // SAFETY: all zeros is a request that sets nothing (`modes` 0), and the call writes into nothing but the struct.
    let (state, answer) = unsafe {
        let mut answer: libc::timex = std::mem::zeroed();
        (libc::adjtimex(&raw mut answer), answer)
    };
    let is_kept = state >= 0 && answer.status & libc::STA_UNSYNC == 0;
    u64::try_from(answer.maxerror).ok().filter(|_| is_kept).map(Duration::from_micros)
}
