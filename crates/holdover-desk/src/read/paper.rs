//! The page beside a report.

use std::path::Path;
use std::sync::Arc;

use holdover::rank::Fit;
use holdover::site::Site;

use super::{Answered, Report};
use crate::fail::Fail;
use crate::input::Row;
use crate::request::{self, Format};
use crate::world::World;
use crate::{html, screen};

/// A page being filled.
pub struct Paper<'a> {
    world: &'a dyn World,
    args: &'a request::Read,
    target: html::Target<'a>,
    page: crate::read::page::Page<'a>,
}

impl<'a> Paper<'a> {
    /// The page asked for, if any; it replaces no file that is read.
    pub fn of(
        world: &'a dyn World,
        args: &'a request::Read,
        site: Option<&'a Site>,
    ) -> Result<Option<Paper<'a>>, Fail> {
        let named = args.inputs.iter().chain(&args.tables.0).map(Path::new);
        let target = html::Target::of(world, &args.page, named.chain(args.site.as_deref()), [])?;
        Ok(target.map(|target| {
            let page = crate::read::page::Page::new(world, args, site, target.hide);
            Paper { world, args, target, page }
        }))
    }

    /// Fills the page beside a report.
    pub fn beside<'r>(self, report: &'r mut dyn Report) -> Beside<'a, 'r> {
        Beside { paper: self, report, any: false, gone: false }
    }
}

/// A report, and a page of the same.
pub struct Beside<'a, 'r> {
    paper: Paper<'a>,
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
        if self.paper.args.port.is_some() {
            self.paper.target.write(self.paper.world, &self.paper.page.page())?;
        }
        Ok(())
    }

    fn end(&mut self) -> Result<(), Fail> {
        self.told(|report| report.end())?;
        if self.any {
            let written = self.paper.target.write(self.paper.world, &self.paper.page.page())?;
            if self.paper.args.format == Format::Text && !self.gone {
                screen::Page::new(self.paper.world).say("written  ", &written)?;
            }
        }
        if self.gone { Err(Fail::BrokenPipe) } else { Ok(()) }
    }
}
