//! `holdover init`: a site file and a roster to start from.

use std::io::Write;

use crate::args;
use crate::fail::{Fail, Outcome};
use crate::{files, screen};

const SITE: &str = include_str!("start/site.toml");
const ROSTER: &str = include_str!("start/roster.csv");

pub fn run(args: &args::Init) -> Result<Outcome, Fail> {
    let (site, roster) = (args.directory.join("site.toml"), args.directory.join("roster.csv"));
    files::create(&[(&site, SITE.as_bytes()), (&roster, ROSTER.as_bytes())])?;
    let mut out = screen::Page::new();
    let name = |path: &std::path::Path| screen::plain(&path.display().to_string());
    let (site, roster) = (name(&site), name(&roster));
    screen::say(&mut out, "written  ", &format!("{site}: the new panel's limits, each explained"))?;
    screen::say(&mut out, "written  ", &format!("{roster}: a header, and no card yet"))?;
    let next = format!(
        "fill in what the new panel's manual says, and a card a row in the roster; then `holdover \
         plan --site {site} --roster {roster}`"
    );
    screen::say(&mut out, "next  ", &next)?;
    out.flush()?;
    Ok(Outcome::Done)
}
