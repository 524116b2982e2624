//! Captures and spans as they are written: `"1010"`, `"2-9,14"`.

use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::{Capture, Span};

impl Serialize for Capture {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Capture {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Capture, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

impl Serialize for Span {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Span {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Span, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_reads_back() {
        let capture: Capture = "0110".parse().unwrap();
        let text = serde_json::to_string(&capture).unwrap();
        assert_eq!((text.as_str(), serde_json::from_str(&text).ok()), ("\"0110\"", Some(capture)));
        let span: Span = "2-9,14".parse().unwrap();
        let text = serde_json::to_string(&span).unwrap();
        assert_eq!(serde_json::from_str::<Span>(&text).unwrap(), span);
        assert!(serde_json::from_str::<Span>("\"9-2-1\"").is_err());
    }
}
