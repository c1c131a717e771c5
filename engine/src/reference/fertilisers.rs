//! Nitrogen fertilisers: what is in them and how fast it becomes nitrate.

use super::{Figure, Source};
use crate::plan::{Inhibitor, NitrogenSource};

const SOLUTIONS: Source = Source::published("UAN, table of solution grades, Wikipedia");
const DENSITIES: Source = Source::published(
    "Liquid fertiliser densities, product chemistry sheet: lb/gal of 28 and 32 %",
);
const FORMULA: Source = Source::published("Molar masses of the formula");
const KENTUCKY: Source =
    Source::published("Nitrogen transformation by source and weeks, Univ. of Kentucky table");
const SLURRY: Source =
    Source::from_memory("swine slurry: some 40 lb N in 1,000 gal, four fifths of it ammonium");

/// What is in one fertiliser.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fertiliser {
    /// N by weight, percent of the product as sold.
    pub nitrogen_percent: Figure,
    /// Weight of a gallon, lb; liquids only.
    pub pounds_per_gallon: Option<Figure>,
    /// Share of the N that is urea.
    pub urea_share: f64,
    /// How the N turns to nitrate.
    pub nitrate: NitrateCurve,
    /// The same with a nitrification inhibitor.
    pub nitrate_inhibited: NitrateCurve,
}

/// The row of a fertiliser.
pub const fn of(source: NitrogenSource) -> Fertiliser {
    match source {
        NitrogenSource::Uan28 => uan(28.0, 10.67),
        NitrogenSource::Uan32 => uan(32.0, 11.06),
        NitrogenSource::Urea => Fertiliser {
            nitrogen_percent: Figure::new(46.0, FORMULA),
            pounds_per_gallon: None,
            urea_share: 1.0,
            nitrate: NitrateCurve::new([0.0, 0.50, 0.75], KENTUCKY),
            nitrate_inhibited: NitrateCurve::held_a_week([0.0, 0.30, 0.70], KENTUCKY),
        },
        NitrogenSource::AnhydrousAmmonia => Fertiliser {
            nitrogen_percent: Figure::new(82.0, FORMULA),
            pounds_per_gallon: None,
            urea_share: 0.0,
            nitrate: NitrateCurve::new([0.0, 0.20, 0.65], KENTUCKY),
            nitrate_inhibited: NitrateCurve::held_a_week([0.0, 0.10, 0.50], KENTUCKY),
        },
        NitrogenSource::AmmoniumNitrate => Fertiliser {
            nitrogen_percent: Figure::new(34.0, FORMULA),
            pounds_per_gallon: None,
            urea_share: 0.0,
            nitrate: NitrateCurve::new([0.50, 0.80, 0.90], KENTUCKY),
            nitrate_inhibited: NitrateCurve::held_a_week([0.50, 0.72, 0.88], AS_UREA),
        },
        NitrogenSource::Manure => Fertiliser {
            nitrogen_percent: Figure::new(0.47, SLURRY),
            pounds_per_gallon: Some(Figure::new(8.5, SLURRY)),
            urea_share: 0.0,
            nitrate: NitrateCurve::new([0.0, 0.30, 0.65], SLURRY),
            nitrate_inhibited: NitrateCurve::held_a_week([0.0, 0.15, 0.55], SLURRY),
        },
    }
}

/// The table has no UAN and no ammonium nitrate with an inhibitor: what is left of their N is taken
/// to grow by as much as that of urea does, to 1.4 times at three weeks and 1.2 times at six.
const AS_UREA: Source = Source::common_practice(
    "computed from the Univ. of Kentucky table; UAN at a week by Quinn, Purdue Univ., 2024",
);

const fn uan(percent: f64, gallon: f64) -> Fertiliser {
    Fertiliser {
        nitrogen_percent: Figure::new(percent, SOLUTIONS),
        pounds_per_gallon: Some(Figure::new(gallon, DENSITIES)),
        urea_share: 0.5,
        nitrate: NitrateCurve::new([0.25, 0.60, 0.80], KENTUCKY),
        nitrate_inhibited: NitrateCurve::held_a_week([0.25, 0.44, 0.76], AS_UREA),
    }
}

impl Fertiliser {
    /// N in a gallon, lb; liquids only.
    pub fn pounds_n_per_gallon(&self) -> Option<f64> {
        Some(self.pounds_per_gallon?.value * self.nitrogen_percent.value / 100.0)
    }

    /// Gallons (liquids) of product that carry so many lb N.
    pub fn gallons_for(&self, pounds_n: f64) -> Option<f64> {
        Some(pounds_n / self.pounds_n_per_gallon()?)
    }

    /// Pounds of product that carry so many lb N.
    pub fn pounds_for(&self, pounds_n: f64) -> f64 {
        pounds_n / (self.nitrogen_percent.value / 100.0)
    }

    /// How its N turns to nitrate with or without an inhibitor.
    pub fn curve(&self, inhibitor: Option<Inhibitor>) -> &NitrateCurve {
        if inhibitor.is_some_and(Inhibitor::slows_nitrate) {
            &self.nitrate_inhibited
        } else {
            &self.nitrate
        }
    }
}

/// Share of a fertiliser's N that is nitrate, by days after a spring application.
///
/// Runs through the published 0, 3 and 6 weeks. Between them, and after them at the pace of the
/// last three weeks, what is left turns first order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NitrateCurve {
    /// Share at 0, 3 and 6 weeks.
    pub shares: [f64; 3],
    /// Days at the start in which nothing turns.
    pub held_days: f64,
    /// Where the shares come from.
    pub source: Source,
}

impl NitrateCurve {
    const SPAN_DAYS: f64 = 21.0;

    const fn new(shares: [f64; 3], source: Source) -> Self {
        Self { shares, held_days: 0.0, source }
    }

    /// With an inhibitor: after a week UAN is still the quarter nitrate that it was (Quinn, Purdue
    /// Univ., 2024), taken over to the others.
    const fn held_a_week(shares: [f64; 3], source: Source) -> Self {
        Self { shares, held_days: 7.0, source }
    }

    /// Share that is nitrate so many days after application.
    pub fn share(&self, days: f64) -> f64 {
        self.turning().share(days)
    }

    /// The curve with its logarithms taken once for many days.
    pub fn turning(&self) -> Turning {
        let [start, middle, end] = self.shares.map(|share| 1.0 - share);
        Turning {
            held_days: self.held_days,
            left: [start, middle],
            a_day: [
                (middle / start).ln() / (Self::SPAN_DAYS - self.held_days),
                (end / middle).ln() / Self::SPAN_DAYS,
            ],
        }
    }

    /// Half-life of what is not nitrate yet, days, over the first and over the second three weeks.
    pub fn half_lives(&self) -> [f64; 2] {
        let [start, middle, end] = self.shares.map(|share| 1.0 - share);
        let half = |before: f64, after: f64| {
            Self::SPAN_DAYS * std::f64::consts::LN_2 / (before / after).ln()
        };
        [half(start, middle), half(middle, end)]
    }
}

/// What is left of the N in a [`NitrateCurve`], made ready for many days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turning {
    held_days: f64,
    /// Share left at the start of the first and of the second three weeks.
    left: [f64; 2],
    /// Change a day of its logarithm over each of them.
    a_day: [f64; 2],
}

impl Turning {
    /// Share that is nitrate so many days after application.
    pub fn share(&self, days: f64) -> f64 {
        let past = days - NitrateCurve::SPAN_DAYS;
        let [(start, early), (middle, late)] =
            [(self.left[0], self.a_day[0]), (self.left[1], self.a_day[1])];
        1.0 - if past <= 0.0 {
            start * (early * (days - self.held_days).max(0.0)).exp()
        } else {
            middle * (late * past).exp()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nitrate_never_turns_back_and_an_inhibitor_never_hastens_it() {
        for source in NitrogenSource::ALL {
            let row = of(source);
            let shares = |curve: NitrateCurve| (0..200).map(move |day| curve.share(f64::from(day)));
            for curve in [row.nitrate, row.nitrate_inhibited] {
                let shares: Vec<f64> = shares(curve).collect();
                assert!(shares.windows(2).all(|pair| pair[0] <= pair[1]), "{source:?}");
                assert!(shares.iter().all(|share| (0.0..=1.0).contains(share)), "{source:?}");
            }
            let mut days = (0..=42).map(f64::from);
            assert!(
                days.all(|day| row.nitrate_inhibited.share(day) <= row.nitrate.share(day) + 1e-12),
                "{source:?}"
            );
        }
    }
}
