//! The publications behind the post limits, each with the year it came out.

use super::super::sources;
use crate::reference::Source;

/// A publication with its year, where it gives one.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dated {
    pub source: Source,
    pub year: Option<u16>,
}

const fn of(source: Source, year: u16) -> Dated {
    Dated { source, year: Some(year) }
}

/// A page without a year, or wording recalled from many labels.
const fn undated(source: Source) -> Dated {
    Dated { source, year: None }
}

pub(super) const GLUFOSINATE: Dated = undated(sources::GLUFOSINATE);
pub(super) const HARTZLER: Dated = of(sources::HARTZLER, 2014);
pub(super) const ILLINOIS_2002: Dated = of(sources::ILLINOIS_2002, 2002);
pub(super) const ILLINOIS_2009: Dated = of(sources::ILLINOIS_2009, 2009);
pub(super) const ILLINOIS_2012: Dated = of(sources::ILLINOIS_2012, 2012);
pub(super) const IOWA_2005: Dated = of(sources::IOWA_2005, 2005);
pub(super) const LABEL_WORDING: Dated = undated(sources::LABEL_WORDING);
pub(super) const MARYLAND: Dated = of(sources::MARYLAND, 2025);
pub(super) const MICHIGAN: Dated = undated(sources::MICHIGAN);
pub(super) const MINNESOTA: Dated = of(sources::MINNESOTA, 2024);
pub(super) const NDSU_2006: Dated = of(sources::NDSU_2006, 2006);
pub(super) const NDSU_2021: Dated = of(sources::NDSU_2021, 2021);
pub(super) const NEBRASKA_RAINFAST: Dated = of(sources::NEBRASKA_RAINFAST, 2016);
pub(super) const PENN_POST: Dated = undated(sources::PENN_POST);
pub(super) const PNW_CORN_POST: Dated = undated(sources::PNW_CORN_POST);
pub(super) const PNW_CORN_RESIDUAL: Dated = undated(sources::PNW_CORN_RESIDUAL);
pub(super) const SDSU_DICAMBA: Dated = undated(sources::SDSU_DICAMBA);
pub(super) const DELAWARE: Dated = undated(Source::published(
    "University of Delaware Cooperative Extension, Weekly Crop Update, on dicamba with \
     diflufenzopyr in corn",
));
