//! Corn and soybean: heat, leaves, height, dates. Heat is in GDD of the 86/50 F rule.

use super::{Band, Figure, Source};

const LAUER_2003: Source = Source::published(
    "Lauer, Corn emergence: how long will it take?, Wisconsin Crop Manager W121, 2003",
);
const NIELSEN_2019: Source = Source::published(
    "Nielsen, Use thermal time to predict leaf stage development in corn, Purdue Univ., 2019",
);
const LAUER_TABLE: Source = Source::published(
    "Lauer, Corn development and relative maturity, Univ. of Wisconsin, table for 95 to 105 days",
);
const BASTIDAS_2008: Source =
    Source::published("Bastidas et al., Soybean sowing date, Crop Sci. 48:727-740, 2008, abstract");
const ABENDROTH_2011: Source = Source::published(
    "Abendroth, Elmore, Boyer & Marlay, Corn growth and development, PMR 1009, Iowa State Univ., \
     2011",
);
const CONLEY_2008: Source =
    Source::published("Conley, The Soy Report, Univ. of Wisconsin, 21 May 2008");
const PEDERSEN_2009: Source = Source::published(
    "Pedersen, Soybean growth and development (slides to PM 1945), Iowa State Univ.",
);

/// Heat from planting to emergence of corn, on medium soil, at usual depth, moist.
pub const CORN_EMERGENCE_GDD: Figure = Figure::new(
    115.0,
    Source::published("Corn emergence, Pest & Crop newsletter, Purdue Univ. Extension"),
);
/// The figures in print for good ground: 90 to 120 and 125.
pub const CORN_EMERGENCE_BAND_GDD: Band = Band::new(
    90.0,
    125.0,
    Source::published(
        "McGrath, When will this early planted corn emerge?, Iowa State Univ. (90 to 120); Lauer, \
         W121, 2003 (125)",
    ),
);
/// The same by soil heat: the upper end of 100 to 120, which is said to be best counted by soil
/// temperature. Soil sums run above air sums, hence the upper end.
pub const CORN_EMERGENCE_SOIL_GDD: Figure = Figure::new(120.0, NIELSEN_2019);
/// Added at most for planting before [`CORN_EARLY_PLANTING_BEFORE`].
pub const CORN_EMERGENCE_EARLY_GDD: Figure =
    Figure::new(25.0, Source::from_memory("10 to 25 GDD for planting before about 25 April"));
/// Month and day before which planting counts as early.
pub const CORN_EARLY_PLANTING_BEFORE: (u32, u32) = (4, 25);
/// The same from a cooler place, the base on which the adjustments below were published.
pub const CORN_EMERGENCE_ARLINGTON_GDD: Figure = Figure::new(125.0, LAUER_2003);
/// Added for fine soil, taken off for coarse soil.
pub const CORN_EMERGENCE_TEXTURE_GDD: Band = Band::new(30.0, 60.0, LAUER_2003);
/// Added for each inch deeper than [`CORN_USUAL_DEPTH_IN`].
pub const CORN_EMERGENCE_DEPTH_GDD_PER_IN: Figure = Figure::new(15.0, LAUER_2003);
/// Depth from which the addition for depth counts.
pub const CORN_USUAL_DEPTH_IN: Figure = Figure::new(2.0, LAUER_2003);
/// Added where the seed zone is drier than best.
pub const CORN_EMERGENCE_DRY_GDD: Figure = Figure::new(30.0, LAUER_2003);
/// Added where residue covers more than [`HEAVY_RESIDUE_PERCENT`].
pub const CORN_EMERGENCE_RESIDUE_GDD: Band = Band::new(30.0, 60.0, LAUER_2003);
/// Cover above which residue counts as heavy.
pub const HEAVY_RESIDUE_PERCENT: Figure = Figure::new(75.0, LAUER_2003);
/// Share of available water in the top layer under which a seed zone counts as dry.
pub const DRY_SEED_ZONE: Figure =
    Figure::new(0.5, Source::common_practice("half of the available water, common practice"));

/// Heat per leaf collar up to [`CORN_LEAF_BREAK`].
pub const CORN_COLLAR_GDD: Figure = Figure::new(82.0, NIELSEN_2019);
/// Heat per leaf collar after it.
pub const CORN_LATE_COLLAR_GDD: Figure = Figure::new(50.0, NIELSEN_2019);
/// Heat per collar in the other table of the same school, up to [`CORN_LEAF_BREAK`].
pub const CORN_SLOW_COLLAR_GDD: Figure = Figure::new(84.0, ABENDROTH_2011);
/// The same after it.
pub const CORN_SLOW_LATE_COLLAR_GDD: Figure = Figure::new(56.0, ABENDROTH_2011);
/// Collar after which leaves come faster.
pub const CORN_LEAF_BREAK: u8 = 10;
/// Collar from which the growing point stands above the ground.
pub const CORN_GROWING_POINT_ABOVE: u8 = 6;

/// Heat from planting to silk: slope per day of relative maturity.
pub const CORN_SILK_GDD_PER_DAY: Figure = Figure::new(11.459, SILK_FIT);
/// Heat from planting to silk: intercept.
pub const CORN_SILK_GDD: Figure = Figure::new(100.27, SILK_FIT);
const SILK_FIT: Source =
    Source::from_memory("line fitted to hybrid ratings; agrees with 1360 seen at 110 days");
/// Heat from planting to black layer: slope per day of relative maturity.
pub const CORN_BLACK_LAYER_GDD_PER_DAY: Figure = Figure::new(24.16, SILK_FIT);
/// Heat from planting to black layer: intercept.
pub const CORN_BLACK_LAYER_GDD: Figure = Figure::new(-15.39, SILK_FIT);
/// Share by which the heat to silk and to black layer strays from its line.
pub const CORN_SILK_SPREAD: Figure = Figure::new(
    0.05,
    Source::published(
        "Genomes to Fields trials 2018-19, 14 site-years of the upper Corn Belt: planting to silk \
         1360 GDD by station weather, standard deviation 75 (worked from the data)",
    ),
);
/// What a rating counted from planting holds more than one counted from emergence.
pub const CORN_RATING_FROM_PLANTING_GDD: Figure = Figure::new(
    115.0,
    Source::published(
        "Indiana corn hybrid maturity decisions for delayed planting, Purdue Univ. Extension, 2022",
    ),
);
/// Heat by which tassel comes before silk.
pub const CORN_TASSEL_LEAD_GDD: Figure =
    Figure::new(60.0, Source::from_memory("two to three warm days between tassel and silk"));
/// Heat that black layer comes sooner for each day of planting after 1 May.
pub const CORN_LATE_PLANTING_GDD_PER_DAY: Figure = Figure::new(
    6.8,
    Source::published("Nielsen & Thomison, Hybrid maturities for delayed planting, Purdue/Ohio"),
);
/// Share of the heat between silk and black layer at which R1 to R6 begin; R2 is set halfway.
pub const CORN_KERNEL_SHARES: [Figure; 6] = [
    Figure::new(0.0, LAUER_TABLE),
    Figure::new(0.135, Source::from_memory("halfway from R1 to R3")),
    Figure::new(0.27, LAUER_TABLE),
    Figure::new(0.54, LAUER_TABLE),
    Figure::new(0.77, LAUER_TABLE),
    Figure::new(1.0, LAUER_TABLE),
];

/// Corn height in inches, extended leaves not pulled up, at a number of collars.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightAt {
    /// Number of collars.
    pub collars: f64,
    /// Height at that stage, inches.
    pub inches: Band,
}

/// Corn height by collars, in order. Southern figures: northern plants tend to be shorter.
pub const CORN_HEIGHTS: [HeightAt; 8] = {
    const LARSON: Source = Source::published(
        "Larson, How to determine corn vegetative growth stages, Mississippi State Univ., 2024",
    );
    const RECALLED: Source = Source::from_memory("extension stage descriptions, Corn Belt");
    const fn at(collars: f64, low: f64, high: f64, source: Source) -> HeightAt {
        HeightAt { collars, inches: Band::new(low, high, source) }
    }
    [
        at(0.0, 0.0, 1.0, RECALLED),
        at(3.0, 5.0, 7.0, LARSON),
        at(4.0, 8.0, 10.0, RECALLED),
        at(5.0, 10.0, 14.0, LARSON),
        at(6.0, 14.0, 20.0, LARSON),
        at(7.0, 20.0, 25.0, RECALLED),
        at(8.0, 24.0, 30.0, RECALLED),
        at(10.0, 36.0, 48.0, RECALLED),
    ]
};

/// Share by which northern corn may stay under the lower end of [`CORN_HEIGHTS`].
pub const CORN_NORTHERN_SHORTER: Figure = Figure::new(
    0.15,
    Source::from_memory("northern plants tend to be shorter; by how much is not in print"),
);
/// Collars by which corn in 30 in rows closes them.
pub const CORN_CLOSURE_COLLARS: (u8, u8) = (10, 12);
/// Row width for which [`CORN_CLOSURE_COLLARS`] holds, inches.
pub const CORN_CLOSURE_ROW_IN: Figure =
    Figure::new(30.0, Source::from_memory("corn in 30 in rows closes about V10 to V12"));

/// Heat (air) from planting to emergence of soybean: the band of the Corn Belt.
///
/// The other figure in print, 145 air GDD (Conley, Wisconsin, 2008), lies above it; the upper end
/// of the band stands nearest to both, so [`SOYBEAN_EMERGENCE_GDD`] takes that.
pub const SOYBEAN_EMERGENCE_BAND_GDD: Band = Band::new(
    90.0,
    130.0,
    Source::published("Anderson & Vittetoe, Go time or not so fast?, Iowa State Univ., 2021"),
);
/// Heat (air) from planting to emergence of soybean.
pub const SOYBEAN_EMERGENCE_GDD: Figure =
    Figure::new(SOYBEAN_EMERGENCE_BAND_GDD.high, SOYBEAN_EMERGENCE_BAND_GDD.source);
/// The other figure in print, by air heat: the slow end.
pub const SOYBEAN_SLOW_EMERGENCE_GDD: Figure = Figure::new(145.0, CONLEY_2008);
/// Soil heat for the step that takes [`SOYBEAN_SLOW_EMERGENCE_GDD`] of air heat.
pub const SOYBEAN_EMERGENCE_SOIL_GDD: Figure = Figure::new(165.0, CONLEY_2008);
/// Days from VE to VC.
pub const SOYBEAN_VE_TO_VC_DAYS: Figure = Figure::new(5.0, PEDERSEN_2009);
/// Days from VC to V1.
pub const SOYBEAN_VC_TO_V1_DAYS: Figure = Figure::new(5.0, PEDERSEN_2009);
/// Days from VE to V1, fewest and most.
pub const SOYBEAN_V1_DAYS: Band =
    Band::new(5.0, 14.0, Source::from_memory("about ten days, from 5 to 14"));
/// Days from one node to the next, from V1 on.
pub const SOYBEAN_NODE_DAYS: Figure = Figure::new(3.7, BASTIDAS_2008);
/// The same at 0.26 node a day, the slow end of four sowings.
pub const SOYBEAN_SLOW_NODE_DAYS: Figure = Figure::new(
    1.0 / 0.26,
    Source::published("Planting soybeans early, CropWatch, Univ. of Nebraska, 4 May 2007"),
);
const FLOWER_NODES: Source =
    Source::published("Soybean flowering near the solstice, Illinois soybean advisors: V7 to V10");
/// Fewest nodes at first flower.
pub const SOYBEAN_FLOWER_NODES: Figure = Figure::new(7.0, FLOWER_NODES);
/// Nodes at first flower of a crop that flowers late.
pub const SOYBEAN_LATE_FLOWER_NODES: Figure = Figure::new(10.0, FLOWER_NODES);
/// Day of the year from which maturity group 0 may flower.
pub const SOYBEAN_FLOWER_DAY: Figure =
    Figure::new(176.0, Source::from_memory("group 2 sown early in May flowers 1 to 5 July, Iowa"));
/// Days later for each maturity group.
pub const SOYBEAN_FLOWER_DAYS_PER_GROUP: Figure =
    Figure::new(4.0, Source::from_memory("about four days a group in the Corn Belt"));
/// Latitude of [`SOYBEAN_FLOWER_DAY`].
pub const SOYBEAN_FLOWER_LATITUDE: f64 = 42.0;
/// Days later for each degree of latitude north of it: longer days and cooler ones put flowers off
/// (Major et al., Effects of daylength and temperature on soybean development, 1975). How much
/// follows from the belts of adaptation, 100 to 150 miles a group (Scott & Aldrich, Modern soybean
/// production, 1970): a group at home flowers at about the same date in each.
pub const SOYBEAN_FLOWER_DAYS_PER_DEGREE: Figure =
    Figure::new(2.0, Source::from_memory("four days a group over belts of about two degrees"));
/// Days by which the first flower may come before or after its rule.
pub const SOYBEAN_FLOWER_SPREAD_DAYS: Figure =
    Figure::new(5.0, Source::from_memory("varieties of one group flower within about ten days"));
/// Share by which the days from flower to pods may be fewer or more: 10 to 14 about 12, 12 to 15
/// about 13.
pub const SOYBEAN_POD_SPREAD: Figure =
    Figure::new(0.16, Source::from_memory("R1 to R3 10-14 days, R3 to R5 12-15 days"));
/// Days from R1 at which R1 to R8 begin.
pub const SOYBEAN_POD_DAYS: [Figure; 8] = {
    const RECALLED: Source = Source::from_memory("R1 to R3 10-14 days, R3 to R5 12-15 days");
    [
        Figure::new(0.0, RECALLED),
        Figure::new(5.0, RECALLED),
        Figure::new(12.0, RECALLED),
        Figure::new(18.0, RECALLED),
        Figure::new(25.0, RECALLED),
        Figure::new(43.0, RECALLED),
        Figure::new(58.0, Source::from_memory("R7 nine to ten days before full maturity")),
        Figure::new(
            67.5,
            Source::published("Endres, NDSU Extension, 5 Aug 2021: 40 to 45 days from R5 on"),
        ),
    ]
};

/// Days from planting at which soybean closes rows of one width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClosureAt {
    /// Row width, inches.
    pub row_in: f64,
    /// Planted by 5 May.
    pub early_days: f64,
    /// Planted on 25 May or later.
    pub late_days: f64,
    /// Where the row comes from.
    pub source: Source,
}

/// Soybean canopy closure, narrow rows first.
pub const SOYBEAN_CLOSURE: [ClosureAt; 3] = [
    ClosureAt {
        row_in: 7.5,
        early_days: 40.0,
        late_days: 30.0,
        source: Source::from_memory("ten days before 15 in rows"),
    },
    ClosureAt {
        row_in: 15.0,
        early_days: 50.0,
        late_days: 40.0,
        source: Source::published(
            "Casteel, Purdue Univ., in Later planted soybeans may push canopy closure",
        ),
    },
    ClosureAt {
        row_in: 30.0,
        early_days: 65.0,
        late_days: 55.0,
        source: Source::published("Iowa State Univ. Extension: 15 in rows close 15 days sooner"),
    },
];
/// Month and day of the early and the late planting of [`SOYBEAN_CLOSURE`].
pub const SOYBEAN_CLOSURE_PLANTED: [(u32, u32); 2] = [(5, 5), (5, 25)];
/// Days by which the tables stray: another gives 60 for 30 in rows where this one gives 55 to 65.
pub const SOYBEAN_CLOSURE_SPREAD_DAYS: Figure =
    Figure::new(5.0, Source::from_memory("half the distance of the two tables for 30 in rows"));

/// Basal crop coefficients, stage lengths and roots for the water balance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaterUse {
    /// Days of the initial, development, middle and late stages.
    pub stage_days: [f64; 4],
    /// Basal coefficient at the start, in the middle and at the end.
    pub basal: [f64; 3],
    /// Greatest crop height, m.
    pub height_m: f64,
    /// Deepest effective roots, m.
    pub roots_m: f64,
    /// Share of the available water that is easily taken up.
    pub easy_share: f64,
    /// Where the row comes from.
    pub source: Source,
}

const FAO_56: Source = Source::published(
    "Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, Tables 11, 12, 17, 22",
);
/// Grain corn.
pub const CORN_WATER: WaterUse = WaterUse {
    stage_days: [30.0, 40.0, 50.0, 50.0],
    basal: [0.15, 1.15, 0.50],
    height_m: 2.0,
    roots_m: 1.0,
    easy_share: 0.55,
    source: FAO_56,
};
/// Soybean.
pub const SOYBEAN_WATER: WaterUse = WaterUse {
    stage_days: [20.0, 35.0, 60.0, 25.0],
    basal: [0.15, 1.10, 0.30],
    height_m: 0.75,
    roots_m: 0.9,
    easy_share: 0.50,
    source: FAO_56,
};
