//! A sheet of the line's health: how widths and intervals are distributed,
//! with the usual limits.

use holdover_signal::{Bin, Histogram, Spread};
use maud::{Markup, html};

use super::sheet::grouped;
use super::svg::{Anchor, Picture, Pieces, n, path, rect, text};
use crate::formats::time;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 150.0;
const LEFT: f64 = 44.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 30.0;

/// Bars with their count over them, where there are few enough to read it.
const COUNTED: usize = 18;

/// Where the baseline of the bars is.
const FLOOR: f64 = TOP + HEIGHT;

/// The histogram of a quantity, the time axis logarithmic as its bins are.
pub fn figure(
    name: &str,
    histogram: &Histogram,
    spread: Option<Spread>,
    limits: [f64; 2],
) -> Markup {
    let bins: Vec<&Bin> = histogram.bins.iter().filter(|bin| bin.count > 0).collect();
    let (Some(first), Some(last)) = (bins.first(), bins.last()) else { return html! {} };
    let sheet = Sheet {
        // Both limits and all values are on the sheet, with a little room around.
        least: first.from_us.max(0.01).min(limits[0]) * 0.8,
        most: last.to_us.max(limits[1]) * 1.25,
        peak: bins.iter().map(|bin| bin.count).max().unwrap_or(1).max(1),
        limits,
    };
    let mut out = Pieces::default();
    // What lies outside the limits is hatched.
    for (from, to) in [(LEFT, sheet.x(limits[0])), (sheet.x(limits[1]), WIDTH - RIGHT)] {
        out.add(rect(from, TOP, to - from, HEIGHT, "out"));
    }
    let axis = sheet.axis(&mut out);
    sheet.bars(&mut out, &bins);
    out.add(path(&axis, "ink"));
    sheet.marks(&mut out, spread);
    let told: Vec<String> = bins
        .iter()
        .map(|bin| format!("{} to {}: {}", time(bin.from_us), time(bin.to_us), bin.count))
        .collect();
    let picture = Picture {
        title: format!("How {name}s are distributed"),
        desc: format!(
            "Usual limits {} to {}. {}.",
            time(limits[0]),
            time(limits[1]),
            told.join("; ")
        ),
        width: WIDTH,
        height: FLOOR + 48.0,
        body: out.markup(),
    };
    picture.figure(html! {
        p { "How many pulses by " (name) ", on a logarithmic scale; hatched is outside the usual limits." }
    })
}

/// What the axes span, times in µs.
struct Sheet {
    least: f64,
    most: f64,
    /// The count of the highest bar.
    peak: u64,
    limits: [f64; 2],
}

impl Sheet {
    fn x(&self, us: f64) -> f64 {
        let share = (us.max(self.least) / self.least).ln() / (self.most / self.least).ln();
        LEFT + share * (WIDTH - LEFT - RIGHT)
    }

    /// Numbers along both axes; the axes themselves come over the bars.
    fn axis(&self, out: &mut Pieces) -> String {
        let mut axis = format!("M{} {}H{}", n(LEFT), n(FLOOR), n(WIDTH - RIGHT));
        for share in [0.5, 1.0] {
            let y = FLOOR - share * HEIGHT;
            axis += &format!("M{} {}h-4", n(LEFT), n(y));
            let count = (share * self.peak as f64).round() as u64;
            if share == 1.0 || self.peak >= 4 {
                out.add(text(LEFT - 7.0, y + 4.0, Anchor::End, "s", &grouped(count)));
            }
        }
        out.add(text(LEFT - 7.0, FLOOR, Anchor::End, "s", "0"));
        for tick in ticks(self.least, self.most) {
            axis += &format!("M{} {}v5", n(self.x(tick)), n(FLOOR));
            out.add(text(self.x(tick), FLOOR + 17.0, Anchor::Middle, "s", &short(tick)));
        }
        axis
    }

    fn bars(&self, out: &mut Pieces, bins: &[&Bin]) {
        let (mut bars, mut counts) = (String::new(), Pieces::default());
        for (i, bin) in bins.iter().enumerate() {
            let (from, to) = (self.x(bin.from_us.max(self.least)), self.x(bin.to_us));
            let width = n((to - from - 1.0).max(1.5));
            let high = (bin.count as f64 / self.peak as f64 * HEIGHT).max(2.5);
            bars += &format!("M{} {}h{width}v-{}h-{width}z", n(from + 0.5), n(FLOOR), n(high));
            let outside = bin.to_us <= self.limits[0] || bin.from_us >= self.limits[1];
            if (bins.len() > COUNTED && !outside) || high >= HEIGHT - 1.0 {
                continue;
            }
            // Beside a taller bar the count keeps to its own side.
            let taller = |other: Option<&&Bin>| other.is_some_and(|other| other.count > bin.count);
            let before = taller(i.checked_sub(1).and_then(|i| bins.get(i)));
            let (at, anchor) = match (before, taller(bins.get(i + 1))) {
                (false, true) => (to - 2.0, Anchor::End),
                (true, false) => (from + 2.0, Anchor::Start),
                _ => ((from + to) / 2.0, Anchor::Middle),
            };
            counts.add(text(at, FLOOR - high - 4.0, anchor, "s halo", &grouped(bin.count)));
        }
        out.add(path(&bars, "solid"));
        out.add(counts.markup());
    }

    /// The limits, and the median.
    fn marks(&self, out: &mut Pieces, spread: Option<Spread>) {
        let [least, most] = self.limits;
        for (limit, anchor, words) in [(least, Anchor::Start, "least"), (most, Anchor::End, "most")]
        {
            let at = self.x(limit);
            out.add(path(&format!("M{} {}V{}", n(at), n(TOP - 14.0), n(FLOOR)), "limit"));
            let gap = if anchor == Anchor::Start { 4.0 } else { -4.0 };
            let words = format!("{words} {}", short(limit));
            out.add(text(at + gap, TOP - 5.0, anchor, "f", &words));
        }
        if let Some(spread) = spread {
            let at = self.x(spread.median_us);
            out.add(path(&format!("M{} {}l-4 8h8z", n(at), n(FLOOR + 22.0)), "solid"));
            let words = format!("median {}", time(spread.median_us));
            out.add(text(at, FLOOR + 42.0, Anchor::Middle, "f", &words));
        }
    }
}

/// 1, 2 and 5 of each decade.
fn ticks(least: f64, most: f64) -> Vec<f64> {
    let decades = least.log10().floor() as i32..=most.log10().ceil() as i32;
    let few = most / least > 2000.0;
    decades
        .flat_map(|decade| [1.0, 2.0, 5.0].map(|step| (step, step * 10f64.powi(decade))))
        .filter(|(step, _)| *step == 1.0 || !few)
        .map(|(_, tick)| tick)
        .filter(|tick| (least..=most).contains(tick))
        .collect()
}

/// A round time in few characters.
fn short(us: f64) -> String {
    match us {
        us if us >= 1e6 => format!("{} s", n(us / 1e6)),
        us if us >= 1e3 => format!("{} ms", n(us / 1e3)),
        us if us >= 1.0 => format!("{} µs", n(us)),
        us => format!("{} ns", n(us * 1e3)),
    }
}
