//! The journal, read for the season: which passes stand, what was seen, what is held.

use crate::clocks::Stage;
use crate::clocks::nitrogen::TestedRate;
use crate::findings::Topic;
use crate::journal::{Entry, Event};
use crate::plan::{HerbicidePlan, NitrogenSource, Plan};
use crate::reference::herbicides::Ingredient;
use crate::units::{Inches, Millimetres, NitratePpm, PoundsPerAcre};
use chrono::{Days, NaiveDate};
use std::collections::BTreeMap;

/// Days after which an entry belongs to another season.
const SEASON_DAYS: Days = Days::new(300);

/// A herbicide pass as it went on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sprayed {
    pub date: NaiveDate,
    pub ingredients: Vec<Ingredient>,
}

/// Days before planting from which on nitrogen is that of the crop: ammonia goes on from late
/// September where it goes on in autumn (common practice).
const STARTER_DAYS: Days = Days::new(220);

/// Nitrogen that went on before or at planting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Starter {
    pub date: NaiveDate,
    pub source: NitrogenSource,
    pub nitrogen: PoundsPerAcre,
}

/// What the journal says up to and with today. The order of its entries does not matter: of two
/// entries for one day the later stage, the taller weed, the bigger rain and the poorer nitrate test
/// stand.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Record {
    /// The last planting, so that a replanted field starts anew.
    pub planted: Option<NaiveDate>,
    /// The last pre pass.
    pub pre: Option<Sprayed>,
    /// The last post pass since planting.
    pub post: Option<Sprayed>,
    /// Nitrogen that went on before or at planting, in order of date and form.
    pub starters: Vec<Starter>,
    /// The last sidedress since planting, and its N.
    pub sidedressed: Option<(NaiveDate, PoundsPerAcre)>,
    /// What was said of it; `None` where nobody named its N.
    sidedress_said: Option<(NaiveDate, Option<PoundsPerAcre>)>,
    /// The last nitrate test since planting.
    pub tested: Option<(NaiveDate, NitratePpm)>,
    /// The last hoeing.
    pub hoed: Option<NaiveDate>,
    /// Rain read off a gauge, by day.
    pub gauge: BTreeMap<NaiveDate, Millimetres>,
    /// Crop stages seen since planting, by day.
    pub stages: BTreeMap<NaiveDate, Stage>,
    /// Weeds seen since they were last killed: the last sighting.
    pub weeds: Option<(NaiveDate, Inches)>,
    /// The last look at the field, where it found no weeds.
    clean: Option<NaiveDate>,
    holds: Vec<(Option<Topic>, NaiveDate)>,
}

impl Record {
    /// Reads the journal; entries dated after `today`, or so long before it that they belong to
    /// another season, are left out.
    pub fn read(journal: &[Entry], plan: &Plan, today: NaiveDate) -> Self {
        let mut record = Self::default();
        let first = today.checked_sub_days(SEASON_DAYS).unwrap_or(NaiveDate::MIN);
        for entry in journal.iter().filter(|entry| (first..=today).contains(&entry.date)) {
            record.take(entry, plan);
        }
        record.forget_what_came_before();
        record.sidedressed = record.sidedress_as_meant(plan);
        record
    }

    fn take(&mut self, entry: &Entry, plan: &Plan) {
        let date = entry.date;
        match &entry.event {
            Event::Planted => self.planted = self.planted.max(Some(date)),
            Event::PreApplied { ingredients } => {
                take_pass(&mut self.pre, date, ingredients, plan.pre.as_ref());
            }
            Event::PostApplied { ingredients } => {
                take_pass(&mut self.post, date, ingredients, plan.post.as_ref());
            }
            Event::StarterApplied { nitrogen, source } => {
                if let Some(planned) = plan.nitrogen {
                    let source = source.unwrap_or(planned.starter_source);
                    let nitrogen = nitrogen.unwrap_or(planned.starter);
                    self.take_starter(Starter { date, source, nitrogen });
                }
            }
            Event::Sidedressed { nitrogen } => {
                let said = Some((date, *nitrogen));
                if self.sidedress_said < said {
                    self.sidedress_said = said;
                }
            }
            Event::NitrateTest { ppm } => {
                let stands = |(on, least): &(NaiveDate, NitratePpm)| {
                    *on > date || (*on == date && *least <= *ppm)
                };
                self.tested = self.tested.filter(stands).or(Some((date, *ppm)));
            }
            Event::Hoed => self.hoed = self.hoed.max(Some(date)),
            Event::Rain { amount } => keep_larger(&mut self.gauge, date, *amount),
            Event::StageSeen { stage } => keep_larger(&mut self.stages, date, *stage),
            Event::WeedsSeen { height } => {
                let later = |(on, most): &(NaiveDate, Inches)| (*on, *most) < (date, *height);
                if self.weeds.as_ref().is_none_or(later) {
                    self.weeds = Some((date, *height));
                }
            }
            Event::Hold { topic, until } => self.holds.push((*topic, *until)),
        }
    }

    /// What was seen or done before planting says nothing of this crop; weeds seen before a post
    /// pass or a hoe are gone.
    fn forget_what_came_before(&mut self) {
        if let Some(planted) = self.planted {
            self.post = self.post.take().filter(|post| post.date >= planted);
            self.sidedress_said = self.sidedress_said.filter(|(date, _)| *date >= planted);
            self.tested = self.tested.filter(|(date, _)| *date >= planted);
            self.stages.retain(|date, _| *date >= planted);
            let first = planted.checked_sub_days(STARTER_DAYS).unwrap_or(NaiveDate::MIN);
            self.starters.retain(|pass| (first..=planted).contains(&pass.date));
        }
        let killed = self.sprayed_over_on().max(self.hoed);
        self.weeds = self.weeds.filter(|(date, _)| killed.is_none_or(|killed| *date > killed));
        if let Some((looked, _)) = self.weeds.take_if(|(_, height)| height.get() == 0.0) {
            self.clean = Some(looked);
        }
    }

    /// From when weeds grow that nothing has held back since a day: that day, or the last on which
    /// the field is known to have had none, hoed or looked at.
    pub fn escaped_from(&self, since: NaiveDate) -> NaiveDate {
        self.hoed.max(self.clean).map_or(since, |bare| since.max(bare))
    }

    /// Two reports of one form on one day are one pass, the larger one.
    fn take_starter(&mut self, pass: Starter) {
        let key = |pass: &Starter| (pass.date, pass.source as u8);
        match self.starters.binary_search_by_key(&key(&pass), key) {
            Ok(at) if self.starters[at].nitrogen < pass.nitrogen => self.starters[at] = pass,
            Ok(_) => {}
            Err(at) => self.starters.insert(at, pass),
        }
    }

    /// The sidedress with the N that was named, or else with what was meant for it by then: after a
    /// nitrate test what that leaves of the plan.
    fn sidedress_as_meant(&self, plan: &Plan) -> Option<(NaiveDate, PoundsPerAcre)> {
        let (on, said) = self.sidedress_said?;
        let meant = || {
            let plan = plan.nitrogen?;
            let tested = self.tested.filter(|(tested_on, _)| *tested_on <= on);
            let rate = tested.map(|(day, ppm)| TestedRate::of(day, ppm, &plan).high_lb);
            rate.map_or(Some(plan.sidedress), |pounds| PoundsPerAcre::new(pounds).ok())
        };
        Some((on, said.or_else(meant)?))
    }

    /// Day of the last post pass since planting.
    pub fn sprayed_over_on(&self) -> Option<NaiveDate> {
        self.post.as_ref().map(|post| post.date)
    }

    /// Whether a topic is not to be spoken of today.
    pub fn holds(&self, topic: Topic, today: NaiveDate) -> bool {
        self.holds.iter().any(|(held, until)| *until > today && held.is_none_or(|it| it == topic))
    }
}

/// Two reports of one pass on one day are one pass; the longer list of ingredients stands, and the
/// planned mix where nobody named any.
fn take_pass(
    last: &mut Option<Sprayed>,
    date: NaiveDate,
    said: &[Ingredient],
    planned: Option<&HerbicidePlan>,
) {
    let planned = planned.map_or(&[][..], |mix| &mix.ingredients);
    let ingredients = if said.is_empty() { planned } else { said };
    let weight =
        |sprayed: &Sprayed| (sprayed.date, sprayed.ingredients.len(), sprayed.ingredients.clone());
    let new = Sprayed { date, ingredients: ingredients.to_vec() };
    if last.as_ref().is_none_or(|old| weight(old) < weight(&new)) {
        *last = Some(new);
    }
}

fn keep_larger<T: PartialOrd>(map: &mut BTreeMap<NaiveDate, T>, date: NaiveDate, value: T) {
    if map.get(&date).is_none_or(|old| *old < value) {
        map.insert(date, value);
    }
}
