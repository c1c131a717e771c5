//! Emergence by the soil's own temperature.
//!
//! Heat over base 50 F of a daily *mean* stands still in a soil that is steady at 50 F, yet corn
//! comes up in it. So the soil's heat is taken from its daily low and high, and the days to emerge
//! from what was published for steady soils. Heat of the soil and heat of the air are not the same
//! number and are not mixed: [`SoilGdd`] is only the soil's.

use crate::clocks::heat::SoilGdd;
use crate::reference::{Figure, Source, crops};

/// Heat of the soil from planting to emergence of soybean.
pub const SOYBEAN_EMERGENCE: SoilGdd = SoilGdd(crops::SOYBEAN_EMERGENCE_SOIL_GDD.value);

/// Days from planting to emergence of corn in soil steady at a temperature (F).
pub const CORN_DAYS: [(f64, Figure); 3] = {
    const TAYLOR: Source = Source::published(
        "Taylor, Take note of soil temperature to predict corn emergence, Iowa State Univ., 2009",
    );
    const MCGRATH: Source =
        Source::published("McGrath, When will this early planted corn emerge?, Iowa State Univ.");
    [
        (50.0, Figure::new(21.0, TAYLOR)),
        (60.0, Figure::new(10.0, MCGRATH)),
        (70.0, Figure::new(7.0, TAYLOR)),
    ]
};

/// Days from planting to emergence of corn in soil whose daily mean is steady at `soil_f`.
///
/// Between the published temperatures the speed (one over the days) runs along a straight line.
/// Above them the last stands, as no faster emergence was published; below them it is unknown.
pub fn corn_days(soil_f: f64) -> Option<f64> {
    let [(coldest, _), .., (_, fastest)] = CORN_DAYS;
    let span = CORN_DAYS.array_windows().find(|[_, (warm, _)]| soil_f <= *warm);
    (soil_f >= coldest).then(|| {
        span.map_or(fastest.value, |[(cool, slow), (warm, fast)]| {
            let share = (soil_f - cool) / (warm - cool);
            1.0 / ((1.0 - share) / slow.value + share / fast.value)
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn corn_in_soil_colder_than_published_is_unknown() {
        assert_eq!(corn_days(49.9), None);
        assert_eq!(corn_days(f64::NAN), None);
        assert_eq!(corn_days(85.0), Some(7.0));
    }

    proptest! {
        #[test]
        fn warmer_soil_never_takes_longer(soil_f in 50.0..90.0_f64, more in 0.0..10.0_f64) {
            prop_assert!(corn_days(soil_f + more).unwrap() <= corn_days(soil_f).unwrap());
        }
    }
}
