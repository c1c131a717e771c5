//! What corn and soybean ask of the ground they are planted in.

use super::{Band, Figure, Source};
use crate::plan::CropKind;
use chrono::{Datelike, NaiveDate};

/// What one crop's seed asks of its bed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bed {
    /// Depths to plant at, inches.
    pub depth_in: Band,
    /// Depths outside which a planting is worth a warning, inches.
    pub warn_outside_in: Band,
    /// Mean soil temperature at seed depth from which to plant, F.
    pub soil_f: Figure,
    /// Hours from planting in which the seed takes up its first water and cold harms it.
    pub drink_hours: Figure,
    /// Soil temperature down to which cold harms the seed in those hours, F.
    pub chill_soil_f: Figure,
    /// Temperature of water under which it harms the seed in those hours, F.
    pub chill_water_f: Figure,
    /// Days of the year on which people think of planting.
    pub season: Season,
}

/// From one day of the year to another, each a month and a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Season {
    /// First day.
    pub from: (u32, u32),
    /// Last day.
    pub to: (u32, u32),
    /// Where it comes from.
    pub source: Source,
}

impl Season {
    /// The day on which it opened, while it lasts.
    pub fn opened(&self, today: NaiveDate) -> Option<NaiveDate> {
        let day = |(month, day)| NaiveDate::from_ymd_opt(today.year(), month, day);
        let (from, to) = (day(self.from)?, day(self.to)?);
        (from..=to).contains(&today).then_some(from)
    }
}

const NEBRASKA: Source =
    Source::published("Univ. of Nebraska Extension, 21 April 2020, on planting into cold soil");
const COULTER: Source =
    Source::published("Coulter, Univ. of Minnesota Extension, on the start of corn planting");

/// Corn.
pub const CORN: Bed = Bed {
    depth_in: Band::new(
        1.75,
        2.5,
        Source::common_practice(
            "1.5 to 2 in for all purposes, deeper when dry (Nielsen, Purdue Univ., 2013)",
        ),
    ),
    warn_outside_in: Band::new(
        1.5,
        3.0,
        Source::from_memory(
            "upper end; lower: seldom under 1.5 in (Nafziger, Univ. of Illinois, 2013)",
        ),
    ),
    soil_f: Figure::new(50.0, COULTER),
    drink_hours: Figure::new(48.0, NEBRASKA),
    chill_soil_f: Figure::new(40.0, COULTER),
    chill_water_f: Figure::new(
        45.0,
        Source::published("Nafziger, Univ. of Illinois, 2006: usually below 45 F or so"),
    ),
    season: Season {
        from: (4, 11),
        to: (6, 1),
        source: Source::published(
            "Anderson & Vittetoe, Iowa State Univ. Extension, 19 April 2021: from 11 April; the end, \
             past their 18 May, is common practice",
        ),
    },
};

/// Soybean.
pub const SOYBEAN: Bed = {
    const INDIANA: Source =
        Source::published("Panel of Indiana certified crop advisers, on soybean in cold soil");
    Bed {
        depth_in: Band::new(
            1.0,
            1.75,
            Source::common_practice(
                "1 to 1.5 in (Pedersen, Iowa State Univ.), 1.75 to 2 in early (Rees, Nebraska, 2021)",
            ),
        ),
        warn_outside_in: Band::new(
            1.0,
            2.0,
            Source::published(
                "Naeve, Univ. of Minnesota: no deeper than 2 in; Pedersen: from 1 in",
            ),
        ),
        soil_f: Figure::new(50.0, INDIANA),
        drink_hours: Figure::new(24.0, NEBRASKA),
        chill_soil_f: Figure::new(40.0, INDIANA),
        chill_water_f: Figure::new(40.0, INDIANA),
        season: Season {
            from: (4, 20),
            to: (6, 15),
            source: Source::common_practice("late April to mid-June"),
        },
    }
};

/// What a crop asks.
pub const fn of(crop: CropKind) -> &'static Bed {
    match crop {
        CropKind::Corn => &CORN,
        CropKind::Soybean => &SOYBEAN,
    }
}

/// Share of its available water from which a layer is moist enough to sprout seed.
pub const MOIST_SHARE: Figure = super::crops::DRY_SEED_ZONE;
/// Mean share of available water down to seed depth above which a planter smears the ground.
pub const WET_SHARE: Figure =
    Figure::new(1.0, Source::common_practice("wetter than field capacity, common practice"));
/// Rain of a day that carries its own cold down to the seed, mm.
pub const CHILLING_RAIN_MM: Figure =
    Figure::new(6.0, Source::common_practice("a quarter inch, common practice"));
/// Days up to today that the soil has to hold the temperature (common practice, no source).
pub const STEADY_DAYS: usize = 3;
