//! What all pages share: the sheet around them, texts from outside, tables.

use maud::{DOCTYPE, Markup, PreEscaped, Render, html};

use super::svg;
use crate::host::Host;
use crate::plain::plain;

const STYLE: &str = include_str!("style.css");

/// Nothing on a page is fetched from anywhere, whatever may get into it.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";

/// A word of more letters than this is broken wherever a line ends.
const LONG: usize = 24;

/// Cells of so many letters are not broken at all.
const SHORT: usize = 14;

/// A text from a file: it keeps its direction of writing to itself, and its
/// control characters are spelled out.
pub struct Own<T>(pub T);

impl<T: AsRef<str>> Render for Own<T> {
    fn render(&self) -> Markup {
        let text = plain(self.0.as_ref());
        let long = text.split_whitespace().any(|word| word.chars().count() > LONG);
        html! { bdi class=[long.then_some("long")] { (text) } }
    }
}

/// How something stands; a mark and a word say it, not the colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stand {
    Good,
    Open,
    Bad,
}

/// A verdict with its mark.
pub fn stand(stand: Stand, words: &str) -> Markup {
    let (class, mark) = match stand {
        Stand::Good => ("good", "✓"),
        Stand::Open => ("open", "?"),
        Stand::Bad => ("bad", "✗"),
    };
    html! { strong class=(class) { span.mark aria-hidden="true" { (mark) } " " (plain(words)) } }
}

/// A page's head.
pub struct Sheet<'a> {
    /// What kind of page it is.
    pub kind: &'a str,
    /// What was found, in a line.
    pub verdict: Markup,
    /// What it was made of: what it is, and its name.
    pub made_of: Vec<(&'a str, String)>,
    /// Card numbers are hidden.
    pub hide: bool,
}

impl Sheet<'_> {
    /// The whole page.
    pub fn page(&self, body: Markup) -> String {
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta http-equiv="Content-Security-Policy" content=(POLICY);
                    meta name="referrer" content="no-referrer";
                    meta name="robots" content="noindex";
                    title { (self.kind) " · Holdover" }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    (svg::patterns())
                    header {
                        h1 { (self.kind) }
                        p.verdict { (self.verdict) }
                        dl.made {
                            @for (what, name) in &self.made_of {
                                div { dt { (what) } dd { (Own(name)) } }
                            }
                            div {
                                dt { "card numbers" }
                                dd {
                                    @if self.hide {
                                        "hidden but for their last two digits"
                                    } @else {
                                        "shown: keep this page as you would keep the cards"
                                    }
                                }
                            }
                        }
                    }
                    main { (body) }
                    footer {
                        p {
                            "Cards are keys: work only on systems you are authorised to service. \
                             Whoever has captures or a roster can make a card; destroy this page \
                             when it is no longer needed."
                        }
                        p { "Made by Holdover " (env!("CARGO_PKG_VERSION")) "." }
                    }
                }
            }
        };
        page.into_string()
    }
}

/// A part of the page under a heading.
pub fn section(title: &str, body: Markup) -> Markup {
    html! { section { h2 { (title) } (body) } }
}

/// A table that scrolls by itself where the screen is too narrow for it.
pub fn table(caption: &str, head: &[&str], rows: impl IntoIterator<Item = Vec<Markup>>) -> Markup {
    html! {
        div.wide.many[head.len() > 4] tabindex="0" role="group" aria-label=(caption) {
            table {
                caption { (caption) }
                thead { tr { @for cell in head { th scope="col" { (cell) } } } }
                tbody { @for row in rows { tr { @for cell in row { td { (cell) } } } } }
            }
        }
    }
}

/// A section that begins a sheet of paper of its own.
pub fn sheet_section(title: &str, body: Markup) -> Markup {
    html! { section.sheet { h2 { (title) } (body) } }
}

/// A cell of plain text; a short one stays on its line.
pub fn cell(text: impl AsRef<str>) -> Markup {
    match text.as_ref().chars().count() <= SHORT {
        true => html! { span.whole { (Own(text)) } },
        false => Own(text).render(),
    }
}

/// A cell of a number or a code: its characters stand in columns.
pub fn code(text: impl AsRef<str>) -> Markup {
    html! { span.code { (Own(text)) } }
}

/// Names with their values.
pub fn facts<'f>(rows: impl IntoIterator<Item = (&'f str, Markup)>) -> Markup {
    html! {
        dl.facts { @for (what, value) in rows { div { dt { (what) } dd { (value) } } } }
    }
}

/// Sentences as a list.
pub fn list<T: AsRef<str>>(items: impl IntoIterator<Item = T>) -> Markup {
    html! { ul { @for item in items { li { (Own(item)) } } } }
}

/// What is said of rows that are not on the page.
pub fn left_out(count: u64, what: &str, whole: &str) -> Markup {
    html! {
        @if count > 0 {
            p.more { (grouped(count)) " more " (what) " are left out here; " (whole) "." }
        }
    }
}

/// A count with its thousands set apart.
pub fn grouped(count: impl Into<u128>) -> String {
    let digits = count.into().to_string();
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) && digits.len() > 4 {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// "1 card", "2 cards".
pub fn count(count: impl Into<u128>, one: &str, more: &str) -> String {
    let count = count.into();
    format!("{} {}", grouped(count), if count == 1 { one } else { more })
}

/// Inputs by name; captures given on the command line are bits, and hidden
/// with them.
pub fn named(host: &dyn Host, inputs: &[String], hide: bool) -> String {
    let name = |input: &String| match host.exists(input) || input == "-" {
        true => input.clone(),
        false if hide => "a capture given as argument".to_owned(),
        false => input.clone(),
    };
    let mut names: Vec<String> = inputs.iter().take(8).map(name).collect();
    names.dedup();
    if inputs.len() > 8 {
        names.push(format!("and {} more", inputs.len() - 8));
    }
    names.join(", ")
}
