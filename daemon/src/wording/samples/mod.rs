//! Findings with values of every kind, ordinary and at the ends of what can be: what a wording is
//! shown with, and what it must stand before it is used.

mod values;
mod widest;

pub use values::answer_values;
pub use widest::widest;

use super::text::{FieldRef, TextInput};
use chrono::{DateTime, FixedOffset, NaiveDate, NaiveTime, TimeDelta};
use furrowbell_config::people::Language;
use furrowbell_engine::clocks::nitrogen::{
    Basis, RainSum, SurfaceUrea, TestedRate, UreaLoss, Washed,
};
use furrowbell_engine::clocks::spray_hours::{Refusal, SprayRun};
use furrowbell_engine::clocks::{DateRange, Stage};
use furrowbell_engine::findings::{
    Caught, Control, EarlyReason, Evidence, LagCause, LossRule, PostLimit, PostReason, PoundsRange,
    RainAhead, ReachBack, SeedbedVerdict, SprayPass,
};
use furrowbell_engine::plan::{NitrogenPlan, NitrogenSource, Placement};
use furrowbell_engine::reference::Standing;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::soils::Soil;
use furrowbell_engine::reference::weeds::Weed;
use furrowbell_engine::site::{Particles, Texture};
use furrowbell_engine::units::{NitratePpm, PoundsPerAcre};

/// Who writes in an ordinary text.
pub const SENDER: &str = "Prairie Desk";
/// As long as the book allows a sender to be.
pub const LONGEST_SENDER: &str = "Prairie Field Desk 2";
/// As long as the book allows a field's name to be.
pub const LONGEST_FIELD: &str = "Old Schoolhouse Bottom 9";

/// Twelve names as people give them, none within another.
pub const TWELVE: [&str; 12] = [
    "North 80",
    "Creek 40",
    "Home Quarter",
    "Sand Hill 160",
    "Mill Road",
    "Bottom",
    "West Forty",
    "School 60",
    "Orchard",
    "Depot",
    "Hilltop",
    "River 20",
];

/// The receiver's day in every sample: Wed May 20.
pub fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, 20).expect("a day of the calendar")
}

pub fn day(offset: i64) -> NaiveDate {
    today() + TimeDelta::days(offset)
}

fn range(likely: i64) -> DateRange {
    DateRange { earliest: day(likely - 3), likely: day(likely), latest: day(likely + 4) }
}

/// The day a crop comes up, give or take two.
fn up(likely: i64) -> DateRange {
    DateRange { earliest: day(likely - 2), likely: day(likely), latest: day(likely + 2) }
}

/// One sample of a topic.
pub struct Sample {
    pub evidence: Evidence,
    pub version: u32,
    pub corn: bool,
    pub act_by: Option<NaiveDate>,
    pub provisional: bool,
}

impl Sample {
    /// The sample told of fields of these names.
    pub fn input<'a>(&'a self, language: Language, names: &[&'a str]) -> TextInput<'a> {
        let field = |name: &&'a str| FieldRef { name, crop_is_corn: self.corn };
        TextInput {
            sender: SENDER,
            language,
            fields: names.iter().map(field).collect(),
            evidence: &self.evidence,
            version: self.version,
            act_by: self.act_by,
            provisional: self.provisional,
            today: today(),
            stop_hint: false,
            update: false,
        }
    }
}

fn sample(evidence: Evidence, corn: bool, act_in: i64) -> Sample {
    Sample { evidence, version: 1, corn, act_by: Some(day(act_in)), provisional: false }
}

/// A nitrate test on a planned 120 lb.
fn test(ppm: f64) -> TestedRate {
    let pounds = |pounds| PoundsPerAcre::new(pounds).expect("a rate that a plan may have");
    let plan = NitrogenPlan {
        starter: pounds(40.0),
        sidedress: pounds(120.0),
        starter_source: NitrogenSource::Uan32,
        source: NitrogenSource::Uan32,
        placement: Placement::InSoil,
        inhibitor: None,
        rig_clears: None,
    };
    let ppm = NitratePpm::new(ppm).expect("a value that a test may have");
    TestedRate::of(day(-2), ppm, &plan)
}

const fn lagging(because: LagCause, normal: Basis) -> EarlyReason {
    EarlyReason::SoilLags { percent: 99.0, because, normal }
}

/// 120 lb N left on the surface so many days ago, with rain in so many days.
fn urea(source: NitrogenSource, spread: i64, rain_in: Option<i64>) -> Evidence {
    let mut surface = SurfaceUrea::spread(source, None, 120.0).expect("a source with urea");
    (spread..0).for_each(|_| surface.advance(Some(0.0), Some(20.0)));
    let range = |lost: UreaLoss| PoundsRange {
        low: lost.low_lb,
        likely: lost.likely_lb,
        high: lost.high_lb,
    };
    Evidence::SurfaceUrea {
        spread_on: day(spread),
        source,
        grace_days: surface.loss().grace_days,
        losing_from: day(spread + 3),
        need_in: 0.5,
        ahead: rain_in.map(|days| RainAhead { date: day(days), inches: 0.64 }),
        lost: range(surface.loss()),
        in_a_week: range(surface.in_a_week()),
        standing: Standing::Published,
    }
}

/// N lost over so many wet days, 120 lb of nitrate on medium ground from which so much drained.
fn loss(rule: LossRule, wet_days: u32, drained_in: f64) -> Evidence {
    let lost = |percent: f64| (1.2 * percent * (f64::from(wet_days) - 1.0)).min(120.0);
    let texture = Texture::SiltLoam;
    let ground = Soil::new(texture, Particles::middle_of(texture), 3.0);
    Evidence::NitrogenLoss {
        rule,
        pounds: PoundsRange { low: lost(4.0), likely: lost(4.5), high: lost(5.0) },
        standing: Standing::Published,
        wet_days,
        washed: Washed::by(drained_in, &ground, texture.group()),
        rain: RainSum { april_june_in: 16.7, may_june_in: 11.2, whole: true },
    }
}

/// A sidedress window after a nitrate test.
fn tested(ppm: f64, closing: bool) -> Evidence {
    let rate = test(ppm);
    let (tested, pounds, latest) = (Some(rate), rate.high_lb, range(if closing { 7 } else { 24 }));
    if closing {
        Evidence::SidedressClosing { stage: Stage::Vegetative(7), pounds, tested, latest }
    } else {
        let early = Some(EarlyReason::SmallStarter { pounds: 30.0 });
        Evidence::SidedressOpen { stage: Stage::Vegetative(6), early, pounds, tested, latest }
    }
}

/// Ordinary findings: every topic, every branch of its wording that a field commonly shows.
pub fn ordinary() -> Vec<Sample> {
    let sidedress = |early| Evidence::SidedressOpen {
        stage: Stage::Vegetative(4),
        early,
        pounds: 120.0,
        tested: None,
        latest: range(24),
    };
    let lags = |because| {
        Some(EarlyReason::SoilLags { percent: 31.0, because, normal: Basis::OwnYears(12) })
    };
    let stated = Some(EarlyReason::SoilLags {
        percent: 31.0,
        because: LagCause::Cool,
        normal: Basis::Stated,
    });
    let cold = |on| Evidence::ColdAfterPlanting { planted_on: day(-2), on: day(on), low_f: 34.2 };
    let mut samples = vec![
        Sample { act_by: None, ..sample(cold(-1), true, 9) },
        Sample { provisional: true, ..sample(cold(1), false, 9) },
        Sample {
            act_by: None,
            ..sample(Evidence::Emergence { on: up(-1), heat_gdd: 121.0 }, true, 2)
        },
        Sample {
            act_by: None,
            provisional: true,
            ..sample(Evidence::Emergence { on: range(0), heat_gdd: 117.0 }, false, 5)
        },
        Sample {
            provisional: true,
            ..sample(Evidence::Emergence { on: up(2), heat_gdd: 117.0 }, false, 5)
        },
        sample(sidedress(None), true, 17),
        sample(sidedress(lags(LagCause::Cool)), true, 14),
        sample(sidedress(lags(LagCause::Dry)), true, 14),
        sample(sidedress(stated), true, 14),
        sample(sidedress(Some(EarlyReason::SmallStarter { pounds: 30.0 })), true, 14),
        sample(
            Evidence::SidedressClosing {
                stage: Stage::Vegetative(7),
                pounds: 120.0,
                tested: None,
                latest: range(7),
            },
            true,
            5,
        ),
        Sample { version: 2, ..sample(tested(18.0, false), true, 7) },
        Sample { version: 2, provisional: true, ..sample(tested(18.0, false), true, 7) },
        Sample { version: 2, ..sample(tested(27.0, false), true, 7) },
        Sample { version: 2, ..sample(tested(18.0, true), true, 5) },
        Sample { provisional: true, ..sample(urea(NitrogenSource::Urea, -1, None), true, 1) },
        Sample { provisional: true, ..sample(urea(NitrogenSource::Uan32, -1, Some(4)), true, 1) },
        Sample { provisional: true, ..sample(urea(NitrogenSource::Urea, -4, None), true, 0) },
        sample(loss(LossRule::SaturatedDays, 6, 0.0), true, 12),
        Sample { provisional: true, ..sample(loss(LossRule::SaturatedDays, 6, 3.0), true, 12) },
        sample(loss(LossRule::SpringRain, 2, 4.2), true, 12),
        Sample {
            act_by: None,
            ..sample(Evidence::WeatherGap { since: day(-4), days: 4 }, false, 0)
        },
    ];
    samples.extend(pre_passes());
    samples.extend(post_passes());
    samples.extend(spray_hours());
    samples.extend(few_groups());
    samples.extend(seedbeds());
    samples
}

fn pre_passes() -> Vec<Sample> {
    let needed = |rain_in, days, ahead| Evidence::RainNeeded {
        applied_on: day(-i64::from(days)),
        days,
        rain_in,
        need_in: 0.5,
        ingredient: Ingredient::SMetolachlor,
        ahead,
        reach_back: None,
    };
    let unset = |reach, ahead| match needed(0.2, 10, ahead) {
        Evidence::RainNeeded { applied_on, days, rain_in, need_in, ingredient, ahead, .. } => {
            let reach_back = Some(reach);
            Evidence::RainNeeded {
                applied_on,
                days,
                rain_in,
                need_in,
                ingredient,
                ahead,
                reach_back,
            }
        }
        other => other,
    };
    let set = |on| Evidence::RainSet {
        applied_on: day(-7),
        on: day(on),
        rain_in: 0.72,
        residual_ends: range(26),
        washed: false,
    };
    let late = |on, reach_back| Evidence::RainLate {
        applied_on: day(-13),
        on: day(on),
        rain_in: 0.6,
        waited_days: 12,
        reach_back,
        caught: None,
    };
    let caught = Caught {
        weed: Weed::Waterhemp,
        ingredient: Ingredient::Mesotrione,
        whitens: true,
        look_from: day(4),
        look_to: day(6),
    };
    let whitening = Evidence::RainLate {
        applied_on: day(-13),
        on: day(-1),
        rain_in: 0.6,
        waited_days: 12,
        reach_back: ReachBack::SmallBroadleaves,
        caught: Some(caught),
    };
    vec![
        sample(needed(0.2, 5, None), true, 3),
        sample(needed(0.0, 5, Some(RainAhead { date: day(3), inches: 0.64 })), false, 5),
        sample(needed(0.2, 5, Some(RainAhead { date: day(0), inches: 0.64 })), true, 5),
        Sample { version: 2, ..sample(needed(0.2, 7, None), true, 3) },
        Sample { version: 3, ..sample(unset(ReachBack::None, None), false, 3) },
        Sample { version: 3, ..sample(unset(ReachBack::SmallBroadleaves, None), true, 3) },
        Sample { version: 3, provisional: true, ..sample(unset(ReachBack::None, None), true, 3) },
        sample(set(-1), false, 7),
        Sample { act_by: None, ..sample(set(-1), false, 7) },
        Sample { provisional: true, ..sample(set(-1), false, 7) },
        Sample { provisional: true, act_by: None, ..sample(set(2), true, 7) },
        sample(late(-1, ReachBack::None), true, 2),
        sample(late(-1, ReachBack::SmallBroadleaves), false, 2),
        sample(whitening, true, 6),
        Sample { provisional: true, ..sample(late(1, ReachBack::None), true, 3) },
        sample(ending(false, false, false), true, 4),
        sample(ending(true, false, false), false, 4),
        sample(ending(false, true, false), false, 4),
        sample(ending(false, false, true), true, 4),
    ]
}

fn ending(dry: bool, washed: bool, renewed: bool) -> Evidence {
    Evidence::ResidualEnding { set_on: day(-9), ends: range(5), dry, washed, renewed }
}

fn few_groups() -> [Sample; 2] {
    let few = |pass, groups: &[u8], expected| Evidence::FewGroups {
        pass,
        applied: pass == SprayPass::Pre,
        weed: Weed::Waterhemp,
        groups: groups.to_vec(),
        lost: vec![9],
        expected,
    };
    let expected = Control {
        low: 54.0,
        likely: 68.0,
        high: 88.0,
        standing: Standing::Published,
        ends_standing: Standing::CommonPractice,
    };
    [
        sample(few(SprayPass::Pre, &[15], Some(expected)), true, 4),
        sample(few(SprayPass::Post, &[], None), false, 4),
    ]
}

fn hour(offset: i64, hour: u32) -> DateTime<FixedOffset> {
    let time = NaiveTime::from_hms_opt(hour, 0, 0).expect("an hour of the day");
    let central = FixedOffset::west_opt(5 * 3600).expect("hours west of Greenwich");
    let local = day(offset).and_time(time).and_local_timezone(central);
    local.single().expect("a fixed offset skips no hour")
}

fn run(offset: i64, from: u32, to: u32) -> SprayRun {
    SprayRun { from: hour(offset, from), to: hour(offset, to) }
}

/// One reason for each way in which it is said.
const REFUSALS: [Refusal; 9] = [
    Refusal::Rain,
    Refusal::Wind,
    Refusal::Calm,
    Refusal::Drying,
    Refusal::Moist,
    Refusal::Heat,
    Refusal::Cold,
    Refusal::LowSun,
    Refusal::DicambaUnregistered,
];

fn spray_hours() -> Vec<Sample> {
    let fit = |runs: &[SprayRun], act_in| Sample {
        provisional: true,
        ..sample(Evidence::SprayHours { runs: runs.to_vec(), refused: None }, true, act_in)
    };
    let mut samples = vec![
        fit(&[run(0, 9, 12), run(1, 8, 11)], 1),
        fit(&[run(0, 10, 15)], 0),
        fit(&[run(1, 8, 17)], 1),
    ];
    samples.extend(REFUSALS.map(|refusal| Sample {
        provisional: true,
        ..sample(Evidence::SprayHours { runs: Vec::new(), refused: Some(refusal) }, false, 4)
    }));
    samples
}

fn seedbed(verdict: SeedbedVerdict, moist_from_in: Option<f64>) -> Evidence {
    let ahead = verdict == SeedbedVerdict::ColdAhead;
    Evidence::Seedbed {
        low_in: 1.75,
        high_in: 2.25,
        moist_from_in,
        soil_f: if verdict == SeedbedVerdict::Cold { 44.4 } else { 54.6 },
        verdict,
        cold_on: ahead.then(|| day(2)),
    }
}

fn seedbeds() -> [Sample; 6] {
    use SeedbedVerdict::{Cold, ColdAhead, Dry, Ready, Wet};
    [
        Sample { provisional: true, ..sample(seedbed(Ready, Some(1.5)), true, 3) },
        sample(seedbed(Ready, Some(0.5)), false, 3),
        sample(seedbed(Cold, Some(1.5)), true, 3),
        Sample { act_by: None, ..sample(seedbed(Dry, None), false, 3) },
        Sample { act_by: None, ..sample(seedbed(Wet, Some(0.5)), true, 3) },
        Sample { provisional: true, ..sample(seedbed(ColdAhead, Some(1.0)), true, 3) },
    ]
}

fn post_passes() -> [Sample; 19] {
    let weeds = PostLimit::WeedHeight { inches: 4.0 };
    let height =
        PostLimit::CropHeight { inches: 12.0, ingredient: Ingredient::Atrazine, label: None };
    let stage = PostLimit::CropStage {
        stage: Stage::Reproductive(1),
        ingredient: Ingredient::Fomesafen,
        label: None,
    };
    let before = PostLimit::BeforeStage {
        stage: Stage::Reproductive(1),
        ingredient: Ingredient::Dicamba,
        label: None,
    };
    let (ingredient, label) = (Ingredient::Atrazine, Some(day(-120)));
    let own = PostLimit::CropHeight { inches: 12.0, ingredient, label };
    let last = PostLimit::LastDay { last: day(5), ingredient, label };
    let no_label = None;
    let open = |reason| Evidence::PostOpen { reason, closes: range(8), limit: weeds, no_label };
    let closing = |limit| Evidence::PostClosing { closes: range(5), limit, again: false, no_label };
    let overdue = |limit| Evidence::PostOverdue { closed_on: range(-2), limit, again: false };
    let unlabelled = Some(Ingredient::Dicamba);
    [
        sample(open(PostReason::WeedsSeen), true, 7),
        sample(open(PostReason::ResidualFading), false, 7),
        sample(open(PostReason::PreMissedRain), true, 7),
        sample(open(PostReason::NoPre), false, 7),
        sample(open(PostReason::RenewedFading), false, 7),
        sample(
            Evidence::PostOpen {
                reason: PostReason::ResidualFading,
                closes: range(8),
                limit: before,
                no_label,
            },
            false,
            7,
        ),
        sample(closing(weeds), false, 4),
        sample(closing(height), true, 4),
        sample(closing(stage), false, 4),
        sample(overdue(weeds), true, 2),
        sample(closing(before), false, 4),
        sample(overdue(height), true, 0),
        Sample { act_by: None, ..sample(overdue(before), false, 0) },
        sample(closing(own), false, 4),
        sample(closing(last), false, 4),
        sample(overdue(last), false, 0),
        Sample {
            provisional: true,
            ..sample(
                Evidence::PostOpen {
                    reason: PostReason::ResidualFading,
                    closes: range(8),
                    limit: weeds,
                    no_label: unlabelled,
                },
                false,
                7,
            )
        },
        sample(
            Evidence::PostClosing {
                closes: range(5),
                limit: before,
                again: false,
                no_label: unlabelled,
            },
            false,
            4,
        ),
        sample(Evidence::PostOverdue { closed_on: range(-2), limit: weeds, again: true }, true, 2),
    ]
}
