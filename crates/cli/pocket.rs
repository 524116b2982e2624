//! `holdover page`: the pocket page, one file; for a web server, a second one.

use std::io::Write;

use holdover_args as args;
use holdover_desk::host::{Host, Readers};
use holdover_desk::terminal;
use holdover_desk::{Fail, Outcome};

// `Option<&[u8]>`: the page, where it was built before this command was.
const PAGE: Option<&[u8]> = include!(concat!(env!("OUT_DIR"), "/pocket.rs"));

/// What keeps the page in a browser that had it from a server.
const OFFLINE: &[u8] = include_bytes!("../holdover-web/page/holdover-offline.js");
const OFFLINE_NAME: &str = "holdover-offline.js";

/// What a build without the page says; the mend is the one command there is.
const WITHOUT: &str = "this build has no pocket page in it: in a clone of Holdover, \
                       `crates/holdover-web/build` builds the page, and then a command that \
                       writes it";

pub fn run(host: &dyn Host, args: &args::Pocket) -> Result<Outcome, Fail> {
    let page = PAGE.ok_or_else(|| Fail::said(WITHOUT.to_owned()))?;
    let beside = args.output.with_file_name(OFFLINE_NAME);
    let mut all = vec![(args.output.as_path(), page)];
    if args.served {
        host.keep_apart(&[], &[&args.output, &beside])?;
        all.push((&beside, OFFLINE));
    }
    // They hold no cards.
    host.put(&all, Readers::Everyone)?;
    let mut out = terminal::Page::new(host);
    for (path, _) in &all {
        out.say("written  ", &path.display().to_string())?;
    }
    let next = match args.served {
        true => {
            "put both into one place of a web server (https): who has opened the page once opens \
             it without a network from then on, and a phone can add it to its home screen"
        }
        false => {
            "open it in a browser; on a phone, from where it keeps its downloads: it needs no \
             network"
        }
    };
    out.say("next  ", next)?;
    out.flush()?;
    Ok(Outcome::Done)
}
