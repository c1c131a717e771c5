//! `furrowbell record`: writes down what happened to a field.

use super::{BookArg, Failure};
use crate::clock::{Clock, Ids};
use crate::store::{Record, Via};
use crate::wire;
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use furrowbell_config::local::local_day;
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::journal::Event;
use furrowbell_engine::plan::NitrogenSource;
use furrowbell_engine::units::{Inches, Millimetres, NitratePpm, PoundsPerAcre};

/// Arguments of `record`.
#[derive(Debug, Args)]
pub struct RecordArgs {
    /// Name or id of the field.
    field: String,
    /// What happened.
    #[command(subcommand)]
    what: What,
    #[command(flatten)]
    book: BookArg,
    /// Day on which it happened; without it today in the farm's zone.
    #[arg(long, global = true, value_name = "YYYY-MM-DD", value_parser = super::day)]
    on: Option<NaiveDate>,
    /// Id of the person who says so.
    #[arg(long, global = true, default_value = "manager")]
    by: String,
}

/// What can be written down.
#[derive(Debug, Clone, Subcommand)]
enum What {
    /// The field was planted.
    Planted,
    /// The pre pass went on.
    Pre,
    /// The post pass went on.
    Post,
    /// Nitrogen went on before or at planting, in autumn at the earliest.
    Starter {
        /// N put on, lb an acre; without it as planned.
        pounds: Option<f64>,
        /// Its form, for example anhydrous-ammonia; without it as planned.
        #[arg(long, value_parser = form)]
        source: Option<NitrogenSource>,
    },
    /// Sidedress nitrogen went on.
    Sidedress {
        /// N put on, lb an acre; without it as planned.
        pounds: Option<f64>,
    },
    /// A rotary hoe or shallow cultivation went over the field.
    Hoed,
    /// A gauge was read.
    Rain {
        /// Rain of the day, inches.
        inches: f64,
    },
    /// The crop was seen at a stage.
    Stage {
        /// The stage, for example V4.
        stage: Stage,
    },
    /// A nitrate test of the top foot came back; its day is the one on which the soil was taken.
    Nitrate {
        /// Nitrate N, ppm.
        ppm: f64,
    },
    /// Somebody looked for weeds.
    Weeds {
        /// Height of the tallest, inches; 0 where there were none.
        inches: f64,
    },
}

impl What {
    fn event(&self) -> Result<Event, Failure> {
        let fault = |error: furrowbell_engine::units::OutOfRange| Failure::Fault(error.to_string());
        Ok(match self {
            Self::Planted => Event::Planted,
            Self::Pre => Event::PreApplied { ingredients: Vec::new() },
            Self::Post => Event::PostApplied { ingredients: Vec::new() },
            Self::Starter { pounds, source } => {
                let nitrogen = pounds.map(PoundsPerAcre::new).transpose().map_err(fault)?;
                Event::StarterApplied { nitrogen, source: *source }
            }
            Self::Sidedress { pounds } => {
                let nitrogen = pounds.map(PoundsPerAcre::new).transpose().map_err(fault)?;
                Event::Sidedressed { nitrogen }
            }
            Self::Hoed => Event::Hoed,
            Self::Rain { inches } => {
                Event::Rain { amount: Millimetres::from_inches(*inches).map_err(fault)? }
            }
            Self::Stage { stage } => Event::StageSeen { stage: *stage },
            Self::Nitrate { ppm } => {
                Event::NitrateTest { ppm: NitratePpm::new(*ppm).map_err(fault)? }
            }
            Self::Weeds { inches } => {
                Event::WeedsSeen { height: Inches::new(*inches).map_err(fault)? }
            }
        })
    }
}

/// A form of nitrogen by the name that the book uses.
fn form(word: &str) -> Result<NitrogenSource, String> {
    serde_json::from_value(word.into()).map_err(|_| {
        let known = NitrogenSource::ALL.map(|form| serde_json::json!(form).to_string());
        format!("want one of {}", known.join(", ").replace('"', ""))
    })
}

/// Writes the entry.
pub async fn run(args: RecordArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let field = super::field(&book, &args.field)?;
    let clock = Clock::System;
    let now = clock.now();
    let zone = book.farm(&field.farm).map_or(book.service.zone, |farm| farm.zone);
    let today = local_day(now, zone);
    let on = args.on.unwrap_or(today);
    if on > today {
        return Err(Failure::Fault(format!("{on} has not come yet; today is {today} in {zone}")));
    }
    let id = Ids::new(clock).make();
    let record = Record {
        source_key: format!("command/{id}"),
        id,
        field: field.id.clone(),
        happened_on: on,
        event: args.what.event()?,
        by: args.by,
        via: Via::Command,
        note: None,
        created_at: now,
    };
    wire::store(&book).await?.append(&record).await?;
    say!("{}: written down for {on}. The next round counts it.", field.name);
    Ok(())
}
