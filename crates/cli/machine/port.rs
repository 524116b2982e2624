//! A serial port that prints a capture a line: opened, followed, and opened
//! again when it goes away.

use std::io::{self, Read};
use std::sync::mpsc::{self, SyncSender};
use std::thread;
use std::time::{Duration, Instant};

use serial2::SerialPort;

use holdover_desk::Fail;
use holdover_desk::host::Blocks;
use holdover_desk::plain::plain;
use holdover_desk::terminal::{BAD, FAINT, in_style};

/// How long a read waits for bytes.
const WAIT: Duration = Duration::from_millis(100);

/// How long until a port that went away is tried again.
const AGAIN: Duration = Duration::from_secs(1);

/// Silence after which a word is said, once until something comes. Judgement:
/// longer than it takes to walk to the reader.
const SILENCE: Duration = Duration::from_secs(10);

/// Opens a port and follows it in a thread of its own.
pub fn blocks(name: &str, baud: u32) -> Result<Blocks, Fail> {
    let port = open(name, baud).map_err(|error| unopened(name, &error))?;
    let (send, receive) = mpsc::sync_channel(16);
    let name = name.to_owned();
    say(&format!("{}: listening at {baud} baud; show a card, or stop with Ctrl-C", plain(&name)));
    thread::spawn(move || follow(&name, baud, port, &send));
    Ok(receive)
}

fn open(name: &str, baud: u32) -> io::Result<SerialPort> {
    let mut port = SerialPort::open(name, baud)?;
    port.set_read_timeout(WAIT)?;
    Ok(port)
}

fn unopened(name: &str, error: &io::Error) -> Fail {
    let found = SerialPort::available_ports().unwrap_or_default();
    let found: Vec<String> = found.iter().map(|path| path.display().to_string()).collect();
    let ports = match found.is_empty() {
        true => "no serial port is there: plug the probe in".to_owned(),
        false => format!("ports there are: {}", found.join(", ")),
    };
    Fail::said(format!("{}: cannot be opened: {error}: {ports}", plain(name)))
}

fn say(text: &str) {
    use std::io::Write;
    _ = writeln!(anstream::stderr().lock(), "{}", in_style(FAINT, text));
}

fn complain(text: &str) {
    use std::io::Write;
    super::bar::aside(|| {
        _ = writeln!(anstream::stderr().lock(), "{} {text}", in_style(BAD, "error:"))
    });
}

fn follow(name: &str, baud: u32, port: SerialPort, send: &SyncSender<io::Result<Vec<u8>>>) {
    let shown = plain(name);
    let mut port = Some(port);
    let (mut heard, mut told) = (Instant::now(), false);
    let mut block = vec![0; 4096];
    loop {
        let Some(open_port) = &mut port else {
            thread::sleep(AGAIN);
            if let Ok(again) = open(name, baud) {
                say(&format!("{shown}: back again"));
                port = Some(again);
                (heard, told) = (Instant::now(), false);
            }
            continue;
        };
        match open_port.read(&mut block) {
            Ok(count @ 1..) => {
                (heard, told) = (Instant::now(), false);
                if send.send(Ok(block[..count].to_vec())).is_err() {
                    return;
                }
            }
            Err(error) if error.kind() == io::ErrorKind::TimedOut => {
                if !told && heard.elapsed() >= SILENCE {
                    told = true;
                    say(&format!(
                        "{shown}: nothing has come for {} s: check the probe's supply, the clips on \
                         D0 and D1, the common ground and the speed (--baud), then show a card",
                        SILENCE.as_secs()
                    ));
                }
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            gone => {
                let why = gone.err().map_or_else(|| "it was closed".to_owned(), |e| e.to_string());
                complain(&format!("{shown}: went away ({why}); waiting for it"));
                port = None;
            }
        }
    }
}
