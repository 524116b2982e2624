//! Every input that is kept goes through its target once more, and some
//! changed ones with it.

use fastrand::Rng;
use holdover_fuzz::mutate::mutated;
use holdover_fuzz::{TARGETS, kept};

/// Changed inputs a target: few, so that it stays quick. The example
/// `many` tries millions.
const CHANGED: usize = 100;

#[test]
fn kept_inputs_do_no_harm() {
    for (name, target) in TARGETS {
        let kept = kept::inputs(name).unwrap();
        assert!(!kept.is_empty(), "no seeds for {name}");
        for (file, input) in &kept {
            println!("{name}: {file}");
            target(input);
        }
        let mut rng = Rng::with_seed(1);
        let kept: Vec<Vec<u8>> = kept.into_iter().map(|(_, input)| input).collect();
        for nth in 0..CHANGED {
            println!("{name}, changed input {nth}");
            let input = &kept[rng.usize(..kept.len())];
            target(&mutated(&mut rng, input, &kept));
        }
    }
}
