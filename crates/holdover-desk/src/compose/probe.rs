//! Probe files from captures, with the timing and the faults asked for.

use std::io::Write;

use holdover::bits::Capture;
use holdover_signal::Idle;
use holdover_signal::compose::{Compose, FaultShares, Form, Track};

use crate::fail::Fail;
use crate::host::Host;
use crate::request::{IdleLevel, ProbeForm, Timing};
use crate::{files, terminal};

/// Writes a probe file; the faults put in are counted on standard error and
/// listed where asked.
pub fn write(
    host: &dyn Host,
    out: &mut impl Write,
    timing: &Timing,
    form: ProbeForm,
    captures: &[Capture],
) -> Result<(), Fail> {
    let mut compose = Compose::default();
    compose.form = match form {
        ProbeForm::Vcd => Form::ValueChanges,
        ProbeForm::Changes => Form::CsvChanges,
        ProbeForm::Samples => Form::CsvSamples,
    };
    compose.width_us = timing.width;
    compose.interval_us = timing.interval;
    compose.gap_us = timing.gap;
    compose.jitter = timing.jitter;
    compose.faults = FaultShares {
        glitch: timing.glitches,
        lost: timing.lost,
        both_low: timing.both_low,
        noise: timing.noise,
    };
    compose.idle = match timing.idle {
        IdleLevel::High => Idle::High,
        IdleLevel::Low => Idle::Low,
    };
    compose.rate_hz = timing.rate;
    compose.seed = timing.seed;
    let track = Track::new(timing.reader.as_str(), captures);
    let faults = compose.write(&[track], &mut *out).map_err(|error| match out.flush() {
        Err(error) => error.into(),
        Ok(()) => Fail::said(error.to_string()),
    })?;
    out.flush()?;
    if let Some(path) = &timing.faults {
        let mut lines = Vec::new();
        for fault in &faults {
            let line = serde_json::to_string(fault)
                .map_err(|error| Fail::said(format!("cannot write JSON: {error}")))?;
            writeln!(lines, "{line}")?;
        }
        files::write(host, path, &lines)?;
    }
    if !faults.is_empty() {
        let count = faults.len();
        let text = if count == 1 { "1 fault".to_owned() } else { format!("{count} faults") };
        let note = format!("{text} put in; --faults FILE lists them");
        host.say(&terminal::in_style(terminal::FAINT, &note));
    }
    Ok(())
}
