//! Quantities that carry their unit and their legal range.
//!
//! Each range is declared once, here; the constructors, the error texts and the book's schema all
//! come from it.

use serde::{Deserialize, Serialize};

/// A number outside the range its quantity allows.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what} {found} {unit} is outside {min} to {max} {unit}")]
pub struct OutOfRange {
    /// Name of the quantity, as a person would say it.
    pub what: &'static str,
    /// Unit, as printed.
    pub unit: &'static str,
    /// The number that was refused.
    pub found: f64,
    /// Smallest number allowed.
    pub min: f64,
    /// Largest number allowed.
    pub max: f64,
}

/// Declares a quantity: a number with a unit, a name and one legal range.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $what:literal, $unit:literal, $min:literal ..= $max:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        impl $name {
            /// Name of the quantity, as a person would say it.
            pub const WHAT: &'static str = $what;
            /// Unit, as printed.
            pub const UNIT: &'static str = $unit;
            /// Smallest legal value.
            pub const MIN: f64 = $min;
            /// Largest legal value.
            pub const MAX: f64 = $max;

            /// Takes a number in the quantity's unit; refuses one outside the range, and NaN.
            pub fn new(value: f64) -> Result<Self, OutOfRange> {
                if (Self::MIN..=Self::MAX).contains(&value) {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange {
                        what: Self::WHAT,
                        unit: Self::UNIT,
                        found: value,
                        min: Self::MIN,
                        max: Self::MAX,
                    })
                }
            }

            /// The number, in the quantity's unit.
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl TryFrom<f64> for $name {
            type Error = OutOfRange;
            fn try_from(value: f64) -> Result<Self, OutOfRange> {
                Self::new(value)
            }
        }

        impl From<$name> for f64 {
            fn from(value: $name) -> f64 {
                value.0
            }
        }
    };
}

quantity!(
    /// Air or soil temperature in degrees Celsius.
    Celsius, "temperature", "C", -60.0..=60.0
);
quantity!(
    /// Water depth in millimetres (1 mm = 1 litre a square metre).
    Millimetres, "water depth", "mm", 0.0..=1000.0
);
quantity!(
    /// A length in inches: planting depth, row width, plant or weed height.
    Inches, "length", "in", 0.0..=200.0
);
quantity!(
    /// Height above the sea in metres.
    Metres, "elevation", "m", -100.0..=3000.0
);
quantity!(
    /// A share in percent.
    Percent, "share", "%", 0.0..=100.0
);
quantity!(
    /// Wind speed in metres a second, at 10 m above ground.
    MetresPerSecond, "wind speed", "m/s", 0.0..=100.0
);
quantity!(
    /// Daily solar radiation in megajoules a square metre.
    MegajoulesPerSquareMetre, "solar radiation", "MJ/m2", 0.0..=50.0
);
quantity!(
    /// Latitude in degrees, north positive.
    Latitude, "latitude", "degrees", -90.0..=90.0
);
quantity!(
    /// Longitude in degrees, east positive.
    Longitude, "longitude", "degrees", -180.0..=180.0
);
quantity!(
    /// Field size in acres.
    Acres, "field size", "acres", 0.01..=100_000.0
);
quantity!(
    /// Nitrogen in pounds of N an acre.
    PoundsPerAcre, "nitrogen", "lb/acre", 0.0..=500.0
);
quantity!(
    /// Nitrate nitrogen in the top foot of soil, parts per million.
    NitratePpm, "soil nitrate", "ppm", 0.0..=300.0
);

/// A temperature in F that is given in C.
pub const fn fahrenheit(celsius: f64) -> f64 {
    celsius * 1.8 + 32.0
}

/// Millimetres in one inch, exactly.
pub const MM_PER_INCH: f64 = 25.4;
/// Metres a second in one mile an hour, exactly.
pub const MPS_PER_MPH: f64 = 0.44704;

/// A number, or 0 where it is below. Unlike [`f64::max`] it makes no case of NaN, which no clock
/// computes, and so is one instruction.
pub(crate) const fn positive(value: f64) -> f64 {
    if value > 0.0 { value } else { 0.0 }
}

/// The smaller of two numbers, neither of them NaN: see [`positive`].
pub(crate) const fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

impl Celsius {
    /// Takes a temperature in degrees Fahrenheit.
    pub fn from_fahrenheit(value: f64) -> Result<Self, OutOfRange> {
        Self::new((value - 32.0) / 1.8)
    }

    /// The temperature in degrees Fahrenheit.
    pub fn fahrenheit(self) -> f64 {
        fahrenheit(self.0)
    }
}

impl Millimetres {
    /// Takes a water depth in inches.
    pub fn from_inches(value: f64) -> Result<Self, OutOfRange> {
        Self::new(value * MM_PER_INCH)
    }

    /// The water depth in inches.
    pub fn inches(self) -> f64 {
        self.0 / MM_PER_INCH
    }
}

/// Metres in one foot, exactly.
pub const METRES_PER_FOOT: f64 = 0.3048;

impl Metres {
    /// Takes a height in feet.
    pub fn from_feet(value: f64) -> Result<Self, OutOfRange> {
        Self::new(value * METRES_PER_FOOT)
    }
}

impl MetresPerSecond {
    /// Takes a speed in miles an hour.
    pub fn from_mph(value: f64) -> Result<Self, OutOfRange> {
        Self::new(value * MPS_PER_MPH)
    }

    /// The speed in miles an hour.
    pub fn mph(self) -> f64 {
        self.0 / MPS_PER_MPH
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_what_is_outside_and_says_the_range() {
        let error = Celsius::new(70.0).unwrap_err();
        assert_eq!(error.to_string(), "temperature 70 C is outside -60 to 60 C");
        assert!(Celsius::new(f64::NAN).is_err());
    }

    #[test]
    fn converts_by_the_definitions() {
        assert!((Celsius::from_fahrenheit(86.0).unwrap().get() - 30.0).abs() < 1e-12);
        assert!((Millimetres::from_inches(0.5).unwrap().get() - 12.7).abs() < 1e-12);
        assert!((MetresPerSecond::from_mph(10.0).unwrap().get() - 4.4704).abs() < 1e-12);
        assert!((MetresPerSecond::new(4.4704).unwrap().mph() - 10.0).abs() < 1e-12);
    }
}
