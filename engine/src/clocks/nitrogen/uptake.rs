//! What the crop has taken up by its stage.

use crate::clocks::Stage;
use crate::reference::{Band, Figure, Source};

/// N in a whole corn crop at maturity, lb/acre, at 230 bu/acre.
pub const SEASON_POUNDS: Figure = Figure::new(
    256.0,
    Source::from_memory("Bender, Haegele, Ruffo & Below, Agron. J. 105:161-170, 2013"),
);

/// Place of a stage on one line: collars up to 20, tassel just before R1, then 20 + n for Rn.
type Row = (f64, f64);

/// Percent of the season's N as Michigan State prints it, after Ritchie, Hanway & Benson.
const PRINTED: [Row; 9] = [
    (0.0, 0.0),
    (6.0, 5.0),
    (8.0, 10.0),
    (12.0, 30.0),
    (18.0, 60.0),
    (21.0, 67.0),
    (22.0, 77.0),
    (24.0, 90.0),
    (25.0, 97.0),
];

/// The same for a fast crop: half of what is in the plant at tassel by V10 and 80 of 200 lb/acre by
/// V12; little before V6 and from R1 on as printed.
const FAST: [Row; 9] = [
    (0.0, 0.0),
    (6.0, 5.0),
    (10.0, 33.0),
    (12.0, 40.0),
    (18.0, 62.0),
    (21.0, 67.0),
    (22.0, 77.0),
    (24.0, 90.0),
    (25.0, 97.0),
];

/// Share of the season's N in the crop at a stage, percent.
///
/// # References
///
/// Nitrogen accumulation by corn, Michigan State Univ. Extension, after Ritchie, Hanway & Benson,
/// How a corn plant develops, Iowa State Univ. Special Report 48.
pub fn uptake_percent(stage: Stage) -> f64 {
    along(&PRINTED, stage)
}

/// The same with its spread: low as printed, high by crops that took it up faster.
///
/// # References
///
/// High: Nitrogen uptake, Oklahoma State Univ. (over half of the total at VT by V10 to V12; 90 kg/ha
/// at V12 in Iowa).
pub fn uptake_band(stage: Stage) -> Band {
    const SPREAD: Source = Source::published(
        "Michigan State Univ. Extension after Iowa State SR 48; Oklahoma State Univ., Nitrogen uptake",
    );
    Band::new(along(&PRINTED, stage), along(&FAST, stage), SPREAD)
}

/// N in the crop at a stage, lb/acre, of a season's total.
pub fn uptake_pounds(stage: Stage, season_pounds: f64) -> f64 {
    season_pounds * uptake_percent(stage) / 100.0
}

fn along(rows: &[Row], stage: Stage) -> f64 {
    let place = match stage {
        Stage::Planted | Stage::Emerged | Stage::Cotyledon => return 0.0,
        Stage::Vegetative(collars) => f64::from(collars),
        Stage::Tassel => 20.5,
        Stage::Reproductive(count) => 20.0 + f64::from(count),
    };
    let between = rows.windows(2).find(|pair| place <= pair[1].0);
    between.map_or(100.0, |pair| {
        let [(from, before), (to, after)] = [pair[0], pair[1]];
        before + (after - before) * (place - from) / (to - from)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uptake_never_turns_back_and_the_fast_crop_is_never_behind() {
        let vegetative = (1..=20).map(Stage::Vegetative);
        let stages = vegetative.chain([Stage::Tassel]).chain((1..=6).map(Stage::Reproductive));
        let bands: Vec<Band> = stages.map(uptake_band).collect();
        assert!(bands.iter().all(|band| band.low <= band.high));
        assert!(bands.windows(2).all(|pair| pair[0].low <= pair[1].low));
        assert!(bands.windows(2).all(|pair| pair[0].high <= pair[1].high));
        assert!((bands.last().unwrap().low - 100.0).abs() < 1e-9);
    }
}
