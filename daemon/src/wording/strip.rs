//! The week's deadlines as a small picture: a column a day, a block a deadline, the dark ones on the
//! call list. The days stand under it as text, so that they stay sharp and in the reader's language.

use super::digest::{DigestInput, Due};
use super::digest_view::{Column, Strip};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{NaiveDate, TimeDelta};
use std::collections::BTreeSet;

/// Size of the picture, pixels; it is shown at half of that.
const COLUMN: usize = 144;
const HEIGHT: usize = 240;
/// Highest block, pixels.
const BLOCK: usize = 40;
/// Blocks lower than this are drawn without a gap, pixels.
const GAPLESS: usize = 10;
const GAP: usize = 4;
/// Free room on each side of a column, pixels.
const MARGIN: usize = 24;

/// Ground, base line, a deadline, a deadline on the call list.
const COLOURS: [[u8; 3]; 4] =
    [[0xff, 0xff, 0xff], [0x1c, 0x1f, 0x1a], [0x8f, 0xb0, 0xd6], [0x8a, 0x2b, 0x1a]];
const LINE: u8 = 1;
const DUE: u8 = 2;
const CALLED: u8 = 3;

/// What is due on one day.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Count {
    called: usize,
    others: usize,
}

impl Count {
    const fn all(self) -> usize {
        self.called + self.others
    }
}

/// The strip of what is due, `None` when nothing is. The first column holds what is late; `label`
/// names a day, `None` standing for the late ones.
pub(super) fn of(
    input: &DigestInput,
    due: &[&Due],
    days: i64,
    label: impl Fn(Option<NaiveDate>) -> String,
) -> Option<Strip> {
    let called: BTreeSet<_> =
        input.calls.iter().flat_map(|call| &call.why).map(super::digest_writer::subject).collect();
    let mut counts = vec![Count::default(); usize::try_from(days + 2).ok()?];
    for one in due {
        let ahead = one.act_by.map(|date| (date - input.date).num_days())?;
        let at = usize::try_from((ahead + 1).clamp(0, days + 1)).ok()?;
        if called.contains(&super::digest_writer::subject(one)) {
            counts[at].called += 1;
        } else {
            counts[at].others += 1;
        }
    }
    if counts.iter().all(|count| count.all() == 0) {
        return None;
    }
    let day = |at: usize| {
        let ahead = i64::try_from(at).ok()?.checked_sub(1).filter(|ahead| *ahead >= 0)?;
        Some(input.date + TimeDelta::days(ahead))
    };
    let column = |(at, count): (usize, &Count)| Column {
        label: label(day(at)),
        count: Some(count.all()).filter(|all| *all > 0).map(|all| all.to_string()),
    };
    let columns: Vec<Column> = counts.iter().enumerate().map(column).collect();
    Some(Strip {
        png: STANDARD.encode(png(&counts)?),
        columns,
        alt: String::new(),
        legend: String::new(),
    })
}

/// Draws the counts; `None` only if the picture could not be encoded.
fn png(counts: &[Count]) -> Option<Vec<u8>> {
    let width = counts.len() * COLUMN;
    let pixels = drawn(counts);
    let mut bytes = Vec::new();
    let mut encoder =
        png::Encoder::new(&mut bytes, u32::try_from(width).ok()?, u32::try_from(HEIGHT).ok()?);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(COLOURS.concat());
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(&pixels).ok()?;
    writer.finish().ok()?;
    Some(bytes)
}

/// The picture row by row, one byte a pixel. The line is the lowest thing in it.
fn drawn(counts: &[Count]) -> Vec<u8> {
    let width = counts.len() * COLUMN;
    let mut pixels = vec![0; width * HEIGHT];
    let mut fill = |left: usize, right: usize, top: usize, bottom: usize, colour: u8| {
        for row in top..bottom {
            pixels[row * width + left..row * width + right].fill(colour);
        }
    };
    let base = HEIGHT - GAP;
    fill(0, width, base, HEIGHT, LINE);
    let most = counts.iter().map(|count| count.all()).max().unwrap_or_default().max(1);
    let block = (base / most).clamp(1, BLOCK);
    let gap = if block < GAPLESS { 0 } else { GAP };
    for (at, count) in counts.iter().enumerate() {
        let (left, right) = (at * COLUMN + MARGIN, (at + 1) * COLUMN - MARGIN);
        for number in 0..count.all().min(base / block) {
            let colour = if number < count.called { CALLED } else { DUE };
            let bottom = base - number * block;
            fill(left, right, bottom - block, bottom - gap, colour);
        }
    }
    pixels
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pixels_of(png: &[u8]) -> (usize, Vec<u8>) {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(png));
        decoder.set_transformations(png::Transformations::IDENTITY);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        (info.width as usize, pixels)
    }

    #[test]
    fn a_block_stands_for_a_deadline_and_the_dark_ones_are_at_the_bottom() {
        let counts = [Count { called: 1, others: 2 }, Count::default()];
        let (width, pixels) = pixels_of(&png(&counts).unwrap());
        assert_eq!(width, 2 * COLUMN);
        let up = |column: usize| {
            let middle = column * COLUMN + COLUMN / 2;
            let mut seen: Vec<u8> =
                (0..HEIGHT).rev().map(|row| pixels[row * width + middle]).collect();
            seen.dedup();
            seen
        };
        assert_eq!(up(0), [LINE, 0, CALLED, 0, DUE, 0, DUE, 0]);
        assert_eq!(up(1), [LINE, 0]);
    }

    proptest! {
        #[test]
        fn a_picture_stays_small_and_loses_no_day(
            counts in proptest::collection::vec((0_usize..700, 0_usize..700), 9)
        ) {
            let counts: Vec<Count> =
                counts.into_iter().map(|(called, others)| Count { called, others }).collect();
            let bytes = png(&counts).unwrap();
            prop_assert!(bytes.len() < 20_000, "{} bytes", bytes.len());
            let (width, pixels) = pixels_of(&bytes);
            for (at, count) in counts.iter().enumerate().filter(|(_, count)| count.all() > 0) {
                let middle = at * COLUMN + COLUMN / 2;
                let coloured = pixels.iter().skip(middle).step_by(width).any(|pixel| *pixel > LINE);
                prop_assert!(coloured, "{count:?}");
            }
        }
    }
}
