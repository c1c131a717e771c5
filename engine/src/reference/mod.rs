//! Published tables, compiled in. Every row says where it comes from and how far it is to be
//! trusted.

pub mod crops;
pub mod fertilisers;
pub mod herbicides;
pub mod soils;
pub mod weeds;

use serde::{Deserialize, Serialize};

/// How far a number is to be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Read in a named publication.
    Published,
    /// What people do; nobody published it.
    CommonPractice,
    /// Recalled, not read again. Unverified until the manager confirms it.
    FromMemory,
}

/// Where a number comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Source {
    /// Author, title, year, table or page.
    pub cite: &'static str,
    /// How far it is to be trusted.
    pub standing: Standing,
}
