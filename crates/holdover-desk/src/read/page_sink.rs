//! The page beside a report.

use std::path::Path;
use std::sync::Arc;

use holdover::rank::Fit;
use holdover::site::Site;

use super::{Answered, Report};
use crate::fail::Fail;
use crate::host::Host;
use crate::input::Row;
use crate::request::{self, Format};
use crate::{html, terminal};

/// A page being filled.
pub struct PageSink<'a> {
    host: &'a dyn Host,
    request: &'a request::Read,
    target: html::Target<'a>,
    page: crate::read::page::Page<'a>,
}

impl<'a> PageSink<'a> {
    /// The page asked for, if any; it replaces no file that is read.
    pub fn of(
        host: &'a dyn Host,
        request: &'a request::Read,
        site: Option<&'a Site>,
    ) -> Result<Option<PageSink<'a>>, Fail> {
        let named = request.inputs.iter().chain(&request.tables.0).map(Path::new);
        let target =
            html::Target::of(host, &request.page, named.chain(request.site.as_deref()), [])?;
        Ok(target.map(|target| {
            let page = crate::read::page::Page::new(host, request, site, target.hide);
            PageSink { host, request, target, page }
        }))
    }

    /// Fills the page beside a report.
    pub fn beside<'r>(self, report: &'r mut dyn Report) -> Beside<'a, 'r> {
        Beside { paper: self, report, any: false, gone: false }
    }
}

/// A report, and a page of the same.
pub struct Beside<'a, 'r> {
    paper: PageSink<'a>,
    report: &'r mut dyn Report,
    any: bool,
    /// Nobody reads the report any more; the page is still filled.
    gone: bool,
}

impl Beside<'_, '_> {
    fn told(&mut self, tell: impl FnOnce(&mut dyn Report) -> Result<(), Fail>) -> Result<(), Fail> {
        if self.gone {
            return Ok(());
        }
        match tell(self.report) {
            Err(Fail::BrokenPipe) => {
                self.gone = true;
                Ok(())
            }
            told => told,
        }
    }
}

impl Report for Beside<'_, '_> {
    fn headings(&mut self, headings: &Arc<Vec<String>>) {
        self.report.headings(headings);
    }

    fn answered(&mut self, answered: &Answered<'_, '_>) -> Result<(), Fail> {
        self.any = true;
        self.paper.page.answered(answered);
        self.told(|report| report.answered(answered))
    }

    fn invalid(&mut self, row: &Row, why: &str) -> Result<(), Fail> {
        self.any = true;
        self.paper.page.invalid(row, why);
        self.told(|report| report.invalid(row, why))
    }

    fn paused(&mut self, fit: &Fit<'_, '_>) -> Result<(), Fail> {
        self.paper.page.paused(fit);
        self.told(|report| report.paused(fit))?;
        // A port has no end: the page stands at every pause.
        if self.paper.request.port.is_some() {
            self.paper.target.write(self.paper.host, &self.paper.page.page())?;
        }
        Ok(())
    }

    fn end(&mut self) -> Result<(), Fail> {
        self.told(|report| report.end())?;
        if self.any {
            let written = self.paper.target.write(self.paper.host, &self.paper.page.page())?;
            if self.paper.request.format == Format::Text && !self.gone {
                terminal::Page::new(self.paper.host).say("written  ", &written)?;
            }
        }
        if self.gone { Err(Fail::BrokenPipe) } else { Ok(()) }
    }
}
