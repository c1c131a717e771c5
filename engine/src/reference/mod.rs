//! Published tables, compiled in. Every row says where it comes from and how far it is to be
//! trusted.

pub mod crops;
pub mod fertilisers;
pub mod herbicides;
pub mod seedbeds;
pub mod soils;
pub mod weeds;

use serde::{Deserialize, Serialize};

/// How far a number is to be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Read on the label of the product itself by a named person.
    Confirmed,
    /// Read in a named publication.
    Published,
    /// What people do; nobody published it.
    CommonPractice,
    /// Recalled, not read again. Unverified until the manager confirms it.
    FromMemory,
}

impl std::fmt::Display for Standing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Confirmed => "confirmed",
            Self::Published => "published",
            Self::CommonPractice => "common practice",
            Self::FromMemory => "from memory",
        })
    }
}

/// Where a number comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Source {
    /// Author, title, year, table or page.
    pub cite: &'static str,
    /// How far it is to be trusted.
    pub standing: Standing,
}

impl Source {
    /// A number read in that publication.
    pub const fn published(cite: &'static str) -> Self {
        Self { cite, standing: Standing::Published }
    }

    /// A number that people go by without a publication behind it.
    pub const fn common_practice(cite: &'static str) -> Self {
        Self { cite, standing: Standing::CommonPractice }
    }

    /// A number recalled and not read again.
    pub const fn from_memory(cite: &'static str) -> Self {
        Self { cite, standing: Standing::FromMemory }
    }
}

/// One number with its source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Figure {
    /// The number, in the unit its name says.
    pub value: f64,
    /// Where it comes from.
    pub source: Source,
}

impl Figure {
    /// A number with its source.
    pub const fn new(value: f64, source: Source) -> Self {
        Self { value, source }
    }
}

/// A published band of numbers with its source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Band {
    /// Lower end, in the unit its name says.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Where it comes from.
    pub source: Source,
}

impl Band {
    /// A band with its source.
    pub const fn new(low: f64, high: f64, source: Source) -> Self {
        Self { low, high, source }
    }

    /// The middle of the band.
    pub const fn middle(&self) -> f64 {
        f64::midpoint(self.low, self.high)
    }
}
