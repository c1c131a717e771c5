//! Findings at the ends of what can be.

use super::{REFUSALS, Sample, day, lagging, loss, range, run, seedbed, test, urea};
use furrowbell_engine::clocks::nitrogen::Basis;
use furrowbell_engine::clocks::{DateRange, Stage};
use furrowbell_engine::findings::{
    Caught, EarlyReason, Evidence, LagCause, LossRule, PostLimit, PostReason, RainAhead, ReachBack,
    SeedbedVerdict, SprayPass,
};
use furrowbell_engine::plan::NitrogenSource;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;

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
