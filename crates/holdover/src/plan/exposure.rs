//! Exposure: the chance that a stranger's card opens, in closed form.

use super::big::Big;
use super::shape::{CardRun, Cut};
use super::slots::{Catalogue, Slot};
use super::sweep::Enrolled;
use crate::site::Identity;

/// Exposures are summed in units of 2^-256: a run pair never has more bits.
const UNIT_BITS: usize = 256;

/// The patterns of one slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Patterns {
    /// log2 of the values its site and card runs can hold.
    pub admitted_bits: usize,
    /// How many of them open as an enrolled card.
    pub opening: Big,
}

impl Patterns {
    /// In units of 2^-256; exact.
    pub fn share(&self) -> Big {
        self.opening.shl(UNIT_BITS - self.admitted_bits.min(UNIT_BITS))
    }

    pub fn admitted(&self) -> Big {
        Big::power_of_two(self.admitted_bits)
    }

    pub fn chance(&self) -> f64 {
        chance(self.share())
    }
}

/// A sum of shares as a number.
pub(crate) fn chance(share: Big) -> f64 {
    share.as_f64() * (-(UNIT_BITS as f64)).exp2()
}

/// How many values of a run have a panel number enrolled under `key`.
fn values(run: &CardRun, enrolled: &Enrolled, key: u32) -> Big {
    let all = Big::power_of_two(run.run.len);
    let below = |limit| enrolled.below(key, limit);
    match run.cut {
        Cut::None => below(all),
        Cut::Low(modulus) => {
            let modulus = Big::from(modulus);
            let (rounds, rest) = all.div_rem(modulus);
            below(modulus).mul(rounds).add(below(rest))
        }
        Cut::High(divisor) => {
            let (whole, rest) = all.div_rem(divisor);
            let full = below(whole);
            let partial = below(whole.add(Big::ONE)).sub(full);
            full.mul(divisor).add(partial.mul(rest))
        }
    }
}

/// The patterns of the plan's slot `ordinal`, from 0; `listed` says whether
/// its allow-list is heeded.
pub(crate) fn patterns(
    catalogue: &Catalogue<'_, '_>,
    slot: &Slot,
    ordinal: usize,
    enrolled: &Enrolled,
    listed: bool,
) -> Patterns {
    let run = &slot.shape.card;
    let site_bits = slot.shape.site_bits();
    let sites = slot.sites.as_ref().filter(|_| listed);
    let admitted_sites = match sites {
        Some(sites) => Big::from(sites.len() as u128),
        None => Big::power_of_two(site_bits),
    };
    let opening = match catalogue.job.panel.identity {
        Identity::Number => values(run, enrolled, 0).mul(admitted_sites),
        Identity::SlotAndNumber => values(run, enrolled, ordinal as u32).mul(admitted_sites),
        Identity::SiteAndNumber => {
            let read = |code: &Big| match (slot.shape.site, sites) {
                (None, _) => *code == Big::ZERO,
                (Some(_), None) => code.bits() <= site_bits,
                (Some(_), Some(sites)) => sites.binary_search(code).is_ok(),
            };
            let keys = enrolled.keys().filter(|key| read(&catalogue.code(*key)));
            keys.fold(Big::ZERO, |sum, key| sum.add(values(run, enrolled, key)))
        }
    };
    Patterns { admitted_bits: run.run.len + site_bits, opening }
}

/// The exposure of a whole plan, in units of 2^-256.
pub(crate) fn exposure(catalogue: &Catalogue<'_, '_>, slots: &[Slot], enrolled: &Enrolled) -> Big {
    let share = |(ordinal, slot)| patterns(catalogue, slot, ordinal, enrolled, true).share();
    slots.iter().enumerate().map(share).fold(Big::ZERO, Big::add)
}
