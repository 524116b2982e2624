//! Hostile rows are nulls with a note; wrong tables and arguments are errors with a
//! mend.

use crate::session::{Row, cells, refused, session};

fn rows(bits: &[Option<&str>]) -> Vec<Row> {
    let row = |bits: &Option<&str>| ("mill".to_owned(), "gate".to_owned(), bits.map(str::to_owned));
    bits.iter().map(row).collect()
}

#[test]
fn hostile_rows_are_null_and_say_why() {
    let long = "1".repeat(300);
    let card = "10100000100010000111000011";
    let hostile = [
        Some(card),
        None,
        Some(&long[..]),
        Some("letters"),
        Some(""),
        Some("\u{1F600}"),
        Some("0x1A"),
    ];
    let session = session(&rows(&hostile), 2);
    let answers = cells(
        &session,
        "SELECT bits IS NULL, a IS NULL, a['verdict'], a['card'], a['note'] FROM (SELECT bits, \
         card_answer(bits, (SELECT card_fit(bits, reader) FROM reads)) AS a FROM reads)",
    )
    .unwrap();
    assert_eq!(answers.len(), hostile.len());
    for row in &answers {
        match (&row[0][..], &row[2][..]) {
            ("true", verdict) => assert_eq!((&row[1][..], verdict), ("true", "")),
            (_, "") => assert!(!row[4].is_empty() && row[3].is_empty(), "{row:?}"),
            _ => assert_eq!((&row[2][..], &row[3][..]), ("identified", "4321")),
        }
    }
    let notes: Vec<&str> = answers.iter().map(|row| &row[4][..]).collect();
    assert!(notes.iter().any(|note| note.contains("256")), "{notes:?}");
    assert!(notes.iter().any(|note| note.contains("0x…/bits")), "{notes:?}");
    let query = "SELECT d IS NULL, d['card'], d['note'] FROM \
                 (SELECT card_decode(bits, 'std26') AS d FROM reads)";
    let decoded = cells(&session, query).unwrap();
    assert_eq!(decoded.iter().filter(|row| row[1] == "4321").count(), 1);
    assert_eq!(decoded.iter().filter(|row| row[0] == "true").count(), 1);
    assert_eq!(decoded.iter().filter(|row| !row[2].is_empty()).count(), 5);
    // Masked, the reason does not quote the row.
    let masked = cells(
        &session,
        "SELECT card_answer('letters', (SELECT card_fit(bits) FROM reads), mask => true)['note']",
    );
    assert_eq!(masked.unwrap()[0][0], "no capture; leave out mask to see why");
}

#[test]
fn groups_without_captures_have_a_fit() {
    let session = session(&rows(&[None, Some("x")]), 1);
    let answer = cells(
        &session,
        "SELECT card_answer('10100000100010000111000011', fit)['layout'] FROM \
         (SELECT card_fit(bits) AS fit FROM reads)",
    );
    assert_eq!(answer.unwrap()[0][0], "std26");
}

#[test]
fn a_wrong_table_names_file_line_and_mend() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("table.toml");
    std::fs::write(&path, "[[layout]]\nid = \"loft\"\nlength = \"26\"\nbasis = \"drawn\"\n")
        .unwrap();
    let path = path.to_str().unwrap();
    let session = session(&rows(&[Some("1010")]), 1);
    for query in [
        format!("SELECT card_decode(bits, 'loft', '{path}') FROM reads"),
        format!("SELECT card_fit(bits, reader, '{path}') FROM reads"),
        format!("SELECT card_fit(bits, reader, table => '{path}', site => '') FROM reads"),
        format!("SELECT card_fit(bits, reader, 'built-in', '{path}') FROM reads"),
    ] {
        let error = refused(&session, &query);
        assert!(error.contains(&format!("{path}:")), "{error}");
        assert!(error.contains(":1:") || error.contains(":3:"), "{error}");
    }
    let error = refused(&session, "SELECT card_decode(bits, 'std27') FROM reads");
    assert!(error.contains("did you mean 'std26'?"), "{error}");
    let error = refused(&session, "SELECT card_fit(bits, reader, 'no-such.toml') FROM reads");
    assert!(error.contains("no-such.toml: ") && error.contains("give a path"), "{error}");
    let text = "[[layout]]\nid = 3\n";
    let error = refused(&session, &format!("SELECT card_fit(bits, reader, '{text}') FROM reads"));
    assert!(error.contains("table:2:"), "{error}");
}

#[test]
fn wrong_arguments_have_a_mend() {
    let session = session(&rows(&[Some("1010"), Some("10100000100010000111000011")]), 1);
    for (query, mend) in [
        ("SELECT card_decode(bits, reader) FROM reads", "give a constant"),
        ("SELECT card_decode(bits) FROM reads", "card_decode(bits, 'std26')"),
        ("SELECT card_decode(26, 'std26')", "give text"),
        ("SELECT card_fit(bits, reader, site) FROM reads", "text constants"),
        ("SELECT card_answer(bits, bits) FROM reads", "what card_fit gave"),
        ("SELECT card_answer(bits, arrow_cast('hf01', 'Binary')) FROM reads", "this is no fit"),
        (
            "SELECT card_answer(bits, (SELECT card_fit(bits, bits) FROM reads)) FROM reads",
            "card_answer(bits, fit, reader)",
        ),
    ] {
        let error = refused(&session, query);
        assert!(error.contains(mend), "{query}: {error}");
    }
}
