//! Layouts: how one kind of card arranges its bits.
//!
//! A [`Layout`] exists only when it is consistent: its spans lie inside its
//! length, its fields do not share bits, its checks can all hold at once.

mod builtin;
mod check;
mod compose;
mod error;
mod field;
mod file;
mod rule;
mod table;
mod unsettled;
mod wire;
mod write;

pub use builtin::builtin;
pub use check::Check;
pub use compose::{ComposeError, ComposeErrorKind};
pub use error::{LayoutError, LayoutErrorKind, Place, PlaceIn};
pub use field::{Code, Field, Part, PrintRule, Role, Value};
pub use rule::Rule;
pub use table::{Duplicate, Table};
pub use unsettled::Unsettled;
pub(crate) use wire::WireCheck;

use crate::bits::{Capture, Span, Wide, gf2};

/// What a layout is made of, before it is known to be consistent.
#[derive(Debug, Clone, PartialEq)]
pub struct LayoutSpec {
    /// Unique in a table: small letters, digits, `-` and `_`.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// All bits, checks included; 1 to 256.
    pub length: usize,
    /// A published source, "common practice, no source", or "worked out from captures".
    pub basis: String,
    /// How common it is, relative to the others; above 0.
    pub weight: f64,
    /// The numbers it carries.
    pub fields: Vec<Field>,
    /// The rules its bits must meet.
    pub checks: Vec<Check>,
    /// Which fields and checks are not settled; none in a layout that is
    /// published.
    pub unsettled: Vec<Unsettled>,
}

/// How one kind of card arranges its bits: total length, fields, checks.
///
/// Laws, held by tests: composing and decoding again gives the same values;
/// one flipped bit under a parity check always fails that check; the number of
/// words that meet all checks is 2^(length − [rank](Layout::rank)), decimal
/// digits aside.
///
/// # Examples
/// ```
/// use holdover::layout::builtin;
/// let std26 = builtin().layout("std26").unwrap();
/// let word = std26.compose([("site", 65), ("card", 4321)])?;
/// assert_eq!(word.to_string(), "10100000100010000111000011");
/// # Ok::<(), holdover::layout::ComposeError>(())
/// ```
#[derive(Debug, Clone)]
pub struct Layout {
    spec: LayoutSpec,
    rules: Vec<Rule>,
    rank: usize,
    /// Relations of the checks, reduced, pivots on check bits where possible.
    system: gf2::System,
    site: Option<Span>,
    card: Option<Span>,
}

impl PartialEq for Layout {
    fn eq(&self, other: &Layout) -> bool {
        self.spec == other.spec
    }
}

/// The most checks one layout may have.
pub const MAX_CHECKS: usize = 256;

impl Layout {
    /// Makes a layout of a consistent description.
    ///
    /// # Errors
    /// Says which part is wrong and what to write instead.
    pub fn new(mut spec: LayoutSpec) -> Result<Layout, LayoutError> {
        check_head(&spec)?;
        for (i, field) in spec.fields.iter().enumerate() {
            field.check(i, &spec)?;
        }
        for (i, check) in spec.checks.iter().enumerate() {
            check.check(spec.length).map_err(|(key, kind)| LayoutError {
                place: Place { part: PlaceIn::Check(i), key },
                kind,
            })?;
        }
        unsettled::check(&mut spec)?;
        let (rules, system) = rule::compile(&spec)?;
        let joined = |part| {
            let spans = spec.fields.iter().filter(|f| f.belongs_to(part)).map(|f| &f.span);
            let offsets: Vec<usize> = spans.flat_map(|span| span.offsets()).collect();
            Span::from_offsets(offsets).ok()
        };
        let (site, card) = (joined(Part::Site), joined(Part::Card));
        Ok(Layout { rank: system.rank(), spec, rules, system, site, card })
    }

    /// The description this layout was made of.
    pub fn spec(&self) -> &LayoutSpec {
        &self.spec
    }

    /// The id, unique in its table.
    pub fn id(&self) -> &str {
        &self.spec.id
    }

    /// All bits, checks included.
    pub fn length(&self) -> usize {
        self.spec.length
    }

    /// The fields, in the order the table gives them.
    pub fn fields(&self) -> &[Field] {
        &self.spec.fields
    }

    /// The checks as the table gives them.
    pub fn checks(&self) -> &[Check] {
        &self.spec.checks
    }

    /// Every rule a word must meet: the checks, then the parity and validity
    /// of each decimal digit.
    pub fn rules(&self) -> &[Rule] {
        &self.rules
    }

    /// Independent parity relations among the rules (rank over GF(2)).
    pub fn rank(&self) -> usize {
        self.rank
    }

    /// The bits of the site code: the field `site`, or the fields that are part of it.
    pub fn site_span(&self) -> Option<&Span> {
        self.site.as_ref()
    }

    /// The bits of the card number: the field `card`, or the fields that are part of it.
    pub fn card_span(&self) -> Option<&Span> {
        self.card.as_ref()
    }

    /// The field that is a card's serial number, if it has one.
    pub fn serial_field(&self) -> Option<&Field> {
        self.spec.fields.iter().find(|field| field.serial)
    }

    /// How the number printed on a card follows from its card number.
    pub fn print_rule(&self) -> PrintRule {
        let mut fields = self.spec.fields.iter();
        fields.find(|field| field.role == Role::Card).map_or_else(PrintRule::default, |f| f.print)
    }

    /// True when `other` has the same length and the same rules, so that one
    /// capture can't tell the two apart.
    pub fn same_rules(&self, other: &Layout) -> bool {
        let implies = |a: &Layout, b: &Layout| {
            b.rules.iter().all(|rule| match rule {
                Rule::Relations { relations, .. } => relations.iter().all(|r| {
                    a.system.reduce(*r) == gf2::Relation { bits: Wide::ZERO, constant: false }
                }),
                Rule::Decimal { .. } => a.rules.contains(rule),
            })
        };
        self.length() == other.length() && implies(self, other) && implies(other, self)
    }

    /// The relations of the checks and digit parities, reduced.
    pub fn system(&self) -> &gf2::System {
        &self.system
    }

    /// Whether a word of this length meets every rule.
    pub fn admits(&self, capture: &Capture) -> bool {
        capture.len() == self.length() && self.rules.iter().all(|rule| rule.holds(capture.wide()))
    }

    /// Bits that no field reads and no check touches.
    pub fn unused(&self) -> Option<Span> {
        let mut used = Wide::ZERO;
        for field in &self.spec.fields {
            used = used | field.span.mask();
        }
        for rule in &self.rules {
            if let Rule::Relations { relations, .. } = rule {
                used = relations.iter().fold(used, |used, r| used | r.bits);
            }
        }
        Span::from_mask(!used & Wide::ones(self.length()))
    }
}

fn check_head(spec: &LayoutSpec) -> Result<(), LayoutError> {
    let fail = |key, kind| Err(LayoutError { place: Place { part: PlaceIn::Layout, key }, kind });
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_';
    if spec.id.is_empty() || spec.id.len() > 64 || !spec.id.chars().all(plain) {
        return fail("id", LayoutErrorKind::BadId { found: spec.id.chars().take(80).collect() });
    }
    if !(1..=Capture::MAX_BITS).contains(&spec.length) {
        return fail("length", LayoutErrorKind::BadLength { found: spec.length.to_string() });
    }
    if !(spec.weight > 0.0 && spec.weight <= 1e6) {
        return fail("weight", LayoutErrorKind::BadWeight);
    }
    if spec.fields.is_empty() {
        return fail("field", LayoutErrorKind::NoField);
    }
    if spec.checks.len() > MAX_CHECKS {
        return fail("check", LayoutErrorKind::TooManyChecks);
    }
    Ok(())
}
