//! `holdover init`: a site file and a roster to start from.

use std::io::Write;

use crate::fail::{Fail, Outcome};
use crate::host::Host;
use crate::plain::plain;
use crate::request;
use crate::terminal;

const SITE: &str = include_str!("site.toml");
const ROSTER: &str = include_str!("roster.csv");

pub fn run(host: &dyn Host, request: &request::Init) -> Result<Outcome, Fail> {
    let (site, roster) =
        (request.directory.join("site.toml"), request.directory.join("roster.csv"));
    host.put_new(&[(&site, SITE.as_bytes()), (&roster, ROSTER.as_bytes())])?;
    let mut out = terminal::Page::new(host);
    let name = |path: &std::path::Path| plain(&path.display().to_string());
    let (site, roster) = (name(&site), name(&roster));
    out.say("written  ", &format!("{site}: the new panel's limits, each explained"))?;
    out.say("written  ", &format!("{roster}: a header, and no card yet"))?;
    let next = format!(
        "fill in what the new panel's manual says, and a card a row in the roster; then `holdover \
         plan --site {site} --roster {roster}`"
    );
    out.say("next  ", &next)?;
    out.flush()?;
    Ok(Outcome::Done)
}
