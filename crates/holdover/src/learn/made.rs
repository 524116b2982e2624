//! The layout of what was found, with what is not settled of it.

use super::answer::{FoundCheck, FoundField};
use super::kind::Study;
use super::rows::Rows;
use crate::bits::{Span, Wide};
use crate::decode::Decode;
use crate::layout::{Field, Layout, LayoutSpec, PlaceIn, Unsettled};

/// The layout, if it decodes every good sample back to its print.
pub(super) fn layout(
    id: String,
    length: usize,
    fields: &[FoundField],
    checks: &[FoundCheck],
    study: &Study<'_>,
    good: &Rows,
) -> Result<Layout, String> {
    if fields.is_empty() {
        return Err(match study.printed() {
            true => "no field could be told: no number printed comes out of the bits",
            false => "no field could be told: the layout needs the numbers printed on the cards",
        }
        .to_owned());
    }
    let field = |f: &FoundField| {
        let (code, print) = (f.code, f.print);
        Field { code, print, ..Field::binary(f.role.clone(), f.span.clone()) }
    };
    let spec = LayoutSpec {
        id,
        title: format!("{length} bits, {}", Layout::WORKED_OUT),
        length,
        basis: Layout::WORKED_OUT.to_owned(),
        weight: 1.0,
        fields: fields.iter().map(field).collect(),
        checks: checks.iter().map(|found| found.check.clone()).collect(),
        unsettled: unsettled(fields, checks),
    };
    let layout =
        Layout::new(spec).map_err(|error| format!("what was found is no layout: {error}"))?;
    for row in good.iter() {
        let line = study.matrix.samples[row].line;
        let decode =
            Decode::new(&layout, study.matrix.capture(row)).ok_or("a sample has another length")?;
        if let Some((check, _)) = decode.outcomes().find(|(_, holds)| !holds) {
            return Err(format!(
                "line {line} breaks {check}, though nothing else is wrong with it"
            ));
        }
        let same = |value: Option<crate::layout::Value>, printed: Option<u128>| {
            printed.is_none() || value.and_then(|v| v.to_string().parse::<u128>().ok()) == printed
        };
        let card = study.card.as_ref().and_then(|card| card.number.facet.values[row]);
        if !same(decode.card(), card) {
            return Err(format!("line {line} does not decode back to its print"));
        }
        let site = study.site.as_ref().and_then(|site| site.facet.values[row]);
        if decode.site().is_some() && !same(decode.site(), site) {
            return Err(format!("line {line} does not decode back to its site code"));
        }
    }
    Ok(layout)
}

/// What the sample does not settle.
fn unsettled(fields: &[FoundField], checks: &[FoundCheck]) -> Vec<Unsettled> {
    // Bits that some of the spans that fit hold, and others do not.
    let differ = |found: &FoundField| {
        let masks = || found.could_be.iter().map(Span::mask);
        let any = masks().fold(Wide::ZERO, |any, mask| any | mask);
        Span::from_mask(masks().fold(any, |every, mask| every & mask) ^ any)
    };
    let fields = fields.iter().enumerate().filter(|(_, found)| !found.settled);
    let fields =
        fields.map(|(i, found)| Unsettled { part: PlaceIn::Field(i), open: differ(found) });
    let checks = checks.iter().enumerate().filter(|(_, found)| !found.settled);
    let checks = checks
        .map(|(i, found)| Unsettled { part: PlaceIn::Check(i), open: found.undetermined.clone() });
    fields.chain(checks).collect()
}
