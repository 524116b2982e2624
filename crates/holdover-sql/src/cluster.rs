//! More machines: scheduler, executors and client of Ballista, which know the
//! functions.

use std::collections::HashMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use ballista::extension::{SessionConfigExt, SessionContextExt};
use ballista_core::config::TaskSchedulingPolicy;
use ballista_core::registry::BallistaFunctionRegistry;
use ballista_core::serde::protobuf::CancelJobParams;
use ballista_core::serde::protobuf::scheduler_grpc_client::SchedulerGrpcClient;
use ballista_core::utils::{default_config_producer, default_session_builder};
use ballista_executor::executor_process::{ExecutorProcessConfig, start_executor_process};
use ballista_scheduler::cluster::BallistaCluster;
use ballista_scheduler::config::SchedulerConfig;
use ballista_scheduler::scheduler_process::start_server;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::{SessionState, SessionStateBuilder};
use datafusion::prelude::{SessionConfig, SessionContext};
use tokio::net::TcpStream;

use crate::{register, settings};

fn failed(what: &str, error: impl std::fmt::Display) -> DataFusionError {
    DataFusionError::Execution(format!("{what}: {error}"))
}

fn config() -> SessionConfig {
    own(default_config_producer())
}

/// The settings of every session on a cluster. Where Ballista 55.0.0 changes a plan as it
/// runs, it forgets steps when an executor is lost, and waits for ever.
fn own(config: SessionConfig) -> SessionConfig {
    settings(config).with_ballista_adaptive_query_planner(false)
}

/// What the scheduler's sessions know.
fn session(config: SessionConfig) -> Result<SessionState> {
    let mut state = default_session_builder(config)?;
    register(&mut state)?;
    Ok(state)
}

/// What the error of a query says that was stopped since an executor was lost.
pub const LOST: &str = "Cancelled";

/// Schedules queries until it is stopped. An executor gone for `lost_after` seconds is
/// taken for lost, and the queries at work are stopped, for their clients to begin
/// anew: where Ballista 55.0.0 does a lost executor's part again, rows of steps that
/// others were done with come twice.
///
/// # Errors
/// The address is taken, or is none of this machine's.
pub async fn schedule(at: SocketAddr, lost_after: u64) -> Result<()> {
    let scheduler = SchedulerConfig {
        bind_host: at.ip().to_string(),
        external_host: at.ip().to_string(),
        bind_port: at.port(),
        // An executor asks for work when it has none, and is silent while it has: whether it
        // is lost is seen here, not by its silence.
        scheduling_policy: TaskSchedulingPolicy::PullStaged,
        executor_timeout_seconds: NEVER,
        no_executors_grace_period_seconds: NEVER,
        stage_max_failures: 1,
        override_config_producer: Some(Arc::new(config)),
        override_session_builder: Some(Arc::new(session)),
        ..SchedulerConfig::default()
    };
    let cluster = BallistaCluster::new_from_config(&scheduler).await;
    let cluster = cluster.map_err(|error| failed("the scheduler does not start", error))?;
    tokio::spawn(stop_when_one_is_lost(cluster.clone(), at, lost_after));
    let ended = start_server(cluster, at, Arc::new(scheduler)).await;
    ended.map_err(|error| failed(&format!("the scheduler at {at} ended"), error))
}

/// A year in seconds.
const NEVER: u64 = 365 * 24 * 60 * 60;

/// How often executors are looked after: sooner than any work could be done again.
const LOOK: Duration = Duration::from_millis(20);

/// Seconds of silence after which an executor is asked whether it is there.
const SILENT: u64 = 2;

/// Stops the queries at work whenever an executor ends or is lost: silent, and nobody
/// listening at its port for `lost_after` seconds.
async fn stop_when_one_is_lost(cluster: BallistaCluster, at: SocketAddr, lost_after: u64) {
    let (state, jobs) = (cluster.cluster_state(), cluster.job_state());
    let host = if at.ip().is_unspecified() { "127.0.0.1".to_owned() } else { at.ip().to_string() };
    // When each was last known to be there.
    let mut there: HashMap<String, u64> = HashMap::new();
    loop {
        tokio::time::sleep(LOOK).await;
        let now = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |now| now.as_secs());
        let executors = state.registered_executor_metadata().await;
        let mut lost: Vec<String> = Vec::new();
        for id in there.keys().filter(|id| !executors.iter().any(|e| e.id == **id)) {
            lost.push(id.clone());
        }
        for executor in executors {
            let beat = state.get_executor_heartbeat(&executor.id).map_or(0, |beat| beat.timestamp);
            let last = there.entry(executor.id.clone()).or_insert(now);
            *last = beat.max(*last);
            if *last + SILENT < now && listens(&executor.host, executor.port).await {
                *last = now;
            }
            if *last + lost_after < now {
                lost.push(executor.id);
            }
        }
        for id in lost {
            // Nothing more is sent there.
            there.remove(&id);
            let at_work = match (jobs.get_all_jobs().await, jobs.get_jobs().await) {
                (Ok(all), Ok(ended)) => all.difference(&ended).cloned().collect(),
                _ => Vec::new(),
            };
            log::warn!("executor {id} is lost: {} queries are stopped", at_work.len());
            let url = format!("http://{host}:{}", at.port());
            if let Ok(mut scheduler) = SchedulerGrpcClient::connect(url).await {
                for job in at_work {
                    let job_id = job.to_string();
                    _ = scheduler.cancel_job(CancelJobParams { job_id }).await;
                }
            }
            _ = state.remove_executor(&id).await;
        }
    }
}

/// Whether anybody listens there.
async fn listens(host: &str, port: u16) -> bool {
    let connected = TcpStream::connect((host, port));
    matches!(tokio::time::timeout(Duration::from_secs(1), connected).await, Ok(Ok(_)))
}

/// What an executor is started with.
pub struct Executor {
    /// The scheduler's address.
    pub scheduler: (String, u16),
    /// Where it listens.
    pub at: SocketAddr,
    /// The name that others reach it by, where that is not its address.
    pub name: Option<String>,
    /// Partitions worked on at once.
    pub cores: usize,
}

/// Works for a scheduler until it is stopped.
///
/// # Errors
/// There is no scheduler there, or a port is taken.
pub async fn execute(executor: Executor) -> Result<()> {
    let Executor { scheduler: (host, port), at, name, cores } = executor;
    let state = session(config())?;
    let config = ExecutorProcessConfig {
        bind_host: at.ip().to_string(),
        external_host: Some(name.unwrap_or_else(|| at.ip().to_string())),
        port: at.port(),
        scheduler_host: host.clone(),
        scheduler_port: port,
        scheduler_connect_timeout_seconds: 10,
        vcores: cores,
        task_scheduling_policy: TaskSchedulingPolicy::PullStaged,
        override_config_producer: Some(Arc::new(self::config)),
        override_function_registry: Some(Arc::new(BallistaFunctionRegistry::from(&state))),
        ..ExecutorProcessConfig::default()
    };
    let ended = start_executor_process(Arc::new(config)).await;
    ended.map_err(|error| failed(&format!("the executor for {host}:{port} ended"), error))
}

/// A session whose queries run on a cluster.
///
/// # Errors
/// The address is none.
pub async fn client(scheduler: &(String, u16), config: SessionConfig) -> Result<SessionContext> {
    let config = own(config.upgrade_for_ballista());
    let state = SessionStateBuilder::new().with_config(config).with_default_features().build();
    let url = format!("df://{}:{}", scheduler.0, scheduler.1);
    SessionContext::remote_with_state(&url, state).await
}
