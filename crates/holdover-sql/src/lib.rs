//! Card answers as functions of SQL, on the engine that has the reads already.
//!
//! | function | gives |
//! | --- | --- |
//! | [`card_decode(bits, layout, table)`](decode) | the fields and checks of captures under one layout |
//! | [`card_fit(bits, reader, table, site)`](fit) | an aggregate: all that an answer needs to know of the captures of a group |
//! | [`card_answer(bits, fit, reader, mask)`](answer) | what each capture is |
//!
//! A fit is bytes. It holds the group's distinct captures, each reader's for itself
//! ([`holdover::rank::Seen`]), and the table and site file they are weighed by. So
//! parts of a group, wherever they were seen, merge to the same bytes, and an
//! answer needs nothing but the fit. Proportions, codes and wiring are settled from
//! it once in each process that answers, and kept ([`fitted`]).
//!
//! A row that is no capture is null, with a note that says why; a wrong table, site
//! file or layout is an error of the query, with file, line and mend.

pub mod answer;
mod bits;
pub mod cluster;
pub mod decode;
pub mod fit;
mod fitted;
mod frame;
pub mod given;
mod literal;

use std::sync::Arc;

use datafusion::error::Result;
use datafusion::execution::FunctionRegistry;
use datafusion::logical_expr::{AggregateUDF, ScalarUDF};
use datafusion::prelude::SessionConfig;

/// The functions of a row.
pub fn scalar_functions() -> Vec<Arc<ScalarUDF>> {
    vec![
        Arc::new(ScalarUDF::from(decode::CardDecode::default())),
        Arc::new(ScalarUDF::from(answer::CardAnswer::default())),
    ]
}

/// The function of a group.
pub fn aggregate_functions() -> Vec<Arc<AggregateUDF>> {
    vec![Arc::new(AggregateUDF::from(fit::CardFit::default()))]
}

/// Settings that the functions want: an answer has many parts and is made once a row,
/// not once for each part that is asked of it.
pub fn settings(config: SessionConfig) -> SessionConfig {
    config.set_bool("datafusion.optimizer.enable_leaf_expression_pushdown", false)
}

/// Makes the functions known to a session; it should have the [`settings`].
///
/// # Errors
/// The session takes no functions.
pub fn register(session: &mut dyn FunctionRegistry) -> Result<()> {
    for function in scalar_functions() {
        session.register_udf(function)?;
    }
    for function in aggregate_functions() {
        session.register_udaf(function)?;
    }
    Ok(())
}
