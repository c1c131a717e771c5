//! Products in use, as their labels name them: part of `labels.toml`.

use crate::check;
use crate::document::Document;
use crate::faults::Notes;
use crate::people::Person;
use crate::schema::{EpaNumberText, IngredientName};
use chrono::NaiveDate;
use furrowbell_engine::reference::herbicides::Ingredient;
use regex_lite::Regex;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;
use std::sync::LazyLock;

/// A registration number as a label has it: company, product and, for a distributor's own label, a
/// third number (U.S. Environmental Protection Agency, Label Review Manual, chapter 14; the lengths
/// are those of the California Department of Pesticide Regulation, "What's in a Registration
/// Number?"), or the two letters and six digits of a state's special local need. 7 CFR 110.2 counts
/// both kinds. The form of the second is from memory.
pub(crate) const EPA_NUMBER: &str =
    "^([1-9][0-9]{0,6}-[1-9][0-9]{0,4}(-[1-9][0-9]{0,6})?|[A-Z]{2}-[0-9]{6})$";

static EPA_FORM: LazyLock<Option<Regex>> = LazyLock::new(|| Regex::new(EPA_NUMBER).ok());

/// A registration number of the U.S. Environmental Protection Agency.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct EpaNumber(String);

/// A text that is no registration number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("no EPA registration number; want one like 123-45 or 123-45-678")]
pub struct NotAnEpaNumber;

impl FromStr for EpaNumber {
    type Err = NotAnEpaNumber;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let text = text.trim().to_ascii_uppercase();
        let fits = EPA_FORM.as_ref().is_some_and(|form| form.is_match(&text));
        fits.then_some(Self(text)).ok_or(NotAnEpaNumber)
    }
}

impl TryFrom<String> for EpaNumber {
    type Error = NotAnEpaNumber;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<EpaNumber> for String {
    fn from(number: EpaNumber) -> Self {
        number.0
    }
}

impl fmt::Display for EpaNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What product is measured in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Unit {
    /// Gallons.
    Gal,
    /// Quarts.
    Qt,
    /// Pints.
    Pt,
    /// Fluid ounces.
    FlOz,
    /// Ounces, as somebody said it; of a liquid they are fluid ones.
    Oz,
    /// Pounds.
    Lb,
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Gal => "gal",
            Self::Qt => "qt",
            Self::Pt => "pt",
            Self::FlOz => "fl oz",
            Self::Oz => "oz",
            Self::Lb => "lb",
        })
    }
}

/// So much of a product.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Amount {
    /// How much.
    #[schemars(range(min = 0.001, max = 100_000.0))]
    pub amount: f64,
    /// Of what.
    pub unit: Unit,
}

impl Amount {
    /// Smallest and largest that is taken for meant.
    pub const RANGE: std::ops::RangeInclusive<f64> = 0.001..=100_000.0;
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount, self.unit)
    }
}

/// One product, by the label that somebody has read.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Product {
    /// Name on the label: up to 30 plain letters, digits, spaces and .'&/-
    #[schemars(regex(pattern = r"^[A-Za-z0-9][A-Za-z0-9 .'&/-]{0,29}$"))]
    pub name: String,
    /// EPA registration number on the label.
    #[schemars(with = "Option<EpaNumberText>")]
    pub epa_reg: Option<EpaNumber>,
    /// Its active ingredients, by common name.
    #[schemars(with = "Vec<IngredientName>", length(min = 1), extend("uniqueItems" = true))]
    pub ingredients: Vec<Ingredient>,
    /// Whether the label says "Restricted Use Pesticide". Without it the usual standing of its
    /// ingredients is taken.
    pub restricted: Option<bool>,
    /// What is meant for an acre.
    pub rate_per_acre: Option<Amount>,
    /// Date of the label.
    pub label_date: NaiveDate,
    /// Id of the person who has read it.
    pub confirmed_by: String,
}

/// Names of the products meant for the passes of a field.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Planned {
    /// Of the pre pass.
    pub pre: Vec<String>,
    /// Of the post pass.
    pub post: Vec<String>,
}

/// Checks the products.
pub(crate) fn settle(
    document: &Document,
    products: &[Product],
    people: Option<&[Person]>,
    notes: &mut Notes,
) {
    for (at, product) in products.iter().enumerate() {
        let here = format!("/product/{at}");
        let pointer = format!("{here}/confirmed_by");
        check::known_person(document, &pointer, &product.confirmed_by, people, notes);
        if products[..at].iter().any(|earlier| earlier.name == product.name) {
            let message = format!("name: \"{}\" stands above already", product.name);
            notes.faults.push(document.fault(&format!("{here}/name"), message));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_have_the_forms_of_labels() {
        for (text, kept) in [
            ("123-45", "123-45"),
            (" 9-1-7 ", "9-1-7"),
            ("1234567-12345-1234567", "1234567-12345-1234567"),
            ("ia-990001", "IA-990001"),
        ] {
            assert_eq!(text.parse::<EpaNumber>().map(|number| number.to_string()), Ok(kept.into()));
        }
        for text in
            ["", "123", "123-", "-45", "0123-45", "123-045", "1-2-3-4", "12a-4", "IA-99", "1 2"]
        {
            assert_eq!(text.parse::<EpaNumber>(), Err(NotAnEpaNumber), "{text}");
        }
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_again(company in 1u32..9_999_999, product in 1u32..99_999) {
            let text = format!("{company}-{product}");
            prop_assert_eq!(text.parse::<EpaNumber>().unwrap().to_string(), text);
        }
    }
}
