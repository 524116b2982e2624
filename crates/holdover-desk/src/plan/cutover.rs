//! The cut-over sheet: a takeover happens with people inside.

use std::fmt::Write;

use holdover::plan::{Plan, RowState};

use crate::mask::Shown;
use crate::plain::plain;
use crate::roster::Roster;
use crate::terminal;

/// Blocked cards listed to be tried at a door; the rest is counted (judgement, no
/// source: more are not at hand).
const TRIED_BLOCKED: usize = 20;

/// Holders compared with their cards (judgement, no source: a column that slipped
/// in the list shows in the first few).
const SPOT_CHECKED: &str = "ten";

/// How long a door is mended before it goes back to the old panel (judgement, no
/// source: longer, and people wait at it).
const MENDED_WITHIN: &str = "fifteen minutes";

/// How long the old panel is kept (judgement, no source: who comes once a week
/// has come).
const KEPT_FOR: &str = "a week";

/// What the old panel knows and nobody else.
const SAVE_FIRST: &str = "\
2. SAVE FROM THE OLD PANEL FIRST
[ ] its whole configuration, as the panel exports it, in two places
[ ] the list of holders with card numbers, groups and hours of access
[ ] site codes and formats it accepts, photographed where it cannot export them
[ ] each door's timings, inputs and outputs: lock, contact, request to exit, held open
[ ] wiring photographed at each terminal, D0 and D1 of each reader marked
";

pub fn sheet(plan: &Plan, roster: &Roster, shown: &Shown) -> String {
    let mut out = String::new();
    let mut line = |text: &str| writeln!(out, "{text}").expect("writing to a string does not fail");
    let conflicts = plan.conflicts().len();
    let lost = plan.objective().lost;
    line(&format!("CUT-OVER SHEET{:>64}", format!("plan {}", shown.mark)));
    line("");
    line("People are inside while this is done. Release, egress and fire interfaces follow the");
    line("local code and the authority having jurisdiction; licensed people change them, nobody");
    line("else. Every door must let people out at every step below, whatever the panels do.");
    line("");
    line("1. BEFORE THE DAY");
    line("[ ] the plan is proved on the roster: `holdover prove --plan … --roster …` ends with 0");
    line(&format!("[ ] conflicts open: {conflicts}; kept cards lost: {lost}"));
    line(&format!("[ ] the roster has {}", roster.sum()));
    let to_read = super::to_read::boxes(roster, shown);
    if !to_read.is_empty() {
        line("[ ] these cards are read, and the plan is made again with their bits:");
        to_read.iter().for_each(|card| line(card));
    }
    for reader in &roster.wiring {
        for (i, text) in terminal::wrap(reader, 80).iter().enumerate() {
            line(&format!("{} {text}", if i == 0 { "[ ]" } else { "   " }));
        }
    }
    line("[ ] holders of cards to be reissued are told, and their new cards lie ready");
    line("[ ] the manager and whoever answers alarms know the day and the hour");
    line("");
    line(SAVE_FIRST);
    line("3. KEY IN");
    line("[ ] the slots from the worksheet, each read back and signed");
    line(&format!(
        "[ ] holders from the enrolment list; spot-check {SPOT_CHECKED} against their cards' print"
    ));
    line("");
    line("4. DOOR BY DOOR, IN THIS ORDER");
    line("   first an inside door nobody needs to leave by, then the other inside doors, then a");
    line("   side entrance, the main entrance last; one door at a time, a person with a key at it");
    line("   door ____________________________________________________________________________");
    line("   [ ] it opens from inside without a card, before and after");
    for slot in plan.slots() {
        line(&format!("   [ ] a card of slot {} ({}) opens as itself", slot.slot, slot.name));
    }
    line("   [ ] a card of no slot, and a card of another site, are refused");
    blocked(roster, shown, &mut line);
    line("   [ ] reader wiring: the panel shows the number of the worksheet, not another");
    line("   [ ] lock, contact, request to exit and fire release do what they did before");
    line("   signed ______________________   time __________");
    line("");
    line("5. HOW TO GO BACK");
    line(&format!("   If a door fails a line above and it is not mended in {MENDED_WITHIN}:"));
    line("   [ ] move that door's reader and lock back to the old panel as photographed");
    line("   [ ] try one known card and the way out; note the time and what failed");
    line("   Keep the old panel powered and its configuration untouched until every holder has");
    line(&format!("   come in once, or {KEPT_FOR} has passed."));
    line("");
    line("6. THE FIRST MORNING");
    line("[ ] someone with the roster stands at the main entrance");
    line("[ ] each refused card is read with `holdover read` and looked up in the plan");
    line("");
    line("CAUTIONS");
    for caution in super::worksheet::cautions(plan) {
        line(&caution);
    }
    line(&format!(
        "- {SPOT_CHECKED} cards, {MENDED_WITHIN} and {KEPT_FOR} are judgements: change them to suit"
    ));
    out
}

/// The blocked cards to try, each of which must stay shut.
fn blocked(roster: &Roster, shown: &Shown, line: &mut impl FnMut(&str)) {
    let blocked: Vec<_> = roster.rows.iter().filter(|row| row.state == RowState::Blocked).collect();
    if !blocked.is_empty() {
        line("   [ ] blocked cards, where they are at hand: each must stay shut");
    }
    for row in blocked.iter().take(TRIED_BLOCKED) {
        let printed = row
            .printed
            .as_deref()
            .map_or(String::new(), |printed| format!(", print {}", plain(shown.print(printed))));
        let holder =
            row.holder.as_deref().map_or(String::new(), |holder| format!(", {}", plain(holder)));
        line(&format!("       [ ] roster line {}{printed}{holder}: must stay shut", row.line));
    }
    if blocked.len() > TRIED_BLOCKED {
        let more = blocked.len() - TRIED_BLOCKED;
        line(&format!("       and {more} more rows of the roster whose state is blocked"));
    }
}
