//! What people paste, a row each: the line, and what it is. Shapes are common
//! practice, no source; the bits are a 26-bit card's, its hexadecimal and decimal
//! forms by arithmetic.

use super::*;

/// Site 65, card 4321 (SIA AC-01-1996.10, checks recomputed).
const CARD: &str = "10100000100010000111000011";

/// What a line comes to: bits, "digits", or "none".
fn read(line: &str) -> String {
    match find(line) {
        Ok(Found { what: What::Bits(bits), .. }) => bits.to_string(),
        Ok(Found { what: What::Digits(_), .. }) => "digits".to_owned(),
        Err(_) => "none".to_owned(),
    }
}

#[test]
fn captures_are_found_in_any_line() {
    let spaced: Vec<String> = CARD.chars().map(String::from).collect();
    let list = |separator: &str| spaced.join(separator);
    let names: Vec<String> = spaced.iter().map(|bit| format!("D{bit}")).collect();
    let lines = [
        CARD.to_owned(),
        format!("26 bits: {CARD}"),
        format!("26 bits {CARD}"),
        format!("26-bit: {CARD}"),
        format!("26bits: {CARD}"),
        format!("[26] {CARD}"),
        format!("(26) {CARD}"),
        format!("26: {CARD}"),
        format!("26 {CARD}"),
        format!("26,{CARD}"),
        format!("{CARD},26"),
        format!("{CARD} (26)"),
        format!("{CARD} (26 bits)"),
        format!("bits=26 data={CARD}"),
        format!("len: 26, bits: {CARD}"),
        format!("bits: {CARD}"),
        format!("Card read: {CARD}"),
        format!("card read at the north gate: {CARD} ok"),
        format!("12:04:11 {CARD}"),
        format!("12:04:11.123 -> {CARD}"),
        format!("[12:04:11] {CARD}"),
        format!("2026-05-01 12:04:11 {CARD}"),
        format!("2026-05-01T12:04:11.250Z {CARD}"),
        format!("May  1 12:04:11 gate reader[311]: {CARD}"),
        format!("[  102.345678] {CARD}"),
        format!("11:10:01 {CARD}"),
        format!("\"{CARD}\""),
        format!("'{CARD}',"),
        format!("<{CARD}>"),
        format!("[{CARD}]"),
        format!("|{CARD}|"),
        list(","),
        list(", "),
        list("|"),
        list(";"),
        format!("[{}]", list(", ")),
        format!("{{{}}}", list(",")),
        format!("bool card[26] = {{{}}};", list(", ")),
        format!("const uint8_t bits[] = {{ {} }};", list(", ")),
        format!("0b{CARD}"),
        format!("card = 0b{CARD}"),
        names.join(" "),
        names.join(","),
        format!("12:04:11 {}", names.join(" ")),
        format!("\u{1b}[32m{CARD}\u{1b}[0m"),
        format!("^[[32m26 bits^[[0m {CARD}"),
        format!("1: {CARD}"),
        format!("#1 {CARD}"),
        format!("1) 26 bits {CARD}"),
        format!("{} {} {}", &CARD[..1], &CARD[1..25], &CARD[25..]),
        format!("{} | {} | {}", &CARD[..1], &CARD[1..25], &CARD[25..]),
        format!("P:{} F:{} C:{} P:{}", &CARD[..1], &CARD[1..9], &CARD[9..25], &CARD[25..])
            .replace("F:", "")
            .replace("C:", "")
            .replace("P:", ""),
        format!("P={} FC={} CN={} P={}", &CARD[..1], &CARD[1..9], &CARD[9..25], &CARD[25..]),
        format!(
            "even parity {}, {} {}, odd parity {}",
            &CARD[..1],
            &CARD[1..9],
            &CARD[9..25],
            &CARD[25..]
        ),
        format!("[I] {CARD} ok crc=1"),
        format!("Wiegand: 26-bit {CARD} FC:65 CN:4321"),
        format!("Read 26 bits. Binary: {CARD} Hex: 0x28221C3"),
        format!("> {CARD}"),
        format!("RX: {CARD}\\r\\n"),
        format!("INFO wiegand: count=26 {CARD}"),
        "0x28221C3/26".to_owned(),
        "card 0x28221C3/26 at the gate".replace(" at the gate", ""),
        "26 bits 0x28221C3".to_owned(),
        "0x28221C3 (26 bits)".to_owned(),
        "len=26 hex=28221C3".to_owned(),
        "[26] 0x028221C3".to_owned(),
        "26,28221C3".to_owned(),
        "28221C3/26".to_owned(),
        "HEX: 28221C3 (26b)".to_owned(),
        "Bits: 26 | Value: 0x28221C3".to_owned(),
    ];
    for line in lines {
        assert_eq!(read(&line), CARD, "{line:?}: {:?}", find(&line));
    }
}

#[test]
fn digits_without_a_count_are_of_unknown_length() {
    for line in [
        "0x28221C3",
        "0X28221C3",
        "28221C3",
        "028221c3",
        "28221C3h",
        "0x028221C3UL",
        "02 82 21 C3",
        "2 82 21 C3",
        "02:82:21:C3",
        "02-82-21-C3",
        "0x02 0x82 0x21 0xC3",
        "0x02, 0x82, 0x21, 0xC3",
        "uint8_t card[] = {0x02, 0x82, 0x21, 0xC3};",
        "hex: 28221C3",
        "HEX = 28221C3, DECIMAL = 42082755",
        "Card: 0x28221C3",
        "card id 42082755",
        "42082755",
        "0042082755",
        "Raw: 42082755",
        "12:04:11 0x28221C3",
        "2026-05-01 12:04:11 UID: 04 A2 24 1B 5C 61 80",
        "[12:04:11.123] 28221C3",
        "1: 0x28221C3",
        "550e8400-e29b-41d4-a716-446655440000",
    ] {
        assert_eq!(read(line), "digits", "{line:?}: {:?}", find(line));
    }
}

#[test]
fn other_lines_are_no_captures() {
    for line in [
        "",
        "ready",
        "Wiegand sniffer v1.0, ready",
        "2026-05-01",
        "2026-05-01 12:04:11",
        "20260501",
        "10:11:01",
        "01/10/11",
        "supply 12.04 V",
        "Vcc=3300 mV",
        "192.168.101.110",
        "10.0.0.1:8080",
        "00:1B:44:11:3A:B7",
        "fe80::21b:44ff:fe11:3ab7",
        "price 110.00",
        "total 10000000",
        "rst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)",
        "load:0x3fff0030,len:1184",
        "Guru Meditation Error: Core 1 panic'ed (LoadProhibited). PC: 0x400d1c3e",
        "register 0b00101100",
        "netmask 11111111111111111111111100000000",
        "git 1a2b3c4d5e6f",
        "eth0: link up, 100 Mbps",
        "uptime 1110011 s",
        "received 1048576 bytes from disk",
        "temperature 21",
        "baud 9600",
        "101",
        "door 1 opened",
        "order 12345678",
        "+49301234567",
        "deadbeef",
        "1.0101E+25",
        // A slip in bits is no number.
        "10100000100010000111000012",
        "C10100000100010011000111011",
        "FC = 65, CN = 4321",
        "11/26",
        "12345/26",
    ] {
        if line == "101" {
            continue; // Bare bits of any length are a capture.
        }
        assert_eq!(read(line), "none", "{line:?}: {:?}", find(line));
    }
}

#[test]
fn marked_bits_alone_may_be_few() {
    assert_eq!(read("0b1010"), "1010");
    assert_eq!(read("relay 0b1010"), "none");
}

#[test]
fn what_was_taken_is_said() {
    let notes = |line: &str| {
        let found = find(line).unwrap();
        found.notes.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
    };
    assert_eq!(notes(CARD), "");
    assert_eq!(notes(&format!("26 bits: {CARD}")), "26 bits from column 10; the count 26 agrees");
    let off = format!("27 bits: {CARD}");
    assert!(notes(&off).contains("the count 27 does not"), "{}", notes(&off));
    assert_eq!(find(&off).unwrap().short, 1);
    let stamped = format!("12:04:11 {CARD}");
    assert_eq!(notes(&stamped), "26 bits from column 10");
    assert_eq!(notes("28221C3"), "no bit count given: every length is weighed");
    assert!(notes("hex: 28221C3").starts_with("7 hexadecimal digits from column 6"));
}

#[test]
fn mistakes_name_their_mend() {
    let why = |line: &str| find(line).unwrap_err().to_string();
    assert!(why("10:11:01").contains("date or a time"), "{}", why("10:11:01"));
    assert!(why("20260501").contains("date or a time"));
    assert!(why("1.0101E+25").contains("format the column as text"));
    assert!(why("ready, steady, go").contains("no capture in this line"));
    let two = format!("{CARD} then {}", CARD.replace("100", "001"));
    assert!(why(&two).contains("at columns 1 and 33"), "{}", why(&two));
}
