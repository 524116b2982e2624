//! Tables: sets of layouts with unique ids.

use std::collections::HashMap;

use thiserror::Error;

use super::Layout;
use crate::bits::Capture;

/// A set of layouts, in the order given, ids unique.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Table {
    layouts: Vec<Layout>,
    by_id: HashMap<String, usize>,
}

/// Two layouts of one id.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("a layout {id:?} is already in the table")]
pub struct Duplicate {
    /// The id.
    pub id: String,
}

impl Table {
    /// A table of these layouts.
    ///
    /// # Errors
    /// Two layouts of one id.
    pub fn new(layouts: impl IntoIterator<Item = Layout>) -> Result<Table, Duplicate> {
        let mut table = Table::default();
        layouts.into_iter().try_for_each(|layout| table.add(layout))?;
        Ok(table)
    }

    /// Adds a layout.
    ///
    /// # Errors
    /// Its id is in the table already.
    pub fn add(&mut self, layout: Layout) -> Result<(), Duplicate> {
        let id = layout.id().to_owned();
        if self.by_id.contains_key(&id) {
            return Err(Duplicate { id });
        }
        self.by_id.insert(id, self.layouts.len());
        self.layouts.push(layout);
        Ok(())
    }

    /// The most layouts a table file, or several together, may hold; and the
    /// most of one length, each of which is tried on every capture of it.
    pub const MAX_LAYOUTS: usize = 4096;
    /// The most layouts of one length.
    pub const MAX_OF_LENGTH: usize = 256;

    /// Why there are too many layouts, if there are.
    pub fn excess(&self) -> Option<String> {
        let (most, of_length) = (Self::MAX_LAYOUTS, Self::MAX_OF_LENGTH);
        if self.layouts.len() > most {
            return Some(format!("more than {most} layouts"));
        }
        let mut counts = [0; Capture::MAX_BITS + 1];
        self.layouts.iter().for_each(|layout| counts[layout.length()] += 1);
        let length = counts.iter().position(|count| *count > of_length)?;
        Some(format!("more than {of_length} layouts of {length} bits"))
    }

    /// The layouts, in the order given.
    pub fn layouts(&self) -> &[Layout] {
        &self.layouts
    }

    /// The layout of that id.
    pub fn layout(&self, id: &str) -> Option<&Layout> {
        self.index_of(id).map(|i| &self.layouts[i])
    }

    /// Index of the layout of that id, from 0.
    pub fn index_of(&self, id: &str) -> Option<usize> {
        self.by_id.get(id).copied()
    }
}
