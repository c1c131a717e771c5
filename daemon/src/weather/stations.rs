//! Stations, and how far they stand from a field.

use chrono::{DateTime, Utc};
use std::f64::consts::PI;

/// Mean radius of the Earth, km (Moritz, "Geodetic Reference System 1980", Journal of Geodesy 74,
/// 2000: mean radius R1).
const EARTH_RADIUS_KM: f64 = 6_371.008_771_4;
/// A degree of a meridian, km.
pub const KM_A_DEGREE: f64 = EARTH_RADIUS_KM * PI / 180.0;

/// A weather station and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// `acis:ID` or `ghcn:ID`.
    pub id: String,
    /// Name as its network has it.
    pub name: String,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Whether it is a rain gauge that a member of a network reads by hand.
    pub hand_read: bool,
    /// When it was last listed.
    pub listed_at: DateTime<Utc>,
}

/// Distance over the ground between two places of latitude and longitude, km (haversine formula;
/// Sinnott, "Virtues of the Haversine", Sky and Telescope 68(2), 1984).
pub fn distance_km(one: (f64, f64), two: (f64, f64)) -> f64 {
    let half = |degrees: f64| (degrees.to_radians() / 2.0).sin().powi(2);
    let across = one.0.to_radians().cos() * two.0.to_radians().cos();
    let share = half(two.0 - one.0) + across * half(two.1 - one.1);
    2.0 * EARTH_RADIUS_KM * share.min(1.0).sqrt().asin()
}

/// Stations no farther than `reach_km` from a place, the nearest first, with their distance.
pub fn within(stations: &[Station], place: (f64, f64), reach_km: f64) -> Vec<(f64, &Station)> {
    let mut near: Vec<_> = stations
        .iter()
        .map(|station| (distance_km(place, (station.latitude, station.longitude)), station))
        .filter(|(distance, _)| *distance <= reach_km)
        .collect();
    near.sort_by(|one, two| one.0.total_cmp(&two.0).then_with(|| one.1.id.cmp(&two.1.id)));
    near
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The quarter meridian of a sphere of mean radius is 10,007.6 km, and a degree along the
    /// parallel of 60 is half as long as along the equator.
    #[test]
    fn distances_are_those_of_the_sphere() {
        assert!((distance_km((0.0, 0.0), (90.0, 0.0)) - 10_007.557).abs() < 0.01);
        let equator = distance_km((0.0, 10.0), (0.0, 10.1));
        let parallel = distance_km((60.0, 10.0), (60.0, 10.1));
        assert!((equator / parallel - 2.0).abs() < 1e-5);
        assert!(distance_km((41.2, -96.5), (41.2, -96.5)).abs() < 1e-9);
    }

    #[test]
    fn the_nearest_comes_first_and_the_far_ones_not_at_all() {
        let station = |id: &str, latitude| Station {
            id: id.to_owned(),
            name: id.to_owned(),
            latitude,
            longitude: -96.5,
            hand_read: false,
            listed_at: chrono::DateTime::UNIX_EPOCH,
        };
        let all = [station("far", 42.0), station("near", 41.25), station("middle", 41.3)];
        let near = within(&all, (41.2, -96.5), 20.0);
        assert_eq!(
            near.iter().map(|(_, one)| one.id.as_str()).collect::<Vec<_>>(),
            ["near", "middle"]
        );
        assert!((near[0].0 - 5.56).abs() < 0.01);
    }
}
