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

/// The histogram of a quantity, the time axis logarithmic as its bins are.
pub fn figure(
    name: &str,
    histogram: &Histogram,
    spread: Option<Spread>,
    limits: [f64; 2],
) -> Markup {
    let bins: Vec<&Bin> = histogram.bins.iter().filter(|bin| bin.count > 0).collect();
    let (Some(first), Some(last)) = (bins.first(), bins.last()) else { return html! {} };
    // Both limits and all values are on the sheet, with a little room around.
    let least = first.from_us.max(0.01).min(limits[0]) * 0.8;
    let most = last.to_us.max(limits[1]) * 1.25;
    let x = |us: f64| {
        let share = (us.max(least) / least).ln() / (most / least).ln();
        LEFT + share * (WIDTH - LEFT - RIGHT)
    };
    let floor = TOP + HEIGHT;
    let peak = bins.iter().map(|bin| bin.count).max().unwrap_or(1).max(1);
    let bar = |count: u64| (count as f64 / peak as f64 * HEIGHT).max(2.5);
    let mut out = Pieces::default();
    // What lies outside the limits is hatched.
    for (from, to) in [(LEFT, x(limits[0])), (x(limits[1]), WIDTH - RIGHT)] {
        out.add(rect(from, TOP, to - from, HEIGHT, "out"));
    }
    let mut axis = format!("M{} {}H{}", n(LEFT), n(floor), n(WIDTH - RIGHT));
    for share in [0.5, 1.0] {
        let y = floor - share * HEIGHT;
        axis += &format!("M{} {}h-4", n(LEFT), n(y));
        let count = (share * peak as f64).round() as u64;
        if share == 1.0 || peak >= 4 {
            out.add(text(LEFT - 7.0, y + 4.0, Anchor::End, "s", &grouped(count)));
        }
    }
    out.add(text(LEFT - 7.0, floor, Anchor::End, "s", "0"));
    for tick in ticks(least, most) {
        axis += &format!("M{} {}v5", n(x(tick)), n(floor));
        out.add(text(x(tick), floor + 17.0, Anchor::Middle, "s", &short(tick)));
    }
    let (mut bars, mut counts) = (String::new(), Pieces::default());
    for (i, bin) in bins.iter().enumerate() {
        let (from, to) = (x(bin.from_us.max(least)), x(bin.to_us));
        let (width, high) = ((to - from - 1.0).max(1.5), bar(bin.count));
        bars +=
            &format!("M{} {}h{}v-{}h-{}z", n(from + 0.5), n(floor), n(width), n(high), n(width));
        let outside = bin.to_us <= limits[0] || bin.from_us >= limits[1];
        if (bins.len() <= COUNTED || outside) && high < HEIGHT - 1.0 {
            let y = floor - high - 4.0;
            // Beside a taller bar the count keeps to its own side.
            let taller = |other: Option<&&Bin>| other.is_some_and(|other| other.count > bin.count);
            let (before, after) =
                (taller(i.checked_sub(1).and_then(|i| bins.get(i))), taller(bins.get(i + 1)));
            let (at, anchor) = match (before, after) {
                (false, true) => (to - 2.0, Anchor::End),
                (true, false) => (from + 2.0, Anchor::Start),
                _ => ((from + to) / 2.0, Anchor::Middle),
            };
            counts.add(text(at, y, anchor, "s halo", &grouped(bin.count)));
        }
    }
    out.add(path(&bars, "solid"));
    out.add(counts.markup());
    out.add(path(&axis, "ink"));
    for (limit, anchor, words) in
        [(limits[0], Anchor::Start, "least"), (limits[1], Anchor::End, "most")]
    {
        let at = x(limit);
        out.add(path(&format!("M{} {}V{}", n(at), n(TOP - 14.0), n(floor)), "limit"));
        let gap = if anchor == Anchor::Start { 4.0 } else { -4.0 };
        let words = format!("{words} {}", short(limit));
        out.add(text(at + gap, TOP - 5.0, anchor, "f", &words));
    }
    if let Some(spread) = spread {
        let at = n(x(spread.median_us));
        out.add(path(&format!("M{at} {}l-4 8h8z", n(floor + 22.0)), "solid"));
        let words = format!("median {}", time(spread.median_us));
        out.add(text(x(spread.median_us), floor + 42.0, Anchor::Middle, "f", &words));
    }
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
        height: floor + 48.0,
        body: out.markup(),
    };
    picture.figure(html! {
        p { "How many pulses by " (name) ", on a logarithmic scale; hatched is outside the usual limits." }
    })
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
