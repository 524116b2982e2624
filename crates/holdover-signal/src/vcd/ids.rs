//! The lookup of a value-change dump's identifiers: which of them are
//! followed, decided in a few instructions for those that are not.

/// One line read off an identifier's value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Target {
    /// Index of the line followed.
    pub(crate) line: u16,
    /// Which bit of the value, from the right, from 0.
    pub(crate) bit: u32,
}

/// Slots for identifiers as words; a power of two, four times the identifiers
/// ever followed, so that most of those not followed meet an empty one.
const SLOTS: usize = 1024;

/// The most identifiers followed.
pub(crate) const MOST: usize = SLOTS / 4;

/// The longest identifier held as a word; longer ones are looked up otherwise.
pub(crate) const WORD: usize = 8;

/// What is read off an identifier.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Found<'a> {
    /// Nothing: it is not followed.
    Nothing,
    /// The last bit of the value, for one line.
    Line(u16),
    /// More than that.
    Group(&'a Group),
}

/// Set in an entry whose low bits are a group's number rather than a line.
const GROUP: u16 = 0x8000;

/// Identifiers followed, each with the lines read off it. An entry is 0 for
/// "not followed", a line + 1, or a group's number with [`GROUP`] set.
#[derive(Debug)]
pub(crate) struct IdTable {
    /// By the character itself, where there is only one.
    one: [u16; 256],
    /// Whether any identifier followed has such a first and last character.
    ends: [bool; 256],
    /// Word and entry, in open addressing over a multiplicative hash.
    slots: Box<[(u64, u16); SLOTS]>,
    groups: Vec<Group>,
}

#[derive(Debug)]
pub(crate) struct Group {
    id: Vec<u8>,
    targets: Vec<Target>,
}

impl Group {
    /// The lines read off the identifier.
    pub(crate) fn targets(&self) -> &[Target] {
        &self.targets
    }
}

impl IdTable {
    pub(crate) fn new() -> IdTable {
        IdTable {
            one: [0; 256],
            ends: [false; 256],
            slots: Box::new([(0, 0); SLOTS]),
            groups: Vec::new(),
        }
    }

    /// Follows a bit of an identifier; false where there is no room.
    pub(crate) fn follow(&mut self, id: &[u8], target: Target) -> bool {
        let number = match self.groups.iter().position(|g| g.id == id) {
            Some(number) => number,
            None if self.groups.len() == MOST || target.line >= GROUP - 1 => return false,
            None => {
                self.groups.push(Group { id: id.to_vec(), targets: Vec::new() });
                self.groups.len() - 1
            }
        };
        let targets = &mut self.groups[number].targets;
        targets.push(target);
        let entry = match targets.as_slice() {
            [Target { line, bit: 0 }] => line + 1,
            _ => GROUP | number as u16,
        };
        if let (Some(first), Some(last)) = (id.first(), id.last()) {
            self.ends[ends(*first, *last)] = true;
        }
        if let [a] = *id {
            self.one[usize::from(a)] = entry;
        }
        if let Some(word) = word(id) {
            let mut slot = hash(word);
            while self.slots[slot].1 != 0 && self.slots[slot].0 != word {
                slot = (slot + 1) % SLOTS;
            }
            self.slots[slot] = (word, entry);
        }
        true
    }

    /// What is read off an identifier of one character.
    #[inline]
    pub(crate) fn one(&self, id: u8) -> Found<'_> {
        self.entry(self.one[usize::from(id)])
    }

    /// Whether an identifier with this first and this last character may be
    /// followed; most are passed over by this alone.
    #[inline]
    pub(crate) fn may_be(&self, first: u8, last: u8) -> bool {
        self.ends[ends(first, last)]
    }

    /// What is read off an identifier given as a word.
    #[inline]
    pub(crate) fn word(&self, word: u64) -> Found<'_> {
        let mut slot = hash(word);
        loop {
            let (held, entry) = self.slots[slot];
            if entry == 0 {
                return Found::Nothing;
            }
            if held == word {
                return self.entry(entry);
            }
            slot = (slot + 1) % SLOTS;
        }
    }

    /// What is read off an identifier.
    #[inline]
    pub(crate) fn find(&self, id: &[u8]) -> Found<'_> {
        match word(id) {
            Some(word) => self.word(word),
            None => self.groups.iter().find(|g| g.id == id).map_or(Found::Nothing, Found::Group),
        }
    }

    #[inline]
    fn entry(&self, entry: u16) -> Found<'_> {
        if entry & GROUP != 0 {
            return self
                .groups
                .get(usize::from(entry ^ GROUP))
                .map_or(Found::Nothing, Found::Group);
        }
        entry.checked_sub(1).map_or(Found::Nothing, Found::Line)
    }
}

/// An identifier as a word, the first character the lowest byte; no two have
/// the same, as no character is 0.
#[inline]
fn word(id: &[u8]) -> Option<u64> {
    let fits = id.len() <= WORD;
    fits.then(|| id.iter().rev().fold(0, |word, b| word << 8 | u64::from(*b)))
}

/// First and last character as one byte. Writers count identifiers up from
/// either end, so one of the two tells little.
#[inline]
fn ends(first: u8, last: u8) -> usize {
    usize::from(first.wrapping_mul(37) ^ last)
}

/// Fibonacci hashing (Knuth, The Art of Computer Programming 3, 2nd edition,
/// section 6.4; from memory): the factor is 2^64 over the golden ratio.
#[inline]
fn hash(word: u64) -> usize {
    (word.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 54) as usize % SLOTS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_length_is_found_and_no_other() {
        let mut table = IdTable::new();
        let ids: [&[u8]; 7] = [b"!", b"#", b"$", b"!!", b"abc", b"#$%&", b"aVeryLongIdentifier"];
        for (line, id) in ids.iter().enumerate() {
            assert!(table.follow(id, Target { line: line as u16, bit: 0 }));
        }
        let line = |table: &IdTable, id: &[u8]| match table.find(id) {
            Found::Nothing => None,
            Found::Line(line) => Some(line),
            Found::Group(group) => Some(group.targets()[0].line),
        };
        for (i, id) in ids.iter().enumerate() {
            assert_eq!(line(&table, id), Some(i as u16));
        }
        for id in [&b"\""[..], b"!#", b"ab", b"abd", b"", b"aVeryLongIdentifieR", b"\xA1\xA1"] {
            assert_eq!(line(&table, id), None, "{id:?}");
        }
        assert!(table.follow(b"!", Target { line: 9, bit: 3 }));
        let Found::Group(group) = table.find(b"!") else { panic!() };
        assert_eq!(group.targets().len(), 2);
        assert!(table.follow(b"abc", Target { line: 10, bit: 0 }));
        let Found::Group(group) = table.find(b"abc") else { panic!() };
        assert_eq!(group.targets().len(), 2);
    }

    #[test]
    fn room_is_bounded() {
        let mut table = IdTable::new();
        let taken = (0..2 * MOST)
            .filter(|i| table.follow(format!("id{i}").as_bytes(), Target { line: 0, bit: 0 }))
            .count();
        assert_eq!(taken, MOST);
    }
}
