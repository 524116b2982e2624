"""The dictionaries that answers are made of, for type checkers.

They are the JSON of the command, version `holdover.SCHEMA`; its schema files, in
`crates/holdover-desk/schema`, say the same to other languages. Numbers above
2**53 are text of their decimal digits; decimal fields are text that keeps its
leading zeros.
"""

from typing import Any, Literal, NotRequired, TypedDict

Number = int | str
Verdict = Literal["identified", "ambiguous", "unknown", "invalid"]
Reading = Literal[
    "as-captured",
    "lines-swapped",
    "reversed",
    "lines-swapped-reversed",
    "first-bit-lost",
    "last-bit-lost",
    "extra-first-bit",
    "extra-last-bit",
    "bytes-reversed",
    "first-four-bytes",
    "last-four-bytes",
]


class Held(TypedDict):
    """A check, and whether it holds."""

    check: str
    holds: bool


class Evidence(TypedDict):
    """A part of the evidence: log2 of how much better than chance, in bits."""

    what: str
    bits: float


class Candidate(TypedDict):
    """One layout under one reading that may explain a capture."""

    layout: str
    reading: Reading
    fields: dict[str, Number]
    checks: list[Held]
    evidence: list[Evidence]
    evidence_bits: float
    probability: float
    length: NotRequired[int]


class Read(TypedDict):
    """A capture and what it may be; where `verdict` is "invalid", only `line`,
    `source` and `error` are there beside it."""

    line: int
    source: str
    verdict: Verdict
    bits: NotRequired[str]
    length: NotRequired[int]
    given: NotRequired[str]
    candidates: NotRequired[list[Candidate]]
    none_probability: NotRequired[float]
    other_probability: NotRequired[float]
    notes: NotRequired[list[str]]
    reader: NotRequired[str]
    carried: NotRequired[dict[str, Any]]
    error: NotRequired[str]


class LearnedField(TypedDict):
    """A field worked out, and every span that fits the sample.

    Printed on a card is its number times `factor`, and `offset`.
    """

    role: str
    span: str
    settled: bool
    could_be: list[str]
    code: Literal["binary", "bcd4", "bcd5"]
    factor: int
    offset: int


class LearnedCheck(TypedDict):
    """A check worked out; `undetermined` is the span of bits that never varied."""

    kind: Literal["even", "odd", "fixed", "lrc"]
    settled: bool
    undetermined: str
    bit: NotRequired[int]
    over: NotRequired[str]
    span: NotRequired[str]
    value: NotRequired[Number]
    group: NotRequired[int]
    at: NotRequired[str]


class LeftOut(TypedDict):
    """A card left out, by line, from 1, and why."""

    line: int
    why: str


class Learned(TypedDict):
    """One kind of card found in the input. `misread` are lines, from 1."""

    length: int
    samples: int
    fields: list[LearnedField]
    checks: list[LearnedCheck]
    false_alarms_expected: float
    misread: list[int]
    next_sample: str | None
    layout: dict[str, Any] | None
    reading: Literal["as-captured", "lines-swapped"]
    notes: list[str]
    left_out: list[LeftOut]
    failure: str | None


class Run(TypedDict):
    """Ascending bits; `start` counts as the panel does."""

    start: int
    length: int


class Slot(TypedDict):
    """One of the panel's places for a card format, filled. No `sites`: any."""

    slot: int
    layouts: list[str]
    length: int
    card: Run
    site: Run | None
    sites: list[Number]
    parity: bool
    digits: int
    name: str


class Lost(TypedDict):
    """Kept cards that no slot reads."""

    layout: str | None
    cards: Number
    why: str


class Conflict(TypedDict):
    """Cards that the panel could not tell apart, or would read twice. `cards` are
    lines of the roster, or {"batch": n} of the site file."""

    kind: Literal["range-overlap", "same-panel-number", "digits-cut", "two-slots", "blocked-opens"]
    panel_number: NotRequired[str]
    slots: NotRequired[list[int]]
    cards: list[Any]
    what_to_do: str


class Exposure(TypedDict):
    """The share of a slot's values that opens: a stranger's chance, 0 to 1."""

    slot: int
    admitted_patterns: Number
    opening_patterns: Number
    stranger_opens: float


class Objective(TypedDict):
    """What a plan is weighed by, in this order; cards, a share, slots."""

    lost: Number
    in_conflict: Number
    blocked_open: Number
    renumbered: Number
    boxed_lost: Number
    boxed_in_conflict: Number
    exposure: float
    slots: int


class ToRead(TypedDict):
    """A card with a print and no read: read it, and fill in its bits."""

    lines: list[int]
    door: str | None
    holder: str | None
    printed: str
    state: str
    counted_on: bool
    panel_number: str | None
    note: str


class Plan(TypedDict):
    """The panel's slots and what comes of them. `gap` is how much better the best
    plan could be; `mark` is on every sheet of this plan. A copy that hides cards or
    people is `masked`, and has no `roster` and no `digest`."""

    slots: list[Slot]
    panel: dict[str, Any]
    table: list[dict[str, Any]]
    batches: list[dict[str, Any]]
    kept: Number
    boxed: Number
    blocked: Number
    lost: list[Lost]
    conflicts: list[Conflict]
    exposure: list[Exposure]
    objective: Objective
    gap: Objective
    cautions: list[str]
    roster: NotRequired[str]
    schema: int
    mark: str
    digest: NotRequired[str]
    masked: NotRequired[bool]
    to_read: NotRequired[list[ToRead]]
    alternative: NotRequired[dict[str, Any]]
    changes: NotRequired[dict[str, Any]]


class Proof(TypedDict):
    """Whether a row comes to what it should; `line` counts from 1. `state` is
    "blocked" for a card that is to stay shut; `unread` is true of one that was not
    read, of which nothing is proved."""

    holds: bool
    expected: dict[str, Any]
    got: dict[str, Any]
    line: NotRequired[int]
    batch: NotRequired[int]
    state: NotRequired[str]
    unread: NotRequired[bool]


class _Composed(TypedDict):
    bits: str
    layout: str


class Composed(_Composed, total=False):
    """A capture made of numbers; its fields are beside these by name."""

    site: Number
    card: Number
