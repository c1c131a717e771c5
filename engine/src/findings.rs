//! What a season shows and somebody may need to know.

use crate::clocks::nitrogen::{Basis, RainSum, TestedRate, Washed};
use crate::clocks::spray_hours::{Refusal, SprayRun};
use crate::clocks::{DateRange, Stage};
use crate::plan::NitrogenSource;
use crate::reference::Standing;
use crate::reference::herbicides::Ingredient;
use crate::reference::weeds::Weed;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What a finding is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Topic {
    /// Whether the seedbed is ready, and how deep to plant.
    Seedbed,
    /// The crop is up.
    Emergence,
    /// The pre still waits for rain.
    RainNeeded,
    /// Rain set the pre to work.
    RainSet,
    /// Rain came late; what it can still do.
    RainLate,
    /// The residual is nearly used up.
    ResidualEnding,
    /// The post window is open.
    PostOpen,
    /// The post window is about to close.
    PostClosing,
    /// The post window has closed without a pass on record.
    PostOverdue,
    /// Hours whose weather suits the post pass.
    SprayHours,
    /// A mix has fewer than two sites of action that work on a weed of the field.
    FewGroups,
    /// Sidedress may start, early or as usual.
    SidedressOpen,
    /// Sidedress must be done soon.
    SidedressClosing,
    /// Urea lies on the surface and no rain is in time to take it in.
    SurfaceUrea,
    /// Wet soil has cost nitrate.
    NitrogenLoss,
    /// Cold in the first two days after planting.
    ColdAfterPlanting,
    /// The field's weather is missing, so its clocks are unknown.
    WeatherGap,
}

impl Topic {
    /// Every topic, in the order of a season.
    pub const ALL: [Self; 17] = [
        Self::Seedbed,
        Self::ColdAfterPlanting,
        Self::Emergence,
        Self::RainNeeded,
        Self::RainSet,
        Self::RainLate,
        Self::ResidualEnding,
        Self::PostOpen,
        Self::PostClosing,
        Self::PostOverdue,
        Self::SprayHours,
        Self::FewGroups,
        Self::SidedressOpen,
        Self::SidedressClosing,
        Self::SurfaceUrea,
        Self::NitrogenLoss,
        Self::WeatherGap,
    ];

    /// The name used in the book, in the store and in JSON.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Seedbed => "seedbed",
            Self::Emergence => "emergence",
            Self::RainNeeded => "rain-needed",
            Self::RainSet => "rain-set",
            Self::RainLate => "rain-late",
            Self::ResidualEnding => "residual-ending",
            Self::PostOpen => "post-open",
            Self::PostClosing => "post-closing",
            Self::PostOverdue => "post-overdue",
            Self::SprayHours => "spray-hours",
            Self::FewGroups => "few-groups",
            Self::SidedressOpen => "sidedress-open",
            Self::SidedressClosing => "sidedress-closing",
            Self::SurfaceUrea => "surface-urea",
            Self::NitrogenLoss => "nitrogen-loss",
            Self::ColdAfterPlanting => "cold-after-planting",
            Self::WeatherGap => "weather-gap",
        }
    }

    /// Days after one telling within which another occasion of the topic is the same news: ground
    /// that hovers around the temperature to plant at is ready many times a week.
    pub const fn cool_down_days(self) -> u64 {
        match self {
            Self::Seedbed => 7,
            _ => 0,
        }
    }

    /// The topic of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|topic| topic.name() == name)
    }
}

/// How soon somebody must know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Urgency {
    /// Worth a line in the digest, no text.
    Digest,
    /// A text within the daily budget.
    Routine,
    /// A text that goes ahead of the others.
    Urgent,
}

/// What closes the post window.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "limit", rename_all = "kebab-case")]
pub enum PostLimit {
    /// Weeds pass the height the pass must beat.
    WeedHeight {
        /// That height.
        inches: f64,
    },
    /// The crop passes the last stage of a label.
    CropStage {
        /// That stage.
        stage: Stage,
        /// The partner of the mix that sets it.
        ingredient: Ingredient,
        /// Date of the label where the book confirms it; `None` for a typical label.
        label: Option<NaiveDate>,
    },
    /// The crop reaches a stage that a label already excludes.
    BeforeStage {
        /// That stage.
        stage: Stage,
        /// The partner of the mix that sets it.
        ingredient: Ingredient,
        /// Date of the label where the book confirms it; `None` for a typical label.
        label: Option<NaiveDate>,
    },
    /// The crop passes the last height of a label.
    CropHeight {
        /// That height.
        inches: f64,
        /// The partner of the mix that sets it.
        ingredient: Ingredient,
        /// Date of the label where the book confirms it; `None` for a typical label.
        label: Option<NaiveDate>,
    },
    /// The last day of a label passes.
    LastDay {
        /// That day.
        last: NaiveDate,
        /// The partner of the mix that sets it.
        ingredient: Ingredient,
        /// Date of the label where the book confirms it; `None` for a typical label.
        label: Option<NaiveDate>,
    },
}

/// Why the post window opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PostReason {
    /// Somebody saw weeds.
    WeedsSeen,
    /// The residual is fading.
    ResidualFading,
    /// What the last post pass left in the soil is fading.
    RenewedFading,
    /// The pre never got its rain.
    PreMissedRain,
    /// No pre pass is on record.
    NoPre,
}

/// Why sidedress is wanted early.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum EarlyReason {
    /// The soil's own supply lags.
    SoilLags {
        /// How far behind this field's normal, percent.
        percent: f64,
        /// The cause that weighs more.
        because: LagCause,
        /// What that normal rests on.
        normal: Basis,
    },
    /// The starter was small.
    SmallStarter {
        /// N put on so far, lb/acre.
        pounds: f64,
    },
}

/// Which of cold and dryness held the soil's supply back more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LagCause {
    /// Cool soil.
    Cool,
    /// Dry soil.
    Dry,
}

/// N, lb/acre, with the ends of what is published.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PoundsRange {
    /// Low end.
    pub low: f64,
    /// Likely.
    pub likely: f64,
    /// High end.
    pub high: f64,
}

/// Which rule tells of a loss of nitrogen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LossRule {
    /// Saturated days, each of which costs a share of the nitrate.
    SaturatedDays,
    /// The rain of spring, beyond which corn is widely short of N.
    SpringRain,
}

/// What a late rain can still do to weeds that are up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReachBack {
    /// Nothing in the mix acts on weeds that are up.
    None,
    /// Something in it may still act on very small broadleaf weeds; look before counting on it.
    SmallBroadleaves,
}

/// A weed of the field that was up before the rain and may still be caught: a gamble that calls for
/// a look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caught {
    /// The weed.
    pub weed: Weed,
    /// The partner of the mix that may catch it.
    pub ingredient: Ingredient,
    /// Whether it shows by whitening the weed.
    pub whitens: bool,
    /// First day on which it would show.
    pub look_from: NaiveDate,
    /// Day by which it would have shown.
    pub look_to: NaiveDate,
}

/// One of the two herbicide passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SprayPass {
    /// Before the crop is up.
    Pre,
    /// Over the crop.
    Post,
}

/// Control that trials saw of as many sites of action, percent: a prior, never a promise.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Control {
    /// Low end.
    pub low: f64,
    /// Middle.
    pub likely: f64,
    /// High end.
    pub high: f64,
    /// How far the middle is to be trusted.
    pub standing: Standing,
    /// How far the ends are.
    pub ends_standing: Standing,
}

/// Whether to plant, and what to wait for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SeedbedVerdict {
    /// Warm and moist enough, with no cold in sight.
    Ready,
    /// The soil is too cold.
    Cold,
    /// The soil is too dry at any depth allowed.
    Dry,
    /// The soil is too wet to carry a planter.
    Wet,
    /// The soil would do, but cold is forecast just after planting.
    ColdAhead,
}

/// Rain still to come, from the forecast.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RainAhead {
    /// First day by which it would be enough.
    pub date: NaiveDate,
    /// Rain forecast up to and with that day, inches.
    pub inches: f64,
}

/// The numbers behind a finding. Lengths in inches, nitrogen in lb/acre, heat in GDD (86/50 F).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "topic", rename_all = "kebab-case")]
pub enum Evidence {
    /// The seedbed.
    Seedbed {
        /// Shallowest depth to plant at, inches.
        low_in: f64,
        /// Deepest.
        high_in: f64,
        /// Shallowest depth from which the soil is moist enough; `None` when none is.
        moist_from_in: Option<f64>,
        /// Soil temperature at seed depth, F.
        soil_f: f64,
        /// Whether to plant.
        verdict: SeedbedVerdict,
        /// Day of the cold that is forecast, if any.
        cold_on: Option<NaiveDate>,
    },
    /// The crop is up.
    Emergence {
        /// When the clock passed emergence.
        on: DateRange,
        /// Heat since planting on the likely day.
        heat_gdd: f64,
    },
    /// The pre still waits.
    RainNeeded {
        /// Day of the pre pass.
        applied_on: NaiveDate,
        /// Whole days since then.
        days: u32,
        /// Rain fallen since then.
        rain_in: f64,
        /// Rain the neediest ingredient wants.
        need_in: f64,
        /// That ingredient.
        ingredient: Ingredient,
        /// Rain in the forecast that would be enough, if any.
        ahead: Option<RainAhead>,
        /// What rain could still do to weeds that are up, once the wait is so long that they may be.
        #[serde(default)]
        reach_back: Option<ReachBack>,
    },
    /// Rain set the pre.
    RainSet {
        /// Day of the pre pass.
        applied_on: NaiveDate,
        /// Day on which the rain was enough.
        on: NaiveDate,
        /// Rain from the pass to that day.
        rain_in: f64,
        /// When the residual is expected to end.
        residual_ends: DateRange,
        /// Whether so much rain came that some of the mix may be washed too deep.
        #[serde(default)]
        washed: bool,
    },
    /// Rain came late.
    RainLate {
        /// Day of the pre pass.
        applied_on: NaiveDate,
        /// Day on which the rain was enough.
        on: NaiveDate,
        /// Rain from the pass to that day.
        rain_in: f64,
        /// Whole days from the pass to that day.
        waited_days: u32,
        /// What the mix may still do to weeds that are up.
        reach_back: ReachBack,
        /// The named weed that may be caught, if any.
        #[serde(default)]
        caught: Option<Caught>,
    },
    /// The residual runs out.
    ResidualEnding {
        /// Day on which rain set the last pass.
        set_on: NaiveDate,
        /// When it is expected to end.
        ends: DateRange,
        /// Whether dryness shortened the count.
        dry: bool,
        /// Whether so much rain came that some of the mix may be washed too deep.
        #[serde(default)]
        washed: bool,
        /// Whether a post pass has renewed what the pre left.
        #[serde(default)]
        renewed: bool,
    },
    /// The post window is open.
    PostOpen {
        /// Why.
        reason: PostReason,
        /// When it closes.
        closes: DateRange,
        /// What closes it.
        limit: PostLimit,
        /// The partner of the planned mix that has no label on record for this use this year.
        #[serde(default)]
        no_label: Option<Ingredient>,
    },
    /// The post window closes soon.
    PostClosing {
        /// When it closes.
        closes: DateRange,
        /// What closes it.
        limit: PostLimit,
        /// Whether a post pass is on record already and weeds came back.
        #[serde(default)]
        again: bool,
        /// The partner of the planned mix that has no label on record for this use this year.
        #[serde(default)]
        no_label: Option<Ingredient>,
    },
    /// The post window has closed.
    PostOverdue {
        /// When it closed.
        closed_on: DateRange,
        /// What closed it.
        limit: PostLimit,
        /// Whether a post pass is on record already and weeds came back.
        #[serde(default)]
        again: bool,
    },
    /// Hours whose weather suits the post pass.
    SprayHours {
        /// The best run of each day on which there is one, today and the day after.
        runs: Vec<SprayRun>,
        /// What speaks against most hours of both days, where there is no run.
        refused: Option<Refusal>,
    },
    /// Too few sites of action.
    FewGroups {
        /// The pass.
        pass: SprayPass,
        /// Whether it has gone on; else it is planned.
        applied: bool,
        /// The weed on which fewest work.
        weed: Weed,
        /// Groups that work on it: one or none.
        groups: Vec<u8>,
        /// Groups that would, were it not resistant.
        lost: Vec<u8>,
        /// Control that trials saw of as much, for a pre.
        expected: Option<Control>,
    },
    /// Sidedress may start.
    SidedressOpen {
        /// Crop stage today.
        stage: Stage,
        /// Why it is wanted early; `None` means at the usual time.
        early: Option<EarlyReason>,
        /// N for the pass: by the nitrate test where there is one, else as planned.
        pounds: f64,
        /// What the nitrate test makes of the plan.
        #[serde(default)]
        tested: Option<TestedRate>,
        /// Last day by height or stage.
        latest: DateRange,
    },
    /// Sidedress must be done soon.
    SidedressClosing {
        /// Crop stage today.
        stage: Stage,
        /// N for the pass: by the nitrate test where there is one, else as planned.
        pounds: f64,
        /// What the nitrate test makes of the plan.
        #[serde(default)]
        tested: Option<TestedRate>,
        /// Last day by height or stage.
        latest: DateRange,
    },
    /// Urea lies on the surface.
    SurfaceUrea {
        /// Day of the pass.
        spread_on: NaiveDate,
        /// Its form.
        source: NitrogenSource,
        /// Warm days left today before anything is lost; 0 when they are over.
        grace_days: f64,
        /// First day on which N goes to the air.
        losing_from: NaiveDate,
        /// Rain of one day that takes it in.
        need_in: f64,
        /// Such rain in the forecast, too late to come before the loss.
        ahead: Option<RainAhead>,
        /// Lost so far.
        lost: PoundsRange,
        /// Lost in a week from today if every day is warm and dry.
        in_a_week: PoundsRange,
        /// How far these are to be trusted.
        standing: Standing,
    },
    /// Wet soil has cost nitrate.
    NitrogenLoss {
        /// Which rule tells of it.
        rule: LossRule,
        /// Fertiliser nitrate lost in saturated soil.
        pounds: PoundsRange,
        /// How far those pounds are to be trusted.
        standing: Standing,
        /// Saturated days counted; the first two of each spell cost nothing.
        wet_days: u32,
        /// How far down the water that drained has carried nitrate.
        washed: Option<Washed>,
        /// Rain of spring so far.
        rain: RainSum,
    },
    /// Cold in the first two days after planting.
    ColdAfterPlanting {
        /// Day of planting.
        planted_on: NaiveDate,
        /// Day of the cold.
        on: NaiveDate,
        /// Lowest air temperature, F.
        low_f: f64,
    },
    /// Weather is missing.
    WeatherGap {
        /// First day without weather.
        since: NaiveDate,
        /// Whole days without it.
        days: u32,
    },
}

impl Evidence {
    /// What the evidence is about.
    pub const fn topic(&self) -> Topic {
        match self {
            Self::Seedbed { .. } => Topic::Seedbed,
            Self::Emergence { .. } => Topic::Emergence,
            Self::RainNeeded { .. } => Topic::RainNeeded,
            Self::RainSet { .. } => Topic::RainSet,
            Self::RainLate { .. } => Topic::RainLate,
            Self::ResidualEnding { .. } => Topic::ResidualEnding,
            Self::PostOpen { .. } => Topic::PostOpen,
            Self::PostClosing { .. } => Topic::PostClosing,
            Self::PostOverdue { .. } => Topic::PostOverdue,
            Self::SprayHours { .. } => Topic::SprayHours,
            Self::FewGroups { .. } => Topic::FewGroups,
            Self::SidedressOpen { .. } => Topic::SidedressOpen,
            Self::SidedressClosing { .. } => Topic::SidedressClosing,
            Self::SurfaceUrea { .. } => Topic::SurfaceUrea,
            Self::NitrogenLoss { .. } => Topic::NitrogenLoss,
            Self::ColdAfterPlanting { .. } => Topic::ColdAfterPlanting,
            Self::WeatherGap { .. } => Topic::WeatherGap,
        }
    }
}

/// One thing that a season shows today.
///
/// (`occasion`, `version`) with the topic and the field make the identity under which it is told
/// once: the occasion is the day of the pass or event it hangs on, the version rises when it gets
/// worse and is worth telling again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Day of the pass or event it hangs on.
    pub occasion: NaiveDate,
    /// 1 for the first telling of the occasion, more when it got worse.
    pub version: u32,
    /// How soon somebody must know.
    pub urgency: Urgency,
    /// Last day on which the action still makes sense; `None` when nothing is to be done.
    pub act_by: Option<NaiveDate>,
    /// First day on which telling it makes no sense any more.
    pub expires: NaiveDate,
    /// Whether it rests on forecast or model weather.
    pub provisional: bool,
    /// The numbers behind it.
    pub evidence: Evidence,
}

impl Finding {
    /// What it is about.
    pub const fn topic(&self) -> Topic {
        self.evidence.topic()
    }
}
