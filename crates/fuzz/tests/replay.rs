//! Every input that is kept goes through its target once more.

use holdover_fuzz::{TARGETS, kept};

#[test]
fn kept_inputs_do_no_harm() {
    for (name, target) in TARGETS {
        let files = kept::files(name).unwrap();
        assert!(!files.is_empty(), "no seeds for {name}");
        for (file, input) in files.iter().zip(kept::inputs(name).unwrap()) {
            println!("{}", file.display());
            target(&input);
        }
    }
}
