//! The guide as HTML, for the page: an article a page, `crates/cli/guide/` in the
//! order of its index.

use std::path::Path;
use std::{env, fs};

use pulldown_cmark::{CowStr, Event, Options, Parser, Tag, html};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let guide = Path::new("../cli/guide");
    println!("cargo::rerun-if-changed={}", guide.display());
    let index = fs::read_to_string(guide.join("index.md"))?;
    let listed = index.lines().filter_map(|line| line.strip_prefix("| [")?.split(']').next());
    let mut out = String::new();
    for name in ["index"].into_iter().chain(listed) {
        let page = fs::read_to_string(guide.join(format!("{name}.md")))?;
        out += &format!("<article id=\"guide-{name}\">\n");
        html::push_html(&mut out, Parser::new_ext(&page, Options::ENABLE_TABLES).map(placed));
        out += "</article>\n";
    }
    let to = Path::new(&env::var("OUT_DIR")?).join("guide.html");
    Ok(fs::write(to, out)?)
}

/// A link to another page of the guide leads there on the page too.
fn placed(event: Event<'_>) -> Event<'_> {
    match event {
        Event::Start(Tag::Link { link_type, dest_url, title, id }) => {
            let page =
                dest_url.strip_suffix(".md").map(|name| CowStr::from(format!("#guide/{name}")));
            let dest_url = page.unwrap_or(dest_url);
            Event::Start(Tag::Link { link_type, dest_url, title, id })
        }
        other => other,
    }
}
