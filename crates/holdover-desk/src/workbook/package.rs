//! The package of a workbook: which sheets it has, and their rows.

use std::cell::Cell;
use std::collections::HashMap;
use std::io::Cursor;
use std::rc::Rc;

use quick_xml::events::Event;
use zip::ZipArchive;
use zip::read::ZipFile;

use super::cell::{self, Told, shows_date};
use super::part::{Budget, Part, attribute};
use super::{Found, Gathering};

/// Most bytes unpacked of a package, and of a part that is no sheet.
pub const MAX_UNPACKED: u64 = 1 << 30;
pub const MAX_PART: u64 = 256 << 20;

/// A part that unpacks to more than this, and to more than so many times its
/// packed size, is no workbook but a trap. Sheets pack to a tenth, very even
/// ones to a fiftieth (measured on ours).
const FREE: u64 = 16 << 20;
const MAX_RATIO: u64 = 200;

/// Most files in a package (judgement, no source).
pub const MAX_FILES: usize = 10_000;

/// Most shared texts: as many as cells.
const MAX_SHARED: usize = crate::rows::MAX_CELLS;

/// Most sheets of a workbook (judgement, no source).
pub const MAX_SHEETS: usize = 256;

/// A sheet of a workbook.
pub struct Named {
    pub name: String,
    /// Not shown to whoever opens the workbook.
    pub hidden: bool,
    path: String,
}

pub struct Package {
    archive: ZipArchive<Cursor<Vec<u8>>>,
    budget: Budget,
    /// Texts that cells name by number, once they are read.
    shared: Option<Vec<String>>,
    /// Of each cell style, whether it shows a date, once they are read.
    dates: Option<Vec<bool>>,
}

impl Package {
    /// Opens an archive.
    pub fn open(bytes: Vec<u8>) -> Result<Package, String> {
        let archive = ZipArchive::new(Cursor::new(bytes))
            .map_err(|error| format!("a zip archive that is damaged ({error}): save it anew"))?;
        if archive.len() > MAX_FILES {
            return Err(format!("an archive of more than {MAX_FILES} files is no workbook"));
        }
        let budget = Rc::new(Cell::new(MAX_UNPACKED));
        Ok(Package { archive, budget, shared: None, dates: None })
    }

    fn part(
        &mut self,
        path: &str,
        most: u64,
    ) -> Result<Part<ZipFile<'_, Cursor<Vec<u8>>>>, String> {
        let file = self
            .archive
            .by_name(path)
            .map_err(|error| format!("no part {path:?} in the workbook ({error}): save it anew"))?;
        let most = most.min(FREE.max(file.compressed_size().saturating_mul(MAX_RATIO)));
        if file.size() > most {
            let (size, most) = (file.size() >> 20, most >> 20);
            return Err(format!(
                "{path:?} says it unpacks to {size} MiB, more than the {most} MiB that are taken: \
                 is it the right file?"
            ));
        }
        Ok(Part::new(file, most, self.budget.clone()))
    }

    fn has(&self, path: &str) -> bool {
        self.archive.index_for_name(path).is_some()
    }

    /// What a part refers to: id, kind and path.
    fn relations(&mut self, of: &str) -> Result<Vec<(String, String, String)>, String> {
        let (directory, name) = of.rsplit_once('/').unwrap_or(("", of));
        let slash = if directory.is_empty() { "" } else { "/" };
        let path = format!("{directory}{slash}_rels/{name}.rels");
        let mut part = self.part(&path, MAX_PART)?;
        let mut relations = Vec::new();
        loop {
            match part.next()? {
                Event::Start(tag) if tag.local_name().as_ref() == "Relationship" => {
                    let get = |name| attribute(&tag, name).unwrap_or_default();
                    let target = get("Target");
                    let path = match target.strip_prefix('/') {
                        Some(whole) => whole.to_owned(),
                        None => format!("{directory}{slash}{target}"),
                    };
                    let kind = get("Type");
                    let kind = kind.rsplit('/').next().unwrap_or_default().to_owned();
                    relations.push((get("Id"), kind, path));
                }
                Event::Eof => return Ok(relations),
                _ => {}
            }
        }
    }

    /// The sheets in their order.
    pub fn sheets(&mut self) -> Result<Vec<Named>, String> {
        if !self.has("_rels/.rels") {
            return Err(match self.has("content.xml") {
                true => "an OpenDocument file: save it as .xlsx or as CSV".to_owned(),
                false => "a zip archive, and no workbook (.xlsx): unpack it, and name the file \
                          that is meant"
                    .to_owned(),
            });
        }
        let top = self.relations("")?;
        let Some((_, _, workbook)) = top.into_iter().find(|(_, kind, _)| kind == "officeDocument")
        else {
            return Err("no workbook in it: save it as .xlsx or as CSV".to_owned());
        };
        let relations = self.relations(&workbook)?;
        let paths: HashMap<String, String> =
            relations.iter().map(|(id, _, path)| (id.clone(), path.clone())).collect();
        let mut sheets = Vec::new();
        let mut part = self.part(&workbook, MAX_PART)?;
        loop {
            match part.next()? {
                Event::Start(tag) if tag.local_name().as_ref() == "sheet" => {
                    let get = |name| attribute(&tag, name);
                    let path = get("id").and_then(|id| paths.get(&id).cloned());
                    let (Some(name), Some(path)) = (get("name"), path) else { continue };
                    let hidden = get("state").is_some_and(|state| state != "visible");
                    if sheets.len() == MAX_SHEETS {
                        return Err(format!(
                            "more than {MAX_SHEETS} sheets: save the sheet of cards alone"
                        ));
                    }
                    sheets.push(Named { name, hidden, path });
                }
                Event::Eof => break,
                _ => {}
            }
        }
        drop(part);
        let of_kind = |wanted: &str| {
            relations.iter().find(|(_, kind, _)| kind == wanted).map(|(_, _, path)| path.clone())
        };
        let (shared, styles) = (of_kind("sharedStrings"), of_kind("styles"));
        self.shared = Some(shared.map_or(Ok(Vec::new()), |path| self.shared_texts(&path))?);
        self.dates = Some(styles.map_or(Ok(Vec::new()), |path| self.date_styles(&path))?);
        match sheets.is_empty() {
            true => Err("a document without sheets: save the sheet as .xlsx or as CSV".to_owned()),
            false => Ok(sheets),
        }
    }

    fn shared_texts(&mut self, path: &str) -> Result<Vec<String>, String> {
        let mut part = self.part(path, MAX_PART)?;
        let mut texts = Vec::new();
        loop {
            match part.next()? {
                Event::Start(tag) if tag.local_name().as_ref() == "si" => {
                    if texts.len() == MAX_SHARED {
                        return Err(format!("more than {MAX_SHARED} texts: split it"));
                    }
                    // How a text is spoken is no part of it.
                    texts.push(part.text("rPh")?);
                }
                Event::Eof => return Ok(texts),
                _ => {}
            }
        }
    }

    fn date_styles(&mut self, path: &str) -> Result<Vec<bool>, String> {
        let mut part = self.part(path, MAX_PART)?;
        let mut codes: HashMap<u32, String> = HashMap::new();
        let (mut dates, mut inside) = (Vec::new(), false);
        loop {
            match part.next()? {
                Event::Start(tag) => {
                    let id = || attribute(&tag, "numFmtId").and_then(|id| id.parse().ok());
                    match tag.local_name().as_ref() {
                        "numFmt" => {
                            if let (Some(id), Some(code)) = (id(), attribute(&tag, "formatCode")) {
                                codes.insert(id, code);
                            }
                        }
                        "cellXfs" => inside = true,
                        "xf" if inside => {
                            let id = id().unwrap_or(0);
                            let code = codes.get(&id).map(String::as_str);
                            dates.push(shows_date(id, code));
                        }
                        _ => {}
                    }
                }
                Event::End(tag) if tag.local_name().as_ref() == "cellXfs" => inside = false,
                Event::Eof => return Ok(dates),
                _ => {}
            }
        }
    }

    /// The rows of a sheet, as far as its header says that they are wanted.
    pub fn rows(
        &mut self,
        sheet: &Named,
        known: &dyn Fn(&[String]) -> bool,
    ) -> Result<Found, String> {
        let (shared, dates) = (self.shared.take(), self.dates.take());
        let found = self.gather(
            &sheet.path,
            Values {
                shared: shared.as_deref().unwrap_or_default(),
                dates: dates.as_deref().unwrap_or_default(),
            },
            Gathering::new(known),
        );
        (self.shared, self.dates) = (shared, dates);
        found
    }

    fn gather(
        &mut self,
        path: &str,
        values: Values<'_>,
        mut gathering: Gathering<'_>,
    ) -> Result<Found, String> {
        let mut part = self.part(path, MAX_UNPACKED)?;
        // Read to its end, where the archive's checksum is compared.
        let (mut row, mut next_column, mut inside) = (0, 0, false);
        let mut cells: Vec<(usize, Told)> = Vec::new();
        let mut wanted = true;
        while wanted {
            match part.next()? {
                Event::Start(tag) if inside && tag.local_name().as_ref() == "row" => {
                    let said = attribute(&tag, "r");
                    let at = match &said {
                        None => Some(row + 1),
                        Some(said) => said.parse().ok(),
                    };
                    row = match at.filter(|at| *at > row && *at <= cell::MAX_ROWS) {
                        Some(at) => at,
                        None => {
                            let said = said.unwrap_or_default();
                            return Err(format!("after row {row} comes {said:?}: save it anew"));
                        }
                    };
                    (cells, next_column) = (Vec::new(), 0);
                }
                Event::End(tag) if inside && tag.local_name().as_ref() == "row" => {
                    wanted = gathering.row(row, &cells)?;
                }
                Event::Start(tag) if inside && tag.local_name().as_ref() == "c" => {
                    let said = attribute(&tag, "r");
                    let column = match &said {
                        None => Some(next_column),
                        Some(said) => cell::parse_place(said).map(|(column, _)| column),
                    };
                    let column = column
                        .filter(|column| (next_column..cell::MAX_COLUMNS).contains(column))
                        .ok_or_else(|| format!("row {row}: no place {said:?}: save it anew"))?;
                    next_column = column + 1;
                    let kind = attribute(&tag, "t");
                    let style = attribute(&tag, "s").and_then(|s| s.parse::<usize>().ok());
                    let told = values
                        .read(&mut part, kind.as_deref(), style)
                        .map_err(|why| format!("cell {}: {why}", cell::place(column, row)))?;
                    cells.extend(told.map(|told| (column, told)));
                }
                Event::Start(tag) if tag.local_name().as_ref() == "sheetData" => inside = true,
                Event::End(tag) if tag.local_name().as_ref() == "sheetData" => inside = false,
                Event::Eof => wanted = false,
                _ => {}
            }
        }
        Ok(gathering.end())
    }
}

/// What cells refer to.
struct Values<'a> {
    shared: &'a [String],
    dates: &'a [bool],
}

impl Values<'_> {
    /// Reads a cell that has begun, to its end.
    fn read<R: std::io::Read>(
        &self,
        part: &mut Part<R>,
        kind: Option<&str>,
        style: Option<usize>,
    ) -> Result<Option<Told>, String> {
        let (mut value, mut formula) = (None, false);
        loop {
            match part.next()? {
                Event::Start(tag) => match tag.local_name().as_ref() {
                    "v" => value = Some(part.text("")?),
                    "is" => value = Some(part.text("rPh")?),
                    "f" => {
                        formula = true;
                        part.text("")?;
                    }
                    _ => _ = part.text("")?,
                },
                Event::End(_) => break,
                _ => {}
            }
        }
        // A formula that gives an empty text has a kind, and one never worked
        // out has none.
        let value = match value {
            Some(value) if !value.is_empty() || kind == Some("str") => value,
            _ if formula => return Ok(Some(Told::Formula)),
            _ => return Ok(None),
        };
        let date = style.is_some_and(|style| self.dates.get(style) == Some(&true));
        Ok(Some(match kind {
            Some("s") => {
                let text = value.trim().parse().ok().and_then(|at: usize| self.shared.get(at));
                Told::Text(text.ok_or("names a text that is not there: save it anew")?.clone())
            }
            Some("str" | "inlineStr") => Told::Text(value),
            Some("b") => Told::Truth(matches!(value.trim(), "1" | "true")),
            Some("e") => Told::Error(value),
            Some("d") => Told::Date(value),
            Some("n") | None if date => Told::Date(value),
            Some("n") | None => Told::Number(value.trim().to_owned()),
            Some(kind) => {
                return Err(format!("of a kind {kind:?} that is not known: save it anew"));
            }
        }))
    }
}
