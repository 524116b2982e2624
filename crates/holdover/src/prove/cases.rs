//! Regression cases: what a table decoded once, it decodes still.

use serde::Serialize;

use crate::bits::{Capture, CaptureError};
use crate::layout::Table;
use crate::rank::{Answer, Batch, Candidate, Observation};

/// One case: a capture and what it must come to. What is `None` is not asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Case {
    /// Its line in the file, the header line 1.
    pub line: usize,
    /// The capture, or why it is none.
    pub bits: Result<Capture, CaptureError>,
    /// Id of the layout.
    pub layout: Option<String>,
    /// Site code.
    pub site: Option<String>,
    /// Card number.
    pub card: Option<String>,
    /// Verdict as output names it; `invalid` where it is no capture.
    pub verdict: Option<String>,
}

/// What a capture comes to, or should.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct CaseAnswer {
    /// The verdict.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<String>,
    /// Id of the layout.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layout: Option<String>,
    /// Site code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub site: Option<String>,
    /// Card number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub card: Option<String>,
}

/// Whether a case holds, as `{"line":2,"holds":true,"expected":…,"got":…}`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CaseProof {
    /// Its line.
    pub line: usize,
    /// Whether it decodes as written.
    pub holds: bool,
    /// What is written.
    pub expected: CaseAnswer,
    /// What came, the same things asked.
    pub got: CaseAnswer,
}

/// Decodes every case by itself, as one capture alone is ranked.
///
/// Where one capture cannot tell two layouts apart, because they have the same
/// length and checks, the one that the case names counts.
pub fn prove_cases(table: &Table, cases: &[Case]) -> Vec<CaseProof> {
    let mut batch = Batch::new(table, None);
    cases.iter().map(|case| prove_case(&mut batch, case)).collect()
}

fn prove_case(batch: &mut Batch<'_>, case: &Case) -> CaseProof {
    let expected = CaseAnswer {
        verdict: case.verdict.clone(),
        layout: case.layout.clone(),
        site: case.site.clone(),
        card: case.card.clone(),
    };
    let got = match &case.bits {
        Err(_) => CaseAnswer { verdict: Some("invalid".to_owned()), ..CaseAnswer::default() },
        Ok(bits) => {
            batch.clear();
            let observation = Observation::from(*bits);
            batch.see(&observation);
            answer(&batch.fit().answer(&observation), case)
        }
    };
    let same = |wanted: &Option<String>, got: &Option<String>| match (wanted, got) {
        (None, _) => true,
        (Some(wanted), Some(got)) => plain(wanted) == plain(got),
        (Some(wanted), None) => wanted.trim().is_empty(),
    };
    let holds = same(&expected.verdict, &got.verdict)
        && same(&expected.layout, &got.layout)
        && same(&expected.site, &got.site)
        && same(&expected.card, &got.card);
    CaseProof { line: case.line, holds, expected, got }
}

/// The best candidate, or the one asked for where the two cannot be told apart.
fn answer(answer: &Answer<'_>, case: &Case) -> CaseAnswer {
    let mut got =
        CaseAnswer { verdict: Some(answer.verdict.name().to_owned()), ..CaseAnswer::default() };
    let Some(best) = answer.best() else { return got };
    let alike = |candidate: &&Candidate<'_>| {
        case.layout.as_deref().map(str::trim) == Some(candidate.layout.id())
            && candidate.reading == best.reading
            && candidate.layout.same_rules(best.layout)
    };
    let candidate = answer.candidates.iter().find(alike).unwrap_or(best);
    // A card that fails a check of its layout is not decoded.
    if !candidate.holds() {
        return got;
    }
    let decode = candidate.decode();
    got.layout = Some(candidate.layout.id().to_owned());
    got.site = decode.site().map(|value| value.to_string());
    got.card = decode.card().map(|value| value.to_string());
    got
}

/// A text without its leading zeros, where it is a number.
fn plain(text: &str) -> &str {
    let text = text.trim();
    let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    if digits { text.trim_start_matches('0') } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::builtin;

    fn case(bits: &str, layout: Option<&str>, card: Option<&str>, verdict: Option<&str>) -> Case {
        let owned = |text: Option<&str>| text.map(str::to_owned);
        let (layout, card, verdict) = (owned(layout), owned(card), owned(verdict));
        Case { line: 2, bits: bits.parse(), layout, site: None, card, verdict }
    }

    #[test]
    fn cases_hold_or_say_what_came() {
        let word = "10100000100010000111000011";
        let holds = |case: Case| prove_cases(builtin(), &[case]).remove(0);
        assert!(holds(case(word, Some("std26"), Some("04321"), Some("identified"))).holds);
        assert!(holds(case("01x", None, None, Some("invalid"))).holds);
        let wrong = holds(case(word, Some("std26"), Some("4322"), None));
        assert!(!wrong.holds);
        assert_eq!(wrong.got.card.as_deref(), Some("4321"));
        // Two layouts of 34 bits with the same checks: either may be meant.
        for (layout, card) in [("site34", 4321u128), ("num34", 65 << 16 | 4321)] {
            let row = crate::plan::RosterRow::of_numbers(builtin(), 2, "site34", 65, 4321).unwrap();
            let crate::plan::RosterCard::Card { bits, .. } = row.card else { panic!() };
            let card = card.to_string();
            let proof = holds(case(&bits.to_string(), Some(layout), Some(&card), None));
            assert!(proof.holds, "{proof:?}");
        }
    }
}
