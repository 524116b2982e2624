//! Texts from files, made safe to print.

/// A text from a file made safe to print: control characters as `\u{…}`.
pub fn plain(text: &str) -> String {
    let hidden =
        |c: char| c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars()
        .flat_map(|c| match hidden(c) {
            true => c.escape_unicode().collect::<Vec<_>>(),
            false => vec![c],
        })
        .collect()
}
