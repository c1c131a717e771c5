//! Urea on the surface: what goes to the air until rain takes it in.

use crate::plan::{Inhibitor, NitrogenSource};
use crate::reference::{Figure, Source, fertilisers};
use serde::Serialize;

/// Rain of one event that takes surface urea in and ends the loss, in.
pub const ENDING_RAIN_IN: Figure = Figure::new(
    0.5,
    Source::published("Engel, Montana State Univ., Urea volatilization, what we have learned"),
);
/// Days that a urease inhibitor adds before the loss starts, at most.
const INHIBITOR_DAYS: Figure =
    Figure::new(10.0, Source::published("North Dakota State Univ., ProCrop, urea volatilization"));
/// What is lost in all with a urease inhibitor beside without, 6.5 of 18.1 %.
const INHIBITED_SHARE: Figure =
    Figure::new(6.5 / 18.1, Source::published("Engel, Montana State Univ., 21 trials"));
/// Temperature from which a day counts as warm, C: 50 F, common practice, no source.
const WARM_C: f64 = 10.0;
/// How fast a cool day goes beside a warm one: 5 days of grace in place of 2 to 3.
const COOL_PACE: Figure =
    Figure::new(0.5, Source::published("North Dakota State Univ., ProCrop, urea volatilization"));

/// Warm days on the surface that cost nothing (North Dakota State Univ., `ProCrop`: 2 to 3 days).
const FREE_DAYS: f64 = 2.0;

/// Loss by warm days on the surface, percent of the urea N: days, low, likely, high. Nothing in two
/// days. Likely: mean 14 % of 20 soils in ten days at 30 C, then to the mean 18.1 % of 21 trials. High:
/// 22 % in a week, then to the worst trial, 44.1 %; low: to the best, 1.1 %.
///
/// # References
///
/// Engel, Montana State Univ., Urea volatilization, results of 21 trials; volatilization from 20
/// soils at 30 C; North Dakota State Univ., `ProCrop` (2 to 3 days where warm).
const BY_DAYS: [(f64, [f64; 3]); 5] = [
    (0.0, [0.0, 0.0, 0.0]),
    (FREE_DAYS, [0.0, 0.0, 0.0]),
    (7.0, [0.2, 8.75, 22.0]),
    (10.0, [0.3, 14.0, 23.9]),
    (42.0, [1.1, 18.1, 44.1]),
];

/// What surface urea has lost so far.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UreaLoss {
    /// By the best of the trials, lb/acre.
    pub low_lb: f64,
    /// Likely, lb/acre.
    pub likely_lb: f64,
    /// By the worst of the trials, lb/acre.
    pub high_lb: f64,
    /// Whether rain or tillage has ended it.
    pub ended: bool,
    /// Days on which it is not known whether rain ended it.
    pub unknown_days: u32,
    /// Warm days that are left before anything is lost, 0 when they are over.
    pub grace_days: f64,
}

/// Urea that lies on the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceUrea {
    urea_lb: f64,
    inhibited: bool,
    warm_days: f64,
    ended: bool,
    unknown_days: u32,
}

impl SurfaceUrea {
    /// A pass left on the surface, `pounds` N an acre; `None` for a fertiliser without urea.
    pub fn spread(
        source: NitrogenSource,
        inhibitor: Option<Inhibitor>,
        pounds: f64,
    ) -> Option<Self> {
        let urea_lb = pounds * fertilisers::of(source).urea_share;
        (urea_lb > 0.0).then_some(Self {
            urea_lb,
            inhibited: inhibitor.is_some_and(Inhibitor::slows_urea),
            warm_days: 0.0,
            ended: false,
            unknown_days: 0,
        })
    }

    /// Takes in a day after it: rain (in) and mean temperature (C), where known. Light rain does
    /// not end the loss. A day of unknown rain goes on and is counted; one of unknown warmth
    /// counts as warm, so that the risk is told early.
    pub fn advance(&mut self, rain_in: Option<f64>, celsius: Option<f64>) {
        if self.ended {
            return;
        }
        match rain_in {
            Some(rain) if rain >= ENDING_RAIN_IN.value => {
                self.ended = true;
                return;
            }
            Some(_) => {}
            None => self.unknown_days += 1,
        }
        let warm = celsius.is_none_or(|celsius| celsius >= WARM_C);
        self.warm_days += if warm { 1.0 } else { COOL_PACE.value };
    }

    /// What it will have lost in a week if no rain takes it in and every day is warm.
    pub fn in_a_week(&self) -> UreaLoss {
        let mut later = *self;
        (0..7).for_each(|_| later.advance(Some(0.0), None));
        later.loss()
    }

    /// It was worked in: nothing more is lost.
    pub const fn work_in(&mut self) {
        self.ended = true;
    }

    /// What it has lost so far. The spread is of urea on damp soil that dries; dry soil loses less.
    pub fn loss(&self) -> UreaLoss {
        let (grace, share) =
            if self.inhibited { (INHIBITOR_DAYS.value, INHIBITED_SHARE.value) } else { (0.0, 1.0) };
        let [low_lb, likely_lb, high_lb] = percent_lost((self.warm_days - grace).max(0.0))
            .map(|percent| self.urea_lb * percent / 100.0 * share);
        UreaLoss {
            low_lb,
            likely_lb,
            high_lb,
            ended: self.ended,
            unknown_days: self.unknown_days,
            grace_days: (grace + FREE_DAYS - self.warm_days).max(0.0),
        }
    }
}

fn percent_lost(warm_days: f64) -> [f64; 3] {
    let between = BY_DAYS.windows(2).find(|pair| warm_days <= pair[1].0);
    let last = BY_DAYS[BY_DAYS.len() - 1].1;
    between.map_or(last, |pair| {
        let [(from, before), (to, after)] = [pair[0], pair[1]];
        let part = (warm_days - from) / (to - from);
        [0, 1, 2].map(|at| before[at] + (after[at] - before[at]) * part)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn urea() -> SurfaceUrea {
        SurfaceUrea::spread(NitrogenSource::Urea, None, 100.0).unwrap()
    }

    #[test]
    fn half_an_inch_at_once_ends_it_and_the_same_in_showers_does_not() {
        let mut showers = urea();
        let mut storm = urea();
        for _ in 0..7 {
            showers.advance(Some(0.2), Some(20.0));
            storm.advance(Some(0.0), Some(20.0));
        }
        assert!(!showers.loss().ended);
        storm.advance(Some(0.5), Some(20.0));
        let lost = storm.loss();
        assert!(lost.ended && lost.likely_lb > 8.0);
        storm.advance(Some(0.0), Some(30.0));
        assert_eq!(storm.loss(), lost);
    }

    /// Engel, Montana State Univ.: up to 22 % in a week; North Dakota State Univ.: nothing in 2 to 3
    /// days where warm, and a urease inhibitor adds up to 10.
    #[test]
    fn a_week_ahead_is_the_published_week_and_grace_runs_out_on_warm_days() {
        let mut plain = urea();
        assert!((plain.in_a_week().high_lb - 22.0).abs() < 1e-9);
        plain.advance(Some(0.0), Some(20.0));
        assert!((plain.loss().grace_days - 1.0).abs() < 1e-9);
        plain.advance(Some(0.0), Some(5.0));
        assert!((plain.loss().grace_days - 0.5).abs() < 1e-9);
        let inhibitor = Some(Inhibitor::Urease);
        let held = SurfaceUrea::spread(NitrogenSource::Urea, inhibitor, 100.0).unwrap();
        assert!((held.loss().grace_days - 12.0).abs() < 1e-9);
        assert!(held.in_a_week().high_lb.abs() < 1e-9);
    }

    #[test]
    fn working_it_in_ends_it() {
        let mut urea = urea();
        urea.work_in();
        (0..30).for_each(|_| urea.advance(Some(0.0), Some(25.0)));
        assert!(urea.loss().high_lb.abs() < 1e-12);
    }

    #[test]
    fn a_day_of_unknown_rain_is_counted_and_not_taken_as_dry_for_sure() {
        let mut urea = urea();
        (0..5).for_each(|_| urea.advance(None, None));
        assert_eq!(urea.loss().unknown_days, 5);
    }

    proptest! {
        #[test]
        fn the_loss_grows_with_days_and_warmth_and_never_passes_the_urea(
            days in prop::collection::vec((0.0..0.49_f64, -3.0..30.0_f64), 0..90),
            more_c in 0.0..10.0_f64,
        ) {
            let (mut cool, mut warm) = (urea(), urea());
            let mut before = 0.0;
            for (rain, celsius) in days {
                cool.advance(Some(rain), Some(celsius));
                warm.advance(Some(rain), Some(celsius + more_c));
                let lost = cool.loss();
                prop_assert!(before <= lost.likely_lb);
                prop_assert!(lost.low_lb <= lost.likely_lb && lost.likely_lb <= lost.high_lb);
                prop_assert!(lost.high_lb <= 100.0);
                prop_assert!(warm.loss().likely_lb >= lost.likely_lb);
                before = lost.likely_lb;
            }
        }
    }
}
