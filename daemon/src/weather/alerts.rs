//! Warnings in force, as the US National Weather Service lists them (`/alerts/active`).
//!
//! Source of the rules kept here: OASIS, "Common Alerting Protocol Version 1.2", 1 July 2010, and
//! National Weather Service, API documentation, "Alerts": a message names those it replaces; it
//! stops being current when it `expires`, while the hazard itself `ends`.

use super::body::{Read, Reader, Request, Unreadable};
use super::cells::Polygon;
use super::fault::Fault;
use super::source::{Answer, Area, Known, Payload, Pulling, Source, SourceName};
use chrono::{DateTime, Utc};
use furrowbell_engine::units::{Latitude, Longitude};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::{BTreeMap, HashSet};

/// Path of the one request that serves every field.
const PATH: &str = "/alerts/active?status=actual";
/// The one representation asked for.
const GEO_JSON: &str = "application/geo+json";

/// Warnings in which nobody should be out with a sprayer: wind, lightning and flying dust.
const OUT_OF_THE_FIELD: [&str; 11] = [
    "Tornado Warning",
    "Severe Thunderstorm Warning",
    "Extreme Wind Warning",
    "High Wind Warning",
    "Wind Advisory",
    "Dust Storm Warning",
    "Blowing Dust Warning",
    "Blowing Dust Advisory",
    "Flash Flood Warning",
    "Hurricane Warning",
    "Tropical Storm Warning",
];

/// What an advisor wants to know of besides.
const WORTH_KNOWING: [&str; 8] = [
    "Freeze Warning",
    "Freeze Watch",
    "Frost Advisory",
    "Flood Warning",
    "High Wind Watch",
    "Red Flag Warning",
    "Severe Thunderstorm Watch",
    "Tornado Watch",
];

/// One warning, watch or statement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alert {
    /// The service's name for it.
    pub id: String,
    /// What is warned of, as in `Severe Thunderstorm Warning`.
    pub event: String,
    /// When it was sent.
    pub sent: DateTime<Utc>,
    /// When the hazard begins.
    pub starts_at: DateTime<Utc>,
    /// When the hazard ends; `None` while nobody has said.
    pub ends_at: Option<DateTime<Utc>>,
    /// The zones it is addressed to, as in `county/NEC155`, or a bare code where the message has no
    /// more.
    pub zones: Vec<String>,
    /// Outlines of its area; where there are some they say more than the zones.
    pub outlines: Vec<Polygon>,
}

/// The service.
#[derive(Debug, Clone)]
pub struct Alerts {
    reader: Reader,
}

/// What one answer holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Active {
    /// What is in force or will be.
    pub alerts: Vec<Alert>,
    /// Messages that could not be read.
    pub unreadable: usize,
    /// Whether the service holds more than it sent.
    pub cut_off: bool,
}

#[derive(Deserialize)]
struct Collection {
    updated: Option<DateTime<Utc>>,
    features: Vec<Value>,
    pagination: Option<Value>,
}

#[derive(Deserialize)]
struct Feature {
    #[serde(default)]
    geometry: Option<Value>,
    properties: Message,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Message {
    id: String,
    event: String,
    status: String,
    #[serde(rename = "messageType")]
    action: String,
    sent: DateTime<Utc>,
    effective: Option<DateTime<Utc>>,
    onset: Option<DateTime<Utc>>,
    expires: Option<DateTime<Utc>>,
    ends: Option<DateTime<Utc>>,
    #[serde(default)]
    affected_zones: Vec<String>,
    #[serde(default)]
    geocode: Geocode,
    #[serde(default)]
    references: Vec<Reference>,
    #[serde(default)]
    parameters: Parameters,
}

#[derive(Default, Deserialize)]
struct Geocode {
    #[serde(rename = "UGC", default)]
    ugc: Vec<String>,
}

#[derive(Deserialize)]
struct Reference {
    identifier: String,
}

#[derive(Default, Deserialize)]
#[serde(rename_all = "camelCase")]
struct Parameters {
    /// Each text holds triples `sender,identifier,sent` with blanks between them.
    #[serde(default)]
    expired_references: Vec<String>,
}

impl Alerts {
    /// The service behind a reader.
    pub const fn new(reader: Reader) -> Self {
        Self { reader }
    }

    /// The reader of its host.
    pub const fn reader(&self) -> &Reader {
        &self.reader
    }
}

impl Source for Alerts {
    fn name(&self) -> SourceName {
        SourceName::Nws
    }

    fn pull<'a>(&'a self, area: &'a Area, known: &'a Known) -> Pulling<'a> {
        Box::pin(async move {
            let Area::Country = area else { return Err(Fault::wrong_area(area)) };
            let request = Request { accept: GEO_JSON, ..Request::get(PATH, &known.validators) };
            let answer: Answer<Active> = self.reader.ask(request, Active::read).await?;
            Ok(answer.map(Payload::Warnings))
        })
    }
}

impl Active {
    /// Reads an answer. What is not for the public, is taken back, or has been replaced by another
    /// message of the answer is left out; one message that cannot be read hides no other.
    fn read(body: &[u8]) -> Result<Read<Self>, Unreadable> {
        let collection: Collection = serde_json::from_slice(body)?;
        let Collection { updated, features, pagination } = collection;
        let all = features.len();
        let features = features.into_iter();
        let read: Vec<Feature> =
            features.filter_map(|feature| serde_json::from_value(feature).ok()).collect();
        let unreadable = all - read.len();
        let actual: Vec<Feature> =
            read.into_iter().filter(|one| one.properties.status == "Actual").collect();
        let replaced: HashSet<String> =
            actual.iter().flat_map(|one| one.properties.replaces()).collect();
        let mut alerts: BTreeMap<String, Alert> = BTreeMap::new();
        for feature in actual {
            let message = &feature.properties;
            let new = matches!(message.action.as_str(), "Alert" | "Update");
            if !new || replaced.contains(&message.id) {
                continue;
            }
            let alert = feature.alert();
            // Two messages have been seen under one id, each with its own area.
            match alerts.get_mut(&alert.id) {
                Some(known) => known.take_area(alert),
                None => {
                    alerts.insert(alert.id.clone(), alert);
                }
            }
        }
        let alerts = alerts.into_values().collect();
        let payload = Self { alerts, unreadable, cut_off: pagination.is_some() };
        Ok(Read { payload, issued_at: updated })
    }
}

impl Message {
    fn replaces(&self) -> Vec<String> {
        let named = self.references.iter().map(|one| one.identifier.clone());
        let texts = self.parameters.expired_references.iter();
        let triples = texts.flat_map(|text| text.split_whitespace());
        let expired = triples.filter_map(|triple| triple.split(',').nth(1)).map(str::to_owned);
        named.chain(expired).collect()
    }
}

impl Feature {
    fn alert(self) -> Alert {
        let message = self.properties;
        let mut zones: Vec<_> = message.affected_zones.iter().filter_map(|at| zone(at)).collect();
        if zones.is_empty() {
            zones = message.geocode.ugc;
        }
        Alert {
            starts_at: message.onset.or(message.effective).unwrap_or(message.sent),
            ends_at: message.ends.or(message.expires),
            id: message.id,
            event: message.event,
            sent: message.sent,
            zones,
            outlines: self.geometry.as_ref().map(outlines).unwrap_or_default(),
        }
    }
}

impl Alert {
    /// Whether a place lies in its area; `zones` are the place's own.
    pub fn covers(&self, zones: &[String], latitude: Latitude, longitude: Longitude) -> bool {
        if self.outlines.is_empty() {
            let own = |zone: &String| {
                zones.iter().any(|own| own == zone || own.rsplit('/').next() == Some(zone))
            };
            return self.zones.iter().any(own);
        }
        self.outlines.iter().any(|outline| outline.contains(latitude, longitude))
    }

    /// Whether the hazard is not over yet.
    pub fn is_ahead(&self, now: DateTime<Utc>) -> bool {
        self.ends_at.is_none_or(|ends| ends > now)
    }

    /// Whether it speaks against being out with a sprayer.
    pub fn keeps_out_of_the_field(&self) -> bool {
        OUT_OF_THE_FIELD.contains(&self.event.as_str())
    }

    /// Whether it is worth a line in the digest.
    pub fn is_for_the_digest(&self) -> bool {
        self.keeps_out_of_the_field() || WORTH_KNOWING.contains(&self.event.as_str())
    }

    fn take_area(&mut self, other: Self) {
        self.starts_at = self.starts_at.min(other.starts_at);
        self.ends_at = self.ends_at.zip(other.ends_at).map(|(one, two)| one.max(two));
        // An outline leaves out the zones, so an area that has none must keep the other's out too.
        if self.outlines.is_empty() || other.outlines.is_empty() {
            self.outlines.clear();
        } else {
            self.outlines.extend(other.outlines);
        }
        self.zones.extend(other.zones);
    }
}

/// A zone by its address: kind and code, since a forecast zone and a fire weather zone may share a
/// code and differ on the ground.
pub fn zone(address: &str) -> Option<String> {
    let mut parts = address.rsplit('/');
    let (code, kind) = (parts.next()?, parts.next()?);
    let sound = |part: &str| {
        (1..=16).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_alphanumeric())
    };
    (sound(code) && sound(kind)).then(|| format!("{kind}/{code}"))
}

/// Outer rings of a `GeoJSON` polygon or of several.
fn outlines(geometry: &Value) -> Vec<Polygon> {
    if geometry["type"] != "MultiPolygon" {
        return Polygon::from_geojson(geometry).into_iter().collect();
    }
    let parts = geometry["coordinates"].as_array().map(Vec::as_slice).unwrap_or_default();
    let polygon = |rings: &Value| serde_json::json!({ "type": "Polygon", "coordinates": rings });
    parts.iter().filter_map(|rings| Polygon::from_geojson(&polygon(rings))).collect()
}

#[cfg(test)]
#[path = "alerts_tests.rs"]
mod tests;
