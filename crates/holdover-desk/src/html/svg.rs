//! Pictures as inline SVG: a title and a description for those who cannot see
//! it, ink and hatching for those who print it.

use crate::plain::plain;
use maud::{Markup, PreEscaped, html};

/// A picture drawn in its own units, which are CSS pixels at its natural size.
pub struct Picture {
    /// What it shows, in a few words.
    pub title: String,
    /// The same as the picture tells, in sentences.
    pub desc: String,
    pub width: f64,
    pub height: f64,
    pub body: Markup,
}

impl Picture {
    /// The picture: it shrinks a little on a narrow screen, then scrolls; on
    /// paper it takes the width there is.
    pub fn figure(self, caption: Markup) -> Markup {
        let Picture { title, desc, width, height, body } = self;
        let (title, desc) = (plain(&title), plain(&desc));
        html! {
            figure {
                div.scroll tabindex="0" role="group" aria-label=(title) {
                    svg role="img" viewBox={ "0 0 " (n(width)) " " (n(height)) }
                        width=(n(width)) height=(n(height)) style={ "--w:" (n(width)) "px" } {
                        title { (title) }
                        desc { (desc) }
                        (body)
                    }
                }
                @if !caption.0.is_empty() { figcaption { (caption) } }
            }
        }
    }
}

/// The hatchings all pictures of a page share.
pub fn patterns() -> Markup {
    html! {
        svg.patterns width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                // Bits a check covers.
                pattern id="cover" width="5" height="5" patternUnits="userSpaceOnUse" {
                    path d="M-1 6L6 -1M-1 1L1 -1M4 6L6 4" stroke="#333" stroke-width="0.8" {}
                }
                // Hidden bits.
                pattern id="hidden" width="4" height="4" patternUnits="userSpaceOnUse" {
                    path d="M0 0L4 4M4 0L0 4" stroke="#777" stroke-width="0.5" {}
                }
                // Times outside the usual limits.
                pattern id="outside" width="7" height="7" patternUnits="userSpaceOnUse" {
                    path d="M-1 -1L8 8M-1 6L1 8M6 -1L8 1" stroke="#999" stroke-width="0.6" {}
                }
            }
        }
    }
}

/// A coordinate: two decimals at most, and none where they say nothing.
pub fn n(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// How a text is set against its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// A text on its baseline; `class` is one of the style sheet's.
pub fn text(x: f64, y: f64, anchor: Anchor, class: &str, words: &str) -> Markup {
    let anchor = match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    html! {
        text x=(n(x)) y=(n(y)) text-anchor=(anchor) class=(class) { (plain(words)) }
    }
}

/// Characters each over its own place.
pub fn spread(xs: impl Iterator<Item = f64>, y: f64, class: &str, characters: &str) -> Markup {
    let xs: Vec<String> = xs.map(n).collect();
    html! {
        @if !xs.is_empty() {
            text x=(xs.join(" ")) y=(n(y)) text-anchor="middle" class=(class) { (plain(characters)) }
        }
    }
}

pub fn rect(x: f64, y: f64, width: f64, height: f64, class: &str) -> Markup {
    html! {
        rect x=(n(x)) y=(n(y)) width=(n(width)) height=(n(height)) class=(class) {}
    }
}

pub fn path(d: &str, class: &str) -> Markup {
    html! { path d=(d) class=(class) {} }
}

/// Pieces of a drawing, one after the other.
#[derive(Default)]
pub struct Pieces(String);

impl Pieces {
    pub fn add(&mut self, piece: Markup) {
        self.0.push_str(&piece.0);
    }

    pub fn markup(self) -> Markup {
        // Every piece was made by `html!`, which escaped it.
        PreEscaped(self.0)
    }
}
