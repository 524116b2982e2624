"""Columns against decoders that others wrote, and every way in and out of them."""

import threading

import bitstring
import numpy as np
import pandas
import polars
import pyarrow
import pytest
from conftest import by_hand
from construct import BitsInteger, BitStruct, Padding
from hypothesis import given
from hypothesis import strategies as st

import holdover

TABLE = holdover.Table.builtin()
STD26 = TABLE["std26"]
EVEN, ODD = "even 1 over 2-13", "odd 26 over 14-25"
RANDOM = np.random.default_rng(26).integers(0, 1 << 26, 100_000, dtype=np.uint32)


def same(columns: holdover.Columns, words: np.ndarray) -> None:
    """The columns are what numpy by hand makes of the words."""
    expected = by_hand(words)
    assert columns.site.dtype == np.uint8 and columns.card.dtype == np.uint16
    assert (columns.site == expected["site"]).all()
    assert (columns.card == expected["card"]).all()
    assert (columns.checks[EVEN] == expected["even"]).all()
    assert (columns.checks[ODD] == expected["odd"]).all()
    assert (columns.holds == (expected["even"] & expected["odd"])).all()
    assert len(columns) == len(words)


def test_against_numpy_by_hand():
    same(STD26.decode(RANDOM), RANDOM)
    # Enough that several threads take part.
    many = np.random.default_rng(1).integers(0, 1 << 26, 1_500_001, dtype=np.uint64)
    same(STD26.decode(many), many)


def test_against_bitstring():
    words = RANDOM[:500]
    columns = STD26.decode(words)
    for row, word in enumerate(words):
        bits = bitstring.Bits(uint=int(word), length=26)
        assert columns.site[row] == bits[1:9].uint
        assert columns.card[row] == bits[9:25].uint
        assert columns.checks[EVEN][row] == (bits[:13].count(1) % 2 == 0)
        assert columns.checks[ODD][row] == (bits[13:].count(1) % 2 == 1)


def test_against_construct():
    card26 = BitStruct(
        "even" / BitsInteger(1),
        "site" / BitsInteger(8),
        "card" / BitsInteger(16),
        "odd" / BitsInteger(1),
        Padding(6),
    )
    words = RANDOM[:500]
    columns = STD26.decode(words)
    for row, word in enumerate(words):
        read = card26.parse((int(word) << 6).to_bytes(4, "big"))
        assert (columns.site[row], columns.card[row]) == (read.site, read.card)
        front = read.even + read.site.bit_count() + (read.card >> 12).bit_count()
        assert columns.checks[EVEN][row] == (front % 2 == 0)


def bits_of(words: np.ndarray) -> np.ndarray:
    """A row of 26 bits each, the first received first."""
    return (words[:, None] >> np.arange(25, -1, -1, dtype=np.uint32) & 1).astype(np.uint8)


def test_every_way_in():
    words = RANDOM[:999]
    bits = bits_of(words)
    packed = np.packbits(bits, axis=1)
    text = ["".join(map(str, row)) for row in bits]
    strided = np.zeros((len(words), 3), np.uint32)
    strided[:, 1] = words
    ways = {
        "uint32": words,
        "uint64": words.astype(np.uint64),
        "int64": words.astype(np.int64),
        "int32": words.astype(np.int32),
        "big-endian": words.astype(">u4"),
        "big-endian, signed": words.astype(">i8"),
        "strided": strided[:, 1],
        "backwards": words[::-1][::-1],
        "bits": bits,
        "bits, by column": np.asfortranarray(bits),
        "bits, bool": bits.astype(bool),
        "packed": packed,
        "packed, strided": np.repeat(packed, 2, axis=0)[::2],
        "bytes": packed.tobytes(),
        "bytearray": bytearray(packed.tobytes()),
        "text": text,
        "text, numpy": np.array(text),
        "text, objects": np.array(text, dtype=object),
        "hexadecimal": [f"0x{word:07X}/26" for word in words],
        "numbers": words.tolist(),
        "tuple": tuple(words.tolist()),
        "arrow, words": pyarrow.array(words),
        "arrow, signed": pyarrow.array(words.astype(np.int64)),
        "arrow, a slice": pyarrow.array(np.concatenate([words[:5], words]))[5:],
        "arrow, chunks": pyarrow.chunked_array([words[:10], words[10:10], words[10:]]),
        "arrow, text": pyarrow.array(text),
        "arrow, text sliced": pyarrow.array(["x"] + text)[1:],
        "arrow, large text": pyarrow.array(text, pyarrow.large_string()),
        "arrow, text views": pyarrow.array(text, pyarrow.string_view()),
        "arrow, text chunks": pyarrow.chunked_array([text[:10], text[10:]]),
        "arrow, bytes": pyarrow.array([row.tobytes() for row in packed], pyarrow.binary(4)),
        "polars": polars.Series(words),
        "polars, text": polars.Series(text),
        "pandas": pandas.Series(words),
        "pandas, text": pandas.Series(text),
        "pandas, objects": pandas.Series(text, dtype=object),
    }
    for way, captures in ways.items():
        try:
            same(STD26.decode(captures), words)
        except Exception as error:
            raise AssertionError(way) from error
        (again,) = TABLE.decode(captures, 26)
        assert (again.card == words >> 1 & 0xFFFF).all(), way
    left = {
        "uint32": words << np.uint32(6),
        "uint64": words.astype(np.uint64) << np.uint64(38),
        "strided": (strided << np.uint32(6))[:, 1],
        "arrow": pyarrow.array(words << np.uint32(6)),
        "polars": polars.Series(words.astype(np.uint64) << np.uint64(38)),
    }
    for way, captures in left.items():
        same(STD26.decode(captures, align="left"), words), way


@given(st.data())
def test_every_layout_agrees_with_composing(data: st.DataObject):
    """What is composed comes back out of the columns, and every check holds."""
    layout = data.draw(st.sampled_from(TABLE.layouts))
    if layout.id == "uuid128":
        values = {"card": data.draw(st.uuids(version=4)).int}
    else:
        values = {}
        for field in layout.fields:
            if field.code == "binary":
                values[field.role] = data.draw(st.integers(0, 2**field.bits - 1))
            else:
                digits = field.bits // {"bcd4": 4, "bcd5": 5}[field.code]
                values[field.role] = data.draw(st.text("0123456789", min_size=digits, max_size=digits))
    word = layout.compose(**values)
    columns = layout.decode([word, word])
    assert columns.holds.all() and columns.length == layout.length
    for name, value in values.items():
        column = columns[name]
        if column.ndim == 2:
            assert int.from_bytes(column[1].tobytes(), "big") == value
        elif column.dtype.kind == "S":
            assert column[1].decode() == value
        else:
            assert column[1] == value
    # A single flipped bit under a check fails it.
    for check in layout.checks:
        if check.kind in ("even", "odd"):
            at = check.bit - 1
            flipped = word[:at] + "10"[int(word[at])] + word[at + 1 :]
            assert not layout.decode([flipped]).checks[check.name][0]


def test_readings():
    """What happened to a capture is undone: inversion, order, a bit lost or gained."""
    word = STD26.compose(site=65, card=4321)
    swapped = word.translate(str.maketrans("01", "10"))
    seen = {
        "as-captured": word,
        "lines-swapped": swapped,
        "reversed": word[::-1],
        "lines-swapped-reversed": swapped[::-1],
        "extra-first-bit": "1" + word,
        "extra-last-bit": word + "1",
        "first-bit-lost": word[1:],
        "last-bit-lost": word[:-1],
    }
    for reading, capture in seen.items():
        restored = {"first-bit-lost": word[0] == "1", "last-bit-lost": word[-1] == "1"}.get(reading)
        columns = STD26.decode([capture], reading=reading, restored=restored)
        assert (columns.site[0], columns.card[0], columns.holds[0]) == (65, 4321, True)
        assert (columns.reading, columns.restored) == (reading, restored)
        every = TABLE.decode([capture], readings=[reading])
        mine = [c for c in every if c.layout == "std26" and c.holds[0]]
        assert [c.card[0] for c in mine] == [4321]
    both = TABLE.decode([word], readings=["as-captured", "lines-swapped"])
    assert [c.reading for c in both] == ["as-captured", "lines-swapped"]


def test_out_of_it_nothing_is_copied():
    columns = STD26.decode(RANDOM)
    where = columns.card.__array_interface__["data"][0]
    assert columns["card"].__array_interface__["data"][0] == where
    batch = pyarrow.record_batch(columns)
    assert batch.column("card").buffers()[1].address == where
    frame = polars.from_arrow(batch)
    seen = frame["card"].to_numpy(allow_copy=False)
    assert seen.__array_interface__["data"][0] == where
    # It is looked at by others, so nobody writes.
    assert not columns.card.flags.writeable
    with pytest.raises(ValueError):
        columns.card[0] = 1
    card = columns.card
    del columns, batch, frame, seen
    assert (card == RANDOM >> 1 & 0xFFFF).all()


def test_columns_stay_what_they_were():
    """Room is used again only when nobody looks at it."""
    for _ in range(20):
        first = STD26.decode(RANDOM[:5000])
        table = pyarrow.table(first)
        kept = first.site
        del first
        second = STD26.decode(RANDOM[5000:10000])
        assert (kept == RANDOM[:5000] >> 17 & 0xFF).all()
        assert (second.site == RANDOM[5000:10000] >> 17 & 0xFF).all()
        del kept
        third = STD26.decode(RANDOM[10000:15000])
        assert (table["card"].to_numpy() == RANDOM[:5000] >> 1 & 0xFFFF).all()
        del second, third, table


@pytest.mark.parametrize("rows", [0, 1, 7, 8, 9, 1000])
@pytest.mark.parametrize("name", ["std26", "site34", "serial80", "fascn200", "uuid128"])
def test_out_to_everyone(name: str, rows: int):
    layout = TABLE[name]
    bits = np.random.default_rng(rows).integers(0, 2, (rows, layout.length), dtype=np.uint8)
    columns = layout.decode(bits)
    table = pyarrow.table(columns)
    table.validate(full=True)
    assert table.schema == pyarrow.schema(columns)
    assert table.column_names == columns.keys() == list(columns)
    assert pyarrow.record_batch(columns).num_rows == rows == len(columns)
    polars_frame, pandas_frame = polars.DataFrame(columns), pandas.DataFrame.from_arrow(columns)
    assert polars_frame.height == len(pandas_frame) == rows
    for column in columns:
        expected = columns[column]
        if expected.ndim == 2:
            expected = [row.tobytes() for row in expected]
        elif expected.dtype.kind == "S":
            expected = [value.decode() for value in expected]
        else:
            expected = expected.tolist()
        assert table[column].to_pylist() == expected
        assert polars_frame[column].to_list() == expected
        assert pandas_frame[column].tolist() == expected


def test_shapes_and_kinds():
    assert STD26.decode(RANDOM).card.shape == (len(RANDOM),)
    assert TABLE["num34"].decode(np.array([1], np.uint64)).card.dtype == np.uint32
    assert TABLE["serial56"].decode(np.array([1], np.uint64)).card.dtype == np.uint64
    serial80 = TABLE["serial80"].decode(["0x0102030405060708090A/80"])
    assert serial80.card.shape == (1, 10) and serial80.card.dtype == np.uint8
    assert serial80.card.tolist() == [[1, 2, 3, 4, 5, 6, 7, 8, 9, 10]]
    # FASC-N, TIG SCEPACS v2.3, section 6, figures 8 to 10, pp. 32-33: agency and system are the site code.
    fascn = TABLE["fascn200"].decode(["0xD0439458210C2C19A0846D83685A1082108CE73984108CA3FC/200"])
    assert fascn["agency"].dtype == "S4" and fascn["agency"][0] == b"0032"
    assert (fascn.site[0], fascn.card[0], fascn["person"][0]) == (b"00320001", b"092446", b"1112223333")
    assert fascn.holds.all() and fascn.checks["decimal digits"].all()
    with pytest.raises(AttributeError, match="no field \"site\": it has card"):
        TABLE["num34"].decode(["0" * 34]).site
    with pytest.raises(KeyError, match="there are site, card, holds"):
        STD26.decode(RANDOM)["nobody"]


def test_threads_at_once():
    """The lock is released, and nothing is shared that should not be."""
    expected = by_hand(RANDOM)["card"]
    wrong = []

    def work() -> None:
        for _ in range(50):
            if not (STD26.decode(RANDOM).card == expected).all():
                wrong.append(1)

    threads = [threading.Thread(target=work) for _ in range(4)]
    [thread.start() for thread in threads]
    [thread.join() for thread in threads]
    assert not wrong


def test_others_work_meanwhile():
    """A thread of Python's goes on while captures are decoded."""
    captures = np.zeros((300_000, 200), np.uint8)
    layout = TABLE["fascn200"]
    counted, done = [0], threading.Event()

    def count() -> None:
        while not done.wait(0.001):
            counted[0] += 1

    other = threading.Thread(target=count)
    other.start()
    layout.decode(captures)
    done.set()
    other.join()
    assert counted[0] > 10
