//! Times: inside this crate everything is whole nanoseconds, outside it is
//! microseconds.

/// The latest time held, in ns: a quarter of the range, so that differences
/// and limits added to times cannot overflow. About 73 years.
pub(crate) const LATEST: i64 = i64::MAX / 4;

/// A time or a difference, in µs.
pub(crate) fn micros(nanos: i64) -> f64 {
    nanos as f64 / 1000.0
}

/// A limit given in µs, in ns.
pub(crate) fn nanos(micros: f64) -> i64 {
    // Float-to-integer casts saturate, and NaN becomes 0.
    ((micros * 1000.0).round() as i64).clamp(-LATEST, LATEST)
}

/// A unit of time, as a file's heading or timescale names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum TimeUnit {
    /// s
    Seconds,
    /// ms
    Millis,
    /// µs
    Micros,
    /// ns
    Nanos,
    /// ps
    Picos,
    /// fs
    Femtos,
}

impl TimeUnit {
    /// The unit a word names: `s`, `ms`, `us` or `µs`, `ns`, `ps`, `fs`, or
    /// written out.
    pub fn named(word: &str) -> Option<TimeUnit> {
        Some(match word.to_lowercase().as_str() {
            "s" | "sec" | "secs" | "second" | "seconds" => TimeUnit::Seconds,
            "ms" | "msec" | "milli" | "millis" | "millisecond" | "milliseconds" => TimeUnit::Millis,
            // Both code points that print as µ occur in practice.
            "us" | "\u{b5}s" | "\u{3bc}s" | "usec" | "micro" | "micros" | "microsecond"
            | "microseconds" => TimeUnit::Micros,
            "ns" | "nsec" | "nano" | "nanos" | "nanosecond" | "nanoseconds" => TimeUnit::Nanos,
            "ps" | "picosecond" | "picoseconds" => TimeUnit::Picos,
            "fs" | "femtosecond" | "femtoseconds" => TimeUnit::Femtos,
            _ => return None,
        })
    }

    /// The short name, in ASCII: `s`, `ms`, `us`, `ns`, `ps`, `fs`.
    pub fn name(self) -> &'static str {
        match self {
            TimeUnit::Seconds => "s",
            TimeUnit::Millis => "ms",
            TimeUnit::Micros => "us",
            TimeUnit::Nanos => "ns",
            TimeUnit::Picos => "ps",
            TimeUnit::Femtos => "fs",
        }
    }

    /// The power of ten, in seconds.
    pub(crate) fn exponent(self) -> i32 {
        match self {
            TimeUnit::Seconds => 0,
            TimeUnit::Millis => -3,
            TimeUnit::Micros => -6,
            TimeUnit::Nanos => -9,
            TimeUnit::Picos => -12,
            TimeUnit::Femtos => -15,
        }
    }
}

/// How long a tick is: a fraction of nanoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Scale {
    /// Numerator, in ns.
    num: u64,
    /// Denominator.
    den: u64,
}

impl Scale {
    /// `multiple` of a unit; `None` where it is 0 or over what a tick can be.
    pub(crate) fn new(multiple: u64, unit: TimeUnit) -> Option<Scale> {
        let power = unit.exponent() + 9;
        let ten = 10u64.pow(power.unsigned_abs());
        let (num, den) = if power >= 0 { (multiple.checked_mul(ten)?, 1) } else { (multiple, ten) };
        let common = gcd(num, den);
        (num > 0).then(|| Scale { num: num / common, den: den / common })
    }

    /// A factor that makes ticks whole ns, and the most ticks it may be used
    /// for; none where a division is needed.
    pub(crate) fn factor(self) -> (u64, u64) {
        if self.den == 1 { (self.num, LATEST as u64 / self.num) } else { (0, 0) }
    }

    /// Ticks in whole ns, parts of one dropped; `None` past [`LATEST`].
    #[inline]
    pub(crate) fn nanos(self, ticks: u64) -> Option<i64> {
        let nanos = if self.den == 1 {
            ticks.checked_mul(self.num)?
        } else if self.num == 1 {
            ticks / self.den
        } else {
            u64::try_from(u128::from(ticks) * u128::from(self.num) / u128::from(self.den)).ok()?
        };
        (nanos <= LATEST as u64).then_some(nanos as i64)
    }

    /// One tick, in µs.
    pub(crate) fn tick_us(self) -> f64 {
        self.num as f64 / self.den as f64 / 1000.0
    }
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_become_nanoseconds() {
        let scale = |n, unit| Scale::new(n, unit).unwrap();
        assert_eq!(scale(1, TimeUnit::Seconds).nanos(3), Some(3_000_000_000));
        assert_eq!(scale(10, TimeUnit::Micros).nanos(7), Some(70_000));
        assert_eq!(scale(1, TimeUnit::Picos).nanos(1_234_567), Some(1_234));
        assert_eq!(scale(25, TimeUnit::Picos).nanos(40), Some(1));
        assert_eq!(scale(3, TimeUnit::Picos).nanos(1_000), Some(3));
        assert_eq!(scale(100, TimeUnit::Femtos).nanos(20_000), Some(2));
        assert_eq!(scale(1, TimeUnit::Seconds).nanos(u64::MAX), None);
        assert_eq!(Scale::new(0, TimeUnit::Seconds), None);
    }

    #[test]
    fn limits_saturate() {
        assert_eq!(nanos(f64::NAN), 0);
        assert_eq!(nanos(f64::INFINITY), LATEST);
        assert_eq!(nanos(5.0), 5_000);
    }
}
