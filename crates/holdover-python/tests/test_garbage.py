"""Garbage gives an exception, never a crash and never an answer made up."""

import ctypes
import itertools
import os
import random
import sys

import numpy as np
import pandas
import polars
import pyarrow
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import holdover

STD26 = holdover.Table.builtin()["std26"]
WORDS = np.arange(9, dtype=np.uint32)


class Liar:
    """Says that it is an Arrow column, and is none."""

    def __init__(self, answer: object) -> None:
        self.answer = answer

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer


def capsule(name: bytes) -> object:
    """A capsule of that name, around nothing of use."""
    new = ctypes.pythonapi.PyCapsule_New
    new.restype, new.argtypes = ctypes.py_object, [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p]
    capsule.names.append(name)
    return new(ctypes.addressof(capsule.room), capsule.names[-1], None)


capsule.names, capsule.room = [], ctypes.create_string_buffer(256)

NO_CAPTURES = [
    None,
    0,
    26,
    1.5,
    "1010",
    "",
    object(),
    {},
    {1, 2},
    iter([1]),
    itertools.count(),
    memoryview(b"abc"),
    [None],
    [1.5],
    [[1]],
    [-1],
    [1 << 26],
    [1 << 300],
    ["x"],
    ["\ud800"],
    ["1" * 25],
    ["1" * 10_000_000],
    [b"\xff\x00"],
    b"abc",
    b"\xff\xff\xff\xff",
    np.float64(3),
    np.zeros(3),
    np.zeros(3, complex),
    np.zeros(3, "datetime64[s]"),
    np.zeros(3, bool),
    np.zeros((), np.uint32),
    np.zeros((2, 2, 2), np.uint8),
    np.zeros((3, 25), np.uint8),
    np.zeros((3, 26), np.uint32),
    np.zeros((3, 26), float),
    np.full((3, 26), 2, np.uint8),
    np.full((3, 4), 255, np.uint8),
    np.array([1 << 26], np.uint32),
    np.array([-1]),
    np.array([None]),
    np.array(["10", None], dtype=object),
    np.zeros(3, [("a", "u4")]),
    pandas.Series([1, None]),
    pandas.Series([1.5]),
    pandas.Series(["x"]),
    pandas.DataFrame({"bits": [1]}),
    polars.Series([None, 1]),
    polars.Series([1.5]),
    polars.Series([[1]]),
    polars.DataFrame({"bits": [1]}),
    pyarrow.array([1, None]),
    pyarrow.array([1.5]),
    pyarrow.array([True]),
    pyarrow.array([None, None]),
    pyarrow.array(["1"]).dictionary_encode(),
    pyarrow.array([b"abc"], pyarrow.binary(3)),
    pyarrow.array([b"abcd"]),
    pyarrow.table({"bits": [1]}),
    pyarrow.array([[1]]),
    Liar(None),
    Liar(b"arrow"),
    Liar(ValueError("no")),
    Liar(capsule(b"something_else")),
    Liar(capsule(b"arrow_array")),
    Liar(capsule(b"arrow_array_stream")),
]


@pytest.mark.parametrize("captures", NO_CAPTURES, ids=lambda each: repr(each)[:40])
def test_what_holds_no_captures(captures: object):
    with pytest.raises((TypeError, ValueError)):
        STD26.decode(captures)
    with pytest.raises((TypeError, ValueError)):
        holdover.Table.builtin().decode(captures, 26)


def test_a_stream_is_used_once():
    class Once:
        stream = pyarrow.chunked_array([[1, 2]], pyarrow.uint32()).__arrow_c_stream__()

        def __arrow_c_stream__(self, requested_schema: object = None) -> object:
            return self.stream

    once = Once()
    assert len(STD26.decode(once)) == 2
    with pytest.raises(ValueError, match="used up"):
        STD26.decode(once)


def test_a_stream_that_fails():
    def batches():
        yield pyarrow.record_batch({"a": [1]})
        raise RuntimeError("the disk is gone")

    class Fails:
        def __arrow_c_stream__(self, requested_schema: object = None) -> object:
            schema = pyarrow.schema({"a": pyarrow.int64()})
            return pyarrow.RecordBatchReader.from_batches(schema, batches()).__arrow_c_stream__()

    with pytest.raises((TypeError, ValueError)):
        STD26.decode(Fails())


@pytest.mark.parametrize("length", [0, -1, 257, 1 << 40, 1 << 70, "26", 1.5])
def test_lengths(length: object):
    with pytest.raises((TypeError, ValueError, OverflowError)):
        holdover.Table.builtin().decode(WORDS, length)


@pytest.mark.parametrize(
    "options",
    [
        {"align": "middle"},
        {"align": None},
        {"reading": "nothing"},
        {"reading": "first-bit-lost"},
        {"restored": True},
        {"readings": 1},
        {"nothing": 1},
    ],
    ids=str,
)
def test_options(options: dict):
    with pytest.raises((TypeError, ValueError)):
        STD26.decode(WORDS, **options)


def test_readings_of_a_table():
    table = holdover.Table.builtin()
    for readings in (["nothing"], "as-captured", [1], None, ["reversed"] * 1000):
        with pytest.raises((TypeError, ValueError)):
            table.decode(WORDS, 26, readings=readings)
    assert table.decode(WORDS, 256) == []


def test_rows_are_named():
    words = np.zeros(3_000_000, np.uint64)
    words[2_999_999] = 1 << 30
    with pytest.raises(ValueError, match="row 2999999"):
        STD26.decode(words)
    with pytest.raises(ValueError, match="row 7"):
        STD26.decode(["1" * 26] * 7 + ["1" * 27])
    bits = np.zeros((9, 26), np.uint8)
    bits[4, 25] = 7
    with pytest.raises(ValueError, match="row 4, bit 26: 7 is no bit"):
        STD26.decode(bits)
    with pytest.raises(ValueError, match="row 2: no capture"):
        STD26.decode(pyarrow.chunked_array([[1, 2], [None]]))


ANYTHING = st.one_of(
    st.none(), st.integers(), st.floats(), st.text(), st.binary(max_size=300), st.lists(st.text(max_size=40))
)
EVERY = settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))


@EVERY
@given(ANYTHING)
def test_anything_to_anything(thing: object):
    """Any value to any function: an answer or an ordinary exception."""
    calls = [
        lambda: STD26.decode(thing),
        lambda: holdover.Table.builtin().decode(thing, thing),
        lambda: holdover.Table.from_toml(thing),
        lambda: holdover.Layout.from_toml(thing),
        lambda: holdover.Table(thing),
        lambda: STD26.compose(site=thing, card=thing),
        lambda: holdover.read(thing),
        lambda: holdover.read(thing, site=thing),
        lambda: holdover.learn(thing),
        lambda: holdover.plan(thing, thing),
        lambda: holdover.prove(plan=thing, roster=thing),
        lambda: holdover.prove(cases=thing),
        lambda: holdover.compose(thing, card=thing),
        lambda: holdover.Desk().run(thing),
        lambda: holdover.Desk().put(thing, thing),
    ]
    for call in calls:
        try:
            call()
        except (TypeError, ValueError, OverflowError, OSError):
            pass


@EVERY
@given(st.binary(max_size=2000))
def test_random_bytes_as_files(content: bytes):
    for call in (
        lambda: holdover.read(content),
        lambda: holdover.learn(content),
        lambda: holdover.plan(content, content),
        lambda: holdover.prove(plan=content, roster=content),
        lambda: holdover.prove(cases=content, table=content),
    ):
        try:
            call()
        except holdover.Refused as refused:
            assert str(refused)


def test_ten_megabytes():
    rng = random.Random(10)
    noise = rng.randbytes(10 << 20)
    for paste in (
        "x" * (10 << 20),
        "1" * (10 << 20),
        "10100000100010000111000011\n" * ((10 << 20) // 27),
        "\n" * (10 << 20),
        "[" * (10 << 20),
        noise,
        noise.decode("latin-1"),
    ):
        try:
            answers = holdover.read(paste)
            assert answers.code in (0, 1, 2)
        except holdover.Refused as refused:
            assert 0 < len(str(refused)) < 10_000
    for text in ("[" * (10 << 20), "a = 1\n" * (1 << 20)):
        with pytest.raises(holdover.Refused):
            holdover.Table.from_toml(text)


def test_a_panic_is_an_ordinary_error():
    """None is known; so that what would catch one is looked at in the source."""
    import pathlib

    source = (pathlib.Path(__file__).parents[1] / "src").rglob("*.rs")
    text = {path.name: path.read_text() for path in source}
    assert "catch_unwind" in text["fault.rs"]
    away = [name for name, code in text.items() if ".detach(" in code]
    # Everything that computes goes through `working`; a desk's files do not.
    assert sorted(away) == ["desk.rs", "fault.rs"]


@pytest.mark.skipif(not os.path.exists("/proc/self/statm"), reason="asks Linux for its memory")
def test_nothing_leaks():
    def pages() -> int:
        with open("/proc/self/statm") as file:
            return int(file.read().split()[1])

    words = np.zeros(200_000, np.uint32)
    text = pyarrow.array(["1" * 26] * 1000)

    def once() -> None:
        columns = STD26.decode(words)
        pyarrow.table(columns)
        columns.__arrow_c_stream__()
        columns.__arrow_c_array__()
        STD26.decode(text)
        for bad in (pyarrow.array([1, None]), np.array([-1])):
            try:
                STD26.decode(bad)
            except ValueError:
                pass

    for _ in range(50):
        once()
    before = pages()
    for _ in range(300):
        once()
    # A leak of one column a turn would be 14,000 pages.
    assert pages() - before < 2000, sys.version
