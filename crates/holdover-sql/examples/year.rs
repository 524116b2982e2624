//! A year of invented reads of 200 invented canal-side mills turned into studios, as
//! CSV on standard output, in the order of time:
//!
//!     cargo run --release --example year -- 1000000 > year.csv
//!
//! Most mills have 26-bit cards of a site code of their own, some 34-bit ones, some
//! serial numbers; some have bought a second kind. One reader in 25 has its two lines
//! swapped, and one read in 500 is noise.

use std::io::{self, BufWriter, Write};

use fastrand::Rng;
use holdover::bits::{Capture, Wide};
use holdover::decode::Reading;
use holdover::layout::{Layout, builtin};

/// Seconds of 2025.
const YEAR: u64 = 365 * 24 * 60 * 60;

/// The first second of 2025, after 1970.
const FROM: u64 = 1_735_689_600;

/// A mill: its doors, which are wired the wrong way, and its cards.
struct Mill {
    name: String,
    doors: Vec<(String, bool)>,
    cards: Vec<Capture>,
}

/// A card of a layout, of that site code where it has any.
fn card(layout: &Layout, site: u64, rng: &mut Rng) -> Capture {
    let mut wide = Wide(std::array::from_fn(|_| rng.u64(..))) & Wide::ones(layout.length());
    if let Some(span) = layout.site_span() {
        let bits = span.len();
        let offsets = span.offsets().enumerate();
        offsets.for_each(|(i, at)| wide.set(at, bits - i <= 64 && site >> (bits - 1 - i) & 1 == 1));
    }
    Capture::from_wide(layout.system().complete(wide), layout.length()).expect("a layout's length")
}

fn mill(number: usize, rng: &mut Rng) -> Mill {
    let kinds = ["std26", "std26", "std26", "std26", "site34", "site34", "serial32"];
    let kind = |rng: &mut Rng| {
        let id = kinds[rng.usize(..kinds.len())];
        builtin().layout(id).expect("a layout that ships")
    };
    let mut cards = Vec::new();
    for _ in 0..if rng.u8(..4) == 0 { 2 } else { 1 } {
        let (layout, site) = (kind(rng), rng.u64(1..256));
        cards.extend((0..rng.usize(30..300)).map(|_| card(layout, site, rng)));
    }
    let places = ["wharf", "yard", "loft", "weir", "dye house", "lift", "gate", "boiler house"];
    let doors = places[..rng.usize(2..=places.len())].iter();
    let doors = doors.map(|place| ((*place).to_owned(), rng.u8(..25) == 0)).collect();
    Mill { name: format!("mill {number:03}"), doors, cards }
}

/// Day and time, as ISO 8601 has them, of a second of 2025.
fn time(second: u64) -> String {
    let months = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let (mut day, of_day) = ((second - FROM) / 86_400, second % 86_400);
    let mut month = 0;
    while day >= months[month] {
        day -= months[month];
        month += 1;
    }
    let (hour, minute, second) = (of_day / 3600, of_day / 60 % 60, of_day % 60);
    format!("2025-{:02}-{:02}T{hour:02}:{minute:02}:{second:02}", month + 1, day + 1)
}

fn main() -> io::Result<()> {
    let mut words = std::env::args().skip(1);
    let reads: u64 = words.next().and_then(|word| word.parse().ok()).unwrap_or(1_000_000);
    let mut rng = Rng::with_seed(words.next().and_then(|word| word.parse().ok()).unwrap_or(1));
    let mills: Vec<Mill> = (1..=200).map(|number| mill(number, &mut rng)).collect();
    let mut out = BufWriter::with_capacity(1 << 20, io::stdout().lock());
    writeln!(out, "time,building,door,bits")?;
    for read in 0..reads {
        let mill = &mills[rng.usize(..mills.len())];
        let (door, swapped) = &mill.doors[rng.usize(..mill.doors.len())];
        let mut capture = mill.cards[rng.usize(..mill.cards.len())];
        if rng.u16(..500) == 0 {
            let wide = Wide(std::array::from_fn(|_| rng.u64(..)));
            capture = Capture::from_wide(wide & Wide::ones(capture.len()), capture.len())
                .expect("the same length");
        }
        if *swapped {
            capture = Reading::LinesSwapped.capture_of(&capture, false).unwrap_or(capture);
        }
        let second = FROM + (read as u128 * u128::from(YEAR) / u128::from(reads)) as u64;
        writeln!(out, "{},{},{door},{capture}", time(second), mill.name)?;
    }
    out.flush()
}
