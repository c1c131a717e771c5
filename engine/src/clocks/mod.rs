//! The clocks: each advances one thing with the days. [`crate::season`] turns them all together.

pub mod activation;
pub mod canopy;
pub mod corn;
pub mod effective;
pub mod growth;
pub mod heat;
pub mod nitrogen;
pub mod post_window;
mod recent;
pub mod residual;
pub mod seed_zone;
pub mod seedbed;
pub mod soil_emergence;
pub mod soil_temperature;
pub mod soil_water;
pub mod soybean;
pub mod spray_hours;
pub mod weeds;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// A crop stage. Vegetative stages count leaf collars (corn) or nodes (soybean).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// Planted, not up.
    Planted,
    /// VE, up.
    Emerged,
    /// VC, soybean cotyledon stage (unifoliolate leaves unrolled).
    Cotyledon,
    /// Vn.
    Vegetative(u8),
    /// VT, corn tassel.
    Tassel,
    /// Rn.
    Reproductive(u8),
}

impl std::fmt::Display for Stage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Planted => f.write_str("planted"),
            Self::Emerged => f.write_str("VE"),
            Self::Cotyledon => f.write_str("VC"),
            Self::Vegetative(n) => write!(f, "V{n}"),
            Self::Tassel => f.write_str("VT"),
            Self::Reproductive(n) => write!(f, "R{n}"),
        }
    }
}

/// A text that names no crop stage.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a crop stage; write planted, VE, VC, V1 to V20, VT or R1 to R8")]
pub struct NotAStage(pub String);

impl std::str::FromStr for Stage {
    type Err = NotAStage;

    fn from_str(text: &str) -> Result<Self, NotAStage> {
        let refuse = || NotAStage(text.to_owned());
        let folded = text.trim().to_ascii_uppercase();
        match folded.as_str() {
            "PLANTED" => return Ok(Self::Planted),
            "VE" => return Ok(Self::Emerged),
            "VC" => return Ok(Self::Cotyledon),
            "VT" => return Ok(Self::Tassel),
            _ => {}
        }
        let (letter, number) = folded.split_at_checked(1).ok_or_else(refuse)?;
        let number: u8 = number.parse().map_err(|_| refuse())?;
        match letter {
            "V" if (1..=20).contains(&number) => Ok(Self::Vegetative(number)),
            "R" if (1..=8).contains(&number) => Ok(Self::Reproductive(number)),
            _ => Err(refuse()),
        }
    }
}

impl Serialize for Stage {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Stage {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = <std::borrow::Cow<'de, str>>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// A date the engine predicts, with its spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DateRange {
    /// Earliest believable day.
    pub earliest: NaiveDate,
    /// Likeliest day.
    pub likely: NaiveDate,
    /// Latest believable day.
    pub latest: NaiveDate,
}

impl DateRange {
    /// A date without spread.
    pub const fn on(date: NaiveDate) -> Self {
        Self { earliest: date, likely: date, latest: date }
    }

    /// A likeliest date with its ends; an end on the wrong side of it is drawn up to it.
    pub fn about(earliest: NaiveDate, likely: NaiveDate, latest: NaiveDate) -> Self {
        Self { earliest: earliest.min(likely), likely, latest: latest.max(likely) }
    }

    /// Of two ranges the earlier, end by end.
    #[must_use]
    pub fn earlier(self, other: Self) -> Self {
        Self {
            earliest: self.earliest.min(other.earliest),
            likely: self.likely.min(other.likely),
            latest: self.latest.min(other.latest),
        }
    }

    /// Of two ranges the later, end by end.
    #[must_use]
    pub fn later(self, other: Self) -> Self {
        Self {
            earliest: self.earliest.max(other.earliest),
            likely: self.likely.max(other.likely),
            latest: self.latest.max(other.latest),
        }
    }

    /// The last days before: of something that holds until it.
    #[must_use]
    pub fn day_before(self) -> Self {
        let back = |date: NaiveDate| date.pred_opt().unwrap_or(date);
        Self { earliest: back(self.earliest), likely: back(self.likely), latest: back(self.latest) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stages_read_back_as_they_are_written() {
        for text in ["planted", "VE", "VC", "V1", "V12", "VT", "R1", "R6"] {
            assert_eq!(text.parse::<Stage>().unwrap().to_string(), text);
        }
        assert_eq!("v4".parse(), Ok(Stage::Vegetative(4)));
        assert!("V21".parse::<Stage>().is_err());
        assert!("4".parse::<Stage>().is_err());
        assert!("".parse::<Stage>().is_err());
        assert!("é".parse::<Stage>().is_err());
    }
}
