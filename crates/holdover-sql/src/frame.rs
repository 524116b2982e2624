//! The bytes of a fit: what it is weighed by, and the captures.

use datafusion::error::{DataFusionError, Result};
use holdover::rank::Seen;

/// First bytes of every fit: a name and the version of the form.
const HEAD: [u8; 4] = *b"hf01";

/// What a fit is weighed by: texts of the table and the site file, empty for the
/// built-in table and for none.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash)]
pub struct By {
    pub table: String,
    pub site: String,
}

/// A fit as bytes, in its parts.
pub struct Frame<'a> {
    pub table: &'a str,
    pub site: &'a str,
    /// [`Seen::to_bytes`].
    pub seen: &'a [u8],
}

fn damaged(what: &str) -> DataFusionError {
    DataFusionError::Execution(format!(
        "this is no fit: {what}: give what card_fit gave, unchanged"
    ))
}

/// A fit of captures.
pub fn write(by: &By, seen: &Seen) -> Vec<u8> {
    let seen = seen.to_bytes();
    let mut out = Vec::with_capacity(32 + by.table.len() + by.site.len() + seen.len());
    out.extend(HEAD);
    out.extend([0; 16]);
    for text in [&by.table, &by.site] {
        out.extend((text.len() as u32).to_le_bytes());
        out.extend(text.as_bytes());
    }
    out.extend(seen);
    let digest = digest(&out[20..]);
    out[4..20].copy_from_slice(&digest);
    out
}

/// What tells two fits apart without looking at all of them.
pub type Digest = [u8; 16];

/// The digest a fit names.
///
/// # Errors
/// It is no fit.
pub fn named(bytes: &[u8]) -> Result<Digest> {
    let digest = bytes.get(4..20).and_then(|digest| digest.try_into().ok());
    match (bytes.starts_with(&HEAD), digest) {
        (true, Some(digest)) => Ok(digest),
        _ => Err(damaged("it begins as none does")),
    }
}

/// The parts of a fit, whose digest holds.
///
/// # Errors
/// It is no fit, or was changed.
pub fn read(bytes: &[u8]) -> Result<Frame<'_>> {
    let named = named(bytes)?;
    if digest(&bytes[20..]) != named {
        return Err(damaged("its digest does not hold"));
    }
    let mut rest = &bytes[20..];
    let mut text = || -> Option<&str> {
        let (length, behind) = rest.split_first_chunk()?;
        let (text, behind) = behind.split_at_checked(u32::from_le_bytes(*length) as usize)?;
        rest = behind;
        std::str::from_utf8(text).ok()
    };
    match (text(), text()) {
        (Some(table), Some(site)) => Ok(Frame { table, site, seen: rest }),
        _ => Err(damaged("its table or site file is cut off")),
    }
}

/// The captures of a fit.
///
/// # Errors
/// They are damaged.
pub fn seen(frame: &Frame<'_>) -> Result<Seen> {
    Seen::from_bytes(frame.seen).map_err(|error| damaged(&error.to_string()))
}

/// Two sums of 64 bits over words: against accidents, not against forgers, who could
/// only deceive themselves.
fn digest(bytes: &[u8]) -> Digest {
    let fold = |a: u64, b: u64| {
        let product = u128::from(a) * u128::from(b);
        product as u64 ^ (product >> 64) as u64
    };
    let mut sums = [0x9E37_79B9_7F4A_7C15u64, 0xD6E8_FEB8_6659_FD93];
    for some in bytes.chunks(8) {
        let mut eight = [0; 8];
        eight[..some.len()].copy_from_slice(some);
        let word = u64::from_le_bytes(eight);
        sums[0] = fold(sums[0] ^ word, 0xA076_1D64_78BD_642F);
        sums[1] = fold(sums[1].rotate_left(29) ^ word, 0xE703_7ED1_A0B4_28DB);
    }
    let length = bytes.len() as u64;
    let ends = sums.map(|sum| fold(sum ^ length, 0x8EBC_6AF0_9C88_C6E3));
    let mut digest = [0; 16];
    digest[..8].copy_from_slice(&ends[0].to_le_bytes());
    digest[8..].copy_from_slice(&ends[1].to_le_bytes());
    digest
}
