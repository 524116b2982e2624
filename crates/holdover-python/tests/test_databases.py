"""Reads in a database, their distinct captures answered and joined back: every row
as `read` answers it in a file of all rows."""

import csv
import io
import pathlib
import random
import sqlite3

import duckdb
import pyarrow
import pytest
from conftest import ROOT

import holdover

COLUMNS = ["verdict", "layout", "reading", "site", "card", "probability", "note"]


def reads() -> list[tuple[str, str]]:
    """Reads of a few hundred invented cards by three readers, one of them with its
    two lines swapped; some rows are no captures."""
    draw = random.Random(1)
    cards = []
    for _ in range(300):
        word = 65 << 16 | draw.getrandbits(16)
        even = (word >> 12).bit_count() % 2
        odd = 1 - (word & 0xFFF).bit_count() % 2
        cards.append(f"{even << 25 | word << 1 | odd:026b}")
    cards += [f"{draw.getrandbits(30):030b}" for _ in range(20)] + ["letters"]
    swap = str.maketrans("01", "10")
    rows = []
    for _ in range(5000):
        reader, card = draw.choice(["gate", "yard", "loft"]), draw.choice(cards)
        rows.append((reader, card.translate(swap) if reader == "loft" else card))
    return rows


def answered(rows: list[tuple[str, str]]) -> list[dict[str, str]]:
    out = io.StringIO()
    csv.writer(out).writerows([("reader", "bits"), *rows])
    desk = holdover.Desk()
    desk.put("reads.csv", out.getvalue().encode())
    said = desk.run(["read", "reads.csv", "--format", "csv"])
    return list(csv.DictReader(io.StringIO(bytes(said.output).decode())))


def test_duckdb(tmp_path: pathlib.Path):
    rows = reads()
    database = duckdb.connect()
    database.register("reads", pyarrow.table({
        "n": range(len(rows)), "reader": [r for r, _ in rows], "bits": [b for _, b in rows],
    }))
    distinct = tmp_path / "distinct.csv"
    database.execute(f"COPY (SELECT DISTINCT reader, bits FROM reads) TO '{distinct}'")
    with open(distinct) as file:
        known = [(row["reader"], row["bits"]) for row in csv.DictReader(file)]
    answers = answered(known)
    database.register("answers", pyarrow.table({
        "reader": [r for r, _ in known], "bits": [b for _, b in known],
        **{f"a_{name}": [row[name] for row in answers] for name in COLUMNS},
    }))
    names = ", ".join(f"a_{name}" for name in COLUMNS)
    query = f"SELECT {names} FROM reads LEFT JOIN answers USING (reader, bits) ORDER BY n"
    joined = database.execute(query).fetchall()
    assert joined == [tuple(row[name] for name in COLUMNS) for row in answered(rows)]


def test_sqlite():
    rows = reads()
    database = sqlite3.connect(":memory:")
    database.execute("CREATE TABLE reads (n INTEGER PRIMARY KEY, reader, bits)")
    database.executemany("INSERT INTO reads (reader, bits) VALUES (?, ?)", rows)
    known = database.execute("SELECT DISTINCT reader, bits FROM reads").fetchall()
    names = ", ".join(f"a_{name}" for name in COLUMNS)
    database.execute(f"CREATE TABLE answers (reader, bits, {names})")
    marks = ", ".join("?" * (2 + len(COLUMNS)))
    database.executemany(
        f"INSERT INTO answers VALUES ({marks})",
        [(*pair, *(row[name] for name in COLUMNS)) for pair, row in zip(known, answered(known))],
    )
    query = f"SELECT {names} FROM reads LEFT JOIN answers USING (reader, bits) ORDER BY n"
    joined = database.execute(query).fetchall()
    assert joined == [tuple(row[name] for name in COLUMNS) for row in answered(rows)]


def test_the_guide(monkeypatch: pytest.MonkeyPatch):
    """Its function of DuckDB gives the card numbers."""
    monkeypatch.chdir(ROOT)
    text = (ROOT / "crates/cli/guide/databases.md").read_text()
    names: dict = {}
    exec(compile(text.split("```python\n")[1].split("```")[0], "databases.md", "exec"), names)
    assert names["database"].sql("SELECT card('10100000100010000111000011')").fetchall() == [(4321,)]
