//! Water vapour, air pressure and wind. Pressures in kPa, temperatures in C, heights in m.
//!
//! # References
//!
//! Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, chapter 3.

/// Pressure of the air at a height above the sea (Eq. 7).
pub fn pressure(elevation_m: f64) -> f64 {
    101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0).powf(5.26)
}

/// Psychrometric constant, kPa/C (Eq. 8).
pub fn psychrometric_constant(pressure_kpa: f64) -> f64 {
    0.665e-3 * pressure_kpa
}

/// Vapour pressure of saturated air (Eq. 11).
pub fn saturation(celsius: f64) -> f64 {
    0.6108 * (17.27 * celsius / (celsius + 237.3)).exp()
}

/// Saturated vapour pressure of a day (Eq. 12): the mean of that at the high and the low, which
/// lies above that at the mean temperature.
pub fn mean_saturation(high_c: f64, low_c: f64) -> f64 {
    f64::midpoint(saturation(high_c), saturation(low_c))
}

/// Slope of the saturation curve, kPa/C (Eq. 13).
pub fn slope(celsius: f64) -> f64 {
    4098.0 * saturation(celsius) / (celsius + 237.3).powi(2)
}

/// Actual vapour pressure from dry and wet bulb (Eq. 15); `constant` is of the instrument, kPa/C.
pub fn from_wet_bulb(dry_c: f64, wet_c: f64, constant: f64) -> f64 {
    saturation(wet_c) - constant * (dry_c - wet_c)
}

/// Actual vapour pressure from the day's greatest and least humidity, % (Eq. 17).
pub fn from_humidity_ends(high_c: f64, low_c: f64, most: f64, least: f64) -> f64 {
    f64::midpoint(saturation(low_c) * most, saturation(high_c) * least) / 100.0
}

/// Actual vapour pressure from the greatest humidity alone, % (Eq. 18).
pub fn from_greatest_humidity(low_c: f64, most: f64) -> f64 {
    saturation(low_c) * most / 100.0
}

/// Actual vapour pressure from the mean humidity, % (Eq. 19).
pub fn from_mean_humidity(high_c: f64, low_c: f64, mean: f64) -> f64 {
    mean_saturation(high_c, low_c) * mean / 100.0
}

/// Wind at 2 m from wind measured at another height over short grass (Eq. 47), m/s. The height
/// must exceed 0.1 m.
pub fn wind_at_2_m(wind: f64, height_m: f64) -> f64 {
    wind * 4.87 / (67.8 * height_m - 5.42).ln()
}
