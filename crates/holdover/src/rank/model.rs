//! The model's constants, in one place, each with its reason. They are
//! judgements, no source, unless a reason says otherwise.

/// Share of captures of one length that fit no layout of the table, before
/// any is seen: a technician calls for help with odd cards, not usual ones.
pub const NONE_SHARE: f64 = 0.1;

/// Part of that share which unknown kinds have whose site codes repeat or that
/// share a check with a layout; the rest is random bits. Judgement: codes that
/// repeat soon say more, and small mixes without such kinds stay calibrated.
pub const STRANGE: f64 = 0.25;

/// The same part for a length that a layout without checks has: an unknown kind
/// there has something in common, or is a serial number by another name.
pub const STRANGE_UNCHECKED: f64 = 0.8;

/// Captures that halve the chance that an unknown kind among them would not show
/// by what they have in common; it falls to a sixteenth at least.
pub const UNSEEN_BY: f64 = 8.0;

/// How much rarer an unknown kind is that shares a check with a layout of its
/// length than one that shares none: designers cover halves, or everything, as
/// the layouts do, but in many ways.
pub const STRANGE_CHECK: f64 = 1.0 / 64.0;

/// Pseudo-count of one length's starting proportions: worth one capture.
pub const PSEUDO_COUNT: f64 = 1.0;

/// Chance that one check of a card of that layout fails: a bit misread, or a
/// card made wrong.
pub const CHECK_FAILS: f64 = 1.0 / 4096.0;

/// log2 of the prior chance that a reader's data lines are swapped.
pub const SWAPPED_LOG2: f64 = -7.0;

/// log2 of the prior chance that it was guessed wrongly which of a reader's
/// lines is which: people clip the first channel to D0 more often than not.
pub const GUESSED_WRONGLY_LOG2: f64 = -3.0;

/// log2 of the prior chance that a reader sends its bits in reverse order,
/// and of the chance that it does both.
pub const REVERSED_LOG2: f64 = -14.0;

/// log2 of the prior chance that captures without a reader's name came by
/// several readers of different wiring.
pub const MIXED_LOG2: f64 = -10.0;
/// The same for captures of one named reader.
pub const MIXED_NAMED_LOG2: f64 = -20.0;

/// log2 of the chance that a capture lost or gained a bit at an end: 2^-9 for
/// the four ways together, so 2^-11 for each.
pub const SLIP_LOG2: f64 = -11.0;

/// The same for a capture whose probe file shows some pulse in doubt: a bad
/// line loses bits at its ends too.
pub const SLIP_IN_DOUBT_LOG2: f64 = -7.0;

/// log2 of the chance that a bit is missing, or is not the card's, right where
/// the probe file shows it: a spacing twice the rest is hard to explain otherwise.
pub const SLIP_SEEN_LOG2: f64 = -1.0;

/// log2 of the chance that a capture is as the card sent it although its probe
/// file shows a pulse in doubt: a pulse too wide, or a recording that began just
/// before it.
pub const WHOLE_IN_DOUBT_LOG2: f64 = -3.0;

/// The same where the spacings show a bit missing or two too close: what is left
/// as it is would need pulses that no line gives. Also for mending fewer bits
/// than the doubt asks for.
pub const UNMENDED_LOG2: f64 = -7.0;

/// log2 of the chance that more bits are to be mended than the doubt asks for:
/// all such ways together.
pub const MENDED_MORE_LOG2: f64 = -4.0;

/// log2 of the chance that a capture in doubt is harmed beyond mending.
pub const HARMED_LOG2: f64 = -3.0;

/// The same where the recording cut the capture, which may have lost any
/// number of bits, or where more than two are in doubt.
pub const CUT_BEYOND_LOG2: f64 = -1.0;

/// log2 of the chance that a bit was lost or gained at one of the ends where a
/// count beside the capture differs by one: it is as likely inside, or that the
/// count is of something else.
pub const COUNTED_END_LOG2: f64 = -2.0;
/// See [`COUNTED_END_LOG2`]: inside, where nothing can mend it.
pub const COUNTED_INSIDE_LOG2: f64 = -2.0;

/// Places in doubt that are tried, alone and in pairs; where there are more,
/// none is: what comes out of so many explains no more than chance.
pub const MENDED_PLACES: usize = 8;

/// Chance that a printed or noted number is not the card's: a slip of the pen,
/// a misread digit, or an order number of the printer's own.
pub const PRINT_DIFFERS: f64 = 1.0 / 8.0;

/// Cards of odd codes beside those of repeating ones, as a share of them, that
/// visitors and leftovers of other sites explain.
pub const VISITORS: f64 = 0.1;

/// How much less likely it is that a layout whose codes repeat has more cards
/// of odd codes than that, than that another layout with the same checks has
/// them: cards are bought by the box, each box of one code.
pub const MANY_FREE_CODES: f64 = 1.0 / 64.0;

/// Captures in repeating codes from which a layout's codes count as repeating.
pub const REPEATS_FROM: f64 = 3.0;

/// Bits of a serial number whose repetition is looked at: its first byte,
/// which says who made the chip in the longer numbers (ISO/IEC 14443-3:2018,
/// 6.5.4, by the register of ISO/IEC 7816-6; both from memory).
pub const SERIAL_HEAD_BITS: usize = 8;

/// Bits from which a serial number that nothing checks begins with its maker; a
/// shorter one is as good as random, and cards of it that begin alike are no more
/// its own than an unknown kind's.
pub const LONG_SERIAL_BITS: usize = 56;

/// The best candidate's probability from which a capture is identified (fixed
/// by the design).
pub const IDENTIFIED: f64 = 0.95;

/// "None of these" from which a capture is unknown (fixed by the design).
pub const UNKNOWN: f64 = 0.5;

/// Candidates below this probability are summed, not listed, unless they are
/// the near misses that say why nothing fits.
pub const LISTED: f64 = 0.001;

/// Near misses listed where nothing better is.
pub const NEAR_MISSES: usize = 3;

/// Candidates listed at most.
pub const LISTED_MOST: usize = 16;

/// Sweeps of expectation-maximisation at most; it stops when nothing moves by
/// more than [`SETTLED`].
pub const SWEEPS: usize = 60;

/// Largest change of a proportion, relative to the whole, that counts as none.
pub const SETTLED: f64 = 1e-6;

/// Captures of one reader that settle which states of its wiring are ruled
/// out: a parity check tells two bits a capture, so 256 leave no doubt where
/// there are checks; where there are none, none is ruled out.
pub const SETTLES_WIRING: usize = 256;

/// Probability below which a state of the wiring is ruled out.
pub const RULED_OUT: f64 = 1e-12;

/// Classes of captures that are weighed at most; where there are more, a
/// fair sample of the captures is. Cards of a site share few classes; random
/// bits have one each, and sixteen thousand tell their proportion to 1 %.
pub const CLASSES_MOST: usize = 1 << 14;

/// Guesses, one a class, reading and layout of its length, that are weighed at
/// most; where there are more, a fair sample of the captures is. Judgement:
/// each takes 20 microseconds (measured), and only tables of more than thirty
/// layouts of one length come to so many.
pub const GUESSES_MOST: usize = 1 << 19;

/// Captures that the prior of a reader's faults stands for: the rates above are
/// their means, and so many captures of its own say as much.
pub const FAULTS_PRIOR: f64 = 4.0;

/// The same for bits lost or gained at the ends: one such in a handful is no
/// habit of the reader, and lengths that differ by a bit are told by little else.
pub const SLIPS_PRIOR: f64 = 16.0;

/// Most captures of a reader that a fault of one kind may be in: where more of
/// them break a layout's checks, it is not the layout.
pub const FAULTS_MOST: f64 = 0.25;

/// Faults that a fit starts from, so that a bad line is found where it explains
/// more than unknown cards do; good ones come down in a sweep or two.
pub const FAULTS_START: f64 = 1.0 / 32.0;

/// An unknown kind's share of the captures that are one bit longer or shorter
/// than a layout, none of that length, before any is seen: it could have any
/// length, and a bit lost or gained is as usual.
pub const UNKNOWN_LENGTH: f64 = 1.0 / 32.0;

/// Chance that a known card's capture is harmed so that nothing tells which it
/// is, at least: some readers are bad, and few captures do not show it. So one
/// capture alone that fails its checks is not settled as an unknown card.
pub const HARMED_LEAST: f64 = 1.0 / 128.0;

/// Cards known by their codes from which how often they are harmed is taken from
/// them rather than from what looks harmed.
pub const HARM_KNOWN: f64 = 32.0;

/// Prior that all prints of a building are order numbers or the like, none of
/// them the card's own; it is part of [`PRINT_DIFFERS`].
pub const ORDER_NUMBERS: f64 = 1.0 / 16.0;

/// Order numbers that are a card's own number by chance.
pub const ORDER_AGREES: f64 = 1.0 / 1024.0;

/// Prints that the prior of wrong ones stands for: their share is
/// [`PRINT_DIFFERS`] before any is seen.
pub const PRINTS_PRIOR: f64 = 4.0;

/// The share of wrong prints that a fit starts from: where all cards carry
/// order numbers, that is soon learnt, and so is the contrary.
pub const PRINTS_START: f64 = 0.5;

/// How much rarer 0 is as a site code than another: panels take it for none.
pub const CODE_ZERO: f64 = 1.0 / 64.0;

/// Prior that a building holds several sorts of cards under the same checks, with
/// site codes and with one number, or numbers of several sorts: a second order of
/// cards, from elsewhere.
pub const MIXED_SORTS: f64 = 1.0 / 8.0;

/// log2 of how much likelier a bit must be uneven than even before it speaks
/// for an unknown kind where a layout checks nothing: of thirty even bits, fewer
/// than one in a hundred looks so.
pub const ODD_BIT_LOG2: f64 = 3.0;

/// Captures that a relation must have met, each of which had an even chance to
/// break it: one relation of a thousand batches is chance.
pub const RELATION_CHANCES: usize = 10;

/// Bits that a code whose captures all fail the same checks of a layout must say
/// before that is taken for more than chance: one batch in a thousand.
pub const FAILS_BITS: f64 = 10.0;

/// Prior that cards of a layout are there too where an unknown kind of its
/// length fails its checks code by code, over that of one more code of that
/// kind.
pub const ALSO_KNOWN: f64 = 1.0 / 4.0;

/// Share of a reader's captures that must be cards of the table, its lines
/// being swapped, before it is believed that they are.
pub const SWAP_EXPLAINS: f64 = 1.0 / 3.0;

/// log2 of the prior chance that a reader sends a serial number's bytes in
/// reverse order, or only its first or last four: two readers of one site often
/// disagree. It is for each of the three.
pub const SERIAL_READING_LOG2: f64 = -6.0;

/// Prior of the ways in which a program prints a card's bits as digits, where no
/// count is given: hexadecimal rather than decimal, right aligned rather than
/// left, and how wide; an odd width is rare.
pub const PRINTS_HEXADECIMAL: f64 = 3.0 / 4.0;
/// See [`PRINTS_HEXADECIMAL`].
pub const PRINTS_RIGHT: f64 = 7.0 / 8.0;
/// See [`PRINTS_HEXADECIMAL`]: zeros dropped, to a digit, a byte, a word, odd.
pub const PRINTS_WIDE: [f64; 5] = [0.3, 0.25, 0.25, 0.15, 0.05];

/// Printed values that the prior of the ways to print stands for: one program
/// prints them all, so that a few tell.
pub const PRINTS_STYLE_PRIOR: f64 = 2.0;

/// Lengths that a card of no layout may have whose bits were printed without
/// their count: common practice, no source. [`NONE_SHARE`] of all cards are
/// spread over those of them that no layout has.
pub const UNKNOWN_LENGTHS: std::ops::RangeInclusive<usize> = 20..=64;

/// How likely a length must be beside the likeliest to be weighed at all, before
/// its evidence: no card says more than 2^160.
pub const LENGTHS_WEIGHED: f64 = 1e-48;

/// How likely a length must be, once all were weighed together, to be counted in
/// the fit. Judgement: all that are less together move a share by a thousandth at
/// most, which counts as settled.
pub const LENGTHS_COUNTED: f64 = 1e-5;

/// Distinct printed values whose lengths are settled together: of more, a fair
/// sample, and all are ranked by what it tells. Judgement: settling so many takes
/// some seconds.
pub const DIGITS_MOST: usize = 1 << 8;

/// Rounds in which the lengths of printed values are settled at most.
pub const DIGITS_ROUNDS: usize = 8;

/// Largest change of a value's weight that counts as none.
pub const DIGITS_SETTLED: f64 = 1e-3;
