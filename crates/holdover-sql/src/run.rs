//! Queries over files: tables from paths, statements one after the other, the last
//! one's rows as CSV.

use std::io::{self, BufWriter, ErrorKind, Seek, Write};
use std::path::Path;
use std::sync::Arc;

use datafusion::arrow::array::{Array, ArrayRef, RecordBatch, StructArray};
use datafusion::arrow::compute::cast;
use datafusion::arrow::csv::WriterBuilder;
use datafusion::arrow::datatypes::{DataType, Field, Schema};
use datafusion::arrow::error::ArrowError;
use datafusion::common::plan_err;
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::LogicalPlan;
use datafusion::prelude::{
    CsvReadOptions, DataFrame, ParquetReadOptions, SessionConfig, SessionContext,
};
use datafusion::sql::parser::DFParser;
use futures::StreamExt;
use holdover_sql::{cluster, register, settings};

/// A session that knows the functions; of a cluster, where there is one.
///
/// # Errors
/// There is no such scheduler.
pub async fn session(
    scheduler: Option<&(String, u16)>,
    partitions: usize,
) -> Result<SessionContext> {
    let config = settings(SessionConfig::new()).with_target_partitions(partitions);
    let session = match scheduler {
        None => SessionContext::new_with_config(config),
        Some(scheduler) => cluster::client(scheduler, config).await?,
    };
    register(&mut *session.state_ref().write())?;
    Ok(session)
}

/// Makes tables of files, each given as NAME=PATH.
///
/// # Errors
/// One is not there, or of another kind.
pub async fn files(session: &SessionContext, from: &[String]) -> Result<()> {
    for given in from {
        let Some((name, path)) = given.split_once('=') else {
            return plan_err!("--from {given}: give NAME=PATH, as reads=year.parquet");
        };
        // Executors have directories of their own.
        let whole = std::fs::canonicalize(path)
            .map_err(|error| DataFusionError::Plan(format!("--from {given}: {error}")))?;
        let whole = whole.to_string_lossy().into_owned();
        match kind(Path::new(&whole)).as_deref() {
            Some("parquet") => {
                session.register_parquet(name, &whole, ParquetReadOptions::default()).await?;
            }
            Some(extension @ ("csv" | "txt")) => {
                // Digits of a capture are no number.
                let extension = format!(".{extension}");
                let options =
                    CsvReadOptions::new().schema_infer_max_records(0).file_extension(&extension);
                session.register_csv(name, &whole, options).await?;
            }
            _ => {
                return plan_err!("--from {given}: give files whose names end in .csv or .parquet");
            }
        }
    }
    Ok(())
}

/// The ending of a file's name, or of the first one in a directory.
fn kind(path: &Path) -> Option<String> {
    let ending = |path: &Path| path.extension().map(|e| e.to_string_lossy().to_lowercase());
    if !path.is_dir() {
        return ending(path);
    }
    let mut names: Vec<_> =
        std::fs::read_dir(path).ok()?.flatten().map(|file| file.path()).collect();
    names.sort();
    names.iter().find_map(|path| ending(path).filter(|kind| kind == "csv" || kind == "parquet"))
}

/// Runs a query, or those of a file.
///
/// # Errors
/// One of them is wrong.
pub async fn queries(session: &SessionContext, given: &str, on_cluster: bool) -> Result<()> {
    let text = match Path::new(given).extension() {
        Some(ending) if ending == "sql" => std::fs::read_to_string(given)
            .map_err(|error| DataFusionError::Plan(format!("{given}: {error}")))?,
        _ => given.to_owned(),
    };
    let statements = DFParser::parse_sql(&text)?;
    let Some(last) = statements.len().checked_sub(1) else {
        return plan_err!("there is no query: give one, or a file whose name ends in .sql");
    };
    for (i, statement) in statements.into_iter().enumerate() {
        let plan = session.state().statement_to_plan(statement).await?;
        match (i == last, on_cluster) {
            (false, _) => _ = session.execute_logical_plan(plan).await?.collect().await?,
            (true, false) => {
                let rows = session.execute_logical_plan(plan).await?;
                write(rows, BufWriter::new(io::stdout().lock())).await?;
            }
            (true, true) => whole(session, plan).await?,
        }
    }
    Ok(())
}

/// How often a query is tried on a cluster: where an executor is lost, it is begun anew
/// on the others ([`cluster::schedule`]).
const TRIES: usize = 5;

/// Writes the rows once all of them have come.
async fn whole(session: &SessionContext, plan: LogicalPlan) -> Result<()> {
    let mut tried = 1;
    loop {
        let mut file = tempfile::tempfile()?;
        let rows = session.execute_logical_plan(plan.clone()).await?;
        match write(rows, BufWriter::new(&mut file)).await {
            Ok(()) => {
                file.rewind()?;
                _ = io::copy(&mut file, &mut io::stdout().lock())?;
                return Ok(());
            }
            Err(error) if tried < TRIES && is_lost(&error) => {
                log::warn!("{}: once more", said(&error));
                tried += 1;
            }
            Err(error) => return Err(error),
        }
    }
}

/// Whether an executor is gone, and nothing is wrong with the query.
fn is_lost(error: &DataFusionError) -> bool {
    let said = error.to_string();
    let signs = [cluster::LOST, "GrpcConnectionError", "FetchPartitionError", "Shuffle fetch"];
    signs.iter().any(|sign| said.contains(sign))
}

async fn write(rows: DataFrame, out: impl Write) -> Result<()> {
    let schema = flat_schema(rows.schema().as_arrow());
    let mut batches = rows.execute_stream().await?;
    let mut out = WriterBuilder::new().build(out);
    if !schema.fields().is_empty() {
        out.write(&RecordBatch::new_empty(Arc::new(schema)))?;
    }
    while let Some(batch) = batches.next().await {
        out.write(&flat(&batch?)?)?;
    }
    Ok(out.into_inner().flush()?)
}

/// Structs as columns of their own, as CSV needs them: `answer.card`.
fn flat_schema(schema: &Schema) -> Schema {
    let fields = schema.fields().iter().flat_map(|field| match field.data_type() {
        DataType::Struct(parts) => {
            let name = |part: &Field| format!("{}.{}", field.name(), part.name());
            parts.iter().map(|part| part.as_ref().clone().with_name(name(part))).collect()
        }
        _ => vec![field.as_ref().clone()],
    });
    Schema::new(fields.map(plain).collect::<Vec<_>>())
}

/// Bytes are written as hexadecimal digits, which wants them in one piece.
fn plain(field: Field) -> Field {
    match field.data_type() {
        DataType::BinaryView => field.with_data_type(DataType::LargeBinary),
        _ => field,
    }
}

fn flat(batch: &RecordBatch) -> Result<RecordBatch> {
    let columns = batch.columns().iter().flat_map(|column| -> Vec<ArrayRef> {
        match column.as_any().downcast_ref::<StructArray>() {
            // Of a null, all parts are null.
            Some(parts) => parts.flatten().1,
            None => vec![column.clone()],
        }
    });
    let schema = Arc::new(flat_schema(&batch.schema()));
    let columns: Vec<ArrayRef> = columns
        .zip(schema.fields())
        .map(|(column, field)| cast(&column, field.data_type()))
        .collect::<std::result::Result<_, ArrowError>>()?;
    Ok(RecordBatch::try_new(schema, columns)?)
}

/// Whether nobody reads the output any more.
pub fn is_broken_pipe(error: &DataFusionError) -> bool {
    let broken = |error: &io::Error| error.kind() == ErrorKind::BrokenPipe;
    match error.find_root() {
        DataFusionError::IoError(error) => broken(error),
        DataFusionError::ArrowError(error, _) => {
            matches!(&**error, ArrowError::IoError(_, error) if broken(error))
        }
        _ => false,
    }
}

/// What an error says, without where in the engine it arose.
pub fn said(error: &DataFusionError) -> String {
    error.find_root().strip_backtrace()
}
