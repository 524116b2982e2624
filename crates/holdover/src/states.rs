//! What is to become of a roster's card, and the words that say so.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::file::nearest;

/// What is to become of a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RowState {
    /// In someone's pocket: it must open as before.
    Kept,
    /// Bought, still to be issued.
    Boxed,
    /// Lost, stolen, returned or expired: it must stay shut.
    Blocked,
}

impl RowState {
    /// The state's own word.
    pub fn word(self) -> &'static str {
        match self {
            RowState::Kept => "kept",
            RowState::Boxed => "boxed",
            RowState::Blocked => "blocked",
        }
    }
}

/// The words there are; an empty cell is kept as well.
pub const WORDS: [(&str, RowState); 9] = [
    ("kept", RowState::Kept),
    ("issued", RowState::Kept),
    ("active", RowState::Kept),
    ("boxed", RowState::Boxed),
    ("blocked", RowState::Blocked),
    ("lost", RowState::Blocked),
    ("stolen", RowState::Blocked),
    ("returned", RowState::Blocked),
    ("expired", RowState::Blocked),
];

/// A site's words for states: the fixed ones, and its own.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct States {
    own: BTreeMap<String, RowState>,
}

/// A word that says no state.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(
    "state {word:?} is not known: {mend}the words are kept, issued, active (or nothing), boxed, \
     blocked, lost, stolen, returned, expired{own}; a word of your own goes into the site file, \
     under [states]: {word:?} = \"kept\", \"boxed\" or \"blocked\""
)]
pub struct UnknownState {
    word: String,
    mend: String,
    own: String,
}

impl States {
    /// Adds a word of the site's own; `false` where it is a fixed one of
    /// another meaning.
    pub fn add(&mut self, word: &str, state: RowState) -> bool {
        let word = plain(word);
        let fixed = WORDS.iter().find(|(known, _)| *known == word);
        if word.is_empty() || fixed.is_some_and(|(_, known)| *known != state) {
            return false;
        }
        self.own.insert(word, state);
        true
    }

    /// The state that a cell says; capital letters and spaces do not count.
    ///
    /// # Errors
    /// Any other word, with the nearest one there is.
    ///
    /// # Examples
    /// ```
    /// use holdover::states::{RowState, States};
    /// let states = States::default();
    /// assert_eq!(states.of(" Lost ")?, RowState::Blocked);
    /// assert_eq!(states.of("")?, RowState::Kept);
    /// assert!(states.of("isued").unwrap_err().to_string().contains("did you mean \"issued\"?"));
    /// # Ok::<(), holdover::states::UnknownState>(())
    /// ```
    pub fn of(&self, cell: &str) -> Result<RowState, UnknownState> {
        let word = plain(cell);
        if word.is_empty() {
            return Ok(RowState::Kept);
        }
        let fixed = WORDS.iter().find(|(known, _)| *known == word).map(|(_, state)| *state);
        fixed.or_else(|| self.own.get(&word).copied()).ok_or_else(|| self.unknown(cell, &word))
    }

    fn unknown(&self, cell: &str, word: &str) -> UnknownState {
        let fixed = WORDS.iter().map(|(known, _)| *known);
        let known = fixed.chain(self.own.keys().map(String::as_str));
        let near = nearest(word, known.filter(|known| !is_opposite(word, known)));
        let own: Vec<&str> = self.own.keys().map(String::as_str).take(20).collect();
        UnknownState {
            word: crate::file::short(cell.trim()),
            mend: near.map_or_else(String::new, |near| format!("did you mean {near:?}? ")),
            own: if own.is_empty() { String::new() } else { format!(", {}", own.join(", ")) },
        }
    }
}

/// Whether one word denies the other: "inactive", "not issued".
fn is_opposite(word: &str, known: &str) -> bool {
    let front = word.strip_suffix(known).map(|front| front.trim_end_matches([' ', '-']));
    front.is_some_and(|front| ["de", "dis", "in", "no", "non", "not", "un"].contains(&front))
}

/// A word in small letters, its parts joined by one space.
fn plain(word: &str) -> String {
    word.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}
