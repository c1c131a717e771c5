//! The numbers a farm manager may set, each declared once: key, unit, range, default, meaning.

use serde::{Deserialize, Serialize};

/// What one threshold is and what it may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spec {
    /// Key in the book; the unit is its last word.
    pub key: &'static str,
    /// What the number means, in a sentence.
    pub meaning: &'static str,
    /// Value used where the book sets none.
    pub default: f64,
    /// Smallest value allowed.
    pub min: f64,
    /// Largest value allowed.
    pub max: f64,
}

macro_rules! thresholds {
    ($($(#[doc = $meaning:literal])+ $key:ident = $default:literal, $min:literal ..= $max:literal;)+) => {
        /// The thresholds in force for one field, after service, farm and field have had their say.
        #[derive(Debug, Clone, Copy, PartialEq, Serialize)]
        pub struct Thresholds {
            $($(#[doc = $meaning])+ pub $key: f64,)+
        }

        impl Default for Thresholds {
            fn default() -> Self {
                Self { $($key: $default,)+ }
            }
        }

        /// The thresholds that one level of the book sets; the others stay as they were.
        #[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct Overrides {
            $($(#[doc = $meaning])+
            #[serde(skip_serializing_if = "Option::is_none")]
            pub $key: Option<f64>,)+
        }

        impl Thresholds {
            /// These thresholds with a nearer level's values laid over them.
            #[must_use]
            pub fn with(&self, nearer: &Overrides) -> Self {
                Self { $($key: nearer.$key.unwrap_or(self.$key),)+ }
            }
        }

        /// Every threshold there is, in the order of the book's documentation.
        pub const SPECS: &[Spec] = &[
            $(Spec {
                key: stringify!($key),
                meaning: concat!($($meaning),+),
                default: $default,
                min: $min,
                max: $max,
            },)+
        ];
    };
}

thresholds! {
    /// Days without enough rain after which the grower is told that the pre still waits (common practice).
    activation_first_call_days = 5.0, 1.0..=21.0;
    /// Days without enough rain after which the wait is called a problem (published: 7 to 10 days, Hager, farmdoc).
    activation_alert_days = 7.0, 1.0..=28.0;
    /// Days without enough rain after which a hoe or an early post pass is to be planned (published, as above).
    activation_escalate_days = 10.0, 1.0..=35.0;
    /// Days without enough rain after which weeds are taken to be up (published: 10 to 14 days, Penn State).
    activation_weeds_up_days = 14.0, 1.0..=42.0;
    /// Days that the residual is counted on after rain has set it (common practice: 28 to 30 days).
    residual_days = 28.0, 7.0..=60.0;
    /// Days that the residual is counted on when it lay dry (published: about half in 2012, Missouri).
    residual_dry_days = 14.0, 5.0..=60.0;
    /// How many days before the residual ends the grower is told.
    residual_warning_days = 5.0, 0.0..=21.0;
    /// Weed height that the post pass must beat (published: 3 to 4 in, Minnesota 2022).
    weed_height_in = 4.0, 1.0..=8.0;
    /// How many days before the post window closes the grower is told again.
    post_closing_days = 5.0, 1.0..=21.0;
    /// Wind below which a spray hour is taken to be calm (published: below 3 mph may be an inversion, National Pesticide Environmental Stewardship Program pages).
    spray_wind_min_mph = 3.0, 1.0..=6.0;
    /// Wind above which no spray hour is named (published: do not begin above 10 mph, Nebraska; the same for dicamba in corn, South Dakota State).
    spray_wind_max_mph = 10.0, 5.0..=15.0;
    /// Gust above which no spray hour is named (published: 15 mph at the very most, Nebraska).
    spray_gust_max_mph = 15.0, 5.0..=20.0;
    /// Delta T below which the air is too moist for a spray hour (published: 2 to 8 C is best, Australian rule).
    spray_delta_t_min_c = 2.0, 0.0..=4.0;
    /// Delta T above which drops dry too soon for a spray hour (from memory: 10 C; 8 C ends the best range).
    spray_delta_t_max_c = 10.0, 6.0..=12.0;
    /// Temperature below which no spray hour is named (published: glyphosate below 40 F is to be avoided, Nebraska 2016).
    spray_temperature_min_f = 40.0, 32.0..=60.0;
    /// Temperature above which no spray hour is named for a mix with a group 4 herbicide (published: 85 F, South Dakota State).
    spray_temperature_max_f = 85.0, 70.0..=95.0;
    /// Dry time wanted after a spray hour, as a share of the longest rainfast time in the mix (common practice: half as long again).
    spray_rainfast_percent = 150.0, 100.0..=300.0;
    /// Starter nitrogen below which sidedress is wanted early (common practice).
    small_starter_lb_per_acre = 40.0, 0.0..=200.0;
    /// How far the soil's own nitrogen may lag behind this field's normal before sidedress is wanted early.
    nitrogen_lag_percent = 20.0, 5.0..=90.0;
    /// How many days before sidedress must be done the grower is told again.
    sidedress_closing_days = 7.0, 1.0..=30.0;
    /// Nitrate loss in wet soil that is worth a text.
    nitrogen_loss_lb_per_acre = 20.0, 1.0..=200.0;
    /// Overnight low that is worth a text within two days after planting.
    cold_after_planting_f = 36.0, 20.0..=60.0;
    /// Days without weather after which a field's clocks are called unknown.
    weather_gap_days = 2.0, 1.0..=14.0;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_lies_in_its_range_and_every_key_says_its_unit() {
        for spec in SPECS {
            assert!((spec.min..=spec.max).contains(&spec.default), "{}", spec.key);
            let unit = spec.key.rsplit('_').next().unwrap();
            assert!(
                ["days", "in", "acre", "percent", "f", "c", "mph"].contains(&unit),
                "{}",
                spec.key
            );
        }
    }

    #[test]
    fn the_nearest_level_wins() {
        let farm = Overrides { residual_days: Some(24.0), ..Overrides::default() };
        let field = Overrides { residual_days: Some(21.0), ..Overrides::default() };
        let merged = Thresholds::default().with(&farm).with(&field);
        assert!((merged.residual_days - 21.0).abs() < f64::EPSILON);
        assert!((merged.weed_height_in - 4.0).abs() < f64::EPSILON);
    }
}
