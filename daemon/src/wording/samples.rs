//! Findings for the tests: an ordinary one and the widest ones of every topic.

use chrono::{DateTime, FixedOffset, NaiveDate, TimeDelta};
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

/// The receiver's day in every sample: Wed May 20.
pub fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, 20).unwrap()
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

fn sample(evidence: Evidence, corn: bool, act_in: i64) -> Sample {
    Sample { evidence, version: 1, corn, act_by: Some(day(act_in)), provisional: false }
}

/// A nitrate test on a planned 120 lb.
fn test(ppm: f64) -> TestedRate {
    let plan = NitrogenPlan {
        starter: PoundsPerAcre::new(40.0).unwrap(),
        sidedress: PoundsPerAcre::new(120.0).unwrap(),
        starter_source: NitrogenSource::Uan32,
        source: NitrogenSource::Uan32,
        placement: Placement::InSoil,
        inhibitor: None,
        rig_clears: None,
    };
    TestedRate::of(day(-2), NitratePpm::new(ppm).unwrap(), &plan)
}

const fn lagging(because: LagCause, normal: Basis) -> EarlyReason {
    EarlyReason::SoilLags { percent: 99.0, because, normal }
}

/// 120 lb N left on the surface so many days ago, with rain in so many days.
fn urea(source: NitrogenSource, spread: i64, rain_in: Option<i64>) -> Evidence {
    let mut surface = SurfaceUrea::spread(source, None, 120.0).unwrap();
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
    let central = FixedOffset::west_opt(5 * 3600).unwrap();
    day(offset).and_hms_opt(hour, 0, 0).unwrap().and_local_timezone(central).unwrap()
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

/// The widest values the engine's ranges allow, with and without provisional weather.
pub fn widest() -> Vec<Sample> {
    let applied_on = day(-112);
    let mut all = Vec::new();
    let mut add = |evidence: Evidence| {
        for (version, provisional, act_by) in [
            (1, false, Some(day(119))),
            (1, true, Some(day(119))),
            (3, true, None),
            (3, false, Some(day(0))),
            (2, true, Some(day(-3))),
        ] {
            for corn in [true, false] {
                let evidence = evidence.clone();
                all.push(Sample { evidence, version, corn, act_by, provisional });
            }
        }
    };
    for on in [-112, -1, 119] {
        add(Evidence::Emergence { on: range(on), heat_gdd: 9999.0 });
        let on = day(on);
        add(Evidence::Emergence { on: DateRange::on(on), heat_gdd: 9999.0 });
        add(Evidence::ColdAfterPlanting { planted_on: applied_on, on, low_f: -58.4 });
        for washed in [false, true] {
            let residual_ends = range(119);
            add(Evidence::RainSet { applied_on, on, rain_in: 11.94, residual_ends, washed });
        }
        for reach_back in [ReachBack::None, ReachBack::SmallBroadleaves] {
            for waited_days in [1, 112] {
                for caught in [None, Some(widest_caught())] {
                    add(Evidence::RainLate {
                        applied_on,
                        on,
                        rain_in: 11.94,
                        waited_days,
                        reach_back,
                        caught,
                    });
                }
            }
        }
    }
    for evidence in widest_passes() {
        add(evidence);
    }
    let stage = Stage::Vegetative(12);
    for early in [
        None,
        Some(lagging(LagCause::Cool, Basis::Stated)),
        Some(lagging(LagCause::Cool, Basis::OwnYears(30))),
        Some(lagging(LagCause::Dry, Basis::OwnYears(30))),
        Some(EarlyReason::SmallStarter { pounds: 0.0 }),
        Some(EarlyReason::SmallStarter { pounds: 199.6 }),
    ] {
        for (pounds, tested) in
            [(333.3, None), (333.3, Some(test(19.25))), (0.0, Some(test(99.75)))]
        {
            add(Evidence::SidedressOpen { stage, early, pounds, tested, latest: range(119) });
        }
    }
    for (pounds, tested) in [(0.0, None), (333.3, None), (333.3, Some(test(19.25)))] {
        add(Evidence::SidedressClosing { stage, pounds, tested, latest: range(119) });
    }
    for rule in [LossRule::SaturatedDays, LossRule::SpringRain] {
        add(loss(rule, 112, 14.0));
        add(loss(rule, 1, 0.0));
    }
    for source in [NitrogenSource::Urea, NitrogenSource::Uan28] {
        for rain_in in [None, Some(119)] {
            add(urea(source, -112, rain_in));
            add(urea(source, 0, rain_in));
        }
    }
    add(Evidence::WeatherGap { since: applied_on, days: 112 });
    add(Evidence::SprayHours { runs: vec![run(0, 10, 21), run(1, 10, 21)], refused: None });
    for refusal in REFUSALS {
        add(Evidence::SprayHours { runs: Vec::new(), refused: Some(refusal) });
    }
    for evidence in widest_seedbeds() {
        add(evidence);
    }
    all
}

fn widest_passes() -> Vec<Evidence> {
    let applied_on = day(-112);
    let mut all = Vec::new();
    for (rain_in, days) in [(0.0, 1), (0.749, 112)] {
        for ahead in [None, Some(RainAhead { date: day(119), inches: 11.94 })] {
            for reach_back in [None, Some(ReachBack::None), Some(ReachBack::SmallBroadleaves)] {
                all.push(Evidence::RainNeeded {
                    applied_on,
                    days,
                    rain_in,
                    need_in: 0.75,
                    ingredient: Ingredient::CloransulamMethyl,
                    ahead,
                    reach_back,
                });
            }
        }
    }
    let ingredient = Ingredient::CloransulamMethyl;
    let label = Some(applied_on);
    for limit in [
        PostLimit::WeedHeight { inches: 3.25 },
        PostLimit::CropHeight { inches: 30.25, ingredient, label: None },
        PostLimit::CropHeight { inches: 30.25, ingredient, label },
        PostLimit::CropStage { stage: Stage::Vegetative(12), ingredient, label: None },
        PostLimit::CropStage { stage: Stage::Vegetative(12), ingredient, label },
        PostLimit::BeforeStage { stage: Stage::Vegetative(12), ingredient, label: None },
        PostLimit::BeforeStage { stage: Stage::Vegetative(12), ingredient, label },
        PostLimit::LastDay { last: day(119), ingredient, label },
    ] {
        for reason in [
            PostReason::WeedsSeen,
            PostReason::ResidualFading,
            PostReason::RenewedFading,
            PostReason::PreMissedRain,
            PostReason::NoPre,
        ] {
            for no_label in [None, Some(Ingredient::Dicamba)] {
                all.push(Evidence::PostOpen { reason, closes: range(119), limit, no_label });
            }
        }
        for again in [false, true] {
            for no_label in [None, Some(Ingredient::Dicamba)] {
                all.push(Evidence::PostClosing { closes: range(119), limit, again, no_label });
            }
            all.push(Evidence::PostOverdue { closed_on: range(-112), limit, again });
        }
    }
    for (dry, washed) in [(true, false), (false, true), (false, false)] {
        for renewed in [false, true] {
            let (set_on, ends) = (applied_on, range(119));
            all.push(Evidence::ResidualEnding { set_on, ends, dry, washed, renewed });
        }
    }
    for pass in [SprayPass::Pre, SprayPass::Post] {
        for groups in [vec![], vec![15]] {
            let (weed, lost) = (Weed::Smartweed, vec![2, 5, 9, 14, 27]);
            all.push(Evidence::FewGroups {
                pass,
                applied: true,
                weed,
                groups,
                lost,
                expected: None,
            });
        }
    }
    all
}

fn widest_caught() -> Caught {
    Caught {
        weed: Weed::Smartweed,
        ingredient: Ingredient::CloransulamMethyl,
        whitens: true,
        look_from: day(112),
        look_to: day(119),
    }
}

fn widest_seedbeds() -> impl Iterator<Item = Evidence> {
    use SeedbedVerdict::{Cold, ColdAhead, Dry, Ready, Wet};
    let verdicts = [Ready, Cold, Dry, Wet, ColdAhead];
    verdicts.into_iter().flat_map(|verdict| [None, Some(2.75)].map(|from| seedbed(verdict, from)))
}
