//! More machines: scheduler, executors and client of Ballista, which know the
//! functions.

use std::net::SocketAddr;
use std::sync::Arc;

use ballista::extension::SessionContextExt;
use ballista_core::config::TaskSchedulingPolicy;
use ballista_core::registry::BallistaFunctionRegistry;
use ballista_core::utils::{default_config_producer, default_session_builder};
use ballista_executor::executor_process::{ExecutorProcessConfig, start_executor_process};
use ballista_scheduler::cluster::BallistaCluster;
use ballista_scheduler::config::SchedulerConfig;
use ballista_scheduler::scheduler_process::start_server;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::{SessionState, SessionStateBuilder};
use datafusion::prelude::{SessionConfig, SessionContext};

use crate::{register, settings};

fn failed(what: &str, error: impl std::fmt::Display) -> DataFusionError {
    DataFusionError::Execution(format!("{what}: {error}"))
}

fn config() -> SessionConfig {
    settings(default_config_producer())
}

/// What the scheduler's sessions know.
fn session(config: SessionConfig) -> Result<SessionState> {
    let mut state = default_session_builder(config)?;
    register(&mut state)?;
    Ok(state)
}

/// Schedules queries until it is stopped. An executor silent for `lost_after` seconds
/// is taken for lost, and its work is done by others.
///
/// # Errors
/// The address is taken, or is none of this machine's.
pub async fn schedule(at: SocketAddr, lost_after: u64) -> Result<()> {
    let scheduler = SchedulerConfig {
        bind_host: at.ip().to_string(),
        external_host: at.ip().to_string(),
        bind_port: at.port(),
        executor_timeout_seconds: lost_after,
        expire_dead_executor_interval_seconds: lost_after.div_ceil(3),
        no_executors_grace_period_seconds: lost_after,
        scheduling_policy: TaskSchedulingPolicy::PullStaged,
        override_config_producer: Some(Arc::new(config)),
        override_session_builder: Some(Arc::new(session)),
        ..SchedulerConfig::default()
    };
    let cluster = BallistaCluster::new_from_config(&scheduler).await;
    let cluster = cluster.map_err(|error| failed("the scheduler does not start", error))?;
    let ended = start_server(cluster, at, Arc::new(scheduler)).await;
    ended.map_err(|error| failed(&format!("the scheduler at {at} ended"), error))
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
        // Executors ask for work: what a lost one had is asked for by the others.
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
    let state = SessionStateBuilder::new().with_config(config).with_default_features().build();
    let url = format!("df://{}:{}", scheduler.0, scheduler.1);
    SessionContext::remote_with_state(&url, state).await
}
