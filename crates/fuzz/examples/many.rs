//! Many inputs through every target, without a fuzzer: kept inputs, changed at
//! random.
//!
//! ```text
//! cargo run --example many -- [COUNT] [SEED]
//! ```
//! 10,000 in all unless said. Each target gets the same share of the time, but
//! at least a hundredth of an even share of the inputs, and at most a fifth of
//! all. As many processes as there are cores, or JOBS, share the work.
//! The input that breaks something is kept in `target/found/`, and its process
//! ends with it; so is one that takes more than 4 GiB of memory.

use std::fmt::Display;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode};
use std::time::{Duration, Instant};
use std::{env, fs, thread};

use fastrand::Rng;
use holdover_fuzz::mutate::mutated;
use holdover_fuzz::{TARGETS, Target, kept};
use rustix::process::{Resource, Rlimit, setrlimit};

/// No target takes more than one in so many inputs.
const MOST_OF: u64 = 5;

/// The memory a process may have, in bytes; and far more than inputs so short may take.
const MEMORY: u64 = 4 << 30;

/// How long a target has its turn.
const TURN: Duration = Duration::from_millis(200);

fn main() -> ExitCode {
    let words: Vec<String> = env::args().skip(1).collect();
    let number = |at: usize, usual: u64| match words.get(at) {
        Some(word) => word.parse().unwrap_or_else(|_| panic!("expected a number, found {word:?}")),
        None => usual,
    };
    let (count, seed) = (number(0, 10_000), number(1, 1));
    if let Some(worker) = words.get(2) {
        work(worker, count, seed);
        return ExitCode::SUCCESS;
    }
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let jobs = env::var("JOBS").ok().and_then(|jobs| jobs.parse().ok()).unwrap_or(cores as u64);
    let this = env::current_exe().expect("this program has a place");
    let started = Instant::now();
    // What programs are given to read lives in memory, and is gone with us.
    let room = tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir());
    let room = room.expect("a directory");
    let workers: Vec<Child> = (0..jobs)
        .map(|worker| {
            let share = count / jobs + u64::from(worker < count % jobs);
            let words = [share, seed + worker, worker].map(|word| word.to_string());
            let mut command = Command::new(&this);
            command.args(words).env("TMPDIR", room.path());
            command.spawn().expect("this program starts once more")
        })
        .collect();
    let mut sound = true;
    for (mut worker, number) in workers.into_iter().zip(0..) {
        let ended = worker.wait().expect("a worker ends");
        if !ended.success() {
            sound = false;
            // One that panicked has said so, and kept its input itself.
            if ended.code() != Some(1) {
                println!("{number}: {ended}; its last input: {}", keep(room.path(), number));
            }
        }
    }
    if !sound {
        return ExitCode::FAILURE;
    }
    println!("{count} inputs, no panic, {:.0} s", started.elapsed().as_secs_f64());
    ExitCode::SUCCESS
}

/// Keeps what a worker that could not do so itself was last given; says where.
fn keep(room: &Path, worker: u64) -> String {
    let kept = found().join(format!("many-{worker}"));
    match fs::copy(last_input(room, worker), &kept) {
        Ok(_) => kept.display().to_string(),
        Err(error) => format!("lost: {error}"),
    }
}

/// Where a worker puts what it tries next.
fn last_input(room: &Path, worker: impl Display) -> PathBuf {
    room.join(format!("last-input-{worker}"))
}

/// A directory for what is found.
fn found() -> PathBuf {
    let found = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/found");
    fs::create_dir_all(&found).expect("a directory for what is found");
    found
}

/// One target and what it has done so far.
struct Turn {
    name: &'static str,
    target: Target,
    kept: Vec<Vec<u8>>,
    done: u64,
}

fn work(worker: &str, count: u64, seed: u64) {
    let mut rng = Rng::with_seed(seed);
    let mut turns: Vec<Turn> = TARGETS
        .iter()
        .map(|(name, target)| {
            let kept = kept::inputs(name).expect("kept inputs can be read");
            let kept: Vec<Vec<u8>> = kept.into_iter().map(|(_, input)| input).collect();
            Turn { name, target: *target, kept, done: 0 }
        })
        .collect();
    // Before it is tried, an input is put where it is found if it is the last.
    let last = last_input(&env::temp_dir(), worker);
    let limit = Rlimit { current: Some(MEMORY), maximum: Some(MEMORY) };
    setrlimit(Resource::As, limit).expect("a process may limit itself");
    let broken = found().join(format!("many-{worker}"));
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new({
        let (last, broken) = (last.clone(), broken.clone());
        move |info| {
            hook(info);
            _ = fs::copy(&last, &broken);
            eprintln!("the input is in {}", broken.display());
            std::process::exit(1);
        }
    }));
    // Everyone's least first; then by time, but nobody's more than the most.
    let least = count / turns.len() as u64 / 100;
    let most = count.div_ceil(MOST_OF);
    let mut left = count;
    for round in 0.. {
        if left == 0 {
            break;
        }
        for turn in &mut turns {
            let until = Instant::now() + TURN;
            let goes_on = |done| match round {
                0 => done < least,
                _ => done < most && Instant::now() < until,
            };
            while left > 0 && goes_on(turn.done) {
                let input = match rng.choice(&turn.kept) {
                    Some(input) => mutated(&mut rng, input, &turn.kept),
                    None => (0..rng.usize(..400)).map(|_| rng.u8(..)).collect(),
                };
                fs::write(&last, &input).expect("the input can be written");
                (turn.target)(&input);
                turn.done += 1;
                left -= 1;
            }
        }
    }
    for turn in &turns {
        println!("{worker}: {:<13} {:>10}", turn.name, turn.done);
    }
}
