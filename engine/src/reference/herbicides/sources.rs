//! The publications that the herbicide rows cite.

use crate::reference::{Source, Standing};

/// A number read in the publication named.
pub(super) const fn read(cite: &'static str) -> Source {
    Source { cite, standing: Standing::Published }
}

/// A number recalled, as the work named would have it.
pub(super) const fn recalled(cite: &'static str) -> Source {
    Source { cite, standing: Standing::FromMemory }
}

pub(super) const HANDBOOK: Source =
    recalled("Weed Science Society of America, Herbicide Handbook, 10th ed., 2014");
pub(super) const LABEL_WORDING: Source = recalled("wording common to labels of the ingredient");
pub(super) const PURDUE_LABELS: Source = read(
    "Purdue University Extension, Pest & Crop newsletter, \"Soil Applied Herbicides and Rainfall \
     for Activation\", review of labels",
);
pub(super) const PURDUE_RAIN: Source = read(
    "Purdue University Extension, Pest & Crop newsletter, \"Residual Herbicides: Precipitation \
     Requirements for Activation and the Likelihood to Receive It\"",
);
pub(super) const CLEMSON: Source = read(
    "Clemson Cooperative Extension, \"Water Requirements for Activating Preemergence Herbicides\", \
     2021, Table 1",
);
pub(super) const NDSU_FATE: Source = read(
    "North Dakota State University, Crop & Pest Report, \"Fate of Soil-Applied Herbicides\", \
     26 May 2016",
);
pub(super) const STEWART: Source = read(
    "Stewart, Soltani, Nurse, Hamill and Sikkema, \"Precipitation Influences Pre- and \
     Post-Emergence Herbicide Efficacy in Corn\", Am. J. Plant Sci. 3:1193-1204, 2012",
);
pub(super) const LANDAU: Source = read(
    "University of Illinois, press summary of Landau, Williams and others (252 weather \
     environments, 25 years), 2021",
);
pub(super) const PNW_FLAX: Source = read(
    "Pacific Northwest Weed Management Handbook, Flax, \"Preemergence, Annual Grasses and \
     Broadleaf Weeds\"",
);
pub(super) const PNW_EDAMAME: Source =
    read("Pacific Northwest Weed Management Handbook, Edamame, \"Preplant, Preemergence\"");
pub(super) const PNW_SNAP_BEAN: Source =
    read("Pacific Northwest Weed Management Handbook, Snap Bean, \"Preemergence, Soil-Applied\"");
pub(super) const PNW_CORN_RESIDUAL: Source = read(
    "Pacific Northwest Weed Management Handbook, Sweet Corn, \"Postemergence for Soil Residual\"",
);
pub(super) const PNW_CORN_POST: Source =
    read("Pacific Northwest Weed Management Handbook, Sweet Corn, \"Postemergence\"");
pub(super) const HAGER_DRY: Source =
    read("Hager, University of Illinois, farmdoc, \"Dry Soils and Soil-Applied Herbicides\"");
pub(super) const PENN_REACH: Source =
    read("Lingenfelter, Penn State Extension, advice on residual herbicides that got no rain");
pub(super) const ARKANSAS_DRY: Source = read(
    "Norsworthy, University of Arkansas, greenhouse studies of herbicides on dry soil, in \"Soil \
     residuals: how soon rainfall?\", Delta Farm Press",
);
pub(super) const MARYLAND: Source = read(
    "Schug and Vollmer, University of Maryland Extension, \"Mind the Height: Postemergence \
     Herbicide Cutoffs in Corn\", 2025, Table 1",
);
pub(super) const MINNESOTA: Source = read(
    "Dhanda, Mathew and Sarangi, University of Minnesota Extension, \"Soybean growth stage cutoffs \
     for postemergence herbicide application\", 2024, Table 1",
);
pub(super) const MICHIGAN: Source = read(
    "Michigan State University Extension, \"Thinking about making a postemergence herbicide \
     application in soybeans approaching flowering?\"",
);
pub(super) const ILLINOIS_2012: Source = read(
    "Hager, University of Illinois, the Bulletin no. 9 art. 2, \"Precautions with Postemergence \
     Corn Herbicides\", 1 June 2012",
);
pub(super) const ILLINOIS_2002: Source = read(
    "University of Illinois, Pest Management & Crop Development Bulletin, \"Corn Stage Is Critical \
     for Postemergence Herbicide Applications\", 31 May 2002",
);
pub(super) const ILLINOIS_2009: Source = read(
    "Hager, University of Illinois, the Bulletin no. 18 art. 7, \"Preharvest Intervals for \
     Postemergence Soybean Herbicides\", 24 July 2009",
);
pub(super) const NDSU_2006: Source =
    read("North Dakota State University, Crop & Pest Report, weeds section, 29 June 2006");
pub(super) const NDSU_2021: Source = read(
    "Ikley, North Dakota State University, Crop & Pest Report, \"Growth Stage Cutoffs for \
     Herbicide Applications in Corn\", 10 June 2021",
);
pub(super) const PENN_POST: Source = read(
    "Lingenfelter, Penn State Extension, \"Post Herbicide Considerations: Growth Stages and Hot \
     Weather\"",
);
pub(super) const HARTZLER: Source = read(
    "Hartzler, Iowa State University, Integrated Crop Management News, \"Can You Afford to Skip \
     the Residual?\", 2014",
);
pub(super) const IOWA_2005: Source = read(
    "Iowa State University, Integrated Crop Management, 16 May 2005, table of soil-applied corn \
     herbicides used postemergence",
);
pub(super) const SDSU_DICAMBA: Source = read(
    "South Dakota State University Extension, \"While Illegal in Tolerant Soybean, Dicamba Can \
     Still Be Applied to Other Crops\"",
);
pub(super) const GLUFOSINATE: Source = read(
    "Singh, Sarangi, Stahl, Ikley and Peters, University of Minnesota and North Dakota State \
     University, best practices for glufosinate, Minnesota Crop News",
);
pub(super) const NEBRASKA_RAINFAST: Source = read(
    "University of Nebraska-Lincoln, CropWatch, \"How Cool, Rainy Weather Affects Burndown \
     Herbicide Efficacy\", 2016, Table 1",
);
pub(super) const WESTRA_2015: Source = read(
    "Westra, Shaner, Barbarick and Khosla, \"Evaluation of sorption coefficients for \
     pyroxasulfone, S-metolachlor, and dimethenamid-p\", Air Soil Water Res. 8, 2015",
);
pub(super) const USGS: Source =
    read("US Geological Survey, Circular 1291, Appendix 2 (S-metolachlor as metolachlor)");
pub(super) const SHANER: Source = read(
    "Shaner, Weed Technol. 26:633, 2012 (pendimethalin and sulfentrazone under irrigation: \
     pendimethalin went fast for three to five days, then slowly; sulfentrazone did not)",
);
pub(super) const LONG: Source = read(
    "Long et al., J. Soil Sci. Plant Nutr. 14, 2014: S-metolachlor, 64.8 d at 10 C and 23.7 d at \
     35 C",
);
pub(super) const MCDOWELL: Source =
    read("McDowell et al., Weed Res. 37:381, 1997: flumetsulam, 88 d at 15 C and 30 d at 30 C");
pub(super) const MINNESOTA_NOTES: Source = read(
    "University of Minnesota Extension, Strategic Farming Field Notes on post-emergence weed \
     control: ten months from fomesafen to corn",
);
pub(super) const DRY_GROUP_14: Source = read(
    "Weed Sci., field trials of 1992 and 1993 with the group 14 compound UCC-C4243: half lost on \
     dry soil in 17.9 d, in a straight line",
);
pub(super) const SILVA: Source = read(
    "Silva et al., Weed Technol. 37, 2023: 18 pre treatments in four site-years, 68, 78 and 81 % \
     with one, two and three sites of action",
);
pub(super) const STROM: Source = read(
    "Strom et al., Weed Technol. 36, 2022: waterhemp 28 d after group 15, 81 to 88 % where \
     sensitive, 61 to 76 % where resistant",
);
