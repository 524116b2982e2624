//! The table that ships: only what a published source or common practice gives.

use std::sync::LazyLock;

use super::Table;

/// The built-in table as a file.
pub(super) const TEXT: &str = include_str!("builtin.toml");

/// The built-in table.
pub fn builtin() -> &'static Table {
    static TABLE: LazyLock<Table> = LazyLock::new(|| {
        Table::from_toml(TEXT).expect("the built-in table is consistent, as its test shows")
    });
    &TABLE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn is_consistent_and_reads_back_equal() {
        let table = builtin();
        assert_eq!(&Table::from_toml(&table.to_toml()).unwrap(), table);
        for layout in table.layouts() {
            assert!(!layout.spec().basis.is_empty());
        }
    }
}
