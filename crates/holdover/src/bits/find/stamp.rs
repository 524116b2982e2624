//! Time stamps, dates, addresses and decimal fractions: numbers of other things.

/// What stands in a gap for something that was set aside.
pub(super) const MARK: char = '\u{fffc}';

/// The length of what begins at the front of these characters and is no part of
/// a capture; 0: nothing. `before` is the character before.
pub(super) fn length(text: &[char], before: Option<char>) -> usize {
    let inside = |c: char| c.is_alphanumeric() || c == '_' || c == '.';
    if before.is_some_and(inside) {
        return 0;
    }
    let date = date(text);
    if date > 0 {
        // A time may follow at once.
        let joined = text.get(date).is_some_and(|c| "Tt".contains(*c));
        let time = if joined { time(&text[date + 1..]) } else { 0 };
        return date + if time > 0 { 1 + time } else { 0 };
    }
    [time(text), address(text), fraction(text)].into_iter().max().unwrap_or(0)
}

fn digits(text: &[char]) -> usize {
    text.iter().take_while(|c| c.is_ascii_digit()).count()
}

fn number(text: &[char]) -> u32 {
    text.iter().fold(0, |n, c| (n * 10 + c.to_digit(10).unwrap_or(0)).min(100_000))
}

/// Parts of a date, a time or an address at most, and a few.
const MOST_PARTS: usize = 8;

/// Numbers of these widths with separators between; their values and the length.
fn parts(text: &[char], separators: &str) -> Option<(Vec<(u32, usize)>, usize)> {
    let (mut parts, mut at) = (Vec::new(), 0);
    let mut separator = None;
    loop {
        let count = digits(&text[at..]);
        if count == 0 || parts.len() > MOST_PARTS {
            return None;
        }
        parts.push((number(&text[at..at + count]), count));
        at += count;
        match text.get(at) {
            Some(c) if separators.contains(*c) && digits(&text[at + 1..]) > 0 => {
                if *separator.get_or_insert(*c) != *c {
                    return None;
                }
                at += 1;
            }
            _ => return Some((parts, at)),
        }
    }
}

/// No letter or digit goes on.
fn ends(text: &[char], at: usize) -> bool {
    !text.get(at).is_some_and(|c| c.is_alphanumeric() || *c == '_')
}

fn date(text: &[char]) -> usize {
    let Some((parts, at)) = parts(text, "-/.") else { return 0 };
    let day = |n: u32| (1..=31).contains(&n);
    let year = |(n, width): (u32, usize)| width == 4 && (1970..2100).contains(&n);
    let two = |(n, width): (u32, usize)| width <= 2 && day(n);
    let whole = ends(text, at) || text.get(at).is_some_and(|c| "Tt".contains(*c));
    match parts[..] {
        [y, m, d] if whole && year(y) && two(m) && two(d) => at,
        [d, m, y] if whole && two(d) && two(m) && (year(y) || y.1 == 2) => at,
        _ => 0,
    }
}

fn time(text: &[char]) -> usize {
    let Some((parts, mut at)) = parts(text, ":") else { return 0 };
    let two = |(n, width): (u32, usize), most: u32| width == 2 && n < most;
    let hours = |(n, width): (u32, usize)| width <= 2 && n < 25;
    let fits = match parts[..] {
        [h, m] => hours(h) && two(m, 60),
        [h, m, s] => hours(h) && two(m, 60) && two(s, 61),
        // Milliseconds behind a colon.
        [h, m, s, (_, 3)] => hours(h) && two(m, 60) && two(s, 61),
        _ => false,
    };
    if !fits {
        return 0;
    }
    if text.get(at).is_some_and(|c| ".,".contains(*c)) {
        let more = digits(&text[at + 1..]);
        // ",0011…" is no fraction of a second.
        at += if (1..=9).contains(&more) { 1 + more } else { 0 };
    }
    if text.get(at).is_some_and(|c| "Zz".contains(*c)) {
        at += 1;
    } else if text.get(at).is_some_and(|c| "+-".contains(*c)) {
        let zone = parts_of_zone(&text[at + 1..]);
        at += if zone > 0 { 1 + zone } else { 0 };
    }
    if ends(text, at) { at } else { 0 }
}

fn parts_of_zone(text: &[char]) -> usize {
    match parts(text, ":") {
        Some((parts, at)) if parts.iter().all(|(_, width)| *width == 2) && parts.len() <= 2 => at,
        Some((parts, at)) if parts.len() == 1 && parts[0].1 == 4 => at,
        _ => 0,
    }
}

/// Hexadecimal groups with colons: an address of six bytes, or one of IPv6.
fn address(text: &[char]) -> usize {
    let (mut groups, mut at, mut empty) = (Vec::new(), 0, false);
    let separator = match text.iter().position(|c| !c.is_ascii_hexdigit()) {
        Some(at) if ":-".contains(text[at]) => text[at],
        _ => return 0,
    };
    loop {
        let count = text[at..].iter().take_while(|c| c.is_ascii_hexdigit()).count();
        if groups.len() > MOST_PARTS {
            return 0;
        }
        groups.push(count);
        empty |= count == 0;
        at += count;
        match text.get(at) {
            Some(c)
                if *c == separator
                    && text.get(at + 1).is_some_and(|c| c.is_ascii_hexdigit() || *c == ':') =>
            {
                at += 1;
            }
            _ => break,
        }
    }
    let six_bytes = groups.len() == 6 && groups.iter().all(|count| *count == 2);
    let wide = separator == ':' && groups.iter().all(|count| *count <= 4);
    let long = wide
        && (groups.len() == 8 && groups.iter().any(|count| *count > 2)
            || empty && groups.len() > 2);
    if (six_bytes || long) && ends(text, at) { at } else { 0 }
}

/// Numbers with full stops between them: fractions, versions, addresses; with
/// the exponent and the port behind them.
fn fraction(text: &[char]) -> usize {
    let Some((parts, mut at)) = parts(text, ".") else { return 0 };
    if parts.len() < 2 {
        return 0;
    }
    if parts.len() == 4 && text.get(at) == Some(&':') {
        let port = digits(&text[at + 1..]);
        at += if port > 0 { 1 + port } else { 0 };
    }
    at
}

/// Whether a text begins with a time or a date that would pass for bits.
pub(super) fn begins(text: &str) -> bool {
    let text: Vec<char> = text.trim().chars().collect();
    let at = time(&text).max(date(&text));
    at > 0 && text.get(at).is_none_or(|c| c.is_whitespace())
}

/// Whether a text is a time or a date and nothing else, eight digits included.
pub(super) fn is_alone(text: &str) -> bool {
    let text: Vec<char> = text.chars().collect();
    !text.is_empty() && (length(&text, None) == text.len() || is_date(&text))
}

/// Eight digits that are a day: 20260501.
pub(super) fn is_date(text: &[char]) -> bool {
    let whole = text.len() == 8 && digits(text) == 8;
    whole
        && (1970..2100).contains(&number(&text[..4]))
        && (1..=12).contains(&number(&text[4..6]))
        && (1..=31).contains(&number(&text[6..]))
}
