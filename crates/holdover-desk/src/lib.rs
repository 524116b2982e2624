//! Holdover as an application on files: requests in, answers out.
//!
//! What comes out is, byte for byte, what the binary prints
//! and writes, because it is the same code. A desk reads no disk, no clock, no
//! variable of the environment and no terminal; it opens no socket, and two
//! desks know nothing of each other. Any number may be at work at once, each in
//! a thread of its own.
//!
//! ```
//! use holdover_desk::{Desk, answer, request::Read};
//!
//! let mut desk = Desk::new();
//! desk.put("captures.txt", "10100000100010000111000011\n");
//! let answers = desk.read(&Read::of(["captures.txt"])).unwrap();
//! let answer::Read::Card(card) = &answers[0] else { panic!() };
//! assert_eq!(card.candidates[0].layout, "std26");
//! ```
//!
//! A desk has no directories: a name is a name, and `a/b` is one of them. It
//! has no serial ports; a request for one is refused. Standard input is the file
//! `-`, and is whole from the start.
//!
//! Whoever has other files and another terminal hands in a [`host::Host`]:
//! [`work`] does a request in it.

pub mod answer;
mod care;
mod compose;
mod draw;
mod fail;
mod files;
mod formats;
pub mod host;
mod html;
mod init;
mod input;
mod learn;
pub mod limits;
mod list;
mod mask;
pub mod plain;
mod plan;
mod progress;
mod prove;
mod read;
mod refused;
pub mod request;
mod roster;
mod rows;
pub mod schema;
mod sheet;
mod signal;
mod table;
pub mod terminal;
mod workbook;

use answer::{Composed, Learned, Plan, Proof, Read};
pub use fail::{Fail, Outcome};
pub use formats::Grid;
use host::Host;
pub use host::{Desk, Ran};
pub use plan::file::SCHEMA;
pub use refused::Refused;
use request::{Format, Request};

/// Does what is asked in a host: what there is to say goes to its standard
/// output, or to standard error.
///
/// # Errors
/// It could not be done to its end. The message is not said yet.
pub fn work(host: &dyn Host, request: &Request) -> Result<Outcome, Fail> {
    match request {
        Request::Read(request) => read::run(host, request),
        Request::Signal(request) => signal::run(host, request),
        Request::Learn(request) => learn::run(host, request),
        Request::Plan(request) => plan::run(host, request),
        Request::Prove(request) => prove::run(host, request),
        Request::Table(request) => table::run(host, request),
        Request::Compose(request) => compose::run(host, request),
        Request::Init(request) => init::run(host, request),
    }
}

/// The exit code that an outcome comes to, and whether all was done; a failure
/// is said.
pub fn ended(host: &dyn Host, outcome: Result<Outcome, Fail>) -> (u8, bool) {
    match outcome {
        Ok(Outcome::Done) => (0, true),
        Ok(Outcome::CardsWrong) => (1, true),
        Ok(Outcome::InputWrong) => (2, true),
        // Whoever reads our output has had enough: that is success.
        Err(Fail::BrokenPipe) => (0, false),
        Err(Fail::Said(message)) => {
            terminal::complain(host, &message);
            (2, false)
        }
    }
}

impl Desk {
    /// Does what is asked, on the files of the desk. What it writes is on the
    /// desk afterwards; it writes all of it or none.
    pub fn run(&mut self, request: &Request) -> Ran {
        self.runs(|host| ended(host, work(host, request)))
    }

    /// Captures, and what they are; a line that is no capture is an answer, not
    /// a failure.
    ///
    /// # Errors
    /// What is asked or a file is wrong; nothing is answered by halves.
    pub fn read(&mut self, request: &request::Read) -> Result<Vec<Read>, Refused> {
        self.answered(|host| match request.summary {
            true => Err(Fail::said(OTHER)),
            false => read::answers(host, request),
        })
    }

    /// The kinds of card found, each with its layout.
    ///
    /// # Errors
    /// What is asked or a file is wrong.
    pub fn learn(&mut self, request: &request::Learn) -> Result<Vec<Learned>, Refused> {
        let request = request::Learn { format: Format::Json, ..request.clone() };
        self.answered(|host| learn::answers(host, &request))
    }

    /// The panel's slots, and what comes of them.
    ///
    /// # Errors
    /// What is asked or a file is wrong.
    pub fn plan(&mut self, request: &request::Plan) -> Result<Plan, Refused> {
        let request = request::Plan { format: Format::Json, ..request.clone() };
        self.answered(|host| plan::answer(host, &request))
    }

    /// Whether each row comes to what it should.
    ///
    /// # Errors
    /// What is asked or a file is wrong.
    pub fn prove(&mut self, request: &request::Prove) -> Result<Vec<Proof>, Refused> {
        let request = request::Prove { format: Format::Json, ..request.clone() };
        self.answered(|host| prove::answers(host, &request))
    }

    /// The captures of cards with these numbers.
    ///
    /// # Errors
    /// What is asked is wrong, or a number does not fit.
    pub fn compose(&mut self, request: &request::Compose) -> Result<Vec<Composed>, Refused> {
        self.answered(|host| match (&request.captures, request.timing.probe) {
            (None, None) => compose::answers(host, request),
            _ => Err(Fail::said(OTHER)),
        })
    }

    /// What `does` answers, or why it does not.
    fn answered<T>(
        &mut self,
        does: impl FnOnce(&dyn Host) -> Result<T, Fail>,
    ) -> Result<T, Refused> {
        let mut answer = None;
        let ran = self.runs(|host| {
            let came = does(host).map(|came| answer = Some(came));
            ended(host, came.map(|()| Outcome::Done))
        });
        answer.ok_or_else(|| Refused::new(&ran.said))
    }
}

/// What is said where something else than an answer is asked for.
const OTHER: &str = "the request asks for another output than this answer: leave the summary, a \
                     probe file and their like out, or use `run`";
