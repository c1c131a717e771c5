//! Turns what is written of a field, in the farm's file and in the file it takes fields from, into
//! a checked [`Field`].

use crate::check;
use crate::document::Document;
use crate::farm_file::{CropName, DoneEntry, FieldEntry, PassEntry, PlanEntry};
use crate::farms::{Done, Field};
use crate::faults::{Fault, Notes};
use crate::import::Imported;
use crate::products::{Planned, Product};
use furrowbell_engine::plan::{Crop, HerbicidePlan, NitrogenPlan, Plan, Resistance};
use furrowbell_engine::site::{Particles, Site};
use furrowbell_engine::thresholds::Thresholds;
use furrowbell_engine::units::Metres;

/// One field as written, with the place to speak of.
#[derive(Debug)]
pub(crate) struct Draft<'a> {
    entry: FieldEntry,
    place: Place<'a>,
}

#[derive(Debug)]
enum Place<'a> {
    Book { document: &'a Document, pointer: String },
    Import(Fault),
}

impl Place<'_> {
    fn fault(&self, pointer: &str, message: impl Into<String>) -> Fault {
        let message = message.into();
        match self {
            Self::Book { document, pointer: base } => {
                document.fault(&format!("{base}{pointer}"), message)
            }
            Self::Import(place) => Fault { message, ..place.clone() },
        }
    }
}

impl<'a> Draft<'a> {
    /// The fields that a farm's own file writes.
    pub(crate) fn of_book(document: &'a Document, entries: Vec<FieldEntry>) -> Vec<Self> {
        let draft = |(at, entry)| {
            let place = Place::Book { document, pointer: format!("/field/{at}") };
            Self { entry, place }
        };
        entries.into_iter().enumerate().map(draft).collect()
    }

    /// The same with the fields of an imported file: of one name, the farm's own file completes
    /// the imported field, and wins where both speak.
    pub(crate) fn merge(mut drafts: Vec<Self>, imported: Vec<Imported>) -> Vec<Self> {
        for Imported { field, place } in imported {
            match drafts.iter_mut().find(|draft| draft.entry.name == field.name) {
                Some(Self { entry, place: Place::Book { .. } }) => complete(entry, &field),
                _ => drafts.push(Self { entry: field, place: Place::Import(place) }),
            }
        }
        drafts
    }

    /// Checks the field; `earlier` are the fields of the same farm before it.
    pub(crate) fn settle(
        self,
        farm: &str,
        farm_thresholds: &Thresholds,
        products: &[Product],
        earlier: &[Field],
        notes: &mut Notes,
    ) -> Option<Field> {
        let Self { entry, place } = self;
        let id = format!("{farm}/{}", slug(&entry.name));
        if let Some(other) = earlier.iter().find(|field| field.id == id) {
            let message = format!("name: \"{}\" is too like \"{}\" above", entry.name, other.name);
            notes.faults.push(place.fault("/name", message));
        }
        let thresholds = farm_thresholds.with(&entry.thresholds);
        check::threshold_order(&thresholds, &entry.thresholds, notes, |key, message| {
            place.fault(&format!("/thresholds/{key}"), message)
        });
        let say = |pointer: &str, message: String| place.fault(pointer, message);
        check::done(&entry, notes, say);
        let plan = match &entry.plan {
            Some(plan) => {
                check::plan(plan, notes, say);
                check::planned_products(plan, products, notes, say);
                Some(plan_of(plan)?)
            }
            None => None,
        };
        let site = site_of(&entry, notes, say);
        Some(Field {
            id,
            farm: farm.to_owned(),
            acres: entry.acres?,
            site: site?,
            products: entry.plan.as_ref().map(planned).unwrap_or_default(),
            plan,
            done: done_of(&entry.done),
            thresholds,
            name: entry.name,
        })
    }
}

fn complete(entry: &mut FieldEntry, imported: &FieldEntry) {
    entry.latitude = entry.latitude.or(imported.latitude);
    entry.longitude = entry.longitude.or(imported.longitude);
    entry.acres = entry.acres.or(imported.acres);
    entry.texture = entry.texture.or(imported.texture);
    entry.organic_matter_percent = entry.organic_matter_percent.or(imported.organic_matter_percent);
    entry.sand_percent = entry.sand_percent.or(imported.sand_percent);
    entry.clay_percent = entry.clay_percent.or(imported.clay_percent);
    entry.elevation_ft = entry.elevation_ft.or(imported.elevation_ft);
}

fn site_of(
    entry: &FieldEntry,
    notes: &mut Notes,
    say: impl Fn(&str, String) -> Fault,
) -> Option<Site> {
    let present = [
        ("latitude", entry.latitude.is_some()),
        ("longitude", entry.longitude.is_some()),
        ("acres", entry.acres.is_some()),
        ("texture", entry.texture.is_some()),
        ("organic_matter_percent", entry.organic_matter_percent.is_some()),
    ];
    let missing: Vec<&str> =
        present.into_iter().filter(|(_, there)| !there).map(|(key, _)| key).collect();
    if !missing.is_empty() {
        let message = format!("field \"{}\": missing {}", entry.name, missing.join(", "));
        notes.faults.push(say("", message));
    }
    let particles = particles_of(entry).unwrap_or_else(|message| {
        notes.faults.push(say("", message));
        None
    });
    Some(Site {
        latitude: entry.latitude?,
        longitude: entry.longitude?,
        texture: entry.texture?,
        organic_matter: entry.organic_matter_percent?,
        particles,
        elevation: entry.elevation_ft.and_then(|feet| Metres::from_feet(feet).ok()),
    })
}

fn particles_of(entry: &FieldEntry) -> Result<Option<Particles>, String> {
    match (entry.sand_percent, entry.clay_percent) {
        (None, None) => Ok(None),
        (Some(sand), Some(clay)) => Particles::new(sand, clay)
            .map(Some)
            .map_err(|error| format!("field \"{}\": {error}", entry.name)),
        _ => Err(format!("field \"{}\": sand_percent and clay_percent go together", entry.name)),
    }
}

fn plan_of(entry: &PlanEntry) -> Option<Plan> {
    let crop = match entry.crop {
        CropName::Corn => Crop::Corn { relative_maturity_days: entry.relative_maturity_days? },
        CropName::Soybean => Crop::Soybean { maturity_group: entry.maturity_group? },
    };
    let pass = |entry: &PassEntry| HerbicidePlan {
        name: entry.name.clone(),
        ingredients: entry.ingredients.clone(),
    };
    Some(Plan {
        crop,
        depth: entry.depth_in,
        row_spacing: entry.row_spacing_in,
        residue_cover: entry.residue_cover_percent,
        pre: entry.pre.as_ref().map(pass),
        post: entry.post.as_ref().map(pass),
        nitrogen: entry.nitrogen.map(|nitrogen| NitrogenPlan {
            starter: nitrogen.starter_lb_per_acre,
            sidedress: nitrogen.sidedress_lb_per_acre,
            starter_source: nitrogen.starter_source.unwrap_or(nitrogen.source),
            source: nitrogen.source,
            placement: nitrogen.placement.unwrap_or(nitrogen.source.usual_placement()),
            inhibitor: nitrogen.inhibitor,
            rig_clears: nitrogen.rig_clears_in,
        }),
        weeds: entry.weeds.clone(),
        resistant: entry
            .resistant
            .iter()
            .map(|known| Resistance { weed: known.weed, group: known.group })
            .collect(),
    })
}

fn planned(entry: &PlanEntry) -> Planned {
    let of = |pass: &Option<PassEntry>| {
        pass.as_ref().map(|pass| pass.products.clone()).unwrap_or_default()
    };
    Planned { pre: of(&entry.pre), post: of(&entry.post) }
}

fn done_of(entry: &DoneEntry) -> Done {
    Done {
        planted: entry.planted,
        pre_applied: entry.pre_applied,
        post_applied: entry.post_applied,
        starter_applied: entry.starter_applied,
        sidedressed: entry.sidedressed.map(|date| (date, entry.sidedressed_lb_per_acre)),
    }
}

/// The name in lower-case letters, digits and single dashes.
fn slug(name: &str) -> String {
    let plain = name.to_lowercase().replace('ñ', "n").replace('é', "e").replace('ü', "u");
    let words = plain.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    words.collect::<Vec<_>>().join("-")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slugs_hold_only_letters_digits_and_dashes() {
        assert_eq!(slug("North 80"), "north-80");
        assert_eq!(slug("Peña's - Home & Barn"), "pena-s-home-barn");
    }
}
