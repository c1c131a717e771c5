//! Soybean: up by heat, then by the calendar.
//!
//! Temperature sets only the day on which the crop comes up; from V1 on a node opens every 3.7
//! days whatever the weather (Bastidas et al., Crop Sci. 48:727-740, 2008). V1 is the first
//! trifoliolate leaf unrolled: the unifoliolate node counts as node 1, and its leaf is fully
//! developed once the leaf above has unrolled.

use crate::clocks::Stage;
use crate::reference::crops as facts;
use chrono::{Datelike, NaiveDate};

/// Days from VE to V1.
pub const V1_DAYS: f64 = facts::SOYBEAN_VE_TO_VC_DAYS.value + facts::SOYBEAN_VC_TO_V1_DAYS.value;
/// Nodes shown at most.
const MOST_NODES: f64 = 20.0;

/// Days from V1 to V`nodes`.
pub fn node_days(nodes: u8) -> f64 {
    f64::from(nodes.saturating_sub(1)) * facts::SOYBEAN_NODE_DAYS.value
}

/// Soybean of one field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Soybean {
    hand: Hand,
    maturity_group: f64,
    /// Days by which the flowers come after (or, below zero, before) their rule.
    flower_shift: f64,
    today: NaiveDate,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Hand {
    /// Heat since planting.
    Below(f64),
    /// Days since emergence.
    Above(f64),
}

impl Soybean {
    /// Soybean just planted.
    pub const fn planted(maturity_group: f64, on: NaiveDate) -> Self {
        Self { hand: Hand::Below(0.0), maturity_group, flower_shift: 0.0, today: on }
    }

    /// Takes in one day. `None` heat halts a seed in the ground and matters no more once it is up.
    pub fn advance(&mut self, date: NaiveDate, gdd: Option<f64>) {
        self.today = date;
        match &mut self.hand {
            Hand::Below(heat) => {
                *heat += gdd.unwrap_or_default();
                if *heat >= facts::SOYBEAN_EMERGENCE_GDD.value {
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

    /// The stage.
    pub fn stage(&self) -> Stage {
        let Hand::Above(days) = self.hand else { return Stage::Planted };
        if let Some(since) = self.days_since_flower() {
            let at = facts::SOYBEAN_POD_DAYS.iter().rposition(|start| since >= start.value);
            #[expect(clippy::cast_possible_truncation, reason = "an index into six stages")]
            if let Some(at) = at {
                return Stage::Reproductive(at as u8 + 1);
            }
        }
        if days < facts::SOYBEAN_VE_TO_VC_DAYS.value {
            Stage::Emerged
        } else if days < V1_DAYS {
            Stage::Cotyledon
        } else {
            let nodes = 1.0 + (days - V1_DAYS) / facts::SOYBEAN_NODE_DAYS.value;
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
        let above = match self.hand {
            Hand::Below(_) => 0.0,
            Hand::Above(days) => days,
        };
        let within = |from: f64, to: f64| Hand::Above(above.clamp(from, to.next_down()));
        match stage {
            Stage::Planted => {
                if let Hand::Above(_) = self.hand {
                    self.hand = Hand::Below(facts::SOYBEAN_EMERGENCE_GDD.value.next_down());
                }
            }
            Stage::Emerged => self.hand = within(0.0, facts::SOYBEAN_VE_TO_VC_DAYS.value),
            Stage::Cotyledon => self.hand = within(facts::SOYBEAN_VE_TO_VC_DAYS.value, V1_DAYS),
            Stage::Vegetative(nodes) => {
                self.hand = within(V1_DAYS + node_days(nodes), V1_DAYS + node_days(nodes + 1));
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
        let starts = &facts::SOYBEAN_POD_DAYS;
        let Some(at) = usize::from(count).checked_sub(1).filter(|at| *at < starts.len()) else {
            return;
        };
        let Hand::Above(days) = self.hand else {
            self.hand = Hand::Above(V1_DAYS + node_days(7));
            return self.see_flowers(count);
        };
        let least = V1_DAYS + Self::flower_node_days();
        self.hand = Hand::Above(days.max(least));
        let since = self.days_since_flower_rule();
        let end = starts.get(at + 1).map_or(f64::INFINITY, |next| next.value - 1.0);
        self.flower_shift = since - (since - self.flower_shift).clamp(starts[at].value, end);
    }

    fn flower_node_days() -> f64 {
        (facts::SOYBEAN_FLOWER_NODES.value - 1.0) * facts::SOYBEAN_NODE_DAYS.value
    }

    /// Days since R1 began, once it has: both the nodes and the date must be there.
    fn days_since_flower(&self) -> Option<f64> {
        let Hand::Above(_) = self.hand else { return None };
        let since = self.days_since_flower_rule() - self.flower_shift;
        (since >= 0.0).then_some(since)
    }

    fn days_since_flower_rule(&self) -> f64 {
        let Hand::Above(days) = self.hand else { return f64::NEG_INFINITY };
        let by_nodes = days - V1_DAYS - Self::flower_node_days();
        by_nodes.min(self.days_past_flower_date())
    }

    fn days_past_flower_date(&self) -> f64 {
        let day = facts::SOYBEAN_FLOWER_DAY.value
            + facts::SOYBEAN_FLOWER_DAYS_PER_GROUP.value * self.maturity_group;
        f64::from(self.today.ordinal()) - day
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, month, day).unwrap()
    }

    fn grown(days: u32) -> Soybean {
        let mut beans = Soybean::planted(2.0, date(5, 10));
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
        for days in [2, 7, 14, 20, 40, 60, 90] {
            for text in ["planted", "VE", "VC", "V1", "V4", "V11", "R1", "R2", "R3", "R5", "V9"] {
                let mut beans = grown(days);
                let stage: Stage = text.parse().unwrap();
                beans.see(stage);
                assert_eq!(beans.stage(), stage, "after {days} days");
            }
        }
    }
}
