//! Functions against the library on a million rows; parts and order shuffled.

use std::collections::HashMap;

use fastrand::Rng;
use holdover::decode::Decode;
use holdover::layout::builtin;
use holdover::rank::{Batch, Observation};
use holdover::say::Cells;
use holdover::site::Site;

use crate::session::{Row, cells, draw, session};

/// So many reads of so many cards by readers of two sites.
fn reads(count: usize, cards: usize, readers: &[&str], seed: u64) -> Vec<Row> {
    let mut rng = Rng::with_seed(seed);
    let cards: Vec<String> = (0..cards).map(|_| draw(builtin(), &mut rng).to_string()).collect();
    (0..count)
        .map(|_| {
            let (site, from) = [("mill", 0), ("weir", cards.len() / 3)][rng.usize(..2)];
            let card = cards[rng.usize(from..cards.len())].clone();
            (site.to_owned(), readers[rng.usize(..readers.len())].to_owned(), Some(card))
        })
        .collect()
}

/// What the library says of each reader's captures of a site.
fn by_library(
    rows: &[Row],
    of: &str,
    site: Option<&Site>,
    mask: bool,
) -> HashMap<(String, String), Vec<String>> {
    let mut batch = Batch::new(builtin(), site);
    let rows = rows.iter().filter(|row| row.0 == of);
    let observations = rows.map(|(_, reader, bits)| {
        let capture: holdover::bits::Capture = bits.as_ref().unwrap().parse().unwrap();
        Observation { reader: reader.clone(), ..capture.into() }
    });
    let observations: Vec<Observation> = observations.collect();
    observations.iter().for_each(|observation| batch.see(observation));
    let fit = batch.fit();
    let mut said = HashMap::new();
    for observation in observations {
        let key = (observation.reader.clone(), observation.capture.to_string());
        said.entry(key).or_insert_with(|| {
            let answer = fit.answer(&observation);
            let cells = Cells::of(&observation, &answer, site, &[], mask);
            let text = |text: Option<holdover::say::Text>| {
                let mut out = String::new();
                text.iter().for_each(|t| t.write(observation.capture.wide(), &mut out));
                out
            };
            vec![
                cells.verdict.name().to_owned(),
                cells.layout.unwrap_or_default(),
                cells.reading.map(|reading| reading.name().to_owned()).unwrap_or_default(),
                text(cells.site),
                text(cells.card),
                cells.probability.map(|p| format!("{p:.9}")).unwrap_or_default(),
                text(Some(cells.note)),
            ]
        });
    }
    said
}

const PARTS: [&str; 7] = ["verdict", "layout", "reading", "site", "card", "probability", "note"];

fn parts(of: &str) -> String {
    PARTS.map(|part| format!("{of}['{part}']")).join(", ")
}

/// As the library says, row by row.
fn same(rows: &[Row], query: &str, site: Option<&Site>, mask: bool, parts: usize) {
    let said = ["mill", "weir"].map(|of| (of, by_library(rows, of, site, mask)));
    let said: HashMap<_, _> = said.into_iter().collect();
    let got = cells(&session(rows, parts), query).unwrap();
    let count = |row: &Vec<String>| row.get(10).map_or(1, |count| count.parse().unwrap());
    assert_eq!(got.iter().map(count).sum::<usize>(), rows.len());
    for mut row in got {
        let expected = &said[&row[0][..]][&(row[1].clone(), row[2].clone())];
        row[8] = row[8].parse::<f64>().map(|p| format!("{p:.9}")).unwrap_or_default();
        assert_eq!(&row[3..10], &expected[..], "{} {}", row[1], row[2]);
    }
}

#[test]
fn a_million_rows_are_as_the_library_says() {
    let rows = reads(1_000_000, 1_500, &["gate", "yard", "loft"], 1);
    let query = format!(
        "WITH fits AS (SELECT site, card_fit(bits, reader) AS fit FROM reads GROUP BY site), \
         answers AS (SELECT site, reader, bits, card_answer(bits, fit, reader) AS a \
                     FROM reads JOIN fits USING (site)) \
         SELECT site, reader, bits, {0}, count(*) FROM answers GROUP BY site, reader, bits, {0}",
        parts("a")
    );
    same(&rows, &query, None, false, 4);
}

#[test]
fn one_reader_need_not_be_named_and_masks_hide() {
    let rows = reads(40_000, 2_000, &[""], 2);
    for mask in [false, true] {
        let query = format!(
            "SELECT r.site, r.reader, r.bits, {} FROM (SELECT site, reader, bits, \
             card_answer(bits, fit, mask => {mask}) AS a FROM reads JOIN \
             (SELECT site, card_fit(bits) AS fit FROM reads GROUP BY site) AS fits USING (site)) r",
            parts("a")
        );
        same(&rows, &query, None, mask, 2);
    }
}

#[test]
fn a_site_file_counts() {
    let text = "[panel]\nslots = 4\n\n[[batch]]\nlayout = \"std26\"\nsite = 73\n\
                cards = \"0-30000\"\nstate = \"issued\"\n";
    let site = Site::from_toml(text, builtin()).unwrap();
    let rows = reads(20_000, 1_500, &["gate"], 3);
    let query = format!(
        "SELECT site, reader, bits, {} FROM (SELECT site, reader, bits, card_answer(bits, fit) AS a FROM reads \
         JOIN (SELECT site, card_fit(bits, reader, 'built-in', '{text}') AS fit FROM reads \
         GROUP BY site) AS fits USING (site))",
        parts("a")
    );
    same(&rows, &query, Some(&site), false, 2);
}

/// The bytes of a fit do not tell in which order or parts its captures came.
#[test]
fn a_fit_is_the_same_in_any_order_and_parts() {
    let mut rows = reads(30_000, 5_000, &["gate", "yard", ""], 4);
    let query = "SELECT site, sha(card_fit(bits, reader)) FROM reads GROUP BY site ORDER BY site"
        .replace("sha(", "encode(")
        .replace("reader)) FROM", "reader), 'hex') FROM");
    let whole = cells(&session(&rows, 1), &query).unwrap();
    assert_eq!(whole.len(), 2);
    let mut rng = Rng::with_seed(5);
    for parts in [1, 2, 7, 16] {
        rng.shuffle(&mut rows);
        assert!(cells(&session(&rows, parts), &query).unwrap() == whole, "{parts} parts");
    }
    // Without a group, and of few rows a group.
    let query = "SELECT encode(card_fit(bits, reader), 'hex') FROM reads WHERE site = 'mill'";
    assert!(cells(&session(&rows, 3), query).unwrap()[0][0] == whole[0][1]);
    let fits = "WITH some AS (SELECT site, bits, card_fit(bits, reader) AS f FROM reads \
                GROUP BY site, bits) SELECT count(*), count(distinct f) FROM some WHERE site = 'mill'";
    let counts = &cells(&session(&rows, 4), fits).unwrap()[0];
    assert_eq!(counts[0], counts[1]);
}

/// Beyond the exact bound: the sample that the library takes.
#[test]
fn a_sample_is_the_same_in_any_order() {
    let mut rng = Rng::with_seed(6);
    let mut rows: Vec<Row> = (0..Batch::EXACT + 50_000)
        .map(|_| {
            let bits = format!("{:034b}", rng.u64(..1 << 34));
            (String::new(), "gate".to_owned(), Some(bits))
        })
        .collect();
    let query = "SELECT encode(card_fit(bits, reader), 'hex') FROM reads";
    let whole = cells(&session(&rows, 1), query).unwrap();
    // A capture of 34 bits takes five bytes, of which few but the sample's are kept.
    assert!(whole[0][0].len() / 2 < 5 * (1 << 17) + 200, "{}", whole[0][0].len());
    rng.shuffle(&mut rows);
    assert!(cells(&session(&rows, 5), query).unwrap() == whole);
}

#[test]
fn columns_of_a_layout_are_as_decoded_one_by_one() {
    let rows = reads(20_000, 3_000, &["gate"], 7);
    let session = session(&rows, 2);
    for layout in builtin().layouts() {
        let id = layout.id();
        let query = format!(
            "SELECT bits, card_decode(bits, '{id}')['note'], \
                             card_decode(bits, '{id}')['holds'] FROM reads"
        );
        let fields: Vec<String> =
            layout.fields().iter().map(|f| f.role.name().to_owned()).collect();
        let short = |field: &&String| {
            let field = layout.fields().iter().find(|f| f.role.name() == field.as_str()).unwrap();
            field.span.len() <= 64
        };
        let short: Vec<&String> = fields.iter().filter(short).collect();
        let columns: Vec<String> =
            short.iter().map(|field| format!(", card_decode(bits, '{id}')['{field}']")).collect();
        let query = query.replace(" FROM reads", &format!("{} FROM reads", columns.concat()));
        for row in cells(&session, &query).unwrap() {
            let capture: holdover::bits::Capture = row[0].parse().unwrap();
            let Some(decode) = Decode::new(layout, capture) else {
                assert!(row[1].starts_with("expected "), "{row:?}");
                assert!(row[2..].iter().all(String::is_empty), "{row:?}");
                continue;
            };
            assert_eq!((&row[1][..], &row[2]), ("", &decode.holds().to_string()));
            for (field, cell) in short.iter().zip(&row[3..]) {
                let value = decode.fields().find(|(name, _)| name == field).unwrap().1;
                assert_eq!(*cell, value.to_string(), "{id} {field} {}", row[0]);
            }
        }
    }
}
