//! Rules: the checks of a layout, and those its decimal digits bring with
//! them, ready to be tried on a word.

use super::{Layout, LayoutError, LayoutErrorKind, LayoutSpec, Part, Place, PlaceIn, Role};
use crate::bits::gf2::{Added, Relation, System};
use crate::bits::{Span, Wide};

/// One rule a word must meet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rule {
    /// Relations over GF(2): a check, or a digit's own parity.
    Relations {
        /// What people read: "even 1 over 2-13".
        name: String,
        /// Index of the check in the layout; `None` for a digit's own parity.
        check: Option<usize>,
        /// All its relations.
        relations: Vec<Relation>,
        /// Those that do not follow from the rules before it.
        independent: Vec<Relation>,
    },
    /// Four bits, the value read, that must be a decimal digit.
    Decimal {
        /// What people read.
        name: String,
        /// The four bits, most significant first.
        span: Span,
    },
}

impl Rule {
    /// What people read, such as "even 1 over 2-13".
    pub fn name(&self) -> &str {
        match self {
            Rule::Relations { name, .. } | Rule::Decimal { name, .. } => name,
        }
    }

    /// Whether `word` meets it.
    pub fn holds(&self, word: Wide) -> bool {
        match self {
            Rule::Relations { relations, .. } => relations.iter().all(|r| r.holds(word)),
            Rule::Decimal { span, .. } => span.number_in(word) <= 9,
        }
    }

    /// Bits that take part.
    pub fn bits(&self) -> Wide {
        match self {
            Rule::Relations { relations, .. } => {
                relations.iter().fold(Wide::ZERO, |bits, r| bits | r.bits)
            }
            Rule::Decimal { span, .. } => span.mask(),
        }
    }
}

/// All rules of a consistent description, and the relations they amount to.
pub(super) fn compile(spec: &LayoutSpec) -> Result<(Vec<Rule>, System), LayoutError> {
    let own_bits = spec.checks.iter().fold(Wide::ZERO, |bits, check| bits | check.own_bits());
    let fields = spec.fields.iter().fold(Wide::ZERO, |bits, field| bits | field.span.mask());
    // Composing fills in the pivots: bits that are only a check's, else bits that
    // nobody reads. Where there are neither, the relation binds the fields.
    let preferred = [own_bits & !fields, !fields];
    let mut system = System::new();
    let mut rules = Vec::new();
    let mut relate = |name: String, check: Option<usize>, relations: Vec<Relation>| {
        let mut independent = Vec::new();
        for relation in &relations {
            match system.add_preferring(*relation, &preferred) {
                Added::Independent => independent.push(*relation),
                Added::Implied => {}
                Added::Contradiction => return Err(LayoutErrorKind::Contradiction),
            }
        }
        rules.push(Rule::Relations { name, check, relations, independent });
        Ok(())
    };
    for (i, check) in spec.checks.iter().enumerate() {
        relate(check.to_string(), Some(i), check.relations()).map_err(|kind| LayoutError {
            place: Place { part: PlaceIn::Check(i), key: "kind" },
            kind,
        })?;
    }
    let mut decimal = Vec::new();
    for (i, field) in spec.fields.iter().enumerate() {
        let Some(bits) = field.code.digit_bits() else { continue };
        for digit in 0..field.span.len() / bits {
            let at = field.span.part(digit * bits, bits).expect("whole digits were checked");
            let place = format!("digit {} of {} at {at}", digit + 1, field.role.name());
            let data = if bits == 5 {
                let relation = Relation { bits: at.mask(), constant: true };
                relate(format!("odd parity of {place}"), None, vec![relation]).map_err(|kind| {
                    LayoutError { place: Place { part: PlaceIn::Field(i), key: "code" }, kind }
                })?;
                Span::from_offsets(at.offsets().take(4).collect::<Vec<_>>().into_iter().rev())
            } else {
                Ok(at.clone())
            };
            let span = data.expect("four of a span's bits are a span");
            decimal.push(Rule::Decimal { name: format!("decimal {place}"), span });
        }
    }
    rules.extend(decimal);
    Ok((rules, system))
}

impl Layout {
    /// Bits of the site code or of the card number; 0 where there is none.
    pub fn part_width(&self, part: Part) -> usize {
        match part {
            Part::Site => self.site_span().map_or(0, Span::len),
            Part::Card => self.card_span().map_or(0, Span::len),
        }
    }

    /// The largest site code or card number; `None` where there is none.
    pub fn largest(&self, part: Part) -> Option<u128> {
        let fields: Vec<_> = self.fields().iter().filter(|f| f.belongs_to(part)).collect();
        match fields[..] {
            [] => None,
            [field] if field.code == super::Code::Binary => {
                Some(u128::MAX >> (128 - field.span.len()))
            }
            _ => {
                let digits: usize = fields.iter().map(|field| field.decimal_width()).sum();
                Some(10u128.checked_pow(digits as u32).map_or(u128::MAX, |n| n - 1))
            }
        }
    }

    /// The fields in the order they stand in the capture.
    pub fn fields_in_order(&self) -> Vec<&super::Field> {
        let mut fields: Vec<_> = self.fields().iter().collect();
        fields.sort_by_key(|field| field.span.mask().first_one());
        fields
    }

    /// The field of a role.
    pub fn field(&self, role: &Role) -> Option<&super::Field> {
        self.fields().iter().find(|field| field.role == *role)
    }
}
