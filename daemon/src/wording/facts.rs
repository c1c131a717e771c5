//! The numbers of a finding, spelled as people say them, ready for the templates.

use super::dates;
use chrono::NaiveDate;
use furrowbell_config::people::Language;
use furrowbell_engine::clocks::DateRange;
use furrowbell_engine::clocks::nitrogen::{Basis, TestedRate};
use furrowbell_engine::clocks::spray_hours::{Refusal, SprayRun};
use furrowbell_engine::findings::{
    EarlyReason, Evidence, LagCause, LossRule, PostLimit, PostReason, RainAhead, ReachBack,
    SeedbedVerdict, SprayPass,
};
use furrowbell_engine::plan::NitrogenSource;
use furrowbell_engine::reference::herbicides::Ingredient;
use serde::Serialize;

/// A need this close to a quarter inch is said as that quarter; the slack keeps rounding out.
const QUARTER_REACH_IN: f64 = 0.02 + 1e-9;

/// Depth from which on washed nitrate is worth a word: the crop's first roots are above it, in.
const TOP_FOOT_IN: f64 = 12.0;

/// What every topic's templates may use. What a topic does not have stays empty.
#[derive(Debug, Default, Serialize)]
pub(super) struct Facts {
    pub crop: String,
    pub the_crop: String,
    pub provisional: bool,
    pub ahead: bool,
    pub version: u32,
    pub by: String,
    pub on: String,
    pub on_short: String,
    /// The days within which the day told may lie, in brackets; empty where there is but one.
    pub within: String,
    pub planted: String,
    pub days: String,
    pub rain: String,
    pub need: String,
    pub rain_ahead: String,
    pub rain_ahead_by: String,
    pub fades: String,
    pub span: String,
    pub ends: String,
    pub closes: String,
    pub limit: &'static str,
    pub confirmed: Option<NaiveDate>,
    pub limit_value: String,
    pub ingredient: &'static str,
    pub reason: &'static str,
    pub early: &'static str,
    pub starter: String,
    pub pounds: String,
    /// A nitrate test, ppm, its day, and the N that was planned before it.
    pub test: String,
    pub tested_on: String,
    pub tested_planned: String,
    /// Past years of the field that make its usual year; empty for a stated one.
    pub usual_years: String,
    /// How far the soil lies behind it, percent.
    pub lag: String,
    /// Which rule tells of a loss.
    pub rule: &'static str,
    pub washed: String,
    /// Urea or UAN on the surface.
    pub product: &'static str,
    pub stage: String,
    pub latest: String,
    pub low: String,
    pub reach: &'static str,
    /// The named weed that late rain may still catch, and how it would show.
    pub caught: &'static str,
    pub caught_shows: &'static str,
    /// What cut the residual short.
    pub cut: &'static str,
    /// Whether a post pass is on record already.
    pub again: bool,
    pub no_label: &'static str,
    pub pass: &'static str,
    pub pass_is: &'static str,
    pub weed: &'static str,
    pub groups: String,
    pub lost: String,
    pub expected: String,
    pub expected_low: String,
    pub expected_high: String,
    pub hours: String,
    pub refused: &'static str,
    pub verdict: &'static str,
    pub soil: String,
    pub moist: String,
    pub low_depth: String,
    pub high_depth: String,
}

/// What a finding is told with, beside its evidence.
pub(super) struct Telling<'a> {
    pub language: Language,
    pub today: NaiveDate,
    pub version: u32,
    pub provisional: bool,
    pub crop: String,
    /// The crop with its article.
    pub the_crop: String,
    pub by: String,
    /// Spells a deadline.
    pub by_day: &'a dyn Fn(NaiveDate) -> String,
    /// Spells a count of days.
    pub days: &'a dyn Fn(u32) -> String,
    /// Spells the days from one to another.
    pub span: &'a dyn Fn(NaiveDate, NaiveDate) -> String,
}

impl Facts {
    /// The facts of one finding.
    pub fn new(evidence: &Evidence, telling: &Telling<'_>) -> Self {
        let Telling { language, today, version, provisional, days, .. } = *telling;
        let day = |date| dates::day(language, date);
        let mut facts = Self {
            crop: telling.crop.clone(),
            the_crop: telling.the_crop.clone(),
            provisional,
            version,
            by: telling.by.clone(),
            ..Self::default()
        };
        match evidence {
            Evidence::Seedbed { low_in, high_in, moist_from_in, soil_f, verdict, cold_on } => {
                facts.verdict = verdict_name(*verdict);
                facts.soil = format!("{:.0}", whole_degrees(*soil_f));
                facts.moist = moist_from_in.map(measure).unwrap_or_default();
                facts.low_depth = measure(*low_in);
                facts.high_depth = measure(*high_in);
                if let Some(on) = cold_on {
                    facts.happens(*on, today, language);
                }
            }
            Evidence::Emergence { on, .. } => {
                facts.happens(on.likely, today, language);
                facts.within = within(language, on);
            }
            Evidence::RainNeeded { .. }
            | Evidence::RainSet { .. }
            | Evidence::RainLate { .. }
            | Evidence::ResidualEnding { .. } => facts.of_pre_pass(evidence, telling),
            Evidence::PostOpen { .. }
            | Evidence::PostClosing { .. }
            | Evidence::PostOverdue { .. }
            | Evidence::SprayHours { .. }
            | Evidence::FewGroups { .. } => facts.of_post_pass(evidence, telling),
            Evidence::SidedressOpen { stage, pounds, tested, latest, .. }
            | Evidence::SidedressClosing { stage, pounds, tested, latest } => {
                facts.stage = stage.to_string();
                facts.pounds = whole(*pounds);
                facts.latest = day(latest.likely);
                facts.within = within(language, latest);
                facts.by_test(tested.as_ref(), language);
                if let Evidence::SidedressOpen { early, .. } = evidence {
                    facts.wanted_early(early.as_ref());
                }
            }
            Evidence::SurfaceUrea {
                spread_on,
                source,
                losing_from,
                need_in,
                ahead,
                lost,
                in_a_week,
                ..
            } => {
                facts.product = surface_name(*source);
                facts.happens(*spread_on, today, language);
                facts.ahead = *losing_from > today;
                facts.fades = day(*losing_from);
                facts.need = measure(*need_in);
                facts.lost = whole(lost.likely);
                facts.pounds = to_fives(in_a_week.likely, in_a_week.high);
                if let Some(RainAhead { date, inches }) = ahead {
                    facts.rain_ahead = rain(*inches);
                    facts.rain_ahead_by = (telling.by_day)(*date);
                }
            }
            Evidence::NitrogenLoss { rule, pounds, wet_days, washed, rain: spring, .. } => {
                facts.rule = match rule {
                    LossRule::SaturatedDays => "wet",
                    LossRule::SpringRain => "rain",
                };
                facts.days = days(*wet_days);
                facts.pounds = to_fives(pounds.low, pounds.high);
                facts.rain = whole(spring.april_june_in);
                let deep = washed.filter(|washed| washed.front_in.1 >= TOP_FOOT_IN);
                facts.washed = deep
                    .map(|washed| to_fives(washed.peak_in.0, washed.peak_in.1))
                    .unwrap_or_default();
            }
            Evidence::ColdAfterPlanting { planted_on, on, low_f } => {
                facts.happens(*on, today, language);
                facts.planted = day(*planted_on);
                facts.low = format!("{:.0}", whole_degrees(*low_f));
            }
            Evidence::WeatherGap { since, days: missing } => {
                facts.happens(*since, today, language);
                facts.days = days(*missing);
            }
        }
        facts
    }

    /// What tells of the pre, or of what a post pass left in the soil.
    fn of_pre_pass(&mut self, evidence: &Evidence, telling: &Telling<'_>) {
        let (language, today) = (telling.language, telling.today);
        match evidence {
            Evidence::RainNeeded {
                days: since,
                rain_in,
                need_in,
                ingredient,
                ahead,
                reach_back,
                ..
            } => {
                self.days = (telling.days)(*since);
                self.reach = reach_back.map_or("", reach_name);
                let needed = as_said(*need_in);
                self.rain = rain_short_of(*rain_in, needed);
                self.need = trimmed(needed);
                self.ingredient = ingredient.name();
                if let Some(RainAhead { date, inches }) = ahead {
                    self.rain_ahead = rain(*inches);
                    self.rain_ahead_by = (telling.by_day)(*date);
                }
            }
            Evidence::RainSet { on, rain_in, residual_ends, washed, .. } => {
                self.cut = cut_name(false, *washed);
                self.happens(*on, today, language);
                self.rain = rain(*rain_in);
                self.span = (telling.span)(residual_ends.earliest, residual_ends.likely);
                self.ends = dates::day(language, residual_ends.likely);
            }
            Evidence::RainLate { on, rain_in, waited_days, reach_back, caught, .. } => {
                self.happens(*on, today, language);
                self.rain = rain(*rain_in);
                self.days = (telling.days)(*waited_days);
                self.reach = reach_name(*reach_back);
                if let Some(caught) = caught {
                    self.caught = caught.weed.name();
                    self.caught_shows = if caught.whitens { "white" } else { "" };
                    self.ingredient = caught.ingredient.name();
                }
            }
            Evidence::ResidualEnding { ends, dry, washed, renewed, .. } => {
                self.cut = cut_name(*dry, *washed);
                self.again = *renewed;
                self.fades = dates::day(language, ends.earliest.max(today));
                self.ends = dates::day(language, ends.likely.max(today));
            }
            _ => {}
        }
    }

    /// What tells of a pass over the crop.
    fn of_post_pass(&mut self, evidence: &Evidence, telling: &Telling<'_>) {
        let (language, today) = (telling.language, telling.today);
        match evidence {
            Evidence::PostOpen { reason, closes, limit, no_label } => {
                self.no_label = no_label.map_or("", Ingredient::name);
                self.reason = reason_name(*reason);
                self.closes = dates::day(language, closes.likely);
                self.within = within(language, closes);
                self.limited_by(limit);
            }
            Evidence::PostClosing { closes, limit, again, no_label } => {
                self.again = *again;
                self.no_label = no_label.map_or("", Ingredient::name);
                self.closes = dates::day(language, closes.likely);
                self.within = within(language, closes);
                self.limited_by(limit);
            }
            Evidence::PostOverdue { closed_on, limit, again } => {
                self.again = *again;
                self.happens(closed_on.likely, today, language);
                self.within = within(language, closed_on);
                self.limited_by(limit);
            }
            Evidence::SprayHours { runs, refused } => {
                self.hours = spans(runs, language);
                self.refused = refused.map_or("", said_of);
            }
            Evidence::FewGroups { pass, applied, weed, groups, lost, expected } => {
                self.pass = match pass {
                    SprayPass::Pre => "pre",
                    SprayPass::Post => "post",
                };
                self.pass_is = if *applied { "applied" } else { "planned" };
                self.weed = weed.name();
                self.groups = listed(groups);
                self.lost = listed(lost);
                if let Some(seen) = expected {
                    self.expected = whole(seen.likely);
                    self.expected_low = whole(seen.low);
                    self.expected_high = whole(seen.high);
                }
            }
            _ => {}
        }
    }

    fn happens(&mut self, on: NaiveDate, today: NaiveDate, language: Language) {
        self.ahead = on > today;
        self.on = dates::day(language, on);
        self.on_short = dates::recent_day(language, on, today);
    }

    fn limited_by(&mut self, limit: &PostLimit) {
        let (ingredient, label) = match limit {
            PostLimit::WeedHeight { inches } => {
                self.limit = "weeds";
                self.limit_value = measure(*inches);
                return;
            }
            PostLimit::CropStage { stage, ingredient, label } => {
                self.limit = "stage";
                self.limit_value = stage.to_string();
                (ingredient, label)
            }
            PostLimit::BeforeStage { stage, ingredient, label } => {
                self.limit = "before";
                self.limit_value = stage.to_string();
                (ingredient, label)
            }
            PostLimit::CropHeight { inches, ingredient, label } => {
                self.limit = "height";
                self.limit_value = measure(*inches);
                (ingredient, label)
            }
            PostLimit::LastDay { ingredient, label, .. } => {
                self.limit = "day";
                (ingredient, label)
            }
        };
        self.ingredient = ingredient.name();
        self.confirmed = *label;
    }

    fn by_test(&mut self, tested: Option<&TestedRate>, language: Language) {
        if let Some(rate) = tested {
            self.test = measure(rate.ppm);
            self.tested_on = dates::day(language, rate.on);
            self.tested_planned = whole(rate.planned_lb);
        }
    }

    fn wanted_early(&mut self, reason: Option<&EarlyReason>) {
        match reason {
            None => {}
            Some(EarlyReason::SoilLags { percent, because, normal }) => {
                self.early = match because {
                    LagCause::Cool => "cool",
                    LagCause::Dry => "dry",
                };
                self.lag = format!("{percent:.0}");
                if let Basis::OwnYears(years) = normal {
                    self.usual_years = years.to_string();
                }
            }
            Some(EarlyReason::SmallStarter { pounds }) => {
                self.early = "starter";
                self.starter = format!("{pounds:.0}");
            }
        }
    }
}

/// The days of a range, in brackets after its likely one: " (May 9-15)".
fn within(language: Language, range: &DateRange) -> String {
    if range.earliest == range.latest {
        return String::new();
    }
    format!(" ({})", dates::between(language, range.earliest, range.latest))
}

/// The name under which the templates know a verdict.
const fn verdict_name(verdict: SeedbedVerdict) -> &'static str {
    match verdict {
        SeedbedVerdict::Ready => "ready",
        SeedbedVerdict::Cold => "cold",
        SeedbedVerdict::Dry => "dry",
        SeedbedVerdict::Wet => "wet",
        SeedbedVerdict::ColdAhead => "cold-ahead",
    }
}

/// The name under which the templates know what late rain can do.
const fn reach_name(reach: ReachBack) -> &'static str {
    match reach {
        ReachBack::None => "none",
        ReachBack::SmallBroadleaves => "small",
    }
}

/// What people call a fertiliser with urea in it.
const fn surface_name(source: NitrogenSource) -> &'static str {
    match source {
        NitrogenSource::Uan28 | NitrogenSource::Uan32 => "UAN",
        _ => "Urea",
    }
}

/// The name under which the templates know what cut a residual short; too much rain weighs more.
const fn cut_name(dry: bool, washed: bool) -> &'static str {
    match (washed, dry) {
        (true, _) => "rain",
        (false, true) => "dry",
        (false, false) => "",
    }
}

/// Group numbers, as a list.
fn listed(groups: &[u8]) -> String {
    groups.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

/// The name under which the templates know what opened the post window.
const fn reason_name(reason: PostReason) -> &'static str {
    match reason {
        PostReason::WeedsSeen => "weeds-seen",
        PostReason::ResidualFading => "residual-fading",
        PostReason::RenewedFading => "renewed-fading",
        PostReason::PreMissedRain => "pre-missed-rain",
        PostReason::NoPre => "no-pre",
    }
}

/// The runs of two days, whose weekdays name them without doubt.
fn spans(runs: &[SprayRun], language: Language) -> String {
    let span = |run: &SprayRun| {
        let hours = dates::hours(language, run.from.time(), run.to.time());
        format!("{} {hours}", dates::weekday(language, run.date()))
    };
    runs.iter().map(span).collect::<Vec<_>>().join(", ")
}

/// The name under which the templates know a reason; reasons that read the same share one.
const fn said_of(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::Dark | Refusal::LowSun => "sun",
        Refusal::Rain => "rain",
        Refusal::Wind | Refusal::Gusts => "wind",
        Refusal::Calm | Refusal::Inversion => "calm",
        Refusal::Drying => "dry",
        Refusal::Moist => "moist",
        Refusal::Heat | Refusal::DicambaHeat => "heat",
        Refusal::Cold => "cold",
        Refusal::DicambaUnregistered => "dicamba",
    }
}

/// Rain in tenths of an inch; empty when it rounds to none.
pub(super) fn rain(inches: f64) -> String {
    let tenths = (inches * 10.0).round();
    if tenths < 1.0 { String::new() } else { trimmed(tenths / 10.0) }
}

/// A need as people say it: quarter inches where it is as good as one, else tenths.
fn as_said(need: f64) -> f64 {
    let quarters = (need * 4.0).round() / 4.0;
    if quarters > 0.0 && (need - quarters).abs() <= QUARTER_REACH_IN {
        quarters
    } else {
        (need * 10.0).round().max(1.0) / 10.0
    }
}

/// Rain that was not enough for `need`, said so that it does not look enough.
fn rain_short_of(inches: f64, need: f64) -> String {
    let below = ((need * 10.0).ceil() - 1.0) / 10.0;
    rain(inches.min(below))
}

/// A length, to the hundredth it was set to.
pub(super) fn measure(inches: f64) -> String {
    trimmed((inches * 100.0).round() / 100.0)
}

/// Pounds to the whole; empty when it rounds to none.
pub(super) fn whole(pounds: f64) -> String {
    if pounds < 0.5 { String::new() } else { format!("{pounds:.0}") }
}

/// From one to another, each to the nearest five above none: what is known no closer. One number where
/// both are the same.
fn to_fives(low: f64, high: f64) -> String {
    let [low, high] = [low, high].map(|value| (value / 5.0).round().max(1.0) * 5.0);
    if (high - low).abs() < 1.0 { format!("{high:.0}") } else { format!("{low:.0}-{high:.0}") }
}

/// Whole degrees, without a negative zero.
fn whole_degrees(degrees: f64) -> f64 {
    degrees.round() + 0.0
}

fn trimmed(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_are_said_as_people_say_them() {
        assert_eq!(rain(0.72), "0.7");
        assert_eq!(rain(1.0), "1");
        assert_eq!(rain(0.04), "");
        assert_eq!(measure(0.75), "0.75");
        assert_eq!(measure(12.0), "12");
        assert_eq!(rain_short_of(0.46, 0.5), "0.4");
        assert_eq!(rain_short_of(0.74, 0.75), "0.7");
        assert_eq!(rain_short_of(0.92, 0.9), "0.8");
        assert_eq!(rain_short_of(0.04, 0.1), "");
        let said = [0.93, 1.09, 0.98, 0.73, 1.13, 0.52, 0.53, 0.84, 0.04].map(as_said);
        assert_eq!(
            said.map(trimmed),
            ["0.9", "1.1", "1", "0.75", "1.1", "0.5", "0.5", "0.8", "0.1"]
        );
        assert_eq!(whole(142.6), "143");
        assert_eq!(format!("{:.0}", whole_degrees(-0.3)), "0");
    }

    proptest! {
        #[test]
        fn too_little_rain_never_reads_as_enough(need in 0.05..2.0_f64, share in 0.0..0.999_f64) {
            let needed = as_said(need);
            prop_assert!((needed - need).abs() < 0.06);
            let said = rain_short_of(need * share, needed);
            prop_assert!(said.parse().unwrap_or(0.0_f64) < needed);
        }
    }
}
