//! What happened to a field or was seen in it.

use crate::clocks::Stage;
use crate::findings::Topic;
use crate::plan::NitrogenSource;
use crate::reference::herbicides::Ingredient;
use crate::units::{Inches, Millimetres, NitratePpm, PoundsPerAcre};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// One entry. Who said it and how it came stay with the keeper of the journal; the season needs
/// only what and when.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// The local day on which it happened.
    pub date: NaiveDate,
    /// What happened.
    pub event: Event,
}

/// What an entry says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Event {
    /// The field was planted.
    Planted,
    /// The pre pass went on. `ingredients` is empty when it was as planned.
    PreApplied {
        /// What went on, when it was not as planned.
        #[serde(default)]
        ingredients: Vec<Ingredient>,
    },
    /// The post pass went on. `ingredients` is empty when it was as planned.
    PostApplied {
        /// What went on, when it was not as planned.
        #[serde(default)]
        ingredients: Vec<Ingredient>,
    },
    /// Nitrogen went on before or at planting, in autumn at the earliest. Once one such pass is on
    /// record, the record stands in place of the plan's starter.
    StarterApplied {
        /// N put on; `None` when it was as planned.
        nitrogen: Option<PoundsPerAcre>,
        /// Its form; `None` when it was as planned.
        #[serde(default)]
        source: Option<NitrogenSource>,
    },
    /// Sidedress nitrogen went on.
    Sidedressed {
        /// N put on; `None` when it was as planned.
        nitrogen: Option<PoundsPerAcre>,
    },
    /// Soil of the top foot was taken for a nitrate test, and this is what it showed.
    NitrateTest {
        /// Nitrate N.
        ppm: NitratePpm,
    },
    /// A rotary hoe or shallow cultivation went over the field.
    Hoed,
    /// Somebody read a rain gauge for this day.
    Rain {
        /// Rain of the day.
        amount: Millimetres,
    },
    /// Somebody saw the crop at a stage.
    StageSeen {
        /// The stage.
        stage: Stage,
    },
    /// Somebody looked for weeds.
    WeedsSeen {
        /// Height of the tallest ones; 0 where there were none.
        height: Inches,
    },
    /// Say nothing of a topic (or of anything) until a day.
    Hold {
        /// The topic; `None` holds all.
        topic: Option<Topic>,
        /// First day on which it may be said again.
        until: NaiveDate,
    },
}
