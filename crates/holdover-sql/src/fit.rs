//! `card_fit(bits, reader, table, site)`: the captures of a group, as one value.
//!
//! Its partial states are fits too: captures of the same table and site file merge
//! to the same bytes whatever the order and the partitions. Rows that are no
//! captures are passed over, and so are nulls. Without a reader, the captures are
//! one nameless reader's.

use std::sync::Arc;

use datafusion::arrow::array::{
    Array, ArrayRef, BinaryViewArray, BinaryViewBuilder, BooleanArray, StringViewArray,
};
use datafusion::arrow::compute::cast;
use datafusion::arrow::datatypes::{DataType, Field, FieldRef};
use datafusion::common::ScalarValue;
use datafusion::common::cast::as_large_binary_array;
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::expr::AggregateFunction;
use datafusion::logical_expr::function::{
    AccumulatorArgs, AggregateFunctionSimplification, StateFieldsArgs,
};
use datafusion::logical_expr::simplify::SimplifyContext;
use datafusion::logical_expr::utils::AggregateOrderSensitivity;
use datafusion::logical_expr::{
    Accumulator, AggregateUDFImpl, EmitTo, Expr, GroupsAccumulator, Signature,
};
use datafusion::physical_expr::expressions::Literal;
use holdover::rank::Seen;

use crate::frame::{self, By};
use crate::given::{self, wrong};
use crate::{bits, literal};

/// The function.
#[derive(Debug, PartialEq, Eq, Hash)]
pub struct CardFit {
    signature: Signature,
}

impl Default for CardFit {
    fn default() -> CardFit {
        CardFit { signature: literal::signature(&["bits", "reader", "table", "site"]) }
    }
}

impl AggregateUDFImpl for CardFit {
    fn name(&self) -> &str {
        "card_fit"
    }

    fn signature(&self) -> &Signature {
        &self.signature
    }

    fn coerce_types(&self, types: &[DataType]) -> Result<Vec<DataType>> {
        if !(1..=4).contains(&types.len()) {
            return Err(wrong(
                "card_fit takes bits, a reader, and perhaps a table and a site file: \
                              card_fit(bits, door)",
            ));
        }
        literal::texts("card_fit", types)
    }

    fn return_type(&self, _: &[DataType]) -> Result<DataType> {
        Ok(DataType::BinaryView)
    }

    fn state_fields(&self, args: StateFieldsArgs) -> Result<Vec<FieldRef>> {
        let name = format!("{}[fit]", args.name);
        // In one piece each: views would carry all of a block to every partition.
        Ok(vec![Arc::new(Field::new(name, DataType::LargeBinary, true))])
    }

    fn accumulator(&self, args: AccumulatorArgs) -> Result<Box<dyn Accumulator>> {
        Ok(Box::new(One(Groups::new(&args)?)))
    }

    fn groups_accumulator_supported(&self, _: AccumulatorArgs) -> bool {
        true
    }

    fn create_groups_accumulator(
        &self,
        args: AccumulatorArgs,
    ) -> Result<Box<dyn GroupsAccumulator>> {
        Ok(Box::new(Groups::new(&args)?))
    }

    fn order_sensitivity(&self) -> AggregateOrderSensitivity {
        AggregateOrderSensitivity::Insensitive
    }

    /// Whoever plans the query has the files; whoever runs it may not.
    fn simplify(&self) -> Option<AggregateFunctionSimplification> {
        Some(Box::new(|mut function: AggregateFunction, _: &SimplifyContext| {
            let constant = |i: usize| match function.params.args.get(i) {
                Some(Expr::Literal(value, _)) => value.try_as_str().flatten().unwrap_or_default(),
                _ => "",
            };
            given::site(constant(3), given::table(constant(2))?)?;
            function.params.args = literal::in_text(function.params.args, &[2, 3])?;
            Ok(Expr::AggregateFunction(function))
        }))
    }
}

/// The captures of each group.
#[derive(Debug)]
struct Groups {
    by: By,
    all: Vec<Seen>,
    /// Captures kept, to tell what they take.
    kept: usize,
}

/// What a group and a capture take, in bytes. Judgement: tables of a length each, and
/// half-full tables of words.
const GROUP_BYTES: usize = 6 << 10;
const CAPTURE_BYTES: usize = 28;

impl Groups {
    fn new(args: &AccumulatorArgs) -> Result<Groups> {
        let constant = |i: usize| match args.exprs.get(i) {
            None => Ok(String::new()),
            Some(expr) => match expr.downcast_ref::<Literal>() {
                Some(literal) => {
                    Ok(literal.value().try_as_str().flatten().unwrap_or_default().to_owned())
                }
                None => Err(wrong("card_fit: give the table and the site file as text constants")),
            },
        };
        let (table, site) = (constant(2)?, constant(3)?);
        given::site(&site, given::table(&table)?)?;
        let text = |given: &str| match given {
            given::BUILT_IN => Ok(String::new()),
            given => given::text(given),
        };
        Ok(Groups { by: By { table: text(&table)?, site: text(&site)? }, all: Vec::new(), kept: 0 })
    }

    fn room(&mut self, groups: usize) {
        self.all.resize_with(groups.max(self.all.len()), Seen::new);
    }

    fn see(
        &mut self,
        values: &[ArrayRef],
        group: impl Fn(usize) -> usize,
        filter: Option<&BooleanArray>,
    ) -> Result<()> {
        let text = bits::column(&values[0])?;
        let readers = values.get(1).map(bits::column).transpose()?;
        for row in 0..text.len() {
            if filter.is_some_and(|filter| filter.is_null(row) || !filter.value(row)) {
                continue;
            }
            let reader = reader(readers.as_ref(), row);
            if let Some(Ok(read)) = bits::at(&text, row).map(bits::read) {
                let seen = &mut self.all[group(row)];
                self.kept += usize::from(seen.see(reader, &read.capture));
            }
        }
        Ok(())
    }

    fn merge(&mut self, states: &ArrayRef, group: impl Fn(usize) -> usize) -> Result<()> {
        let states = as_large_binary_array(states)?;
        for row in (0..states.len()).filter(|row| states.is_valid(*row)) {
            let frame = frame::read(states.value(row))?;
            if (frame.table, frame.site) != (self.by.table.as_str(), self.by.site.as_str()) {
                let what = "card_fit: parts of one group were fitted with different tables";
                return Err(DataFusionError::Execution(what.to_owned()));
            }
            let seen = frame::seen(&frame)?;
            self.kept += seen.kept();
            self.all[group(row)].merge(&seen);
        }
        Ok(())
    }

    fn emit(&mut self, emit: EmitTo) -> BinaryViewArray {
        let mut out = BinaryViewBuilder::new();
        for seen in emit.take_needed(&mut self.all) {
            self.kept = self.kept.saturating_sub(seen.kept());
            out.append_value(frame::write(&self.by, &seen));
        }
        out.finish()
    }

    fn bytes(&self) -> usize {
        self.all.len() * GROUP_BYTES + self.kept * CAPTURE_BYTES
    }
}

/// The reader of a row: nameless where there is none.
pub fn reader(readers: Option<&StringViewArray>, row: usize) -> &str {
    readers.and_then(|readers| bits::at(readers, row)).unwrap_or_default()
}

impl GroupsAccumulator for Groups {
    fn update_batch(
        &mut self,
        values: &[ArrayRef],
        group_indices: &[usize],
        opt_filter: Option<&BooleanArray>,
        total_num_groups: usize,
    ) -> Result<()> {
        self.room(total_num_groups);
        self.see(values, |row| group_indices[row], opt_filter)
    }

    fn evaluate(&mut self, emit_to: EmitTo) -> Result<ArrayRef> {
        Ok(Arc::new(self.emit(emit_to)))
    }

    fn state(&mut self, emit_to: EmitTo) -> Result<Vec<ArrayRef>> {
        Ok(vec![cast(&self.emit(emit_to), &DataType::LargeBinary)?])
    }

    fn merge_batch(
        &mut self,
        values: &[ArrayRef],
        group_indices: &[usize],
        total_num_groups: usize,
    ) -> Result<()> {
        self.room(total_num_groups);
        self.merge(&values[0], |row| group_indices[row])
    }

    fn convert_to_state(
        &self,
        values: &[ArrayRef],
        opt_filter: Option<&BooleanArray>,
    ) -> Result<Vec<ArrayRef>> {
        let mut rows = Groups { by: self.by.clone(), all: Vec::new(), kept: 0 };
        rows.room(values[0].len());
        rows.see(values, |row| row, opt_filter)?;
        Ok(vec![cast(&rows.emit(EmitTo::All), &DataType::LargeBinary)?])
    }

    fn size(&self) -> usize {
        self.bytes()
    }
}

/// All rows as one group.
#[derive(Debug)]
struct One(Groups);

impl Accumulator for One {
    fn update_batch(&mut self, values: &[ArrayRef]) -> Result<()> {
        self.0.room(1);
        self.0.see(values, |_| 0, None)
    }

    fn evaluate(&mut self) -> Result<ScalarValue> {
        self.0.room(1);
        Ok(ScalarValue::BinaryView(Some(frame::write(&self.0.by, &self.0.all[0]))))
    }

    fn size(&self) -> usize {
        self.0.bytes()
    }

    fn state(&mut self) -> Result<Vec<ScalarValue>> {
        self.0.room(1);
        Ok(vec![ScalarValue::LargeBinary(Some(frame::write(&self.0.by, &self.0.all[0])))])
    }

    fn merge_batch(&mut self, states: &[ArrayRef]) -> Result<()> {
        self.0.room(1);
        self.0.merge(&states[0], |_| 0)
    }
}
