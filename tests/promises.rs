//! What the guide promises of security, sentence by sentence, each with the test
//! that holds it.

use crate::holdover::root;

/// A part of a sentence of `security.md`, and where it is held: a file, and a
/// function in it.
const HELD: &[(&str, &str, &str)] = &[
    ("show two digits of a card at most", "tests/mask.rs", "every_number_of_two_digits_is_left"),
    (
        "opens no network connection",
        "tests/faults/system_calls.rs",
        "nothing_goes_over_a_network_to_a_program_or_home",
    ),
    ("names no function of the system", "tests/supply.rs", "the_binary_cannot_open_a_socket"),
    (
        "Only the files you name",
        "tests/faults/system_calls.rs",
        "nothing_goes_over_a_network_to_a_program_or_home",
    ),
    (
        "A file is whole or absent",
        "tests/faults/system_calls.rs",
        "plan_killed_anywhere_leaves_the_old_file_or_the_new",
    ),
    (
        "The files of one command appear together",
        "tests/faults/system_calls.rs",
        "where_one_output_fails_the_other_gives_its_place_back",
    ),
    (
        "Inputs, and what standard output goes to, are never replaced",
        "tests/faults/outputs.rs",
        "inputs_are_never_replaced",
    ),
    (
        "Only the new plan may take the place",
        "tests/faults/outputs.rs",
        "inputs_are_never_replaced",
    ),
    (
        "readable by their owner alone",
        "tests/faults/outputs.rs",
        "files_with_cards_are_their_owners_alone",
    ),
    (
        "keeps the narrower of both modes",
        "tests/faults/outputs.rs",
        "files_with_cards_are_their_owners_alone",
    ),
    (
        "Only manual pages and the pocket page are for everyone",
        "tests/faults/outputs.rs",
        "manual_pages_are_everyones_as_far_as_the_user_lets_them",
    ),
    (
        "A command that is killed may leave a file",
        "tests/faults/system_calls.rs",
        "plan_killed_anywhere_leaves_the_old_file_or_the_new",
    ),
    (
        "kept in a file without a name",
        "tests/faults/system_calls.rs",
        "an_interrupt_leaves_nothing_behind",
    ),
    ("Every parser has", "tests/limits.rs", "what_is_beyond_a_limit_is_refused_with_what_to_do"),
    ("none follows nesting", "tests/limits.rs", "nesting_is_refused_not_followed"),
    ("shows control characters", "tests/pages.rs", "what_files_say_stays_text"),
    ("No cell of a CSV begins like a formula", "tests/habits.rs", "no_csv_cell_is_a_formula"),
    ("Pages run no script", "tests/browser/run", "tests/browser/check.py"),
    ("contains `unsafe` but", "tests/supply.rs", "no_crate_of_ours_has_unsafe"),
    ("Licences, sources and versions", ".ci/run", "cargo deny --offline"),
];

/// Sentences that promise nothing of the program: what is secret, what to do, and
/// how the promises are held.
const ADVICE: &[&str] = &[
    "A capture is a key",
    "Secrets like keys are",
    // The type of the port has no way to write: `crates/cli/machine/port.rs`.
    "It writes no cards and drives no reader",
    "That is the command `holdover`",
    "`holdover-sql`, a program of its own",
    // Not tested: the tests are run on Linux.
    "On other systems than Linux",
    "It holds cards, so delete it",
    "What you redirect with `>`",
    "It is expected",
];

#[test]
fn every_promise_has_its_test() {
    let page = std::fs::read_to_string(root().join("crates/cli/guide/security.md")).unwrap();
    let page = page.split("## A problem").next().unwrap();
    let lines = page.lines().filter(|line| !line.starts_with('#'));
    let text: String = lines.map(|line| line.trim_start_matches("- ").to_owned() + " ").collect();
    let words: Vec<&str> = text.split_whitespace().collect();
    let text = words.join(" ");
    let sentences: Vec<&str> = text.split_inclusive(". ").map(str::trim).collect();
    assert!(sentences.len() > 20, "{sentences:?}");
    for sentence in &sentences {
        let held = HELD.iter().any(|(part, ..)| sentence.contains(part));
        let advice = ADVICE.iter().any(|part| sentence.contains(part));
        assert!(held || advice, "no test holds: {sentence}");
    }
    for (part, file, function) in HELD {
        assert!(text.contains(part), "not in security.md any more: {part}");
        let code = std::fs::read_to_string(root().join(file)).unwrap();
        let word = if file.ends_with(".rs") { "fn " } else { "" };
        assert!(code.contains(&format!("{word}{function}")), "{file}: {function}");
    }
}
