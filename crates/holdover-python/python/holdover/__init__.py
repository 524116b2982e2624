"""Identify access cards from raw reads, plan a panel takeover and prove it.

Two ways in:

* `Table` and `Layout` decode millions of captures at once to columns, which
  numpy, pandas, polars and pyarrow take without copying numbers;
* `read`, `learn`, `plan`, `prove` and `compose` do what the commands of those
  names do, on files, bytes, text or data frames, and return what the commands
  print as JSON; `Desk` runs any command, byte for byte as the binary does.

Bits are positions from 1 in the order a reader sends them; rows of arrays count
from 0, lines of files from 1. Evidence is in bits, times in µs. Everything works
without the interpreter's lock.

What is given and wrong raises `Refused`, a `ValueError`, in the command's own
words: what, where, and how to mend it.

Cards are keys: work only on systems you are authorised to service, and treat
captures and rosters as secrets.
"""

from holdover._native import (
    SCHEMA,
    Check,
    Columns,
    Desk,
    Field,
    Layout,
    Ran,
    Refused,
    Table,
    __version__,
)
from holdover.verbs import Learnt, Lines, Planned, compose, learn, plan, prove, read

__all__ = [
    "SCHEMA",
    "Check",
    "Columns",
    "Desk",
    "Field",
    "Layout",
    "Learnt",
    "Lines",
    "Planned",
    "Ran",
    "Refused",
    "Table",
    "__version__",
    "compose",
    "learn",
    "plan",
    "prove",
    "read",
]
