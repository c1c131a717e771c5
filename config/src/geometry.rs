//! Area and middle of a field drawn on the map.

use std::f64::consts::PI;

/// Mean radius of the Earth, metres (Moritz, "Geodetic Reference System 1980", Journal of Geodesy
/// 74, 2000: mean radius R1).
const EARTH_RADIUS_M: f64 = 6_371_008.771_4;
/// Square metres in an acre (international acre: 43,560 square feet of 0.3048 m).
const SQUARE_METRES_PER_ACRE: f64 = 4_046.856_422_4;

/// A corner: longitude, latitude, in degrees.
pub(crate) type Corner = [f64; 2];

/// Rings of one polygon: the outer one, then its holes.
pub(crate) type Polygon = Vec<Vec<Corner>>;

/// Area and middle of a shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Extent {
    pub(crate) acres: f64,
    pub(crate) latitude: f64,
    pub(crate) longitude: f64,
}

/// Measures polygons together; `None` when they enclose nothing.
///
/// The sphere is mapped on a cylinder of equal area (longitude, sine of latitude), where area and
/// middle follow from the shoelace sums; edges are straight on that map, which for a field differs
/// from the great circle by less than a ten-thousandth of the area.
pub(crate) fn measure(polygons: &[Polygon]) -> Option<Extent> {
    let origin = *polygons.first()?.first()?.first()?;
    let (mut area, mut east, mut north) = (0.0, 0.0, 0.0);
    for polygon in polygons {
        for (at, ring) in polygon.iter().enumerate() {
            let [ring_area, ring_east, ring_north] = shoelace(ring, origin);
            // Rings count by their place, not by their sense of turning: holes are taken off.
            let sign = if (ring_area < 0.0) == (at == 0) { -1.0 } else { 1.0 };
            area += sign * ring_area;
            east += sign * ring_east;
            north += sign * ring_north;
        }
    }
    if area <= 0.0 {
        return None;
    }
    let [origin_longitude, origin_latitude] = origin;
    let sine = origin_latitude.to_radians().sin() + north / area;
    let longitude = origin_longitude + (east / area).to_degrees();
    Some(Extent {
        acres: area * EARTH_RADIUS_M.powi(2) / SQUARE_METRES_PER_ACRE,
        latitude: sine.clamp(-1.0, 1.0).asin().to_degrees(),
        longitude: (longitude + 540.0).rem_euclid(360.0) - 180.0,
    })
}

/// Signed area of a ring on the cylinder and its moments about `origin`, all in units of the
/// radius.
fn shoelace(ring: &[Corner], origin: Corner) -> [f64; 3] {
    let flat: Vec<(f64, f64)> = ring.iter().map(|corner| on_cylinder(*corner, origin)).collect();
    let next = flat.iter().cycle().skip(1);
    let mut sums = [0.0; 3];
    for ((x0, y0), (x1, y1)) in flat.iter().zip(next) {
        let cross = x0 * y1 - x1 * y0;
        sums[0] += cross / 2.0;
        sums[1] += (x0 + x1) * cross / 6.0;
        sums[2] += (y0 + y1) * cross / 6.0;
    }
    sums
}

fn on_cylinder(
    [longitude, latitude]: Corner,
    [origin_longitude, origin_latitude]: Corner,
) -> (f64, f64) {
    // A shape across the date line stays whole.
    let turn = (longitude - origin_longitude).to_radians();
    let east = (turn + PI).rem_euclid(2.0 * PI) - PI;
    (east, latitude.to_radians().sin() - origin_latitude.to_radians().sin())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cell(west: f64, south: f64, width: f64, height: f64) -> Polygon {
        let (east, north) = (west + width, south + height);
        vec![vec![[west, south], [east, south], [east, north], [west, north], [west, south]]]
    }

    /// Archimedes: a cell between two parallels has the area R^2 (sin b - sin a) times its width.
    #[test]
    fn a_cell_of_the_grid_has_the_area_of_archimedes() {
        let extent = measure(&[cell(-94.0, 42.0, 1.0, 1.0)]).unwrap();
        let sines = 43_f64.to_radians().sin() - 42_f64.to_radians().sin();
        let exact = EARTH_RADIUS_M.powi(2) * sines * 1_f64.to_radians() / SQUARE_METRES_PER_ACRE;
        assert!((extent.acres / exact - 1.0).abs() < 1e-9);
        assert!((extent.longitude + 93.5).abs() < 1e-9);
    }

    /// A quarter section is a square of half a mile: 160 acres (US public land survey).
    #[test]
    fn a_quarter_section_has_160_acres() {
        let half_mile_m: f64 = 804.672;
        let height = (half_mile_m / EARTH_RADIUS_M).to_degrees();
        let width = height / 42.1_f64.to_radians().cos();
        let extent = measure(&[cell(-93.6, 42.1 - height / 2.0, width, height)]).unwrap();
        assert!((extent.acres - 160.0).abs() < 0.001, "{}", extent.acres);
        assert!((extent.latitude - 42.1).abs() < 1e-6);
    }

    #[test]
    fn a_hole_is_taken_off_whatever_way_it_turns() {
        let mut field = cell(-93.6, 42.1, 0.01, 0.01);
        let whole = measure(std::slice::from_ref(&field)).unwrap().acres;
        let mut pond = cell(-93.597, 42.103, 0.002, 0.002).remove(0);
        let pond_acres = measure(&[vec![pond.clone()]]).unwrap().acres;
        field.push(pond.clone());
        assert!((measure(&[field.clone()]).unwrap().acres - (whole - pond_acres)).abs() < 1e-6);
        pond.reverse();
        field[1] = pond;
        assert!((measure(&[field]).unwrap().acres - (whole - pond_acres)).abs() < 1e-6);
    }

    #[test]
    fn nothing_has_no_extent() {
        assert_eq!(measure(&[]), None);
        assert_eq!(measure(&[vec![vec![[0.0, 0.0], [1.0, 1.0], [0.0, 0.0]]]]), None);
    }

    proptest! {
        #[test]
        fn the_date_line_changes_nothing(longitude in -180.0_f64..180.0, latitude in -60.0_f64..60.0) {
            let here = measure(&[cell(longitude, latitude, 0.02, 0.01)]).unwrap();
            let there = measure(&[cell(-93.0, latitude, 0.02, 0.01)]).unwrap();
            prop_assert!((here.acres - there.acres).abs() < 1e-4);
            prop_assert!((-180.0..180.0).contains(&here.longitude));
        }
    }
}
