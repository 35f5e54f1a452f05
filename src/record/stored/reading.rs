//! Reads a record of any version. The version stands in the file, so that a mistake is told in the words of its own
//! version and not as one of all of them.

use super::{FORMAT, Record, first};
use serde::de::{Deserialize, Deserializer, Error};
use serde::ser::{Serialize, Serializer};
use serde_json::Value;

impl<'de> Deserialize<'de> for Record {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let value = Value::deserialize(deserializer)?;
        let Some(format) = value.get("format").map(Value::as_u64) else {
            return Err(D::Error::missing_field("format"));
        };
        let read = match format {
            Some(1) => first::Record::deserialize(value).map(Self::from),
            // The derived reader of this version, which a remote derive leaves as a function of the type.
            Some(format) if format == u64::from(FORMAT) => Self::deserialize(value),
            _ => {
                let format = value["format"].to_string();
                return Err(D::Error::custom(format!("a record of format {format}; this version reads 1 to {FORMAT}")));
            }
        };
        read.map_err(D::Error::custom)
    }
}

impl Serialize for Record {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Self::serialize(self, serializer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_of_another_version_is_refused_by_its_number() {
        for (text, says) in
            [("{}", "missing field `format`"), ("{\"format\": 3}", "format 3"), ("{\"format\": \"x\"}", "\"x\"")]
        {
            let error = serde_json::from_str::<Record>(text).expect_err("it is none of ours").to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
        let error = serde_json::from_str::<Record>("{\"format\": 2}").expect_err("it is empty").to_string();
        assert!(error.contains("missing field `decision`"), "{error}");
    }
}
