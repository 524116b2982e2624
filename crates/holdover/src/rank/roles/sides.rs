//! How likely cards are together as cards with site codes, and as cards with
//! one number each.
//!
//! The probability of each sort of cards is a function of sums over codes, so
//! that codes change sorts at the cost of a few additions.

use super::super::model::CODE_ZERO;

/// Boxes hold up to 2^16 numbers in a row; what lies further apart than 2^12 is
/// of two.
const BOX_MOST: u32 = 16;
pub(super) const BOX_GAP: u128 = 1 << 12;

/// Numbers among small ones that a bit misread makes large.
const STRAY: f64 = 1.0 / 64.0;

/// Numbers that are small: below a hundred thousand.
const SMALL: u128 = 100_000;

/// Strengths of a Chinese restaurant that are as likely as one another: of
/// fifty cards most are of one code, of two or three, of five, or of ten.
const STRENGTHS: [f64; 4] = [1.0 / 16.0, 0.5, 1.5, 4.0];

pub(super) fn log2_sum(terms: impl IntoIterator<Item = f64> + Clone) -> f64 {
    let top = terms.clone().into_iter().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + terms.into_iter().map(|term| (term - top).exp2()).sum::<f64>().log2()
}

fn log2_mean<const N: usize>(terms: [f64; N]) -> f64 {
    log2_sum(terms) - (N as f64).log2()
}

/// log2 density of numbers between `low` and `high` that are drawn from one box
/// of up to 2^[`BOX_MOST`] numbers, but for where it begins.
fn from_box(count: f64, spread: f64) -> f64 {
    const LEAST: u32 = 4;
    const SIZES: usize = (BOX_MOST - LEAST + 1) as usize;
    log2_mean::<SIZES>(std::array::from_fn(|i| {
        let size = f64::from(LEAST) + i as f64;
        (size.exp2() - spread).max(0.0).log2() - size * count
    }))
}

/// log2 of the prior that a box of numbers begins at one number: half the boxes
/// begin anywhere, half at any size of number alike.
fn begins(number: f64, bits: f64) -> f64 {
    let by_size = (1.0 / (number + 1000.0) / (bits * std::f64::consts::LN_2)).log2();
    log2_mean([-bits, by_size])
}

/// log2 of the prior that a site has this code: half of them are any, half of
/// any size alike.
fn site_code(code: f64, bits: f64) -> f64 {
    if code == 0.0 {
        return CODE_ZERO.log2() - bits;
    }
    let by_size = (1.0 / (code + 20.0) / (bits * std::f64::consts::LN_2)).log2();
    log2_mean([-bits, by_size])
}

/// Guests at the tables of a restaurant: what its probability depends on.
#[derive(Debug, Clone, Copy, Default)]
struct Seats {
    tables: f64,
    guests: f64,
    /// The sum of log2 (guests - 1)! over the tables.
    factorials: f64,
}

impl Seats {
    fn add(&mut self, other: &Seats, sign: f64) {
        self.tables += sign * other.tables;
        self.guests += sign * other.guests;
        self.factorials += sign * other.factorials;
    }
}

/// Logarithms that restaurants of so many guests ask for.
#[derive(Debug)]
pub(super) struct Seating {
    /// log2 n!.
    factorial: Vec<f64>,
    /// log2 of strength × (strength + 1) × … of n factors.
    rising: [Vec<f64>; STRENGTHS.len()],
}

impl Seating {
    pub fn of(guests: usize) -> Seating {
        let sums = |from: f64| {
            let mut sum = 0.0;
            let next = (0..guests + Sort::ALL.len()).map(|n| {
                sum += (from + n as f64).log2();
                sum
            });
            std::iter::once(0.0).chain(next).collect::<Vec<f64>>()
        };
        Seating { factorial: sums(1.0), rising: STRENGTHS.map(sums) }
    }

    fn table(&self, guests: usize) -> Seats {
        Seats {
            tables: 1.0,
            guests: guests as f64,
            factorials: self.factorial[guests.saturating_sub(1)],
        }
    }

    /// log2 probability that guests sit so.
    fn seated(&self, seats: &Seats, strength: usize) -> f64 {
        seats.tables * STRENGTHS[strength].log2() + seats.factorials
            - self.rising[strength][seats.guests.round() as usize]
    }

    /// The mean over the strengths.
    fn seated_any(&self, seats: &Seats) -> f64 {
        log2_mean::<{ STRENGTHS.len() }>(std::array::from_fn(|i| self.seated(seats, i)))
    }

    /// log2 probability of which cards are of which sort, all shares of the sorts
    /// being as likely: (n - 1)! n1! n2! … / (all + n - 1)! for n sorts.
    pub fn sorted(&self, cards: [f64; Sort::ALL.len()]) -> f64 {
        let factorial = |n: f64| self.factorial[n.round().max(0.0) as usize];
        let more = Sort::ALL.len() as f64 - 1.0;
        cards.map(factorial).iter().sum::<f64>() + factorial(more)
            - factorial(cards.iter().sum::<f64>() + more)
    }
}

/// Where numbers come from, each sum a log2 density but for their seats.
#[derive(Debug, Clone, Copy, Default)]
struct Numbers {
    any: f64,
    small: f64,
    boxed: f64,
    /// Seats at the boxes.
    seats: Seats,
}

impl Numbers {
    fn add(&mut self, other: &Numbers, sign: f64) {
        self.any += sign * other.any;
        self.small += sign * other.small;
        self.boxed += sign * other.boxed;
        self.seats.add(&other.seats, sign);
    }

    /// Numbers, ascending; a box's first one has the density `begins`.
    fn of(numbers: &[u128], bits: f64, seating: &Seating, begins: impl Fn(f64) -> f64) -> Numbers {
        let small = |number: &u128| {
            let within = if *number < SMALL { (1.0 - STRAY) / SMALL as f64 } else { 0.0 };
            (within + STRAY * (-bits).exp2()).log2()
        };
        let mut all = Numbers {
            any: -bits * numbers.len() as f64,
            small: numbers.iter().map(small).sum(),
            ..Numbers::default()
        };
        for one in numbers.chunk_by(|a, b| b - a <= BOX_GAP) {
            let spread = (one[one.len() - 1] - one[0]) as f64;
            all.boxed += begins(one[0] as f64) + from_box(one.len() as f64, spread);
            all.seats.add(&seating.table(one.len()), 1.0);
        }
        all
    }
}

/// What some cards add to any sort.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    cards: f64,
    /// With site codes: the codes, their seats, the numbers, of which those by
    /// the box for each strength, and what is known of the cards.
    codes: f64,
    seats: Seats,
    any: f64,
    boxed: [f64; STRENGTHS.len()],
    each: f64,
    known_site: f64,
    /// With one number.
    numbers: Numbers,
    known_number: f64,
}

/// Cards of one code: it, and their numbers, ascending.
pub(super) type OfCode = (u128, Vec<u128>);

impl Sums {
    /// Cards of codes that follow one another; `bits` of the code and the number.
    pub fn of(
        codes: &[OfCode],
        known: (f64, f64),
        bits: (usize, usize),
        seating: &Seating,
    ) -> Sums {
        let (code_bits, card_bits) = (bits.0 as f64, bits.1 as f64);
        let mut sums = Sums { known_site: known.0, known_number: known.1, ..Sums::default() };
        let mut all = Vec::new();
        for (code, cards) in codes {
            sums.cards += cards.len() as f64;
            sums.codes += site_code(*code as f64, code_bits);
            sums.seats.add(&seating.table(cards.len()), 1.0);
            let own = Numbers::of(cards, card_bits, seating, |_| -card_bits);
            let boxed: [f64; STRENGTHS.len()] =
                std::array::from_fn(|i| own.boxed + seating.seated(&own.seats, i));
            sums.any += own.any;
            sums.boxed.iter_mut().zip(boxed).for_each(|(sum, boxed)| *sum += boxed);
            sums.each += log2_mean([own.any, log2_mean(boxed)]);
            all.extend(cards.iter().map(|card| code << bits.1 | card));
        }
        let bits = code_bits + card_bits;
        sums.numbers = Numbers::of(&all, bits, seating, |number| begins(number, bits));
        sums
    }

    pub fn add(&mut self, other: &Sums, sign: f64) {
        self.cards += sign * other.cards;
        self.codes += sign * other.codes;
        self.seats.add(&other.seats, sign);
        self.any += sign * other.any;
        self.boxed.iter_mut().zip(other.boxed).for_each(|(sum, other)| *sum += sign * other);
        self.each += sign * other.each;
        self.known_site += sign * other.known_site;
        self.numbers.add(&other.numbers, sign);
        self.known_number += sign * other.known_number;
    }

    pub fn cards(&self) -> f64 {
        self.cards
    }

    /// log2 probability that the cards have site codes. Their numbers are any,
    /// come by the box, or either code by code.
    fn with_codes(&self, seating: &Seating) -> f64 {
        let numbers = log2_mean([self.any, log2_mean(self.boxed), self.each]);
        self.known_site + self.codes + seating.seated_any(&self.seats) + numbers
    }

    /// The same that they have one number each, by its sort.
    fn without_codes(&self, sort: Sort, seating: &Seating) -> f64 {
        let numbers = &self.numbers;
        let log2 = match sort {
            Sort::Any => numbers.any,
            Sort::Small => numbers.small,
            _ => numbers.boxed + seating.seated_any(&numbers.seats),
        };
        self.known_number + log2
    }

    /// log2 probability that all cards are of a sort.
    pub fn of_sort(&self, sort: Sort, seating: &Seating) -> f64 {
        match sort {
            Sort::Site => self.with_codes(seating),
            _ => self.without_codes(sort, seating),
        }
    }

    /// log2 of how likely one more card of a sort has a code that none of these
    /// has, beside an even spread over all.
    pub fn new_code(&self, sort: Sort, seating: &Seating) -> f64 {
        let seats = match sort {
            Sort::Site => &self.seats,
            Sort::Box => &self.numbers.seats,
            Sort::Any => return 0.0,
            Sort::Small => return f64::NEG_INFINITY,
        };
        let mut more = *seats;
        more.add(&seating.table(1), 1.0);
        seating.seated_any(&more) - seating.seated_any(seats)
    }
}

/// A sort of cards: with a site code; or with one number, any as serial numbers
/// are, a small one, or by the box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sort {
    Site,
    Any,
    Small,
    Box,
}

impl Sort {
    pub const ALL: [Sort; 4] = [Sort::Site, Sort::Any, Sort::Small, Sort::Box];
}
