//! Workbooks in and out, held against other implementations: fixtures come
//! from openpyxl, what we write is read by calamine.

use std::io::{Cursor, Write};
use std::path::Path;

use calamine::{Data, Reader, Xlsx};
use tempfile::tempdir;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use crate::holdover::{Run, file, root, run};

const SITE: [&str; 2] = ["--site", "fixtures/mill/mill.toml"];

fn plan(roster: &Path, more: &[&str]) -> Run {
    let roster = roster.to_str().unwrap();
    run(["plan", "--roster", roster].iter().chain(&SITE).chain(more))
}

/// A workbook of one sheet with these rows, by hand (ISO/IEC 29500-1, 18.3).
pub fn workbook(sheet: &str, more: &[(&str, &[u8])]) -> Vec<u8> {
    let data = format!("<worksheet><sheetData>{sheet}</sheetData></worksheet>");
    let relation = |id: &str, kind: &str, target: &str| {
        format!("<Relationship Id=\"{id}\" Type=\"http://x/{kind}\" Target=\"{target}\"/>")
    };
    let relations = |inside: String| format!("<Relationships>{inside}</Relationships>");
    let own = [
        ("_rels/.rels", relations(relation("r1", "officeDocument", "xl/workbook.xml"))),
        (
            "xl/workbook.xml",
            "<workbook><sheets><sheet name=\"a\" sheetId=\"1\" r:id=\"r1\"/></sheets></workbook>"
                .to_owned(),
        ),
        (
            "xl/_rels/workbook.xml.rels",
            relations(
                relation("r1", "worksheet", "worksheets/sheet1.xml")
                    + &relation("r2", "sharedStrings", "sharedStrings.xml"),
            ),
        ),
        ("xl/worksheets/sheet1.xml", data),
        ("xl/sharedStrings.xml", "<sst uniqueCount=\"99999999999999999\"></sst>".to_owned()),
    ];
    let parts = own.iter().map(|(name, text)| (*name, text.as_bytes()));
    let replaced = |name: &str| more.iter().any(|(other, _)| *other == name);
    archive(parts.filter(|(name, _)| !replaced(name)).chain(more.iter().copied()))
}

fn archive<'a>(parts: impl IntoIterator<Item = (&'a str, &'a [u8])>) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

pub fn row(number: usize, cells: &[&str]) -> String {
    let text = |text: &&str| format!("<c t=\"inlineStr\"><is><t>{text}</t></is></c>");
    let cells: String = cells.iter().map(text).collect();
    format!("<row r=\"{number}\">{cells}</row>")
}

/// Reads a workbook that is no good: how it is refused.
fn refused(bytes: &[u8]) -> String {
    let dir = tempdir().unwrap();
    let path = file(&dir, "cards.xlsx", bytes);
    let made = plan(&path, &[]);
    assert_eq!(made.code, 2, "{}{}", made.stdout, made.stderr);
    assert!(made.stderr.starts_with("error: "), "{}", made.stderr);
    assert!(made.stdout.is_empty(), "{}", made.stdout);
    made.stderr
}

#[test]
fn a_workbook_of_another_program_is_a_roster() {
    let book = root().join("fixtures/mill/roster.xlsx");
    let made = plan(&book, &["--format", "json"]);
    assert_eq!(made.code, 0, "{}", made.stderr);
    assert_eq!(made.json()[0]["kept"], 2000);
    assert!(made.stderr.contains("sheet \"Cards\" is read, its header is row 3"));
    // The same as CSV, row by row: the workbook's rows are numbered as it shows them.
    let dir = tempdir().unwrap();
    let same = "\n\nlayout,site,card,bits,printed,holder,state\n\
                std26,65,4017,,04017,A. Dyer,kept\n\
                std26,65,4330,,4330,B. Weaver,kept\n\
                std26,65,4662,,04662,C. Fuller,kept\n\
                site34,1180,20335,,1180-20335,G. Spinner,kept\n\
                site34,1180,20586,,1180-20586,H. Twister,\n\
                ,,,0xC47A31D2/32,C4 7A 31 D2,M. Loom,kept\n\
                std26,65,4901,,04901,O. Selvedge,lost\n";
    let csv = file(&dir, "roster.csv", same);
    assert_eq!(plan(&csv, &["--format", "csv"]).stdout, plan(&book, &["--format", "csv"]).stdout);
    assert_eq!(made.stdout, plan(&csv, &["--format", "json"]).stdout);
    // A sheet is named, or refused by name.
    let other = plan(&book, &["--sheet", "Read me"]);
    assert_eq!(other.code, 2);
    assert!(other.stderr.contains("known header"), "{}", other.stderr);
    let none = plan(&book, &["--sheet", "cards"]);
    assert!(none.stderr.contains("it has \"Read me\", \"Cards\""), "{}", none.stderr);
    let text = plan(&csv, &["--sheet", "Cards"]);
    assert!(text.code == 2 && text.stderr.contains("no workbook"), "{}", text.stderr);
}

#[test]
fn captures_and_cases_come_from_workbooks_too() {
    let dir = tempdir().unwrap();
    let rows = row(1, &["bits", "layout", "site", "card"])
        + &row(2, &["10100000100010000111000011", "std26", "65", "4321"])
        + &row(5, &["10100000100010000111000011", "std26", "65", "4322"]);
    let book = file(&dir, "cases.xlsx", workbook(&rows, &[]));
    let book = book.to_str().unwrap();
    let proved = run(["prove", "--cases", book, "--format", "json"]);
    assert_eq!(proved.code, 1, "{}", proved.stderr);
    let lines: Vec<_> =
        proved.json().iter().map(|row| (row["line"].clone(), row["holds"].clone())).collect();
    assert_eq!(lines, [(2.into(), true.into()), (5.into(), false.into())]);
    let read = run(["read", book, "--format", "json"]);
    assert_eq!(read.json()[1]["line"], 5);
    assert_eq!(read.json()[1]["carried"]["card"], "4322");
    let drawer = std::fs::read_to_string(root().join("fixtures/mill/drawer.csv")).unwrap();
    let rows: String = drawer
        .lines()
        .enumerate()
        .map(|(i, line)| row(i + 1, &line.split(',').collect::<Vec<_>>()))
        .collect();
    let piped = crate::holdover::feed(["read", "-"], &workbook(&rows, &[]));
    assert!(piped.code == 2 && piped.stderr.contains("name the .xlsx"), "{}", piped.stderr);
    let book = file(&dir, "drawer.xlsx", workbook(&rows, &[]));
    let learnt = run([Path::new("learn"), &book]);
    assert_eq!(learnt.stdout, run(["learn", "fixtures/mill/drawer.csv"]).stdout);
}

#[test]
fn what_a_spreadsheet_spoilt_is_refused_by_cell() {
    let number = |place: &str, value: &str| format!("<c r=\"{place}\"><v>{value}</v></c>");
    let typed = |place: &str, kind: &str, value: &str| {
        format!("<c r=\"{place}\" t=\"{kind}\"><v>{value}</v></c>")
    };
    let head = row(1, &["bits", "layout", "site", "card", "printed"]);
    let layout = |row: usize| {
        format!("<c r=\"B{row}\" t=\"str\"><v>std26</v></c><c r=\"C{row}\"><v>65</v></c>")
    };
    let styles =
        b"<styleSheet><cellXfs><xf numFmtId=\"0\"/><xf numFmtId=\"14\"/></cellXfs></styleSheet>";
    let rels = "<Relationships><Relationship Id=\"r1\" Type=\"http://x/worksheet\" \
                Target=\"/xl/worksheets/sheet1.xml\"/><Relationship Id=\"r2\" \
                Type=\"http://x/styles\" Target=\"styles.xml\"/></Relationships>";
    let spoilt = [
        ("A2", number("A2", "101"), "no leading zeros"),
        ("A3", number("A3", "1.010000010001E+25"), "15 digits at most"),
        ("D4", layout(4) + "<c r=\"D4\" s=\"1\"><v>43831</v></c>", "made a date of it"),
        ("D5", layout(5) + &number("D5", "9007199254740993"), "more than 15 digits"),
        ("D6", layout(6) + &number("D6", "4017.5"), "no whole number"),
        ("D7", layout(7) + &typed("D7", "e", "#REF!"), "ends in #REF!"),
        ("D8", layout(8) + "<c r=\"D8\"><f>1+1</f></c>", "has no value yet"),
        ("D9", layout(9) + &typed("D9", "b", "1"), "true or false"),
        ("E10", layout(10) + &number("D10", "5") + &number("E10", "1e300"), "15 digits"),
    ];
    let rows: String = spoilt
        .iter()
        .enumerate()
        .map(|(i, (_, cells, _))| format!("<row r=\"{}\">{cells}</row>", i + 2))
        .collect();
    // The value that a formula had, and zeros that a number lost, do no harm.
    let good = "<row r=\"11\"><c r=\"B11\" t=\"str\"><v>std26</v></c><c r=\"C11\"><v>65.0</v></c>\
                <c r=\"D11\"><f>4000+17</f><v>4017.0</v></c><c r=\"E11\"><v>4017</v></c></row>";
    let parts: [(&str, &[u8]); 2] =
        [("xl/styles.xml", styles), ("xl/_rels/workbook.xml.rels", rels.as_bytes())];
    let said = refused(&workbook(&(head.clone() + &rows + good), &parts));
    assert!(said.contains(&format!("{} rows are wrong", spoilt.len())), "{said}");
    for (place, _, why) in &spoilt {
        let line = said.lines().find(|line| line.contains(&format!("cell {place} (")));
        assert!(line.is_some_and(|line| line.contains(why)), "{place} {why}\n{said}");
    }
    let dir = tempdir().unwrap();
    let book = file(&dir, "good.xlsx", workbook(&(head + good), &parts));
    let made = plan(&book, &["--format", "csv"]);
    assert!(made.stdout.contains("line 11,,04017,1 std26,4017,"), "{}{}", made.stdout, made.stderr);
}

#[test]
fn other_files_are_told_what_they_are() {
    let inner = archive([("a.csv", b"bits\n".as_slice())]);
    for (bytes, said) in [
        (archive([("cards.zip", inner.as_slice())]), "no workbook"),
        (archive([("content.xml", b"<a/>".as_slice())]), "OpenDocument"),
        (vec![0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1, 0, 0], "old or an encrypted"),
        (b"PK\x03\x04 and no more".to_vec(), "damaged"),
        (workbook("", &[]), "empty"),
        (workbook(&row(1, &["holder", "door"]), &[]), "known header"),
    ] {
        let message = refused(&bytes);
        assert!(message.contains(said), "{said}\n{message}");
    }
}

#[test]
fn hostile_workbooks_are_refused() {
    let head = row(1, &["layout", "site", "card"]);
    // What unpacks to far more than it is, and what lies about it.
    let zeros = vec![b' '; 48 << 20];
    let bomb = workbook(&head, &[("xl/sharedStrings.xml", &zeros)]);
    assert!(bomb.len() < 1 << 20);
    assert!(refused(&bomb).contains("unpacks to 48 MiB"));
    let declared = (48_u32 << 20).to_le_bytes();
    let mut lying = bomb;
    let places: Vec<usize> =
        (0..lying.len() - 4).filter(|&at| lying[at..at + 4] == declared).collect();
    assert!(!places.is_empty());
    places.iter().for_each(|&at| lying[at..at + 4].copy_from_slice(&1000_u32.to_le_bytes()));
    refused(&lying);
    let rows = |rows: &str| refused(&workbook(&(head.clone() + rows), &[]));
    for (sheet, said) in [
        ("<row r=\"1048577\"></row>", "save it anew"),
        ("<row r=\"99999999999999999999999\"></row>", "save it anew"),
        ("<row r=\"3\"></row><row r=\"2\"></row>", "after row 3"),
        ("<row r=\"2\"><c r=\"XFE2\"><v>1</v></c></row>", "no place"),
        ("<row r=\"2\"><c r=\"ZZZZZZZZZZZZZZZZZZZZ99999999999999\"><v>1</v></c></row>", "no place"),
        ("<row r=\"2\"><c r=\"A2\" t=\"s\"><v>7</v></c></row>", "not there"),
        ("<row r=\"2\"><c r=\"A2\" t=\"zz\"><v>7</v></c></row>", "not known"),
        ("<row r=\"2\"><c r=\"A2\"><v>7</row>", "cannot be read"),
    ] {
        let message = rows(sheet);
        assert!(message.contains(said), "{said}\n{message}");
    }
    assert!(rows(&"<a>".repeat(1000)).contains("nests deeper"));
    let long = format!("<row r=\"2\"><c t=\"str\"><v>{}</v></c></row>", "1".repeat(1 << 20));
    assert!(rows(&long).contains("more than"));
    // A file cut short, and a digit that changed on the way.
    assert!(rows("</sheetData><x>").contains("cannot be read"));
    let cut = b"<worksheet><sheetData><row r=\"1\"><c t=\"str\"><v>bits</v></c></row>";
    let cut = workbook("", &[("xl/worksheets/sheet1.xml", cut)]);
    assert!(refused(&cut).contains("ends in the middle"));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let mut from = zip::ZipArchive::new(Cursor::new(workbook(
        &(row(1, &["layout", "site", "card"]) + &row(2, &["std26", "65", "4017"])),
        &[],
    )))
    .unwrap();
    for at in 0..from.len() {
        let mut part = from.by_index(at).unwrap();
        zip.start_file(part.name().unwrap(), stored).unwrap();
        std::io::copy(&mut part, &mut zip).unwrap();
    }
    let mut changed = zip.finish().unwrap().into_inner();
    let at = changed.windows(4).position(|bytes| bytes == b"4017").unwrap();
    changed[at] = b'5';
    assert!(refused(&changed).contains("cannot be read"));
    // Many columns, many rows: what the header asks for is bounded.
    let wide: Vec<String> = (0..1021).map(|i| format!("c{i}")).collect();
    let mut headings: Vec<&str> = vec!["layout", "site", "card"];
    headings.extend(wide.iter().map(String::as_str));
    let many: String =
        (2..17_000).map(|i| format!("<row r=\"{i}\"><c><v>1</v></c></row>")).collect();
    assert!(refused(&workbook(&(row(1, &headings) + &many), &[])).contains("cells: split"));
    headings.push("more");
    assert!(refused(&workbook(&row(1, &headings), &[])).contains("1025 columns, more than 1024"));
    // Larger than is taken.
    let dir = tempdir().unwrap();
    let path = file(&dir, "large.xlsx", b"PK\x03\x04");
    std::fs::File::options().write(true).open(&path).unwrap().set_len(65 << 20).unwrap();
    assert!(plan(&path, &[]).stderr.contains("larger than 64 MiB"));
}

#[test]
fn a_damaged_workbook_never_breaks_the_command() {
    let whole = std::fs::read(root().join("fixtures/mill/roster.xlsx")).unwrap();
    let mut random = fastrand::Rng::with_seed(1);
    let dir = tempdir().unwrap();
    for trial in 0..60 {
        let mut bytes = whole.clone();
        match trial % 2 {
            0 => bytes.truncate(random.usize(8..whole.len())),
            _ => (0..3).for_each(|_| {
                let at = random.usize(8..bytes.len());
                bytes[at] = random.u8(..);
            }),
        }
        let path = file(&dir, "damaged.xlsx", &bytes);
        let made = plan(&path, &[]);
        assert!((0..=2).contains(&made.code), "{trial}: {}", made.stderr);
        assert!(!made.stderr.contains("panicked"), "{trial}: {}", made.stderr);
    }
}

#[test]
fn the_enrolment_list_is_a_workbook_of_texts() {
    let dir = tempdir().unwrap();
    let roster = file(
        &dir,
        "roster.csv",
        "layout,site,card,printed,holder\nstd26,65,17,00017,=1+1\nstd26,65,18,00018,+A1\n",
    );
    let list = dir.path().join("list.xlsx");
    let write = || {
        let made = plan(&roster, &["--enrolment", list.to_str().unwrap()]);
        assert_eq!(made.code, 0, "{}", made.stderr);
        std::fs::read(&list).unwrap()
    };
    let bytes = write();
    assert_eq!(bytes, write(), "the same rows give the same bytes");
    let mut book = Xlsx::new(Cursor::new(bytes)).unwrap();
    let name = book.sheet_names()[0].clone();
    assert!(book.worksheet_formula(&name).unwrap().used_cells().next().is_none());
    let range = book.worksheet_range(&name).unwrap();
    let cells: Vec<Vec<Data>> = range.rows().map(<[Data]>::to_vec).collect();
    let text = |text: &str| Data::String(text.to_owned());
    assert_eq!(cells[0][..3], [text("card"), text("holder"), text("panel_number")]);
    assert_eq!(cells[1][..3], [text("line 2"), text("=1+1"), text("00017")]);
    assert_eq!(cells[2][4], text("00018"));
    let all = cells.iter().flatten();
    assert!(all.clone().all(|cell| matches!(cell, Data::String(_) | Data::Empty)), "{cells:?}");
}
