//! The cautions that every verb ends with: cards are keys, and doors let
//! people out.

pub use holdover::plan::LIFE_SAFETY as DOORS;

use crate::fail::Fail;
use crate::terminal::Page;

/// What is true of every card that is named.
pub const CARDS: &str = "cards are keys, and these bits can make one: work only where you are \
                         authorised, and try a card at its door before you rely on it";

/// One line of cautions, once a run, where cards are named to people.
pub fn say(out: &mut Page) -> Result<(), Fail> {
    out.say("caution  ", CARDS)?;
    Ok(())
}
