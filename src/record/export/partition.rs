//! The part of an export that one model's runs of one month are in, and its folder's name as Hive has it.

use crate::record::index::{Known, Wanted};
use serde::{Deserialize, Serialize};
use time::{Month, OffsetDateTime, UtcOffset};

/// What has a meaning in such a name, beside control characters: Hive's own list.
const SPECIAL: &str = "\"#%'*/:=?\\\x7f{[]^";

/// A model's runs that began in one month (UTC).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Partition {
    pub model: String,
    pub year: i32,
    pub month: u8,
}

impl Partition {
    /// The one that a run belongs to.
    pub fn of(run: &Known) -> Self {
        let began = run.started.to_offset(UtcOffset::UTC);
        Self { model: run.model.clone(), year: began.year(), month: began.month().into() }
    }

    /// Its folder within that of a table. Year and month are numbers of their own, since readers guess at types: some take
    /// `2026-11` for a day and others for a text.
    pub fn folder(&self) -> String {
        format!("model={}/year={}/month={}", escaped(&self.model), self.year, self.month)
    }

    /// Whether an export of what is wanted says all there is to say of it, so that what an earlier one said is void.
    pub fn is_covered(&self, wanted: &Wanted) -> bool {
        let Some((begins, ends)) = self.bounds() else { return true };
        wanted.model.as_ref().is_none_or(|model| *model == self.model)
            && wanted.from.is_none_or(|from| from < ends)
            && wanted.before.is_none_or(|before| before > begins)
    }

    /// When the month begins, and the next one.
    fn bounds(&self) -> Option<(OffsetDateTime, OffsetDateTime)> {
        let month = Month::try_from(self.month).ok()?;
        let first = |year, month| {
            let day = time::Date::from_calendar_date(year, month, 1).ok()?;
            Some(OffsetDateTime::new_utc(day, time::Time::MIDNIGHT))
        };
        let begins = first(self.year, month)?;
        let next_year = self.year + i32::from(month == Month::December);
        Some((begins, first(next_year, month.next())?))
    }
}

/// A name as part of a path: what has a meaning there by its code.
fn escaped(name: &str) -> String {
    if name.is_empty() {
        return "__HIVE_DEFAULT_PARTITION__".into();
    }
    name.chars().fold(String::new(), |mut escaped, character| {
        if character < ' ' || SPECIAL.contains(character) {
            escaped.push_str(&format!("%{:02X}", u32::from(character)));
        } else {
            escaped.push(character);
        }
        escaped
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    #[test]
    fn a_models_name_leads_nowhere_else() {
        let of = |model: &str| Partition { model: model.into(), year: 2026, month: 2 }.folder();
        assert_eq!(of("dunlin-600"), "model=dunlin-600/year=2026/month=2");
        assert_eq!(of("../a=b\n"), "model=..%2Fa%3Db%0A/year=2026/month=2");
        assert_eq!(of(""), "model=__HIVE_DEFAULT_PARTITION__/year=2026/month=2");
        assert_eq!(of("Großer Läufer"), "model=Großer Läufer/year=2026/month=2");
    }

    #[test]
    fn a_month_is_covered_where_any_of_it_is_asked_for() {
        let december = Partition { model: "dunlin-600".into(), year: 2026, month: 12 };
        let wanted = |from, before| Wanted { from, before, ..Wanted::default() };
        assert!(december.is_covered(&wanted(None, None)));
        assert!(december.is_covered(&wanted(Some(datetime!(2026-12-31 23:59 UTC)), None)));
        assert!(!december.is_covered(&wanted(Some(datetime!(2027-01-01 00:00 UTC)), None)));
        assert!(!december.is_covered(&wanted(None, Some(datetime!(2026-12-01 00:00 UTC)))));
        let other = Wanted { model: Some("plover-400".into()), ..Wanted::default() };
        assert!(!december.is_covered(&other));
    }
}
