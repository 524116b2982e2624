//! The library against the outside, against slow and simple versions of
//! itself, and against what it answered before: a module a topic.

use fastrand::Rng;

mod buildings;
mod cards;
mod decode_exhaustive;
mod find;
mod kept;
mod learn;
mod learn_cards;
mod learn_list;
mod learn_null_space;
mod learn_random;
mod learn_rates;
mod plan;
mod plan_brute;
mod plan_large;
mod plan_many;
mod plan_prove;
mod rank;
mod rank_calibration;
mod rank_digits;
mod rates;
mod whole;
