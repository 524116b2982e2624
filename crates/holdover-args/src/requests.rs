//! Arguments to requests.

use holdover_desk::request as to;

use super::*;

impl Verb {
    /// The request; none where it is the command line's own affair.
    pub fn request(self) -> Option<to::Request> {
        Some(match self {
            Verb::Read(verb) => to::Request::Read(verb.into()),
            Verb::Signal(verb) => to::Request::Signal(verb.into()),
            Verb::Learn(verb) => to::Request::Learn(verb.into()),
            Verb::Plan(verb) => to::Request::Plan(verb.into()),
            Verb::Prove(verb) => to::Request::Prove(verb.into()),
            Verb::Table(Table { verb }) => to::Request::Table(verb.into()),
            Verb::Compose(verb) => to::Request::Compose(verb.into()),
            Verb::Init(Init { directory }) => to::Request::Init(to::Init { directory }),
            Verb::Pocket(_) | Verb::Guide(_) | Verb::Completions(_) | Verb::Manual(_) => {
                return None;
            }
        })
    }
}

impl From<Format> for to::Format {
    fn from(format: Format) -> to::Format {
        match format {
            Format::Text => to::Format::Text,
            Format::Json => to::Format::Json,
            Format::Csv => to::Format::Csv,
        }
    }
}

impl From<Tables> for to::Tables {
    fn from(Tables { tables }: Tables) -> to::Tables {
        to::Tables(tables)
    }
}

impl From<Page> for to::Page {
    fn from(Page { html, show_numbers }: Page) -> to::Page {
        to::Page { html, show_numbers }
    }
}

impl From<IdleLevel> for to::IdleLevel {
    fn from(level: IdleLevel) -> to::IdleLevel {
        match level {
            IdleLevel::High => to::IdleLevel::High,
            IdleLevel::Low => to::IdleLevel::Low,
        }
    }
}

impl From<ProbeOptions> for to::ProbeOptions {
    fn from(options: ProbeOptions) -> to::ProbeOptions {
        let ProbeOptions { d0, d1, gap, glitch, rate, time_unit, threshold, idle } = options;
        let idle = idle.map(Into::into);
        to::ProbeOptions { d0, d1, gap, glitch, rate, time_unit, threshold, idle }
    }
}

impl From<Read> for to::Read {
    fn from(args: Read) -> to::Read {
        let Read { inputs, columns, port, baud, probe, tables, site, format, page, .. } = args;
        let Read { summary, full, mask, keep_column, batch, streaming, quiet, .. } = args;
        to::Read {
            inputs,
            columns: columns.column,
            port,
            baud,
            probe: probe.into(),
            tables: tables.into(),
            site,
            format: format.into(),
            summary,
            full,
            mask,
            keep_column,
            batch,
            streaming,
            quiet,
            page: page.into(),
        }
    }
}

impl From<Signal> for to::Signal {
    fn from(args: Signal) -> to::Signal {
        let Signal { inputs, probe, format, summary, mask, quiet, page } = args;
        let (probe, format, page) = (probe.into(), format.into(), page.into());
        to::Signal { inputs, probe, format, summary, mask, quiet, page }
    }
}

impl From<Learn> for to::Learn {
    fn from(args: Learn) -> to::Learn {
        let Learn { inputs, sheet, columns, list, output, id, shuffled, format, mask, probe, page } =
            args;
        let (sheet, columns, format) = (sheet.sheet, columns.column, format.into());
        let (probe, page) = (probe.into(), page.into());
        to::Learn { inputs, sheet, columns, list, output, id, shuffled, format, mask, probe, page }
    }
}

impl From<OwnWords> for to::Words {
    fn from(args: OwnWords) -> to::Words {
        to::Words { columns: args.column, kinds: args.kind }
    }
}

impl From<Plan> for to::Plan {
    fn from(args: Plan) -> to::Plan {
        let Plan {
            site,
            roster,
            sheet,
            words,
            list,
            tables,
            format,
            output,
            worksheet,
            enrolment,
            ..
        } = args;
        let Plan { cutover, against, keep, time_limit, mask, pseudonyms, quiet, page, .. } = args;
        to::Plan {
            site,
            roster,
            sheet: sheet.sheet,
            words: words.into(),
            list,
            tables: tables.into(),
            format: format.into(),
            output,
            worksheet,
            enrolment,
            cutover,
            against,
            keep,
            time_limit,
            mask,
            pseudonyms,
            quiet,
            page: page.into(),
        }
    }
}

impl From<Prove> for to::Prove {
    fn from(args: Prove) -> to::Prove {
        let Prove { plan, roster, sheet, words, list, site, edited, cases, .. } = args;
        let Prove { record, tables, format, mask, page, .. } = args;
        to::Prove {
            plan,
            roster,
            sheet: sheet.sheet,
            words: words.into(),
            list,
            site,
            edited,
            cases,
            record,
            tables: tables.into(),
            format: format.into(),
            mask,
            page: page.into(),
        }
    }
}

impl From<TableVerb> for to::Table {
    fn from(verb: TableVerb) -> to::Table {
        match verb {
            TableVerb::List { tables, format } => {
                to::Table::List { tables: tables.into(), format: format.into() }
            }
            TableVerb::Lint { files, quiet } => to::Table::Lint { files, quiet },
            TableVerb::Show { ids, tables, format } => {
                to::Table::Show { ids, tables: tables.into(), format: format.into() }
            }
            TableVerb::Diff { old, new, format } => {
                to::Table::Diff { old, new, format: format.into() }
            }
        }
    }
}

impl From<ProbeForm> for to::ProbeForm {
    fn from(form: ProbeForm) -> to::ProbeForm {
        match form {
            ProbeForm::Vcd => to::ProbeForm::Vcd,
            ProbeForm::Changes => to::ProbeForm::Changes,
            ProbeForm::Samples => to::ProbeForm::Samples,
        }
    }
}

impl From<Timing> for to::Timing {
    fn from(timing: Timing) -> to::Timing {
        let Timing { probe, reader, width, interval, gap, jitter, glitches, .. } = timing;
        let Timing { lost, both_low, noise, idle, rate, seed, faults, .. } = timing;
        let (probe, idle) = (probe.map(Into::into), idle.into());
        to::Timing {
            probe,
            reader,
            width,
            interval,
            gap,
            jitter,
            glitches,
            lost,
            both_low,
            noise,
            idle,
            rate,
            seed,
            faults,
        }
    }
}

impl From<Compose> for to::Compose {
    fn from(args: Compose) -> to::Compose {
        let Compose { layout, values, tables, captures, timing, reading, format, hex } = args;
        let (tables, timing, format) = (tables.into(), timing.into(), format.into());
        to::Compose { layout, values, tables, captures, timing, reading, format, hex }
    }
}
