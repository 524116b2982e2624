//! Pages: one self-contained file each, for any screen and for paper.
//!
//! A page is made of the library's values, not of the text the command prints.
//! Everything on it goes through `maud`, which escapes what it is given; what
//! comes from a file is shown as [`sheet::Own`], which also keeps its direction
//! of writing to itself. A picture has a title and a description, and says
//! nothing by colour alone. Where numbers are hidden there are no bits
//! ([`mask`](crate::mask)). The same input makes the same bytes.

pub mod histogram;
pub mod layout;
pub mod raster;
pub mod sheet;
mod svg;

use std::path::{Path, PathBuf};

use crate::fail::Fail;
use crate::files;
use crate::host::Host;
use crate::plain::plain;
use crate::request;

/// Where a page goes, and whether it hides card numbers.
pub struct Target<'a> {
    path: &'a Path,
    /// Card numbers are hidden: a page is paper, and paper is left lying about.
    pub hide: bool,
}

impl<'a> Target<'a> {
    /// The page asked for, if one is; it never replaces an input or another
    /// output.
    pub fn of<'p>(
        host: &dyn Host,
        request: &'a request::Page,
        inputs: impl IntoIterator<Item = &'p Path>,
        outputs: impl IntoIterator<Item = &'p PathBuf>,
    ) -> Result<Option<Target<'a>>, Fail>
    where
        'a: 'p,
    {
        let Some(path) = &request.html else { return Ok(None) };
        files::keep_apart(host, inputs, outputs.into_iter().chain([path]))?;
        Ok(Some(Target { path, hide: !request.show_numbers }))
    }

    /// The file it goes to.
    pub fn path(&self) -> &'a Path {
        self.path
    }

    /// Writes the page whole or not at all; what to tell of it.
    pub fn write(&self, host: &dyn Host, page: &str) -> Result<String, Fail> {
        files::write(host, self.path, page.as_bytes())?;
        Ok(plain(&self.path.display().to_string()))
    }
}
