use super::*;
use crate::bits::Capture;
use crate::decode::{Decode, Decoder, Reading};
use crate::layout::{Table, Value, builtin};
use proptest::prelude::*;

/// A row of a column as the value that decoding gives.
fn value(column: &Numbers, row: usize) -> Value {
    match column {
        Numbers::U8(column) => Value::Number(column[row].into()),
        Numbers::U16(column) => Value::Number(column[row].into()),
        Numbers::U32(column) => Value::Number(column[row].into()),
        Numbers::U64(column) => Value::Number(column[row].into()),
        Numbers::Bytes { width, bytes } => {
            let bytes = &bytes[row * width..][..*width];
            Value::Number(bytes.iter().fold(0, |n, byte| n << 8 | u128::from(*byte)))
        }
        Numbers::Digits { width, digits } => {
            let digits = digits[row * width..][..*width].to_vec();
            Value::Digits(String::from_utf8(digits).unwrap())
        }
    }
}

/// Whether each row is what decoding it alone says.
fn agree(decoder: &Decoder<'_>, view: &View, captures: &[Capture], columns: &DecodedColumns) {
    let layout = decoder.layout(view);
    let narrow = decoder.narrow(view);
    for (row, capture) in captures.iter().enumerate() {
        let word = Capture::from_wide(view.word(capture.wide()), layout.length()).unwrap();
        let decode = Decode { layout, word };
        let expected: Vec<(&str, Value)> = decode.fields().collect();
        let fields = narrow.fields().zip(&columns.fields);
        let got: Vec<(&str, Value)> = fields.map(|(n, c)| (n, value(c, row))).collect();
        assert_eq!(got[..expected.len()], expected);
        for (name, joined) in &got[expected.len()..] {
            let expected = if *name == "site" { decode.site() } else { decode.card() };
            assert_eq!(Some(joined), expected.as_ref());
        }
        for (name, column) in narrow.checks().zip(&columns.checks) {
            let mut rules = decode.outcomes();
            let holds = match rules.find(|(rule, _)| *rule == name) {
                Some((_, holds)) => holds,
                None => (layout.rules().iter())
                    .filter(|r| !matches!(r, Rule::Relations { check: Some(_), .. }))
                    .all(|rule| rule.holds(word.wide())),
            };
            assert_eq!(column[row], holds, "{name}");
        }
        let all = columns.checks.iter().all(|column| column[row]);
        assert_eq!(all, decode.holds());
    }
}

fn of(table: &Table, length: usize, words: &[[u64; 4]]) {
    let decoder = Decoder::new(table, length, &Reading::ALL);
    let captures: Vec<Capture> =
        words.iter().map(|word| Capture::from_wide(Wide(*word), length).unwrap()).collect();
    let wide: Vec<Wide> = captures.iter().map(|capture| capture.wide()).collect();
    for view in decoder.views() {
        let narrow = decoder.narrow(view);
        let mut columns = narrow.room(wide.len());
        narrow.fill_wide(&wide, &mut columns.parts(wide.len())[0]);
        agree(&decoder, view, &captures, &columns);
        if length <= 64 {
            let left: Vec<u64> = wide.iter().map(|wide| wide.0[0]).collect();
            assert_eq!(narrow.decode(&left, Align::Left).unwrap(), columns);
            let right: Vec<u64> = left.iter().map(|word| word >> (64 - length)).collect();
            assert_eq!(narrow.decode(&right, Align::Right).unwrap(), columns);
            // In parts, which are filled on their own, in the room of others.
            let mut others = narrow.room(right.len() + 2);
            others.fields.reverse();
            let mut apart = narrow.room_in(others, right.len());
            for (part, rows) in right.chunks(3).zip(&mut apart.parts(3)) {
                narrow.fill::<true, u64>(part, Align::Right, rows).unwrap();
            }
            assert_eq!(apart, columns);
        }
        if length <= 32 {
            let left: Vec<u32> = wide.iter().map(|wide| (wide.0[0] >> 32) as u32).collect();
            assert_eq!(narrow.decode(&left, Align::Left).unwrap(), columns);
            let right: Vec<u32> = left.iter().map(|word| word >> (32 - length)).collect();
            assert_eq!(narrow.decode(&right, Align::Right).unwrap(), columns);
        }
    }
}

proptest! {
    /// Every layout that ships, under every reading.
    #[test]
    fn columns_agree_with_decoding(words: [[u64; 4]; 5], which in any::<prop::sample::Index>(), off in -1isize..=1) {
        let length = which.get(builtin().layouts()).length().wrapping_add_signed(off);
        of(builtin(), length, &words);
    }

    /// Layouts of random spans and covers.
    #[test]
    fn random_layouts_agree_with_decoding(
        words: [[u64; 4]; 5],
        length in 1usize..=256,
        order in any::<[u16; 32]>(),
        cover: [u64; 4],
        group in 1usize..9,
    ) {
        let span = |offsets: Vec<usize>| Span::from_offsets(offsets).ok().map(|s| s.to_string());
        let mut spread: Vec<usize> = order.iter().map(|o| usize::from(*o) % length).collect();
        let mut seen = std::collections::HashSet::new();
        spread.retain(|offset| seen.insert(*offset));
        let mut text = format!(
            "[[layout]]\nid = \"a\"\ntitle = \"a\"\nlength = {length}\nbasis = \"invented\"\n\
             [[layout.field]]\nrole = \"card\"\nspan = \"{}\"\n",
            span(spread).unwrap(),
        );
        let mut covered: Vec<usize> = Wide(cover).offsets().filter(|o| *o < length).collect();
        if covered.len() > 1 {
            let bit = covered.remove(covered.len() / 2) + 1;
            let over = span(covered).unwrap();
            text += &format!("[[layout.check]]\nkind = \"odd\"\nbit = {bit}\nover = \"{over}\"\n");
        }
        let groups = (length / group).saturating_sub(1);
        if groups > 0 {
            let over = span((0..groups * group).collect()).unwrap();
            let at = span((groups * group..(groups + 1) * group).collect()).unwrap();
            text += &format!(
                "[[layout.check]]\nkind = \"lrc\"\ngroup = {group}\nover = \"{over}\"\nat = \"{at}\"\n"
            );
        }
        // The two checks may contradict each other: then there is no layout.
        if let Ok(table) = Table::from_toml(&text) {
            of(&table, length, &words);
        }
    }
}

#[test]
fn words_with_too_many_bits_are_refused() {
    let decoder = Decoder::new(builtin(), 26, &[Reading::AsCaptured]);
    let narrow = decoder.narrow(&decoder.views()[0]);
    let mut words = vec![0u64; 3000];
    words[2500] = 1 << 26;
    let refused = narrow.decode(&words, Align::Right).unwrap_err();
    assert_eq!(refused, TooLong { row: 2500, length: 26 });
    words[2500] = 1 << 37;
    assert_eq!(narrow.decode(&words, Align::Left).unwrap_err().row, 2500);
    assert!(narrow.decode::<u64>(&[], Align::Left).unwrap().checks[0].is_empty());
}
