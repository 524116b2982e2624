"""The commands as functions: values in, the JSON that the command prints out."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Generic, TypeAlias, TypeVar, cast

from holdover._native import Desk, Ran, Table
from holdover.answers import Composed, Learned, Plan, Proof, Read
from holdover.given import Frame, Given, put

T = TypeVar("T")

# A table of layouts, several of them, or "built-in", the one that ships.
Tables: TypeAlias = Table | Given | Sequence[Table | Given]


class _Answer:
    """What every answer has beside its values."""

    json: bytes
    """What the command prints, byte for byte."""
    code: int
    """0: done; 1: done, and something is wrong with the cards; 2: done, and a line
    of the input is wrong."""
    said: str
    """What the command says beside it, on standard error."""
    files: dict[str, bytes]
    """The files that were asked for, by name: `page.html`, `worksheet.txt`, …"""

    def _fill(self, ran: Ran, desk: Desk, wanted: Iterable[str]) -> None:
        self.json, self.code, self.said = ran.output, ran.code, ran.said
        taken = ((name, desk.take(name)) for name in wanted)
        self.files = {name: content for name, content in taken if content is not None}


class Lines(list[T], _Answer, Generic[T]):
    """A list of answers, an object a line of the command's JSON."""


class Learnt(Lines[Learned]):
    """The kinds of card found, and their layouts as a table."""

    @property
    def table(self) -> Table | None:
        """The layouts found; None where none was. What is not settled is in
        them too: see each field's and check's `settled`."""
        text = self.files.get("found.toml")
        return None if text is None else Table.from_toml(text.decode())


class Planned(dict[str, Any], _Answer):
    """A plan; `prove(plan=…)` takes it as it is."""

    @property
    def plan(self) -> Plan:
        """The same, for type checkers."""
        return cast(Plan, self)


def read(
    *inputs: Given,
    table: Tables | None = None,
    site: Given | None = None,
    mask: bool = False,
    stream: bool = False,
    html: bool = False,
    options: Sequence[str] = (),
) -> Lines[Read]:
    """Says which card each capture is, how sure that is, and why.

    `inputs` are captures: `pathlib.Path` of a file, its content as text or bytes
    (lines, CSV, JSON Lines, a workbook, a probe file), a list of text, or a data
    frame with a column `bits`. Captures of one call speak for each other.

    `table` has the layouts (default: those that ship), `site` the site file, whose
    codes and ranges count as evidence. `mask` hides card numbers but for the last
    two digits; `stream` answers each capture by those before it; `html` makes
    `files["page.html"]`; `options` are further words of `holdover read`.

    One dictionary a capture: `verdict` (identified, ambiguous, unknown), and
    `candidates`, the likeliest first, with `fields`, `checks`, `evidence` in bits
    and `probability`. A line that is no capture has `verdict` "invalid" and an
    `error`, and `code` is 2.

    Raises `Refused` where an option or a file is wrong, `OSError` where a path
    cannot be read.
    """
    words = _flags(mask=mask, stream=stream, html=html)
    desk = Desk()
    words += _layouts(desk, table) + _file(desk, "site", site, "site.toml")
    return _lines(Lines(), desk, "read", words, options, _inputs(desk, inputs), html=html)


def learn(
    *inputs: Given,
    id: str = "found",
    shuffled: bool = False,
    mask: bool = False,
    html: bool = False,
    options: Sequence[str] = (),
) -> Learnt:
    """Works out a layout nobody documented, from cards and what is printed on them.

    `inputs` are as for `read`, with a column `printed` (and `site`, if known).
    `id` begins the ids of what is found; `shuffled` says that the cards are in no
    order, so that no counter is looked for.

    One dictionary a kind of card: `fields` and `checks`, each `settled` or not,
    `false_alarms_expected`, `misread` (lines of the input, from 1) and
    `next_sample`, the card that would settle most. `table` is what was found.

    Raises as `read` does.
    """
    words = _flags(shuffled=shuffled, mask=mask, html=html)
    words += [f"--id={id}", "--output=found.toml"]
    desk = Desk()
    files = _inputs(desk, inputs)
    return _lines(Learnt(), desk, "learn", words, options, files, "found.toml", html=html)


def plan(
    site: Given,
    roster: Given | None = None,
    *,
    table: Tables | None = None,
    against: Given | Planned | None = None,
    mask: bool = False,
    pseudonyms: bool = False,
    worksheet: bool = False,
    enrolment: bool = False,
    cutover: bool = False,
    html: bool = False,
    options: Sequence[str] = (),
) -> Planned:
    """Fills the new panel's slots so that every card still opens.

    `site` is the site file (the panel's limits, the cards the site owns), `roster`
    the cards to keep, one a row: a path, text, bytes, or a data frame. `against` is
    an earlier plan, to say what changes. `worksheet`, `enrolment`, `cutover` and
    `html` make `files["worksheet.txt"]`, `["enrolment.csv"]`, `["cutover.txt"]` and
    `["page.html"]`.

    A dictionary: `slots`, `lost`, `conflicts`, `exposure`, `objective`, `cautions`,
    and the `panel` and `table` it was made for. `code` is 1 where a kept card is
    lost or in a conflict. Positions in slots count as the panel does.

    A plan is no permission: changes to doors follow the local code and the
    authority having jurisdiction, and are made by licensed people. Raises as
    `read` does.
    """
    words = _flags(mask=mask, pseudonyms=pseudonyms, html=html)
    sheets = {"worksheet": "worksheet.txt", "enrolment": "enrolment.csv", "cutover": "cutover.txt"}
    asked = {"worksheet": worksheet, "enrolment": enrolment, "cutover": cutover}
    wanted = [name for verb, name in sheets.items() if asked[verb]]
    words += [f"--{verb}={name}" for verb, name in sheets.items() if asked[verb]]
    desk = Desk()
    words += _layouts(desk, table) + _file(desk, "site", site, "site.toml")
    words += _file(desk, "roster", roster, "roster.csv")
    words += _file(desk, "against", _planned(against), "before.json")
    ran = desk.json("plan", [*words, *options])
    answer = Planned(json.loads(ran.output))
    answer._fill(ran, desk, [*wanted, *(["page.html"] if html else [])])
    return answer


def prove(
    *,
    plan: Given | Planned | None = None,
    roster: Given | None = None,
    site: Given | None = None,
    cases: Given | None = None,
    table: Tables | None = None,
    mask: bool = False,
    html: bool = False,
    options: Sequence[str] = (),
) -> Lines[Proof]:
    """Runs every kept card through a plan, or regression cases through a table.

    Either `plan` and `roster` (and `site`, which must be the plan's own): every kept
    and blocked card bit by bit, as the panel would read it, and the issued batches. Or `cases` (and `table`).

    One dictionary a row: `line` (or `batch`), `holds`, `expected`, `got`. `code` is
    1 where a row does not hold, or none is kept. Raises as `read` does.
    """
    words = _flags(mask=mask, html=html)
    desk = Desk()
    words += _file(desk, "plan", _planned(plan), "plan.json")
    words += _file(desk, "roster", roster, "roster.csv")
    words += _file(desk, "site", site, "site.toml") + _file(desk, "cases", cases, "cases.csv")
    words += _layouts(desk, table)
    return _lines(Lines(), desk, "prove", words, options, [], html=html)


def compose(
    layout: str,
    fields: Mapping[str, int | str] | None = None,
    /,
    *,
    table: Tables | None = None,
    options: Sequence[str] = (),
    **more: int | str,
) -> Lines[Composed]:
    """Makes test captures from field values: `compose("std26", site=65, card="1-9")`.

    A value is a number or a range of them. One dictionary a capture: `bits`,
    `layout`, and the fields. For one word of a `Layout` at hand, see
    `Layout.compose`. Raises as `read` does.
    """
    desk = Desk()
    words = _layouts(desk, table)
    values = [f"{name}={value}" for name, value in {**(fields or {}), **more}.items()]
    return _lines(Lines(), desk, "compose", words, options, [layout, *values])


L = TypeVar("L", bound="Lines[Any]")


def _lines(
    answer: L,
    desk: Desk,
    verb: str,
    words: Sequence[str],
    options: Sequence[str],
    inputs: Sequence[str],
    *wanted: str,
    html: bool = False,
) -> L:
    behind = ["--", *inputs] if inputs else []
    ran = desk.json(verb, [*words, *options, *behind])
    # An object a line; all at once they are parsed in a third of the time.
    lines = ran.output.rstrip(b"\n").replace(b"\n", b",")
    answer.extend(json.loads(b"[" + lines + b"]"))
    answer._fill(ran, desk, [*wanted, *(["page.html"] if html else [])])
    return answer


def _flags(html: bool, **flags: bool) -> list[str]:
    words = [f"--{name}" for name, wanted in flags.items() if wanted]
    return words + (["--html=page.html"] if html else [])


def _inputs(desk: Desk, inputs: Sequence[Given]) -> list[str]:
    if len(inputs) == 1:
        return [put(desk, inputs[0], "-")]
    return [put(desk, given, f"input-{nth}") for nth, given in enumerate(inputs, 1)]


def _file(desk: Desk, option: str, given: Given | None, otherwise: str) -> list[str]:
    return [] if given is None else [f"--{option}={put(desk, given, otherwise)}"]


def _planned(given: Given | Planned | None) -> Given | None:
    return given.json if isinstance(given, Planned) else given


def _layouts(desk: Desk, table: Tables | None) -> list[str]:
    if table is None:
        return []
    several = list(table) if isinstance(table, (list, tuple)) else [table]
    words = []
    for nth, each in enumerate(several, 1):
        if isinstance(each, str) and each == "built-in":
            words.append("--table=built-in")
        else:
            if isinstance(each, Table):
                each = each.to_toml().encode()
            words.append(f"--table={put(desk, cast(Given, each), f'table-{nth}.toml')}")
    return words


__all__ = [
    "Frame",
    "Given",
    "Learnt",
    "Lines",
    "Planned",
    "Tables",
    "compose",
    "learn",
    "plan",
    "prove",
    "read",
]
