//! `holdover table`: list, lint, show, diff.

mod diff;

use std::io::Write;

use holdover::file::nearest;
use holdover::layout::{Layout, Part, Role, Table, Unsettled};

use crate::fail::{Fail, Outcome};
use crate::formats::{Grid, write_csv};
use crate::host::Host;
use crate::plain::plain;
use crate::request::{Format, Table as Request};
use crate::terminal::{FAINT, GOOD, OPEN, STRONG, in_style};
use crate::{draw, files, terminal};

pub fn run(host: &dyn Host, request: &Request) -> Result<Outcome, Fail> {
    match request {
        Request::List { tables, format } => list(host, &files::tables(host, &tables.0)?, *format),
        Request::Lint { files, quiet } => lint(host, files, *quiet),
        Request::Show { ids, tables, format } => {
            show(host, &files::tables(host, &tables.0)?, ids, *format)
        }
        Request::Diff { old, new, format } => diff::run(
            host,
            (old, &files::table(host, old)?),
            (new, &files::table(host, new)?),
            *format,
        ),
    }
}

fn list(host: &dyn Host, table: &Table, format: Format) -> Result<Outcome, Fail> {
    let mut out = terminal::Page::of(host, format == Format::Text);
    match format {
        Format::Json => {
            for layout in table.layouts() {
                writeln!(out, "{}", object(layout)?)?;
            }
        }
        Format::Csv => {
            let mut csv = csv::Writer::from_writer(&mut out);
            let head = ["id", "length", "site", "card", "checks", "title", "basis"];
            write_csv(&mut csv, &head)?;
            for layout in table.layouts() {
                write_csv(&mut csv, &cells(layout))?;
            }
            csv.flush()?;
        }
        Format::Text => {
            let mut grid = Grid::new(["id", "bits", "site", "card", "checks", "title"]);
            for layout in table.layouts() {
                let cells = cells(layout);
                grid.row(cells[..6].iter().map(|cell| plain(cell)));
            }
            grid.print(&mut out)?;
            writeln!(
                out,
                "{}",
                in_style(FAINT, "`holdover table show ID` draws one and says what it rests on")
            )?;
        }
    }
    Ok(Outcome::Done)
}

fn cells(layout: &Layout) -> [String; 7] {
    let span = |part| match part {
        Part::Site => layout.site_span(),
        Part::Card => layout.card_span(),
    };
    let text = |part| span(part).map_or_else(String::new, ToString::to_string);
    [
        layout.id().to_owned(),
        layout.length().to_string(),
        text(Part::Site),
        text(Part::Card),
        layout.checks().len().to_string(),
        layout.spec().title.clone(),
        layout.spec().basis.clone(),
    ]
}

/// A layout as an object, keys as in the table file.
fn object(layout: &Layout) -> Result<String, Fail> {
    serde_json::to_string(layout).map_err(|error| Fail::said(format!("cannot write JSON: {error}")))
}

fn lint(host: &dyn Host, names: &[String], quiet: bool) -> Result<Outcome, Fail> {
    let mut out = terminal::Page::new(host);
    let mut outcome = Outcome::Done;
    let mut seen: Vec<(String, Table)> = Vec::new();
    for name in names {
        match files::table(host, name) {
            Ok(table) => {
                if !quiet {
                    let good = in_style(GOOD, "no mistake");
                    let count = table.layouts().len();
                    let layouts = if count == 1 { "layout" } else { "layouts" };
                    writeln!(out, "{}: {good}, {count} {layouts}", plain(name))?;
                    remarks(&table, &mut out)?;
                }
                for layout in table.layouts() {
                    let twice = seen.iter().find(|(_, table)| table.layout(layout.id()).is_some());
                    if let Some((other, _)) = twice {
                        let id = layout.id();
                        terminal::complain(
                            host,
                            &format!(
                                "{name}: a layout {id:?} is in {other} too: rename one before using both"
                            ),
                        );
                        outcome = Outcome::InputWrong;
                    }
                }
                seen.push((name.clone(), table));
            }
            Err(Fail::Said(message)) => {
                terminal::complain(host, &message);
                outcome = Outcome::InputWrong;
            }
            Err(fail) => return Err(fail),
        }
    }
    Ok(outcome)
}

/// Layouts of one kind that are told by name; the rest is counted.
const TWINS: usize = 8;

/// Bits of a serial number: four, seven or ten bytes (ISO/IEC 14443-3:2018, 6.5.4;
/// from memory).
const SERIAL_BITS: [usize; 3] = [32, 56, 80];

/// What is allowed, and yet hardly meant.
fn slips(layout: &Layout) -> Vec<String> {
    let mut slips = Vec::new();
    for field in layout.fields() {
        let name = field.role.name();
        if let Role::Named(_) = field.role
            && let Some(near) = nearest(&name.to_ascii_lowercase(), ["card", "site"])
        {
            slips.push(format!("the role {name:?} is a name of its own: did you mean {near:?}?"));
        }
        let bits = field.span.len();
        if field.serial && !SERIAL_BITS.contains(&bits) {
            slips.push(format!(
                "{name} is said to be a serial number, and none has {bits} bits: they have 32, 56 \
                 or 80"
            ));
        }
    }
    let checks = layout.checks();
    let twice = checks.iter().enumerate().filter(|(i, check)| checks[..*i].contains(check));
    slips.extend(twice.map(|(_, check)| format!("the check {check} is written twice")));
    slips
}

/// What is no mistake, but worth a look.
fn remarks(table: &Table, out: &mut impl Write) -> Result<(), Fail> {
    for (i, layout) in table.layouts().iter().enumerate() {
        if let Some(unused) = layout.unused() {
            writeln!(out, "  {}: bits {unused} belong to no field and no check", layout.id())?;
        }
        for words in slips(layout) {
            writeln!(out, "  {}: {words}", layout.id())?;
        }
        for open in layout.unsettled() {
            let (name, words) = (layout.part_name(open.part), not_settled(open));
            let mend = layout.settled_by(open);
            writeln!(out, "  {}: {} is {words}: {mend}", layout.id(), plain(&name))?;
        }
        let alike = |other: &&Layout| other.same_rules(layout);
        // Each kind is told of once, by its first.
        if table.layouts()[..i].iter().any(|other| alike(&other)) {
            continue;
        }
        let alike: Vec<&str> = table.layouts()[i..].iter().filter(alike).map(Layout::id).collect();
        let (told, more) = alike.split_at(alike.len().min(TWINS));
        let ids = match (told, more.len()) {
            ([_], _) => continue,
            ([first @ .., last], 0) => format!("{} and {last}", first.join(", ")),
            (told, more) => format!("{} and {more} more", told.join(", ")),
        };
        writeln!(
            out,
            "  {ids} have the same length and checks: one capture can't tell them apart"
        )?;
    }
    Ok(())
}

fn show(host: &dyn Host, table: &Table, ids: &[String], format: Format) -> Result<Outcome, Fail> {
    let layouts: Vec<&Layout> = match ids {
        [] => table.layouts().iter().collect(),
        ids => ids.iter().map(|id| files::layout(table, id)).collect::<Result<_, _>>()?,
    };
    let mut out = terminal::Page::of(host, format == Format::Text);
    if format == Format::Csv {
        return Err(Fail::said("a drawing is no CSV: use --format text or json"));
    }
    for (i, layout) in layouts.iter().enumerate() {
        if format == Format::Json {
            writeln!(out, "{}", object(layout)?)?;
            continue;
        }
        if i > 0 {
            writeln!(out)?;
        }
        let id = in_style(STRONG, layout.id());
        let spec = layout.spec();
        writeln!(out, "{id}  {}, {} bits", plain(&spec.title), layout.length())?;
        writeln!(out, "{}", in_style(FAINT, &format!("basis: {}", plain(&spec.basis))))?;
        writeln!(out)?;
        for line in draw::layout(layout, out.width) {
            writeln!(out, "{line}")?;
        }
        writeln!(out)?;
        for (index, field) in layout.fields().iter().enumerate() {
            let code = match field.digits() {
                Some(digits) => format!("{digits} decimal digits ({})", field.code.name()),
                None => {
                    let most = layout_most(field.span.len());
                    format!("{} bits, 0 to {most}", field.span.len())
                }
            };
            let part = match field.part_of {
                Some(Part::Site) => ", part of the site code",
                Some(Part::Card) => ", part of the card number",
                None => "",
            };
            let print = match field.print.as_is() {
                true => String::new(),
                false => format!(", printed as {}, where n is the number", field.print),
            };
            writeln!(
                out,
                "  {:<14} {:<12} {code}{part}{print}{}",
                field.role.name(),
                field.span.to_string(),
                shown(layout.unsettled_field(index))
            )?;
        }
        for (index, check) in layout.checks().iter().enumerate() {
            writeln!(out, "  {check}{}", shown(layout.unsettled_check(index)))?;
        }
        let mut mends: Vec<String> = Vec::new();
        for mend in layout.unsettled().iter().map(|open| layout.settled_by(open)) {
            if !mends.contains(&mend) {
                out.say("  next  ", &mend)?;
                mends.push(mend);
            }
        }
        let twins: Vec<&str> = table
            .layouts()
            .iter()
            .filter(|other| other.id() != layout.id() && other.same_rules(layout))
            .map(Layout::id)
            .collect();
        if !twins.is_empty() {
            writeln!(
                out,
                "  same length and checks as {}: one capture can't tell",
                twins.join(", ")
            )?;
        }
    }
    Ok(Outcome::Done)
}

/// "not settled; bits 2-9 may be covered or not".
fn not_settled(open: &Unsettled) -> String {
    open.words().map_or("not settled".to_owned(), |words| format!("not settled; {words}"))
}

/// The same behind a field or a check; nothing where it is settled.
fn shown(open: Option<&Unsettled>) -> String {
    open.map_or_else(String::new, |open| format!("  {}", in_style(OPEN, &not_settled(open))))
}

fn layout_most(bits: usize) -> u128 {
    u128::MAX >> (128 - bits.min(128))
}
