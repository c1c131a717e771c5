//! Corn nitrogen: what the soil gives, what the crop takes, how fertiliser turns to nitrate, and
//! what wet soil or a dry surface costs.

mod nitrate;
mod soil_test;
mod supply;
mod surface_urea;
mod uptake;
mod wet_soil;

pub use nitrate::{Pass, REFERENCE_C, nitrification_factor, nitrification_pace};
pub use soil_test::{
    CRITICAL_NITRATE_PPM, MANURED_CRITICAL_PPM, POUNDS_PER_PPM, POUNDS_PER_PPM_SHORT,
    TOP_FOOT_SHARE, TestedRate, WET_SPRING_CRITICAL_PPM, nitrate_in_top_foot, nitrate_test_rate,
    table_rate_by_test,
};
pub use supply::{
    Basis, CAMPBELL_1981, DEPTH_CM, LEAST_YEARS, NORMAL_WATER_SHARE, Normal,
    POUNDS_PER_PERCENT_A_YEAR, PastDay, RateLine, STANFORD_1973, Supply, speed,
};
pub use surface_urea::{ENDING_RAIN_IN, SurfaceUrea, UreaLoss};
pub use uptake::{SEASON_POUNDS, uptake_band, uptake_percent, uptake_pounds};
pub use wet_soil::{
    FREE_WET_DAYS, INCHES_PER_INCH_DRAINED, NITRATE_PEAK, RainSum, SHORTAGE_RAIN_APRIL_JUNE_IN,
    SHORTAGE_RAIN_MAY_JUNE_IN, Washed, WetLoss, daily_loss, nitrate_front_ft,
    rain_tells_of_shortage, wet_loss,
};
