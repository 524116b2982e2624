//! Faults of a reader's captures: how often a check fails, a bit is lost or
//! gained, a print is not the card's number.
//!
//! Each is a rate with a Beta prior whose mean is the constant of
//! [`model`](super::model), learnt from the captures that known kinds explain.
//! A capture is weighed by what the others say, as everywhere: alone it has the
//! prior's mean.

use super::guess::Guess;
use super::model::{
    CHECK_FAILS, FAULTS_MOST, FAULTS_PRIOR, FAULTS_START, ORDER_AGREES, ORDER_NUMBERS,
    PRINT_DIFFERS, PRINTS_PRIOR, PRINTS_START, SLIP_LOG2, SLIPS_PRIOR,
};

/// Bits lost or gained at the ends, the four ways together.
fn slip_usual() -> f64 {
    4.0 * SLIP_LOG2.exp2()
}

/// Expected counts: of captures that known kinds explain, and of the faults in them.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Faults {
    known: f64,
    checked: f64,
    fails: f64,
    slips: f64,
    printed: f64,
    differs: f64,
}

impl Faults {
    /// Counts so much of a capture as a guess takes in all, and so much as it
    /// takes by its code or by the site file.
    ///
    /// Faults are learnt from these alone: what fails the checks and has any
    /// code may be a bad read or random bits, and nothing tells which.
    pub fn take(&mut self, guess: &Guess, all: f64, by_code: f64) {
        if guess.strange {
            return;
        }
        self.known += by_code;
        if guess.slipped() {
            self.slips += by_code;
        } else if guess.slip == 0.0 && guess.rules.checks != 0.0 {
            self.checked += by_code;
            self.fails += if guess.fails { by_code } else { 0.0 };
        }
        if let Some(agrees) = guess.noted {
            self.printed += all;
            self.differs += if agrees { 0.0 } else { all };
        }
    }

    pub fn add(&mut self, other: &Faults, count: f64) {
        self.known += count * other.known;
        self.checked += count * other.checked;
        self.fails += count * other.fails;
        self.slips += count * other.slips;
        self.printed += count * other.printed;
        self.differs += count * other.differs;
    }
}

/// Prints seen one by one: of how many, how many are not the card's number.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Prints {
    printed: f64,
    differs: f64,
}

impl Prints {
    pub fn count(&mut self, agrees: bool, weight: f64) {
        self.printed += weight;
        self.differs += if agrees { 0.0 } else { weight };
    }

    /// The chance that one more is not the card's number: either none of the
    /// building's is, or a few are not.
    pub fn differ(&self) -> f64 {
        let agree = (self.printed - self.differs).max(0.0);
        let few = (PRINT_DIFFERS - ORDER_NUMBERS) / (1.0 - ORDER_NUMBERS);
        let (a, b) = (few * PRINTS_PRIOR, (1.0 - few) * PRINTS_PRIOR);
        let of_few = ln_beta(a + self.differs, b + agree) - ln_beta(a, b);
        let of_all = self.differs * (1.0 - ORDER_AGREES).ln() + agree * ORDER_AGREES.ln();
        let odds = ORDER_NUMBERS / (1.0 - ORDER_NUMBERS) * (of_all - of_few).exp();
        let all = if odds.is_finite() { odds / (1.0 + odds) } else { 1.0 };
        let of_few = (self.differs + a) / (self.printed + PRINTS_PRIOR);
        all * (1.0 - ORDER_AGREES) + (1.0 - all) * of_few
    }

    /// How much likelier they make a guess than the usual share of wrong ones.
    pub fn factor(&self, guess: &Guess) -> f64 {
        guess.noted.map_or(1.0, |agrees| noted(agrees, self.differ()))
    }
}

/// How much likelier a print is, so many being wrong, than usually.
fn noted(agrees: bool, differs: f64) -> f64 {
    if agrees { (1.0 - differs) / (1.0 - PRINT_DIFFERS) } else { differs / PRINT_DIFFERS }
}

/// ln of the beta function.
fn ln_beta(a: f64, b: f64) -> f64 {
    ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b)
}

/// ln of the gamma function by Stirling's series, above 0 (Abramowitz and
/// Stegun, 6.1.15 and 6.1.41; from memory).
fn ln_gamma(mut x: f64) -> f64 {
    let mut below = 0.0;
    while x < 8.0 {
        below += x.ln();
        x += 1.0;
    }
    let series = 1.0 / (12.0 * x) - 1.0 / (360.0 * x.powi(3)) + 1.0 / (1260.0 * x.powi(5));
    (x - 0.5) * x.ln() - x + 0.5 * std::f64::consts::TAU.ln() + series - below
}

/// The faults of each reader; prints are the building's.
#[derive(Debug)]
pub(super) struct Rates {
    of_reader: Vec<Faults>,
    prints: Faults,
    started: bool,
}

/// Rates as one capture is weighed by them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rate {
    fails: f64,
    slips: f64,
    differs: f64,
}

impl Rates {
    pub fn new(readers: usize) -> Rates {
        let of_reader = vec![Faults::default(); readers];
        Rates { of_reader, prints: Faults::default(), started: false }
    }

    /// Nothing, for every reader.
    pub fn counts(&self) -> Vec<Faults> {
        vec![Faults::default(); self.of_reader.len()]
    }

    /// New counts: of each reader, and of all, whose prints are weighed together.
    /// They were added up in an order that the readers' own does not change.
    pub fn set(&mut self, of_reader: Vec<Faults>, all: Faults) {
        (self.of_reader, self.prints) = (of_reader, all);
        self.started = true;
    }

    /// What a reader's captures tell of checks that fail and of bits lost or
    /// gained; and how many known cards tell it.
    pub fn learnt(&self, reader: u32) -> (f64, f64, f64) {
        let rate = self.without(reader, &Faults::default());
        (rate.fails, rate.slips, self.of_reader[reader as usize].known)
    }

    /// The rates that a reader's other captures tell.
    pub fn without(&self, reader: u32, own: &Faults) -> Rate {
        if !self.started {
            return Rate { fails: FAULTS_START, slips: FAULTS_START, differs: PRINTS_START };
        }
        let of = &self.of_reader[reader as usize];
        let fault = |faults: f64, own: f64, all: f64, own_all: f64, mean: f64, prior: f64| {
            let seen = ((faults - own).max(0.0), (all - own_all).max(0.0));
            ((seen.0 + mean * prior) / (seen.1 + prior)).min(FAULTS_MOST)
        };
        let prints = &self.prints;
        Rate {
            fails: fault(of.fails, own.fails, of.checked, own.checked, CHECK_FAILS, FAULTS_PRIOR),
            slips: fault(of.slips, own.slips, of.known, own.known, slip_usual(), SLIPS_PRIOR),
            differs: match prints.printed > 0.0 {
                true => Prints {
                    printed: (prints.printed - own.printed).max(0.0),
                    differs: (prints.differs - own.differs).max(0.0),
                }
                .differ(),
                false => PRINT_DIFFERS,
            },
        }
    }
}

impl Rate {
    /// What is expected where nothing was seen.
    pub fn usual() -> Rate {
        Rate { fails: CHECK_FAILS, slips: slip_usual(), differs: PRINT_DIFFERS }
    }

    /// How much likelier these rates make a guess than the usual ones: by its
    /// checks, by a bit lost or gained, by what is printed.
    fn factors(&self, guess: &Guess) -> [f64; 3] {
        if guess.strange {
            return [1.0; 3];
        }
        // What nothing checks fails nothing.
        let checks = match (guess.slip < 0.0 || guess.rules.checks == 0.0, guess.fails) {
            (true, _) => 1.0,
            (false, true) => self.fails / CHECK_FAILS,
            (false, false) => (1.0 - self.fails) / (1.0 - CHECK_FAILS),
        };
        // Bits that the probe file shows in doubt are judged by that. Cards of all
        // kinds lose bits, unknown ones too: what is whole speaks for none of them.
        let slip = if guess.slipped() {
            self.slips / slip_usual() * (1.0 - slip_usual()) / (1.0 - self.slips)
        } else {
            1.0
        };
        let noted = guess.noted.map_or(1.0, |agrees| noted(agrees, self.differs));
        [checks, slip, noted]
    }

    /// What the likelihoods are multiplied by: with the code, and with any code.
    ///
    /// A failed check beside a code that no other card has is as like as not an
    /// unknown card: a bad line does not speak for it where layouts have codes.
    pub fn factor(&self, guess: &Guess) -> [f64; 2] {
        let [checks, slip, noted] = self.factors(guess);
        let any = if guess.coded && guess.fails { checks.min(1.0) } else { checks };
        [checks * slip * noted, any * slip * noted]
    }

    /// Weighs a guess, and its evidence with it.
    pub fn apply(&self, guess: &mut Guess) {
        let [with_code, with_any] = self.factor(guess);
        guess.likelihood *= with_code;
        guess.likelihood_free *= with_any;
        let [checks, slip, noted] = self.factors(guess);
        guess.rules.checks += checks.log2();
        guess.known += noted.log2();
        // A bit that was not lost is no evidence worth naming.
        if guess.slip < 0.0 {
            guess.slip += slip.log2();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: Γ(n) = (n − 1)!, Γ(1/2) = √π.
    #[test]
    fn gamma_is_the_factorial() {
        let mut factorial: f64 = 1.0;
        for n in 1..30 {
            assert!((ln_gamma(f64::from(n)) - factorial.ln()).abs() < 1e-9, "{n}");
            factorial *= f64::from(n);
        }
        assert!((ln_gamma(0.5) - std::f64::consts::PI.sqrt().ln()).abs() < 1e-9);
    }

    #[test]
    fn prints_that_all_differ_are_order_numbers() {
        let differ = |printed, differs| Prints { printed, differs }.differ();
        assert!((differ(0.0, 0.0) - PRINT_DIFFERS).abs() < 1e-3);
        assert!(differ(10.0, 10.0) > 0.99);
        // A few that agree rule that out.
        assert!(differ(10.0, 7.0) < 0.6);
        assert!(differ(100.0, 3.0) < 0.05);
    }
}
