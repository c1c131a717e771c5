//! `furrowbell show`: one field's clocks as of a day.

use super::rehearse::noon;
use super::{BookArg, Failure, limits, on_weeds, pedigree, zoned};
use crate::clock::Clock;
use crate::rounds::advance::FieldNow;
use crate::weather::pedigree::Pedigree;
use crate::wire::{self, Outside};
use chrono::{Days, NaiveDate};
use clap::Args;
use furrowbell_config::Book;
use furrowbell_engine::clocks::DateRange;
use furrowbell_engine::clocks::nitrogen::{Basis, TestedRate};
use furrowbell_engine::findings::{Evidence, Finding};
use furrowbell_engine::journal::{Entry, Event};
use furrowbell_engine::plan::{Crop, Plan};
use furrowbell_engine::season::{DayRow, Now, PreNow, Season, WeedUp};

/// Arguments of `show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// Name or id of the field.
    field: String,
    #[command(flatten)]
    book: BookArg,
    /// Day as of which the clocks are shown; without it today.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    on: Option<NaiveDate>,
    /// How many days back to list.
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(u32).range(1..=400))]
    days: u32,
    /// One JSON object with the whole season.
    #[arg(long)]
    json: bool,
}

/// Prints the field. Nothing is written.
pub async fn run(args: ShowArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let id = super::field(&book, &args.field)?.id.clone();
    let zone = book
        .field(&id)
        .and_then(|field| book.farm(&field.farm))
        .map_or(book.service.zone, |farm| farm.zone);
    let store = wire::store(&book).await?;
    let now = args.on.map_or_else(|| Clock::System.now(), |on| noon(on, zone));
    let desk = wire::desk(book, store, Clock::pretended(now), Outside::Pretended)?;
    let fields = desk.advance(now).await?;
    let Some(at) = fields.iter().find(|at| at.field.id == id) else {
        return Err(Failure::Fault(format!("{id} has no plan in the book, so it has no clocks")));
    };
    let pedigree = desk.pedigree(at.farm, at.field, now).await?;
    if args.json {
        let season = serde_json::json!({
            "field": at.field.id, "today": at.today, "journal": at.entries,
            "forecast_issued": at.forecast_issued, "season": at.season,
            "weather": pedigree,
        });
        say!("{season}");
        return Ok(());
    }
    say!("{}", readable(&desk.book, at, &pedigree, args.days).trim_end());
    Ok(())
}

fn readable(book: &Book, at: &FieldNow<'_>, pedigree: &Pedigree, days: u32) -> String {
    let mut lines = vec![heading(at)];
    lines.extend(at.field.plan.as_ref().map(planned).into_iter().flatten());
    lines.push(String::new());
    lines.push("What happened:".to_owned());
    if at.entries.is_empty() {
        lines.push("  nothing on record yet".to_owned());
    }
    let mut entries: Vec<_> = at.entries.iter().filter(|entry| entry.date <= at.today).collect();
    entries.sort_by_key(|entry| entry.date);
    lines.extend(entries.into_iter().map(|entry| format!("  {}  {}", entry.date, happened(entry))));
    lines.push(String::new());
    lines.push(format!("Clocks on {}:", at.today));
    lines.extend(at.season.findings.iter().find_map(unknown));
    match &at.season.now {
        Some(now) => {
            lines.extend(clocks(now));
            lines.extend(soil_nitrogen(&at.season, now));
        }
        None => lines.push("  not started: nothing planted or sprayed yet".to_owned()),
    }
    let from = at.today - Days::new(days.into());
    lines.extend(pedigree::soil(pedigree, from, at.today));
    let issued = at.forecast_issued.map(|issued| zoned(issued, at.farm.zone));
    lines.push(match (issued, &book.service.weather.nws) {
        (Some(issued), _) => format!("  forecast issued {issued}"),
        (None, Some(_)) => "  no forecast has come yet".to_owned(),
        (None, None) => "  no forecast source in the book".to_owned(),
    });
    lines.push(String::new());
    let limits = at.field.plan.as_ref().map(|plan| limits::lines(book, plan)).unwrap_or_default();
    let on_weeds = at.field.plan.as_ref().map(on_weeds::lines).unwrap_or_default();
    for block in [limits, on_weeds].into_iter().filter(|block| !block.is_empty()) {
        lines.extend(block);
        lines.push(String::new());
    }
    lines.push("What it shows:".to_owned());
    if at.season.findings.is_empty() {
        lines.push("  nothing to do".to_owned());
    }
    lines.extend(at.season.findings.iter().map(shown));
    lines.push(String::new());
    lines.push("Last days (F, in; * not measured):".to_owned());
    let listed = at.season.days.iter().filter(|row| row.date > from && row.date <= at.today);
    lines.extend(listed.map(day_line));
    lines.push(String::new());
    lines.extend(pedigree::lines(pedigree, from, at.today, at.farm.zone));
    lines.join("\n")
}

/// Why the clocks below are not to be trusted, where weather is missing.
fn unknown(finding: &Finding) -> Option<String> {
    let Evidence::WeatherGap { since, days } = finding.evidence else { return None };
    Some(format!("  unknown since {since}: no weather for {days} days; dates below may be off"))
}

fn shown(finding: &Finding) -> String {
    let by = finding.act_by.map_or(String::new(), |by| format!(", act by {by}"));
    let expected = if finding.provisional { ", rests on forecast" } else { "" };
    let hours = match &finding.evidence {
        Evidence::SprayHours { refused: Some(refused), .. } => {
            format!(", none that suit: {}", refused.name())
        }
        Evidence::SprayHours { runs, .. } => {
            let spans = runs.iter().map(|run| {
                format!(" {} to {}", run.from.format("%Y-%m-%d %H:%M"), run.to.format("%H:%M"))
            });
            spans.collect::<Vec<_>>().join(",")
        }
        Evidence::FewGroups { weed, groups, .. } => {
            format!(": {} against {}", on_weeds::numbered(groups), weed.name())
        }
        _ => String::new(),
    };
    format!("  {}{hours}{by}{expected}", finding.topic().name())
}

fn heading(at: &FieldNow<'_>) -> String {
    let site = &at.field.site;
    let texture = serde_json::to_value(site.texture).ok();
    let texture =
        texture.as_ref().and_then(|word| word.as_str()).unwrap_or_default().replace('-', " ");
    format!(
        "{} ({}), {}: {} acres, {texture}, {} % organic matter",
        at.field.name,
        at.field.id,
        at.farm.name,
        at.field.acres.get(),
        site.organic_matter.get()
    )
}

fn planned(plan: &Plan) -> Vec<String> {
    let crop = match plan.crop {
        Crop::Corn { relative_maturity_days } => format!("corn, {relative_maturity_days} days"),
        Crop::Soybean { maturity_group } => format!("soybean, group {maturity_group}"),
    };
    let mix = |what: &str, pass: &Option<furrowbell_engine::plan::HerbicidePlan>| {
        pass.as_ref().map(|pass| {
            let names: Vec<_> = pass.ingredients.iter().map(|one| one.name()).collect();
            format!("  {what}: {} ({})", pass.name, names.join(", "))
        })
    };
    let mut lines =
        vec![format!("  {crop}, {} in deep, {} in rows", plan.depth.get(), plan.row_spacing.get())];
    lines.extend(mix("pre", &plan.pre));
    lines.extend(mix("post", &plan.post));
    lines.extend(plan.nitrogen.map(|nitrogen| {
        format!(
            "  nitrogen: {} lb starter, {} lb sidedress an acre",
            nitrogen.starter.get(),
            nitrogen.sidedress.get()
        )
    }));
    lines
}

fn happened(entry: &Entry) -> String {
    match &entry.event {
        Event::Planted => "planted".to_owned(),
        Event::PreApplied { .. } => "pre pass".to_owned(),
        Event::PostApplied { .. } => "post pass".to_owned(),
        Event::StarterApplied { nitrogen, source } => {
            let pounds = nitrogen.map_or("as planned".to_owned(), |n| format!("{} lb N", n.get()));
            let form = source.and_then(|form| serde_json::to_value(form).ok());
            let form = form.as_ref().and_then(|form| form.as_str()).unwrap_or_default();
            format!("starter {pounds} {form}").trim_end().replace('-', " ")
        }
        Event::Sidedressed { nitrogen: None } => "sidedress".to_owned(),
        Event::Sidedressed { nitrogen: Some(pounds) } => format!("sidedress, {} lb", pounds.get()),
        Event::Hoed => "hoed".to_owned(),
        Event::Rain { amount } => format!("rain {:.2} in", amount.inches()),
        Event::StageSeen { stage } => format!("{stage} seen"),
        Event::WeedsSeen { height } if height.get() == 0.0 => "no weeds".to_owned(),
        Event::WeedsSeen { height } => format!("weeds {} in", height.get()),
        Event::NitrateTest { ppm } => format!("nitrate test {} ppm", ppm.get()),
        Event::Hold { topic, until } => {
            format!("hold {} until {until}", topic.map_or("everything", |topic| topic.name()))
        }
    }
}

fn range(range: &DateRange) -> String {
    if range.earliest == range.latest {
        return range.likely.to_string();
    }
    format!("{} (from {} to {})", range.likely, range.earliest, range.latest)
}

/// Rain on what a pass left in the soil.
fn in_soil(what: &str, pass: &PreNow) -> Vec<String> {
    let rain = pass.rain.as_ref().map(|rain| {
        let firm = &rain.firm;
        let missing = match pass.unmeasured_days {
            0 => String::new(),
            1 => ", 1 day unknown".to_owned(),
            days => format!(", {days} days unknown"),
        };
        let set = firm.set_on.map_or("not set".to_owned(), |on| format!("set {on}"));
        format!("{set}; {:.2} of {:.2} in measured{missing}", firm.rain_in, firm.need_in)
    });
    let rain = rain.unwrap_or_else(|| "no rain needed".to_owned());
    let mut lines = vec![format!("  {what} of {}: {rain}", pass.applied_on)];
    if pass.too_much_rain {
        lines.push("  much rain soon after it: some may be washed deep".to_owned());
    }
    if pass.drowned == Some(true) {
        lines.push("  far more rain than usual after it: grasses may be held less".to_owned());
    }
    lines
}

fn weed_up(up: &WeedUp) -> String {
    let from = up.from.map_or("held back".to_owned(), |from| format!("taken to be up from {from}"));
    let half = up.half_on.map_or(String::new(), |half| format!(", most by {half}"));
    let why = up.undated.map_or(String::new(), |why| format!("; {why}"));
    format!("  {}: {from}{half}{why}", up.weed.name())
}

fn clocks(now: &Now) -> Vec<String> {
    let mut lines = Vec::new();
    let stage = now.stage.map_or("unknown".to_owned(), |stage| stage.to_string());
    lines.push(format!("  stage: {stage}"));
    lines.extend(now.emerged_on.as_ref().map(|on| format!("  came up: {}", range(on))));
    if let Some(pre) = &now.pre {
        lines.extend(in_soil("pre", pre));
    }
    lines.extend(now.post_applied_on.map(|on| format!("  post pass: done {on}")));
    if let Some(renewal) = &now.renewal {
        lines.extend(in_soil("residual of the post", renewal));
    }
    lines
        .extend(now.residual_ends.as_ref().map(|ends| format!("  residual ends: {}", range(ends))));
    lines.extend(now.weeds.iter().map(weed_up));
    lines.extend(
        now.canopy_closes.as_ref().map(|closes| format!("  rows close: {}", range(closes))),
    );
    if let Some(window) = &now.post_window {
        let again = if now.post_applied_on.is_some() { "next " } else { "" };
        let opens = window
            .opening
            .map_or("not open yet".to_owned(), |opening| format!("open {}", opening.on));
        lines.push(format!("  {again}post window: {opens}; closes {}", range(&window.closes)));
        lines.extend(window.no_label.map(|one| {
            format!("  no label on record for {} over this crop this year", one.name())
        }));
    }
    match (now.sidedressed_on, &now.sidedress) {
        (Some(on), _) => lines.push(format!("  sidedress: done {on}")),
        (None, Some(window)) => {
            lines.push(format!(
                "  sidedress: from {}; at the latest {}",
                window.opens.likely,
                range(&window.latest)
            ));
            lines.extend(window.tested.as_ref().map(tested));
        }
        (None, None) => {}
    }
    lines
}

/// What the soil has given beside its normal, on what that rests, and what wet soil has cost.
fn soil_nitrogen(season: &Season, now: &Now) -> Vec<String> {
    let Some((row, normal)) = season.today().and_then(|row| row.nitrogen).zip(now.normal) else {
        return Vec::new();
    };
    let beside = row.lag_percent.map_or("too early to tell".to_owned(), |lag| {
        format!("{:.0} % {} normal", lag.abs(), if lag < 0.0 { "ahead of" } else { "behind" })
    });
    let basis = match normal {
        Basis::OwnYears(years) => format!("this field's own {years} past years of weather"),
        Basis::Stated => "a stated usual year for the latitude, no past years on file".to_owned(),
    };
    let mut lines = vec![
        format!("  soil nitrogen: {:.0} lb since planting, {beside}", row.supplied_lb),
        format!("  normal rests on {basis}"),
    ];
    if row.wet_days > 0 {
        let (low, high) = row.lost_range_lb;
        lines.push(format!(
            "  nitrate lost in {} wet days: {:.0} lb (from {low:.0} to {high:.0})",
            row.wet_days, row.lost_lb
        ));
    }
    lines.extend(row.washed.map(|washed| {
        let (least, most) = washed.front_in;
        format!("  {:.1} in drained: nitrate down to {least:.0} to {most:.0} in", washed.drained_in)
    }));
    lines
}

/// What a nitrate test makes of the plan.
fn tested(rate: &TestedRate) -> String {
    format!(
        "  nitrate test of {}: {} ppm of {}; {:.0} lb N by one rule, {:.0} by the other, of {:.0} planned",
        rate.on, rate.ppm, rate.critical_ppm, rate.high_lb, rate.low_lb, rate.planned_lb
    )
}

fn day_line(row: &DayRow) -> String {
    let number = |value: Option<f64>, places: usize| {
        value.map_or("?".to_owned(), |value| format!("{value:.places$}"))
    };
    format!(
        "  {}{}  heat {:>5} ({:>6} so far)  rain {:>5}  {}",
        row.date,
        if row.provisional { "*" } else { " " },
        number(row.gdd_f, 1),
        number(row.gdd_total_f, 0),
        number(row.rain_in, 2),
        row.stage.map_or("?".to_owned(), |stage| stage.to_string()),
    )
}
