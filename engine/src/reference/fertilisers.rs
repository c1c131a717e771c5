//! Nitrogen fertilisers: what is in them and how fast it becomes nitrate.

use super::{Figure, Source};
use crate::plan::NitrogenSource;

const SOLUTIONS: Source = Source::published("UAN, table of solution grades, Wikipedia");
const DENSITIES: Source = Source::published(
    "Liquid fertiliser densities, product chemistry sheet: lb/gal of 28 and 32 %",
);
const FORMULA: Source = Source::published("Molar masses of the formula");

/// What is in one fertiliser.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fertiliser {
    /// N by weight, percent of the product as sold.
    pub nitrogen_percent: Figure,
    /// Weight of a gallon, lb; solutions only.
    pub pounds_per_gallon: Option<Figure>,
    /// Share of the N that becomes nitrate by 0, 3 and 6 weeks after a spring application.
    pub nitrate_shares: [f64; 3],
    /// Source of the nitrate shares.
    pub nitrate_source: Source,
}

/// The row of a fertiliser.
pub const fn of(source: NitrogenSource) -> Fertiliser {
    const fn row(
        percent: f64,
        from: Source,
        gallon: Option<Figure>,
        shares: [f64; 3],
    ) -> Fertiliser {
        Fertiliser {
            nitrogen_percent: Figure::new(percent, from),
            pounds_per_gallon: gallon,
            nitrate_shares: shares,
            nitrate_source: Source::published(
                "Nitrogen transformation by source and weeks, Univ. of Kentucky table",
            ),
        }
    }
    const UAN: [f64; 3] = [0.25, 0.60, 0.80];
    match source {
        NitrogenSource::Uan28 => row(28.0, SOLUTIONS, Some(Figure::new(10.67, DENSITIES)), UAN),
        NitrogenSource::Uan32 => row(32.0, SOLUTIONS, Some(Figure::new(11.06, DENSITIES)), UAN),
        NitrogenSource::Urea => row(46.0, FORMULA, None, [0.0, 0.50, 0.75]),
        NitrogenSource::AnhydrousAmmonia => row(82.0, FORMULA, None, [0.0, 0.20, 0.65]),
        NitrogenSource::AmmoniumNitrate => row(34.0, FORMULA, None, [0.50, 0.80, 0.90]),
    }
}

impl Fertiliser {
    /// Gallons (solutions) of product that carry so many lb N.
    pub fn gallons_for(&self, pounds_n: f64) -> Option<f64> {
        let gallon = self.pounds_per_gallon?;
        Some(pounds_n / (gallon.value * self.nitrogen_percent.value / 100.0))
    }

    /// Pounds of product that carry so many lb N.
    pub fn pounds_for(&self, pounds_n: f64) -> f64 {
        pounds_n / (self.nitrogen_percent.value / 100.0)
    }

    /// Share of the N that is nitrate so many days after application.
    ///
    /// Straight lines through the published 0, 3 and 6 weeks; after that the rest turns with a
    /// half-life of [`LATE_HALF_LIFE_DAYS`].
    pub fn nitrate_share(&self, days: f64) -> f64 {
        const SPAN_DAYS: f64 = 21.0;
        let [start, middle, end] = self.nitrate_shares;
        if days <= SPAN_DAYS {
            start + (middle - start) * days.max(0.0) / SPAN_DAYS
        } else if days <= 2.0 * SPAN_DAYS {
            middle + (end - middle) * (days - SPAN_DAYS) / SPAN_DAYS
        } else {
            1.0 - (1.0 - end) * 0.5_f64.powf((days - 2.0 * SPAN_DAYS) / LATE_HALF_LIFE_DAYS.value)
        }
    }
}

/// Half-life of the N that is not yet nitrate after six weeks, days: that of urea and UAN over
/// weeks three to six of the same table.
pub const LATE_HALF_LIFE_DAYS: Figure =
    Figure::new(21.0, Source::published("computed from the Univ. of Kentucky table"));

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nitrate_never_turns_back() {
        for source in [
            NitrogenSource::Uan28,
            NitrogenSource::Urea,
            NitrogenSource::AnhydrousAmmonia,
            NitrogenSource::AmmoniumNitrate,
        ] {
            let shares: Vec<f64> =
                (0..200).map(|day| of(source).nitrate_share(f64::from(day))).collect();
            assert!(shares.windows(2).all(|pair| pair[0] <= pair[1]), "{source:?}");
            assert!(shares.iter().all(|share| (0.0..=1.0).contains(share)), "{source:?}");
        }
    }
}
