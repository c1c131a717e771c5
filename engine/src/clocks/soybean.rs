//! Soybean: up by heat, then by the calendar.
//!
//! Temperature sets only the day on which the crop comes up; from V1 on a node opens every 3.7
//! days whatever the weather (Bastidas et al., Crop Sci. 48:727-740, 2008). V1 is the first
//! trifoliolate leaf unrolled: the unifoliolate node counts as node 1, and its leaf is fully
//! developed once the leaf above has unrolled.

use crate::clocks::Stage;
use crate::clocks::growth::Pace;
use crate::clocks::heat::Warmth;
use crate::reference::crops as facts;
use crate::units::Latitude;
use chrono::{Datelike, NaiveDate};

/// Days from VE to V1.
pub const V1_DAYS: f64 = facts::SOYBEAN_VE_TO_VC_DAYS.value + facts::SOYBEAN_VC_TO_V1_DAYS.value;
/// Nodes shown at most.
const MOST_NODES: f64 = 20.0;
/// A hair of a day: keeps a hand set to the start of a stage from falling short of it by rounding.
const HAIR_DAYS: f64 = 1e-6;
/// Reproductive stages.
const PODS: usize = facts::SOYBEAN_POD_DAYS.len();

/// Days from V1 to V`nodes`.
pub fn node_days(nodes: u8) -> f64 {
    f64::from(nodes.saturating_sub(1)) * facts::SOYBEAN_NODE_DAYS.value
}

/// Day of the year from which a maturity group may flower at a latitude.
pub fn flower_day(maturity_group: f64, latitude: Latitude) -> f64 {
    let north = latitude.get() - facts::SOYBEAN_FLOWER_LATITUDE;
    facts::SOYBEAN_FLOWER_DAY.value
        + facts::SOYBEAN_FLOWER_DAYS_PER_GROUP.value * maturity_group
        + facts::SOYBEAN_FLOWER_DAYS_PER_DEGREE.value * north
}

/// The numbers of one pace.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Rates {
    /// Air heat from planting to VE.
    emergence: f64,
    /// Days from VE to VC.
    cotyledon: f64,
    /// Days from VE to V1.
    first_node: f64,
    /// Days a node.
    node: f64,
    /// Days by which the first flower comes after its rule.
    flower_late: f64,
    /// Nodes below which nothing flowers.
    flower_nodes: f64,
    /// Days of the rule for pods are taken times this.
    pods: f64,
}

impl Rates {
    /// The numbers of each pace; a crop only points at them, so that its days stay small.
    const fn of(pace: Pace) -> &'static Self {
        const FAST: Rates = Rates::at(Pace::Fast);
        const LIKELY: Rates = Rates::at(Pace::Likely);
        const SLOW: Rates = Rates::at(Pace::Slow);
        match pace {
            Pace::Fast => &FAST,
            Pace::Likely => &LIKELY,
            Pace::Slow => &SLOW,
        }
    }

    const fn at(pace: Pace) -> Self {
        let first_node = pace.of(facts::SOYBEAN_V1_DAYS.low, V1_DAYS, facts::SOYBEAN_V1_DAYS.high);
        let (node, slow_node) =
            (facts::SOYBEAN_NODE_DAYS.value, facts::SOYBEAN_SLOW_NODE_DAYS.value);
        let (nodes, late_nodes) =
            (facts::SOYBEAN_FLOWER_NODES.value, facts::SOYBEAN_LATE_FLOWER_NODES.value);
        let flowers = facts::SOYBEAN_FLOWER_SPREAD_DAYS.value;
        let pods = facts::SOYBEAN_POD_SPREAD.value;
        Self {
            emergence: pace.of(
                facts::SOYBEAN_EMERGENCE_BAND_GDD.low,
                facts::SOYBEAN_EMERGENCE_GDD.value,
                facts::SOYBEAN_SLOW_EMERGENCE_GDD.value,
            ),
            cotyledon: facts::SOYBEAN_VE_TO_VC_DAYS.value * first_node / V1_DAYS,
            first_node,
            node: pace.of(node, node, slow_node),
            flower_late: pace.of(-flowers, 0.0, flowers),
            flower_nodes: pace.of(nodes, nodes, late_nodes),
            pods: pace.of(1.0 - pods, 1.0, 1.0 + pods),
        }
    }

    /// Days from VE to `nodes`.
    fn days_to(&self, nodes: f64) -> f64 {
        self.first_node + (nodes - 1.0) * self.node
    }

    /// Days from R1 to the start of a reproductive stage, counted from 0.
    fn pod(&self, at: usize) -> f64 {
        facts::SOYBEAN_POD_DAYS[at].value * self.pods
    }
}

/// Soybean of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Soybean {
    planted: NaiveDate,
    rates: &'static Rates,
    /// Day of the year before which nothing flowers.
    flower_day: f64,
    hand: Hand,
    /// Days by which the flowers come after (or, below zero, before) their rule.
    flower_shift: f64,
    /// Days by which stages seen have moved the clock ahead.
    shift: f64,
    today: NaiveDate,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Hand {
    /// Heat since planting, by the air.
    Below(f64),
    /// Days since emergence.
    Above(f64),
}

impl Hand {
    const fn days(self) -> f64 {
        match self {
            Self::Below(_) => 0.0,
            Self::Above(days) => days,
        }
    }
}

impl Soybean {
    /// Soybean just planted.
    pub fn planted(maturity_group: f64, latitude: Latitude, on: NaiveDate, pace: Pace) -> Self {
        let rates = Rates::of(pace);
        Self {
            planted: on,
            rates,
            flower_day: flower_day(maturity_group, latitude) + rates.flower_late,
            hand: Hand::Below(0.0),
            flower_shift: 0.0,
            shift: 0.0,
            today: on,
        }
    }

    /// Day of planting.
    pub const fn planted_on(&self) -> NaiveDate {
        self.planted
    }

    /// Takes in one day. Heat of `None` halts a seed in the ground and matters no more once it is
    /// up. Soil heat counts before the air's where it is known, at the rate of the two published
    /// sums to emergence.
    pub fn advance(&mut self, date: NaiveDate, heat: impl Into<Warmth>) {
        self.today = date;
        match &mut self.hand {
            Hand::Below(sum) => {
                let Warmth { air, soil } = heat.into();
                let soil = soil.map(|soil| {
                    soil.in_air(
                        facts::SOYBEAN_SLOW_EMERGENCE_GDD.value,
                        facts::SOYBEAN_EMERGENCE_SOIL_GDD.value,
                    )
                });
                *sum += soil.or(air).unwrap_or_default();
                if *sum >= self.rates.emergence {
                    self.hand = Hand::Above(0.0);
                }
            }
            Hand::Above(days) => *days += 1.0,
        }
    }

    /// Whether heat still moves it.
    pub const fn runs_on_heat(&self) -> bool {
        matches!(self.hand, Hand::Below(_))
    }

    /// Days by which the stages seen so far have moved the clock ahead; below zero, back. A seed in
    /// the ground counts as day 0.
    pub const fn shift(&self) -> f64 {
        self.shift
    }

    /// The stage.
    pub fn stage(&self) -> Stage {
        let Hand::Above(days) = self.hand else { return Stage::Planted };
        if let Some(since) = self.days_since_flower() {
            let at = (0..PODS).rposition(|at| since >= self.rates.pod(at));
            #[expect(clippy::cast_possible_truncation, reason = "an index into eight stages")]
            if let Some(at) = at {
                return Stage::Reproductive(at as u8 + 1);
            }
        }
        if days < self.rates.cotyledon {
            Stage::Emerged
        } else if days < self.rates.first_node {
            Stage::Cotyledon
        } else {
            let nodes = 1.0 + (days - self.rates.first_node) / self.rates.node;
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "nodes are counted from 1 to 20"
            )]
            Stage::Vegetative(nodes.min(MOST_NODES) as u8)
        }
    }

    /// Moves the hand so that the clock agrees with a stage seen today. A stage soybean does not
    /// have changes nothing.
    pub fn see(&mut self, stage: Stage) {
        if stage == self.stage() {
            return;
        }
        let (days, flowers) = (self.hand.days(), self.flower_shift);
        self.agree_with(stage);
        let by_days = self.hand.days() - days;
        let by_flowers = flowers - self.flower_shift;
        self.shift += if by_flowers.abs() > by_days.abs() { by_flowers } else { by_days };
    }

    fn agree_with(&mut self, stage: Stage) {
        let rates = self.rates;
        let above = self.hand.days();
        let within =
            |from: f64, to: f64| Hand::Above(above.clamp(from + HAIR_DAYS, to - HAIR_DAYS));
        match stage {
            Stage::Planted => {
                if let Hand::Above(_) = self.hand {
                    self.hand = Hand::Below(rates.emergence.next_down());
                }
            }
            Stage::Emerged => self.hand = within(0.0, rates.cotyledon),
            Stage::Cotyledon => self.hand = within(rates.cotyledon, rates.first_node),
            Stage::Vegetative(nodes) => {
                let nodes = f64::from(nodes);
                self.hand = within(rates.days_to(nodes), rates.days_to(nodes + 1.0));
                self.put_off_flowers();
            }
            Stage::Reproductive(count) => self.see_flowers(count),
            Stage::Tassel => {}
        }
    }

    /// A vegetative stage was seen where the rule shows flowers: they come tomorrow at the soonest.
    fn put_off_flowers(&mut self) {
        if let Some(since) = self.days_since_flower() {
            self.flower_shift += since + 1.0;
        }
    }

    fn see_flowers(&mut self, count: u8) {
        let Some(at) = usize::from(count).checked_sub(1).filter(|at| *at < PODS) else { return };
        let least = self.rates.days_to(self.rates.flower_nodes);
        self.hand = Hand::Above(self.hand.days().max(least));
        let since = self.days_since_flower_rule();
        let end = if at + 1 < PODS { self.rates.pod(at + 1) - 1.0 } else { f64::INFINITY };
        let start = self.rates.pod(at) + HAIR_DAYS;
        self.flower_shift = since - (since - self.flower_shift).clamp(start, end);
    }

    /// Days since R1 began, once it has: both the nodes and the date must be there.
    fn days_since_flower(&self) -> Option<f64> {
        let Hand::Above(_) = self.hand else { return None };
        let since = self.days_since_flower_rule() - self.flower_shift;
        (since >= 0.0).then_some(since)
    }

    fn days_since_flower_rule(&self) -> f64 {
        let Hand::Above(days) = self.hand else { return f64::NEG_INFINITY };
        let by_nodes = days - self.rates.days_to(self.rates.flower_nodes);
        by_nodes.min(f64::from(self.today.ordinal()) - self.flower_day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, month, day).unwrap()
    }

    fn grown(days: u32) -> Soybean {
        paced(days, Pace::Likely)
    }

    fn paced(days: u32, pace: Pace) -> Soybean {
        let latitude = Latitude::new(42.0).unwrap();
        let mut beans = Soybean::planted(2.0, latitude, date(5, 10), pace);
        for day in date(5, 10).iter_days().skip(1).take(days as usize) {
            beans.advance(day, Some(20.0));
        }
        beans
    }

    #[test]
    fn comes_up_by_heat_and_then_keeps_the_calendar() {
        // 130 GDD at 20 a day: up on the 7th day.
        assert_eq!(grown(6).stage(), Stage::Planted);
        assert_eq!(grown(7).stage(), Stage::Emerged);
        assert_eq!(grown(12).stage(), Stage::Cotyledon);
        assert_eq!(grown(17).stage(), Stage::Vegetative(1));
        assert_eq!(grown(21).stage(), Stage::Vegetative(2));
        let mut unknown = grown(7);
        for day in date(5, 18).iter_days().take(10) {
            unknown.advance(day, None);
        }
        assert_eq!(unknown.stage(), Stage::Vegetative(1));
    }

    #[test]
    fn flowers_need_both_the_nodes_and_the_date() {
        // Group 2: not before day 184, 3 July; planted 10 May it has ten nodes by then.
        assert!(matches!(grown(53).stage(), Stage::Vegetative(10 | 11)), "{}", grown(53).stage());
        assert_eq!(grown(54).stage(), Stage::Reproductive(1));
    }

    #[test]
    fn every_stage_seen_is_the_stage_shown() {
        const SEEN: [&str; 13] =
            ["planted", "VE", "VC", "V1", "V4", "V11", "R1", "R2", "R3", "R5", "R7", "R8", "V9"];
        for pace in Pace::ALL {
            for days in [2, 7, 14, 20, 40, 60, 90] {
                for text in SEEN {
                    let mut beans = paced(days, pace);
                    let stage: Stage = text.parse().unwrap();
                    beans.see(stage);
                    assert_eq!(beans.stage(), stage, "after {days} days, {pace:?}");
                }
            }
        }
    }

    #[test]
    fn the_shift_tells_how_far_a_sighting_moved_the_clock() {
        let mut beans = grown(21);
        beans.see(Stage::Vegetative(2));
        assert!(beans.shift().abs() < 1e-9);
        // V4 begins 10 + 3 x 3.7 = 21.1 days after emergence, on which 14 have passed.
        beans.see(Stage::Vegetative(4));
        assert!((beans.shift() - 7.1).abs() < 1e-5, "{}", beans.shift());
        // Two days into the flowers none were there: they come tomorrow at the soonest.
        let mut late = grown(56);
        late.see(Stage::Vegetative(11));
        assert!((late.shift() + 3.0).abs() < 1e-9, "{}", late.shift());
    }

    #[test]
    fn flowers_come_later_further_north() {
        let at = |degrees| flower_day(2.0, Latitude::new(degrees).unwrap());
        assert!((at(42.0) - 184.0).abs() < 1e-9);
        assert!((at(44.0) - at(42.0) - 4.0).abs() < 1e-9);
    }
}
