//! Sessions over rows in memory, and their answers as text.

use std::sync::Arc;

use datafusion::arrow::array::{ArrayRef, RecordBatch, StringArray};
use datafusion::arrow::util::display::{ArrayFormatter, FormatOptions};
use datafusion::datasource::MemTable;
use datafusion::error::Result;
use datafusion::prelude::{SessionConfig, SessionContext};
use fastrand::Rng;
use holdover::bits::{Capture, Wide};
use holdover::decode::Reading;
use holdover::layout::Table;

/// One row: a door, a reader and bits; null where there are none.
pub type Row = (String, String, Option<String>);

/// A session with the rows as the table `reads`, in so many parts.
pub fn session(rows: &[Row], parts: usize) -> SessionContext {
    let config = holdover_sql::settings(SessionConfig::new())
        .with_target_partitions(parts.max(1))
        .with_batch_size(1 << 10);
    let session = SessionContext::new_with_config(config);
    holdover_sql::register(&mut *session.state_ref().write()).unwrap();
    let size = rows.len().div_ceil(parts.max(1)).max(1);
    let batches: Vec<Vec<RecordBatch>> = rows.chunks(size).map(|rows| vec![batch(rows)]).collect();
    let schema = batch(&[]).schema();
    let table = MemTable::try_new(schema, batches).unwrap();
    session.register_table("reads", Arc::new(table)).unwrap();
    session
}

fn batch(rows: &[Row]) -> RecordBatch {
    let text = |get: fn(&Row) -> Option<&str>| -> ArrayRef {
        Arc::new(rows.iter().map(get).collect::<StringArray>())
    };
    let columns = [
        ("site", text(|row| Some(&row.0)), false),
        ("reader", text(|row| Some(&row.1)), false),
        ("bits", text(|row| row.2.as_deref()), true),
    ];
    RecordBatch::try_from_iter_with_nullable(columns).unwrap()
}

/// Does it until it is done.
pub fn wait<T>(future: impl Future<Output = T>) -> T {
    let mut runtime = tokio::runtime::Builder::new_multi_thread();
    let runtime = runtime.enable_all().thread_stack_size(16 << 20).build().unwrap();
    runtime.block_on(future)
}

/// The rows of a query, each cell as text, nulls empty.
pub fn cells(session: &SessionContext, query: &str) -> Result<Vec<Vec<String>>> {
    let batches = wait(async { session.sql(query).await?.collect().await })?;
    let mut rows = Vec::new();
    for batch in batches {
        let options = FormatOptions::default();
        let columns: Vec<ArrayFormatter<'_>> = batch
            .columns()
            .iter()
            .map(|column| ArrayFormatter::try_new(column, &options).unwrap())
            .collect();
        rows.extend((0..batch.num_rows()).map(|row| {
            columns.iter().map(|column| column.value(row).to_string()).collect::<Vec<_>>()
        }));
    }
    Ok(rows)
}

/// What a query is refused with.
pub fn refused(session: &SessionContext, query: &str) -> String {
    cells(session, query).expect_err(query).strip_backtrace()
}

/// A capture of any layout of the table: of a code that comes back or not, under
/// any reading, its checks mostly holding.
pub fn draw(table: &Table, rng: &mut Rng) -> Capture {
    let layout = &table.layouts()[rng.usize(..table.layouts().len())];
    let mut wide = Wide(std::array::from_fn(|_| rng.u64(..))) & Wide::ones(layout.length());
    if rng.u8(..10) > 0 {
        if let Some(site) = layout.site_span().filter(|_| rng.u8(..4) > 0) {
            site.offsets().for_each(|at| wide.set(at, at % 3 == 0));
        }
        wide = layout.system().complete(wide);
    }
    let word = Capture::from_wide(wide, layout.length()).unwrap();
    let reading = match rng.u8(..8) {
        0 => Reading::ALL[rng.usize(..8)],
        _ => Reading::AsCaptured,
    };
    reading.capture_of(&word, rng.bool()).unwrap_or(word)
}
