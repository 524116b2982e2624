//! `holdover page`: the pocket page, one file.

use std::io::Write;

use crate::args;
use crate::fail::{Fail, Outcome};
use crate::{files, screen};

// `Option<&[u8]>`: the page, where it was built before this command was.
const PAGE: Option<&[u8]> = include!(concat!(env!("OUT_DIR"), "/pocket.rs"));

/// What a build without the page says; the mend is the one command there is.
const WITHOUT: &str = "this build has no pocket page in it: in a clone of Holdover, \
                       `crates/holdover-web/build` builds the page, and then a command that \
                       writes it";

pub fn run(args: &args::Pocket) -> Result<Outcome, Fail> {
    let page = PAGE.ok_or_else(|| Fail::said(WITHOUT.to_owned()))?;
    let name = args.output.display().to_string();
    // It holds no cards.
    files::write_all(&[(&args.output, page)], files::Readers::Everyone)?;
    let mut out = screen::Page::new();
    screen::say(&mut out, "written  ", &name)?;
    let next = "open it in a browser; on a phone, from where it keeps its downloads: it needs no \
                network";
    screen::say(&mut out, "next  ", next)?;
    out.flush()?;
    Ok(Outcome::Done)
}
