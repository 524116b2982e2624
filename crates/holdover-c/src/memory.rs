//! Memory asked for in a way that can be refused, before anything is done.

use std::hint::black_box;

use crate::pointer::Fault;

/// What is asked for beside what is known to be needed: names, nodes of maps.
/// Judgement, no source.
pub const ROOM: usize = 64 << 10;

/// An empty vector with room for so many.
pub fn with_room<T>(most: usize) -> Result<Vec<T>, Fault> {
    let mut room = Vec::new();
    room.try_reserve_exact(most).map_err(|_| Fault::Memory)?;
    Ok(room)
}

/// Whether so many bytes can be had now; they are given back.
pub fn asked(bytes: usize) -> Result<(), Fault> {
    // A compiler may leave out memory that nobody looks at.
    black_box(with_room::<u8>(bytes)?);
    Ok(())
}

/// As `Box::new`, which ends the process where there is no memory.
pub fn boxed<T>(value: T) -> Result<Box<T>, Fault> {
    let mut one = with_room(1)?;
    one.push(value);
    let Ok(one) = <Box<[T; 1]>>::try_from(one.into_boxed_slice()) else {
        return Err(Fault::Memory);
    };
    // SAFETY: one of them is laid out as an array of one, and is still owned here.
    Ok(unsafe { Box::from_raw(Box::into_raw(one).cast()) })
}

/// Bytes with a NUL behind them.
pub fn with_nul(mut bytes: Vec<u8>) -> Result<Vec<u8>, Fault> {
    bytes.try_reserve_exact(1).map_err(|_| Fault::Memory)?;
    bytes.push(0);
    Ok(bytes)
}
