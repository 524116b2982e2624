//! Designs of cards that no table has.

use fastrand::Rng;
use holdover::bits::Capture;

/// How a check bit's cover lies.
#[derive(Debug, Clone)]
enum Check {
    /// Parity of some bits, at one.
    Parity { at: usize, over: Vec<usize>, odd: bool },
    /// The sum of four-bit groups of all before, in the last four bits.
    Sum { at: usize },
    /// The remainder of all before by a polynomial of this degree, behind it.
    Remainder { at: usize, degree: usize, polynomial: u32 },
}

/// A card design: constant bits, fields, checks.
#[derive(Debug, Clone)]
pub struct Design {
    length: usize,
    constant: Vec<(usize, bool)>,
    /// Bits of each field, the most significant first.
    site: Vec<usize>,
    card: Vec<usize>,
    issue: Vec<usize>,
    /// The number stands in decimal digits of four bits.
    decimal: bool,
    checks: Vec<Check>,
}

/// Bits of `free` that a designer would cover.
fn cover(length: usize, at: usize, rng: &mut Rng) -> Vec<usize> {
    let all: Vec<usize> = (0..length).filter(|bit| *bit != at).collect();
    let middle = length / 2;
    match rng.u8(..6) {
        0 => all.into_iter().filter(|bit| *bit < middle).collect(),
        1 => all.into_iter().filter(|bit| *bit >= middle).collect(),
        2 => all,
        3 => {
            let phase = rng.usize(..2);
            all.into_iter().filter(|bit| bit % 2 == phase).collect()
        }
        4 => {
            let phase = rng.usize(..3);
            all.into_iter().filter(|bit| bit % 3 != phase).collect()
        }
        _ => {
            let (a, b) = (rng.usize(..length / 2), rng.usize(length / 2..length));
            all.into_iter().filter(|bit| (a..=b).contains(bit)).collect()
        }
    }
}

impl Design {
    /// A design of a length: one to three checks, or none behind a constant prefix.
    pub fn draw(length: usize, rng: &mut Rng) -> Design {
        let mut checks = Vec::new();
        let mut taken = vec![false; length];
        let mut constant = Vec::new();
        match rng.u8(..10) {
            // No check, a prefix.
            0..=2 => {}
            3 => {
                checks.push(Check::Sum { at: length - 4 });
                (length - 4..length).for_each(|bit| taken[bit] = true);
            }
            4 => {
                let degree = rng.usize(4..=6);
                let polynomial = 1 << degree | rng.u32(..1 << degree) | 1;
                checks.push(Check::Remainder { at: length - degree, degree, polynomial });
                (length - degree..length).for_each(|bit| taken[bit] = true);
            }
            _ => {
                let places = [0, length - 1, 1];
                for at in &places[..rng.usize(1..=3)] {
                    taken[*at] = true;
                    let mut over = cover(length, *at, rng);
                    // A check covers those made before it, never those after.
                    let later = places.iter().skip_while(|place| *place != at).skip(1);
                    let later: Vec<usize> = later.copied().collect();
                    over.retain(|bit| !later.contains(bit));
                    checks.push(Check::Parity { at: *at, over, odd: rng.bool() });
                }
            }
        }
        let prefix = match (checks.is_empty(), rng.bool()) {
            (true, _) => rng.usize(6..=length / 2),
            (false, true) => rng.usize(1..=6),
            (false, false) => 0,
        };
        let mut free: Vec<usize> = (0..length).filter(|bit| !taken[*bit]).collect();
        let behind = free.split_off(prefix);
        constant.extend(free.into_iter().map(|bit| (bit, rng.bool())));
        let issue_bits = if rng.u8(..3) == 0 { rng.usize(1..=4) } else { 0 };
        let site_bits = match behind.len() - issue_bits {
            room if room > 18 && rng.u8(..4) > 0 => rng.usize(5..=(room - 12).min(16)),
            _ => 0,
        };
        let (site, rest) = behind.split_at(site_bits);
        let (issue, rest) = rest.split_at(issue_bits);
        let mut card = rest.to_vec();
        let decimal = rng.u8(..8) == 0 && card.len() >= 16;
        if decimal {
            let spare = card.len() % 4;
            constant.extend(card.drain(..spare).map(|bit| (bit, false)));
        } else if rng.u8(..6) == 0 {
            card.reverse();
        }
        Design {
            length,
            constant,
            site: site.to_vec(),
            issue: issue.to_vec(),
            card,
            decimal,
            checks,
        }
    }

    pub fn site_bits(&self) -> usize {
        self.site.len()
    }

    pub fn card_bits(&self) -> usize {
        self.card.len()
    }

    /// Where the bits of the site code stand, the most significant first.
    pub fn site_at(&self) -> &[usize] {
        &self.site
    }

    /// Where those of the issue code stand.
    pub fn issue_at(&self) -> &[usize] {
        &self.issue
    }

    /// Where those of the number stand.
    pub fn card_at(&self) -> &[usize] {
        &self.card
    }

    /// The number stands in decimal digits.
    pub fn decimal(&self) -> bool {
        self.decimal
    }

    /// The parity checks: the bit, and what it covers.
    pub fn parities(&self) -> Vec<(usize, &[usize])> {
        self.checks
            .iter()
            .filter_map(|check| match check {
                Check::Parity { at, over, .. } => Some((*at, over.as_slice())),
                _ => None,
            })
            .collect()
    }

    /// The card of a site code, number and issue, as far as its fields hold
    /// them, and the number that it has room for.
    pub fn card(&self, site: u128, number: u128, issue: u128) -> (Capture, u128) {
        let mut bits = vec![false; self.length];
        self.constant.iter().for_each(|(bit, value)| bits[*bit] = *value);
        let mut put = |places: &[usize], value: u128| {
            for (bit, from) in places.iter().rev().zip(0..) {
                bits[*bit] = from < 128 && value >> from & 1 == 1;
            }
        };
        put(&self.site, site);
        put(&self.issue, issue);
        let number = if self.decimal {
            let digits = self.card.len() / 4;
            let number = number % 10u128.pow(digits.min(30) as u32);
            let coded = (0..digits.min(30)).fold(0, |all, digit| {
                all | (number / 10u128.pow(digit as u32) % 10) << (4 * digit)
            });
            put(&self.card, coded);
            number
        } else {
            put(&self.card, number);
            number & (u128::MAX >> (128 - self.card.len().min(128)))
        };
        for check in &self.checks {
            check.fill(&mut bits);
        }
        (Capture::from_bits(bits).unwrap(), number)
    }
}

impl Check {
    fn fill(&self, bits: &mut [bool]) {
        match self {
            Check::Parity { at, over, odd } => {
                bits[*at] = over.iter().filter(|bit| bits[**bit]).count() % 2 == 1;
                bits[*at] ^= odd;
            }
            Check::Sum { at } => {
                let group = |four: &[bool]| four.iter().fold(0u32, |n, b| n << 1 | u32::from(*b));
                let sum: u32 = bits[..*at].chunks(4).map(group).sum();
                (0..4).for_each(|i| bits[at + i] = sum >> (3 - i) & 1 == 1);
            }
            Check::Remainder { at, degree, polynomial } => {
                let mut register = 0u32;
                for bit in &bits[..*at] {
                    let top = register >> (degree - 1) & 1 == 1;
                    register = register << 1 & ((1 << degree) - 1);
                    if top != *bit {
                        register ^= polynomial & ((1 << degree) - 1);
                    }
                }
                (0..*degree).for_each(|i| bits[at + i] = register >> (degree - 1 - i) & 1 == 1);
            }
        }
    }
}
