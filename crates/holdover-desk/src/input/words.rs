//! A site's own words for columns and for kinds of cards, from the command line
//! and from the site file.

use std::collections::BTreeMap;

use holdover::file::nearest;
use holdover::layout::{Layout, Table};
use holdover::site::Site;

use crate::fail::Fail;
use crate::input::headings;
use crate::input::headings::column_of;
use crate::plain::plain;
use crate::request;

/// What a heading may be mapped to.
const COLUMNS: [&str; 8] =
    ["bits", "layout", "site", "card", "printed", "holder", "state", "reader"];

/// Own words, in small letters, and what each means.
#[derive(Debug, Default)]
pub struct Words {
    columns: BTreeMap<String, String>,
    kinds: BTreeMap<String, String>,
    /// Headings that the command line names: they must be there.
    named: Vec<String>,
}

impl Words {
    /// Headings of captures alone, as the command line maps them.
    pub fn of_columns(columns: &[String]) -> Result<Words, Fail> {
        let own = request::Words { columns: columns.to_vec(), kinds: Vec::new() };
        Words::of(&Site::default(), &own, &Table::default())
    }

    /// A heading that is named need not be there.
    pub fn anywhere(&mut self) {
        self.named.clear();
    }

    /// Whether the command line names a heading.
    pub fn any(&self) -> bool {
        !self.named.is_empty()
    }

    /// What a heading means here; itself, where nothing is said of it.
    pub fn means<'w>(&'w self, heading: &'w str) -> &'w str {
        self.columns.get(&headings::normal(heading)).map_or(heading, String::as_str)
    }

    /// Those of the site file; the command line's go before them.
    pub fn of(site: &Site, own: &request::Words, table: &Table) -> Result<Words, Fail> {
        let lower = |words: &BTreeMap<String, String>| {
            words.iter().map(|(word, means)| (headings::normal(word), means.clone())).collect()
        };
        let mut words = Words {
            columns: lower(&site.columns),
            kinds: lower(&site.kinds),
            named: own.columns.iter().filter_map(|text| split(text)).map(|(h, _)| h).collect(),
        };
        for text in &own.columns {
            let (heading, means) = split(text).ok_or_else(|| unsplit("--column", text, "card"))?;
            words.columns.insert(headings::normal(&heading), means);
        }
        for means in words.columns.values() {
            if column_of(means).is_none()
                && !headings::OWN.contains(&headings::normal(means).as_str())
            {
                return Err(Fail::said(format!(
                    "{:?} is no column: a heading may mean {}",
                    plain(means),
                    COLUMNS.join(", ")
                )));
            }
        }
        for text in &own.kinds {
            let (kind, id) = split(text).ok_or_else(|| unsplit("--kind", text, "std26"))?;
            words.kinds.insert(headings::normal(&kind), id);
        }
        for id in words.kinds.values() {
            if table.layout(id).is_none() {
                let near = nearest(id, table.layouts().iter().map(Layout::id));
                let mend = near.map_or_else(
                    || "give its table with --table".to_owned(),
                    |near| format!("did you mean {near:?}?"),
                );
                return Err(Fail::said(format!(
                    "--kind: no layout {:?} in the table: {mend}",
                    plain(id)
                )));
            }
        }
        Ok(words)
    }

    /// Headings as a roster calls them; two that would mean the same stay apart.
    pub fn headings(&self, own: &[String]) -> Vec<String> {
        own.iter().map(|heading| self.means(heading).to_owned()).collect()
    }

    /// The first heading that the command line names and the sheet has not.
    pub fn missing(&self, own: &[String]) -> Option<String> {
        let there = |name: &&String| {
            own.iter().any(|heading| headings::normal(heading) == headings::normal(name))
        };
        let name = self.named.iter().find(|name| !there(name))?;
        let shown: Vec<_> = own.iter().take(12).map(|heading| plain(heading)).collect();
        Some(format!("--column: no column {:?}, found {}", plain(name), shown.join(", ")))
    }

    /// A layout's id, or what the site calls it.
    pub fn kind(&self, cell: String) -> String {
        self.kinds.get(&headings::normal(&cell)).cloned().unwrap_or(cell)
    }
}

fn split(text: &str) -> Option<(String, String)> {
    let (word, means) = text.rsplit_once('=')?;
    let [word, means] = [word, means].map(|part| part.trim().to_owned());
    (!word.is_empty() && !means.is_empty()).then_some((word, means))
}

fn unsplit(option: &str, text: &str, means: &str) -> Fail {
    let text = plain(text);
    let word = if text.is_empty() { "your word".to_owned() } else { text.clone() };
    Fail::said(format!("{option} {text:?}: write {option} \"{word}={means}\""))
}
