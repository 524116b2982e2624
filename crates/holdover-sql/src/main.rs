//! The command `holdover-sql`: a query over files, on this machine or a cluster.

mod run;
mod said;

use std::net::SocketAddr;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use datafusion::error::Result;
use holdover_sql::cluster::{self, Executor};

/// Card answers as SQL, over CSV and Parquet files.
#[derive(Parser)]
#[command(name = "holdover-sql", version, args_conflicts_with_subcommands = true)]
#[command(subcommand_negates_reqs = true)]
struct Command {
    #[command(subcommand)]
    role: Option<Role>,
    #[command(flatten)]
    query: Query,
    /// Say on standard error what scheduler and executors do, not their troubles alone.
    #[arg(long, short, global = true)]
    verbose: bool,
}

/// What a query is run with.
#[derive(Args)]
struct Query {
    /// A query, or a file of queries, each ended by a semicolon; what the last one
    /// gives is written as CSV.
    #[arg(required = true)]
    query: Option<String>,
    /// A CSV or Parquet file, or a directory of them, as a table; every column of CSV
    /// is text.
    #[arg(long, value_name = "NAME=PATH")]
    from: Vec<String>,
    /// Run it on the cluster of this scheduler; it must find the files at the same
    /// paths.
    #[arg(long, value_name = "HOST:PORT", value_parser = address)]
    scheduler: Option<(String, u16)>,
    /// How many parts are worked on at once; as many as there are processors, unless
    /// said.
    #[arg(long, value_name = "N")]
    partitions: Option<usize>,
}

#[derive(Subcommand)]
enum Role {
    /// Schedule queries on executors.
    Scheduler {
        /// Where to listen.
        #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:50050")]
        listen: SocketAddr,
        /// Seconds out of reach after which an executor is taken for lost.
        #[arg(long, value_name = "SECONDS", default_value_t = 30)]
        lost_after: u64,
    },
    /// Work for a scheduler.
    Executor {
        /// The scheduler.
        #[arg(long, value_name = "HOST:PORT", value_parser = address)]
        scheduler: (String, u16),
        /// Where to listen.
        #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:50061")]
        listen: SocketAddr,
        /// The name that others reach it by, where that is not its address.
        #[arg(long)]
        name: Option<String>,
        /// Parts worked on at once; as many as there are processors, unless said.
        #[arg(long, value_name = "N")]
        cores: Option<usize>,
    },
}

/// A host and a port.
fn address(text: &str) -> std::result::Result<(String, u16), String> {
    let mend = "give HOST:PORT, as 127.0.0.1:50050";
    let (host, port) = text.rsplit_once(':').ok_or(mend)?;
    match port.parse() {
        Ok(port) if !host.is_empty() => Ok((host.to_owned(), port)),
        _ => Err(mend.to_owned()),
    }
}

fn processors() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

async fn work(command: Command) -> Result<()> {
    match command.role {
        Some(Role::Scheduler { listen, lost_after }) => cluster::schedule(listen, lost_after).await,
        Some(Role::Executor { scheduler, listen, name, cores }) => {
            let cores = cores.unwrap_or_else(processors);
            cluster::execute(Executor { scheduler, at: listen, name, cores }).await
        }
        None => {
            let Query { query, from, scheduler, partitions } = command.query;
            let partitions = partitions.unwrap_or_else(processors).max(1);
            let session = run::session(scheduler.as_ref(), partitions).await?;
            run::files(&session, &from).await?;
            run::queries(&session, &query.unwrap_or_default(), scheduler.is_some()).await
        }
    }
}

fn main() -> ExitCode {
    let command = Command::parse();
    said::start(command.verbose);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        // Plans nest deeply.
        .thread_stack_size(8 << 20)
        .build();
    let runtime = match runtime {
        Ok(runtime) => runtime,
        Err(error) => return failed(&error.to_string()),
    };
    match runtime.block_on(work(command)) {
        Ok(()) => ExitCode::SUCCESS,
        // Whoever reads our output has had enough.
        Err(error) if run::is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => failed(&run::said(&error)),
    }
}

fn failed(message: &str) -> ExitCode {
    eprintln!("holdover-sql: {message}");
    ExitCode::from(2)
}
