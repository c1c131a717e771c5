//! CSV rows that know where each cell stands in the file.

use super::FileDay;
use chrono::NaiveDate;
use furrowbell_engine::units::OutOfRange;

/// A fault with its line and column.
pub(super) type Placed = (u64, usize, CellFault);

/// What is wrong with a cell, and what is allowed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CellFault {
    /// The file has no rows at all.
    #[error("the file is empty; allowed are daily rows under a header, or GHCN-Daily CSV")]
    Empty,
    /// A column name that means nothing.
    #[error("column `{found}` is not known; allowed are {allowed}")]
    Column {
        /// The name.
        found: String,
        /// The names that are read.
        allowed: String,
    },
    /// Two columns for one quantity.
    #[error("a second column for {0}; keep one")]
    Twice(&'static str),
    /// A column that must be there.
    #[error("the header has no column `{0}`")]
    Absent(&'static str),
    /// A header that names no weather.
    #[error("the header names no weather; allowed are {0}")]
    Nothing(String),
    /// More or fewer cells than the first line has.
    #[error("the row has {found} cells, the first line has {wanted}")]
    Cells {
        /// Cells in this row.
        found: usize,
        /// Cells in the first.
        wanted: usize,
    },
    /// Not a date.
    #[error("`{found}` is not a date; allowed is {allowed}")]
    Date {
        /// The cell.
        found: String,
        /// The form that is read.
        allowed: &'static str,
    },
    /// A date again, or before the one above.
    #[error("{found} does not come after {above}; rows go by date, each date once")]
    Order {
        /// Date of this row.
        found: NaiveDate,
        /// Date of the row above.
        above: NaiveDate,
    },
    /// Not a number.
    #[error("`{found}` is not a value; allowed are {allowed}")]
    Value {
        /// The cell.
        found: String,
        /// What is read.
        allowed: &'static str,
    },
    /// A number no instrument could have shown.
    #[error(transparent)]
    Range(#[from] OutOfRange),
    /// The day's high below its low.
    #[error("high {high:.1} C is below low {low:.1} C")]
    Crossed {
        /// The high, C.
        high: f64,
        /// The low, C.
        low: f64,
    },
    /// A second station.
    #[error("station `{found}` after `{first}`; a file holds one station")]
    Station {
        /// This row's.
        found: String,
        /// The first row's.
        first: String,
    },
    /// One element of one day for the second time.
    #[error("{element} of {date} for the second time")]
    Again {
        /// The element.
        element: String,
        /// The day.
        date: NaiveDate,
    },
    /// An element without its quality flags.
    #[error("{element} has no column `{attributes}`; without its flags a bad value cannot be told")]
    Flagless {
        /// The element.
        element: &'static str,
        /// The column that is wanted.
        attributes: String,
    },
    /// Not CSV.
    #[error("not CSV: {0}")]
    Csv(String),
}

/// All rows of a file.
pub(super) struct Rows<'a> {
    text: &'a str,
    records: Vec<csv::StringRecord>,
    /// Cells in the first line.
    wanted: usize,
}

/// One row.
#[derive(Clone, Copy)]
pub(super) struct Row<'a> {
    text: &'a str,
    record: &'a csv::StringRecord,
}

impl<'a> Rows<'a> {
    pub(super) fn new(text: &'a str) -> Result<Self, Placed> {
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let rows: Vec<_> = reader.records().collect::<Result<_, _>>().map_err(|error| {
            let line = error.position().map_or(1, csv::Position::line);
            (line, 1, CellFault::Csv(error.to_string()))
        })?;
        let Some(wanted) = rows.first().map(csv::StringRecord::len) else {
            return Err((1, 1, CellFault::Empty));
        };
        Ok(Self { text, records: rows, wanted })
    }

    /// Takes in every row past the first `skipped` and gives the faults of those that `take`, or
    /// their number of cells, refuses.
    pub(super) fn refused_by(
        &self,
        skipped: usize,
        mut take: impl FnMut(Row<'_>) -> Result<(), Placed>,
    ) -> Vec<Placed> {
        let whole = |row: Row<'_>| {
            let (found, wanted) = (row.record.len(), self.wanted);
            let fault = || row.fault(found.min(wanted), CellFault::Cells { found, wanted });
            if found == wanted { Ok(()) } else { Err(fault()) }
        };
        let rows = self.all().skip(skipped);
        rows.filter_map(|row| whole(row).and_then(|()| take(row)).err()).collect()
    }

    /// Rows past the first `skipped`.
    pub(super) fn count(&self, skipped: usize) -> usize {
        self.records.len().saturating_sub(skipped)
    }

    fn all(&self) -> impl Iterator<Item = Row<'_>> {
        self.records.iter().map(|record| Row { text: self.text, record })
    }

    /// The first line.
    pub(super) fn head(&self) -> Row<'_> {
        Row { text: self.text, record: &self.records[0] }
    }
}

impl<'a> Row<'a> {
    pub(super) fn cells(self) -> impl Iterator<Item = &'a str> {
        self.record.iter()
    }

    /// A cell; blank past the end.
    pub(super) fn cell(self, at: usize) -> &'a str {
        self.record.get(at).unwrap_or_default()
    }

    /// Places a fault at a cell.
    pub(super) fn fault(self, at: usize, fault: impl Into<CellFault>) -> Placed {
        let Some(position) = self.record.position() else { return (1, 1, fault.into()) };
        let start = usize::try_from(position.byte()).ok();
        let text = start.and_then(|start| self.text.get(start..)).unwrap_or_default();
        // The reader counts blank lines above a row as part of it.
        let row = text.trim_start_matches(['\r', '\n']);
        let blank = text[..text.len() - row.len()].matches('\n').count();
        let line = position.line() + u64::try_from(blank).unwrap_or_default();
        (line, column_of(row, at), fault.into())
    }

    /// Reads a date in `format`, which `allowed` says in words.
    pub(super) fn date(
        self,
        at: usize,
        format: &str,
        allowed: &'static str,
    ) -> Result<NaiveDate, Placed> {
        NaiveDate::parse_from_str(self.cell(at), format).map_err(|_| {
            self.fault(at, CellFault::Date { found: self.cell(at).to_owned(), allowed })
        })
    }

    /// Checks a finished day against itself and the day above it.
    pub(super) fn check(
        self,
        at: usize,
        day: &FileDay,
        above: Option<&FileDay>,
    ) -> Result<(), Placed> {
        if let Some(above) = above.filter(|above| above.date >= day.date) {
            return Err(self.fault(at, CellFault::Order { found: day.date, above: above.date }));
        }
        day.crossed().map_err(|fault| self.fault(at, fault))
    }
}

/// Where the cell numbered `at` (from 0) begins in its row, in characters from 1.
fn column_of(row: &str, at: usize) -> usize {
    let mut quoted = false;
    let mut commas = 0;
    let mut place = 1;
    for character in row.chars().take_while(|c| !matches!(c, '\n' | '\r')) {
        if commas == at {
            break;
        }
        match character {
            '"' => quoted = !quoted,
            ',' if !quoted => commas += 1,
            _ => {}
        }
        place += 1;
    }
    place
}
