//! Columns are filled by all processors, with the widest vectors they have.

use std::num::NonZero;
use std::sync::LazyLock;
use std::thread;

use holdover::decode::{Align, ColumnDecoder, DecodedColumns, Rows, Source, TooLong};

/// Captures for which another thread pays: starting one takes some twenty
/// microseconds, more on a busy machine; these take eighty.
const PER_THREAD: usize = 1 << 18;

/// The columns of captures of up to 64 bits, in the room of old ones.
///
/// Threads are started for one call and end with it: a pool that lives on
/// would be gone, and waited for, in a process forked from this one.
pub fn decode<S: Source + Sync>(
    narrow: &ColumnDecoder,
    captures: &[S],
    align: Align,
    old: DecodedColumns,
) -> Result<DecodedColumns, TooLong> {
    let mut columns = narrow.room_in(old, captures.len());
    // Asking how many there are takes files of the system: once will do.
    static MOST: LazyLock<usize> =
        LazyLock::new(|| thread::available_parallelism().map_or(1, NonZero::get));
    let threads = match captures.len() / PER_THREAD {
        0 | 1 => 1,
        wanted => wanted.min(*MOST),
    };
    let size = captures.len().div_ceil(threads).max(1);
    if threads == 1 {
        columns.parts(size).iter_mut().try_for_each(|rows| fill(narrow, captures, align, rows))?;
        return Ok(columns);
    }
    let mut work = captures.chunks(size).zip(columns.parts(size)).enumerate();
    let fill = |(nth, (part, mut rows)): (usize, (&[S], Rows<'_>))| {
        fill(narrow, part, align, &mut rows)
            .map_err(|error| TooLong { row: error.row + nth * size, ..error })
    };
    let own = work.next();
    thread::scope(|scope| {
        let others: Vec<_> = work.map(|work| scope.spawn(move || fill(work))).collect();
        let first = own.map_or(Ok(()), fill);
        // A panic of another thread goes on in this one.
        let rest = others
            .into_iter()
            .map(|other| other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        // All are waited for; the first mistake is the one told.
        rest.fold(first, |all, one| all.and(one))
    })?;
    Ok(columns)
}

#[cfg(not(target_arch = "x86_64"))]
fn fill<S: Source>(
    n: &ColumnDecoder,
    c: &[S],
    align: Align,
    rows: &mut Rows<'_>,
) -> Result<(), TooLong> {
    n.fill::<false, S>(c, align, rows)
}

/// The same loops, compiled for what the processor has.
#[cfg(target_arch = "x86_64")]
#[allow(unsafe_code, reason = "functions compiled for some processors can only be called so")]
fn fill<S: Source>(
    n: &ColumnDecoder,
    c: &[S],
    align: Align,
    rows: &mut Rows<'_>,
) -> Result<(), TooLong> {
    #[target_feature(enable = "avx512f,avx512bw,avx512vl,avx512dq,avx512vpopcntdq")]
    fn avx512<S: Source>(
        n: &ColumnDecoder,
        c: &[S],
        align: Align,
        rows: &mut Rows<'_>,
    ) -> Result<(), TooLong> {
        n.fill::<true, S>(c, align, rows)
    }
    #[target_feature(enable = "avx2")]
    fn avx2<S: Source>(
        n: &ColumnDecoder,
        c: &[S],
        align: Align,
        rows: &mut Rows<'_>,
    ) -> Result<(), TooLong> {
        n.fill::<false, S>(c, align, rows)
    }
    if is_x86_feature_detected!("avx512f")
        && is_x86_feature_detected!("avx512bw")
        && is_x86_feature_detected!("avx512vl")
        && is_x86_feature_detected!("avx512dq")
        && is_x86_feature_detected!("avx512vpopcntdq")
    {
        // SAFETY: the processor has what the function is compiled for.
        unsafe { avx512(n, c, align, rows) }
    } else if is_x86_feature_detected!("avx2") {
        // SAFETY: the processor has what the function is compiled for.
        unsafe { avx2(n, c, align, rows) }
    } else {
        n.fill::<false, S>(c, align, rows)
    }
}
