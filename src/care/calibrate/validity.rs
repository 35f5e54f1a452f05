//! From when and until when a calibration holds.

use crate::jig::Dates;
use crate::written::Mistake;
use time::{Date, Duration, Month};

/// Longer than this no calibration holds.
const MONTHS_MAX: u32 = 12 * 100;

/// How long a calibration is to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Validity {
    /// Up to the same day so many months later, or the last day of a shorter month.
    Months(u32),
    /// For so many days.
    Days(u32),
}

impl Validity {
    /// Reads `1 year`, `6 months`, `2 weeks`, `90 days`.
    ///
    /// # Errors
    /// Where it is none of these.
    pub fn parse(text: &str) -> Result<Self, Mistake> {
        let wrong = || {
            Mistake::new(format!("`{text}` is no span of time"), "write for example `1 year`, `6 months` or `90 days`")
        };
        let (number, unit) = text.trim().split_once(' ').ok_or_else(wrong)?;
        let number: u32 = number.parse().map_err(|_| wrong())?;
        let validity = match unit.trim().strip_suffix('s').unwrap_or(unit.trim()) {
            "year" => Self::Months(number.saturating_mul(12)),
            "month" => Self::Months(number),
            "week" => Self::Days(number.saturating_mul(7)),
            "day" => Self::Days(number),
            _ => return Err(wrong()),
        };
        match validity {
            Self::Months(1..=MONTHS_MAX) | Self::Days(1..=36_525) => Ok(validity),
            _ => Err(wrong()),
        }
    }

    /// As long as the last calibration was to hold: whole months where it fell due on the same day of a month.
    pub fn of(dates: Dates) -> Self {
        let (from, to) = (dates.calibrated, dates.due);
        let month = |day: Date| day.year() * 12 + i32::from(u8::from(day.month()));
        let months = u32::try_from(month(to) - month(from)).unwrap_or(0);
        let days = u32::try_from((to - from).whole_days()).unwrap_or(1);
        if months > 0 && Self::Months(months).after(from) == Some(to) { Self::Months(months) } else { Self::Days(days) }
    }

    /// The last day on which a calibration of `day` holds; none beyond the calendar.
    pub fn after(self, day: Date) -> Option<Date> {
        let due = match self {
            Self::Days(days) => day.checked_add(Duration::days(days.into()))?,
            Self::Months(months) => {
                let month = day.year().checked_mul(12)?.checked_add(i32::from(u8::from(day.month())) - 1)?;
                let month = month.checked_add(i32::try_from(months).ok()?)?;
                let of_year = Month::try_from(u8::try_from(month.rem_euclid(12) + 1).ok()?).ok()?;
                let year = month.div_euclid(12);
                Date::from_calendar_date(year, of_year, day.day().min(of_year.length(year))).ok()?
            }
        };
        // Jig files write years with four digits.
        (due.year() <= 9999).then_some(due)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn spans_are_those_of_the_calendar() {
        let after = |text: &str, day: Date| Validity::parse(text).expect("a span").after(day);
        assert_eq!(after("1 year", date!(2026 - 11 - 28)), Some(date!(2027 - 11 - 28)));
        assert_eq!(after("1 year", date!(2028 - 02 - 29)), Some(date!(2029 - 02 - 28)));
        assert_eq!(after("6 months", date!(2026 - 08 - 31)), Some(date!(2027 - 02 - 28)));
        assert_eq!(after("2 weeks", date!(2026 - 12 - 24)), Some(date!(2027 - 01 - 07)));
        assert_eq!(after("90 days", date!(9999 - 12 - 01)), None);
        for wrong in ["", "1", "year", "0 days", "-1 year", "1.5 years", "200 years", "1 decade", "99999999999 days"] {
            assert!(Validity::parse(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn the_usual_span_is_that_of_the_last_calibration() {
        let of = |calibrated, due| Validity::of(Dates { calibrated, due });
        assert_eq!(of(date!(2026 - 09 - 14), date!(2027 - 09 - 14)), Validity::Months(12));
        assert_eq!(of(date!(2026 - 01 - 05), date!(2026 - 04 - 06)), Validity::Days(91));
        assert_eq!(of(date!(2026 - 01 - 31), date!(2026 - 02 - 28)), Validity::Months(1));
    }
}
