//! `holdover plan`: what is keyed into the new panel, and what will come of it.

mod cutover;
mod difference;
pub mod enrol;
pub mod text;
pub mod worksheet;

use std::path::Path;

use holdover::plan::{Plan, plan};

use crate::args::{self, Format};
use crate::fail::{Fail, Outcome};
use crate::roster::{self, Roster};
use crate::{files, html, progress, screen};

/// How card numbers and holders are shown.
#[derive(Debug, Clone, Copy)]
pub struct Shown {
    /// Card numbers are hidden.
    pub mask: bool,
    /// Holders go by "person 1", "person 2", …
    pub pseudonyms: bool,
}

impl Shown {
    /// A panel number, hidden where asked.
    pub fn number(self, number: &str) -> String {
        if self.mask { crate::mask::text(number) } else { number.to_owned() }
    }

    /// What to do about a conflict, its numbers and prints hidden where asked.
    pub fn advice(self, text: &str) -> String {
        if self.mask { crate::mask::advice(text) } else { text.to_owned() }
    }

    /// What is printed on a card, hidden where asked.
    pub fn print(self, printed: &str) -> String {
        if self.mask { crate::mask::print(printed) } else { printed.to_owned() }
    }

    /// A holder; `index` counts the holders of the roster.
    pub fn holder(self, holder: &str, index: usize) -> String {
        if self.pseudonyms { format!("person {}", index + 1) } else { holder.to_owned() }
    }
}

pub fn run(args: &args::Plan) -> Result<Outcome, Fail> {
    let inputs = || {
        let own = [Some(args.site.as_path()), args.roster.as_deref().map(Path::new)];
        args.tables.tables.iter().map(Path::new).chain(own.into_iter().flatten())
    };
    let outputs =
        || [&args.output, &args.worksheet, &args.enrolment, &args.cutover].into_iter().flatten();
    files::keep_apart(inputs(), outputs())?;
    // An earlier plan may be replaced by the new plan, but not by a page.
    let page = html::Target::of(&args.page, inputs().chain(args.against.as_deref()), outputs())?;
    let table = files::tables(&args.tables.tables)?;
    let site = files::site(&args.site, &table)?;
    let mut roster = match &args.roster {
        Some(path) => roster::read(path, args.sheet.sheet.as_deref(), &table, &site)?,
        None => Roster::default(),
    };
    roster.check_prints(&table);
    let made = progress::during("planning", || plan(&table, &site, &roster.rows));
    let made = made.map_err(|error| {
        let place = match error.place() {
            holdover::plan::PlanPlace::Line(_) => args.roster.clone().unwrap_or_default(),
            _ => args.site.display().to_string(),
        };
        Fail::said(format!("{}: {error}", screen::plain(&place)))
    })?;
    let shown = Shown { mask: args.mask, pseudonyms: args.pseudonyms };
    let before = args.against.as_deref().map(read_plan).transpose()?;
    let changes = before.map(|before| made.changes_since(&before, &roster.rows));
    let json = serde_json::to_value(&made)
        .map_err(|error| Fail::said(format!("cannot write JSON: {error}")))?;
    let mut json = if shown.mask { masked(json) } else { json };
    // Everything is worked out before anything is written.
    let list = enrol::list(&made, &roster.rows, &site.batches)?;
    let enrolment: Vec<_> = enrol::rows(&made, &list, &roster.misprinted(), shown).collect();
    let list_file = match &args.enrolment {
        Some(path) if is_workbook(path) => enrol::workbook(&enrolment)?,
        _ => enrol::csv(&enrolment)?.into_bytes(),
    };
    let paper = page.as_ref().map(|page| {
        let shown = Shown { mask: page.hide, pseudonyms: args.pseudonyms };
        html::plan::page(&made, &roster, &list, shown, args).into_bytes()
    });
    let outputs = [
        (&args.output, format!("{json}\n").into_bytes()),
        (&args.worksheet, worksheet::sheet(&made, &list, shown).into_bytes()),
        (&args.enrolment, list_file),
        (&args.cutover, cutover::sheet(&made, &roster, shown).into_bytes()),
    ];
    let named = outputs.into_iter().filter_map(|(path, bytes)| Some((path.as_deref()?, bytes)));
    let paper = page.as_ref().map(|page| page.path()).zip(paper);
    let files: Vec<(&Path, Vec<u8>)> = named.chain(paper).collect();
    files::write_all(&files, files::Readers::Owner)?;
    let written = files.iter().map(|(path, _)| screen::plain(&path.display().to_string()));
    use std::io::Write;
    let mut out = screen::output(args.format == Format::Text);
    if let (true, Some(path)) = (args.format != Format::Text, &args.roster) {
        let path = screen::plain(path);
        roster.about.iter().for_each(|note| screen::remark(&format!("{path}: {note}")));
    }
    match args.format {
        Format::Json => {
            if let Some(changes) = &changes {
                json["changes"] = difference::json(changes, shown);
            }
            writeln!(out, "{json}")?;
        }
        Format::Csv => write!(out, "{}", enrol::csv(&enrolment)?)?,
        Format::Text => {
            text::print(&mut out, &made, &roster, shown, args.quiet)?;
            if let Some(changes) = &changes {
                difference::print(&mut out, changes, shown)?;
            }
            for path in written {
                screen::say(&mut out, "written  ", &path)?;
            }
            if !args.quiet {
                text::next(&mut out, &made, args)?;
            }
        }
    }
    out.flush()?;
    Ok(if made.is_clean() { Outcome::Done } else { Outcome::CardsWrong })
}

/// A file that is to be written is told by its name: it has no content yet.
fn is_workbook(path: &Path) -> bool {
    path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("xlsx"))
}

/// Bytes of a plan file: a million conflicts take 200 MB.
pub const MAX_PLAN_BYTES: usize = 256 << 20;

/// A plan as a file, whole and consistent.
pub fn read_plan(path: &Path) -> Result<Plan, Fail> {
    let name = path.display().to_string();
    let text = files::text(&name, MAX_PLAN_BYTES)?;
    serde_json::from_str(&text).map_err(|error| {
        // The error quotes the file's own words.
        let (name, error) = (screen::plain(&name), screen::plain(&error.to_string()));
        Fail::said(format!("{name}: no plan: {error}: write it with `holdover plan -o`"))
    })
}

/// A plan's JSON without card numbers: a copy for reading, not for proving.
fn masked(mut object: serde_json::Value) -> serde_json::Value {
    for conflict in object["conflicts"].as_array_mut().into_iter().flatten() {
        if let Some(text) = conflict["panel_number"].as_str() {
            conflict["panel_number"] = crate::mask::text(text).into();
        }
        if let Some(text) = conflict["what_to_do"].as_str() {
            conflict["what_to_do"] = crate::mask::advice(text).into();
        }
    }
    for caution in object["cautions"].as_array_mut().into_iter().flatten() {
        if let Some(text) = caution.as_str() {
            *caution = crate::mask::text(text).into();
        }
    }
    object
}
