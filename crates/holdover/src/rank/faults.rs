//! Faults of a reader's captures: how often a check fails, a bit is lost or
//! gained, a print is not the card's number.
//!
//! Each is a rate with a Beta prior whose mean is the constant of
//! [`model`](super::model), learnt from the captures that known kinds explain.
//! A capture is weighed by what the others say, as everywhere: alone it has the
//! prior's mean.

use super::batch::Guess;
use super::model::{
    CHECK_FAILS, FAULTS_MOST, FAULTS_PRIOR, FAULTS_START, PRINT_DIFFERS, PRINTS_PRIOR,
    PRINTS_START, SLIP_LOG2, SLIPS_PRIOR,
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
        } else if guess.slip == 0.0 {
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

    pub fn set(&mut self, of_reader: Vec<Faults>) {
        self.prints = Faults::default();
        of_reader.iter().for_each(|faults| self.prints.add(faults, 1.0));
        self.of_reader = of_reader;
        self.started = true;
    }

    /// The rates that a reader's other captures tell.
    pub fn without(&self, reader: u32, own: &Faults) -> Rate {
        if !self.started {
            return Rate { fails: FAULTS_START, slips: FAULTS_START, differs: PRINTS_START };
        }
        let of = &self.of_reader[reader as usize];
        let rate = |faults: f64, own: f64, all: f64, own_all: f64, mean: f64, prior: f64| {
            ((faults - own).max(0.0) + mean * prior) / ((all - own_all).max(0.0) + prior)
        };
        let fault = |faults, own, all, own_all, mean, prior| {
            rate(faults, own, all, own_all, mean, prior).min(FAULTS_MOST)
        };
        let prints = &self.prints;
        Rate {
            fails: fault(of.fails, own.fails, of.checked, own.checked, CHECK_FAILS, FAULTS_PRIOR),
            slips: fault(of.slips, own.slips, of.known, own.known, slip_usual(), SLIPS_PRIOR),
            differs: rate(
                prints.differs,
                own.differs,
                prints.printed,
                own.printed,
                PRINT_DIFFERS,
                PRINTS_PRIOR,
            ),
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
        let checks = match (guess.slip < 0.0, guess.fails) {
            (true, _) => 1.0,
            (false, true) => self.fails / CHECK_FAILS,
            (false, false) => (1.0 - self.fails) / (1.0 - CHECK_FAILS),
        };
        // Bits that the probe file shows in doubt are judged by that.
        let slip = if guess.slipped() {
            self.slips / slip_usual()
        } else if guess.slip == 0.0 {
            (1.0 - self.slips) / (1.0 - slip_usual())
        } else {
            1.0
        };
        let noted = match guess.noted {
            None => 1.0,
            Some(true) => (1.0 - self.differs) / (1.0 - PRINT_DIFFERS),
            Some(false) => self.differs / PRINT_DIFFERS,
        };
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
