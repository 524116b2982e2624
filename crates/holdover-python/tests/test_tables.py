"""Tables and layouts as objects."""

import pathlib

import pytest
from conftest import MILL, ROOT

import holdover
from holdover import Layout, Refused, Table

HALF = """
[[layout]]
id = "half"
title = "invented"
length = 12
basis = "invented"

[[layout.field]]
role = "card"
span = "9-2"

[[layout.check]]
kind = "even"
bit = 1
over = "2-11"

[[layout.check]]
kind = "fixed"
span = "12"
value = 1
"""


def test_builtin_and_back():
    table = Table.builtin()
    assert Table.from_toml(table.to_toml()) == table
    assert len(table) == len(table.layouts) == len(list(table)) > 10
    assert "std26" in table and "nobody" not in table
    assert Table([table["std26"], table["num34"]]).to_toml().count("[[layout]]") == 2
    with pytest.raises(KeyError, match="there are std26, site34"):
        table["nobody"]
    with pytest.raises(Refused, match="already in the table"):
        Table([table["std26"], table["std26"]])


def test_a_layout_says_what_it_is():
    layout = Layout.from_toml(HALF)
    assert (layout.id, layout.title, layout.length, layout.basis) == ("half", "invented", 12, "invented")
    assert (layout.weight, layout.rank) == (1.0, 2)
    (field,) = layout.fields
    assert (field.role, field.span, field.bits, field.code) == ("card", "9-2", 8, "binary")
    assert field.positions == [9, 8, 7, 6, 5, 4, 3, 2]
    assert (field.part_of, field.serial) == (None, False)
    even, fixed = layout.checks
    assert (even.kind, even.bit, even.over, even.name) == ("even", 1, "2-11", "even 1 over 2-11")
    assert (even.span, even.value, even.group, even.at) == (None, None, None, None)
    assert (fixed.kind, fixed.span, fixed.value, fixed.bit) == ("fixed", "12", 1, None)
    assert Layout.from_toml(layout.to_toml()) == layout
    assert layout != Table.builtin()["std26"]
    # Bits 9 to 2 read downwards: card 1 sets bit 2, and bit 1 makes it even.
    assert layout.compose(card=1) == "110000000001"
    assert layout.decode(["110000000001"]).card.tolist() == [1]


def test_from_files():
    assert Table.from_file(MILL / "found.toml") == Table.from_file(str(MILL / "found.toml"))
    with pytest.raises(OSError):
        Table.from_file("no such file.toml")
    with pytest.raises(OSError):
        Table.from_file(MILL)
    with pytest.raises(Refused, match="not text in UTF-8"):
        Table.from_file(MILL / "roster.xlsx")


def test_mistakes_have_their_place():
    with pytest.raises(Refused, match=r"the text:4:10: .*length"):
        Table.from_toml(HALF.replace("length = 12", "length = 1200").lstrip("\n") and HALF.replace("12\n", "999\n", 1)[1:])
    with pytest.raises(Refused, match="where one is wanted"):
        Layout.from_toml(Table.builtin().to_toml())
    with pytest.raises(Refused, match="holds no layout"):
        Table.from_toml("")
    with pytest.raises(Refused, match="bytes, a table has at most"):
        Table.from_toml("#" * (5 << 20))
    assert issubclass(Refused, ValueError)


def test_composing_says_what_is_wrong():
    layout = Table.builtin()["std26"]
    for values, words in [
        ({}, "no value for \"site\""),
        ({"site": 1}, "no value for \"card\""),
        ({"site": 256, "card": 1}, "largest value is 255"),
        ({"site": 1, "card": 1, "issue": 1}, "no field \"issue\""),
        ({"site": 1, "card": "x"}, "does not fit"),
    ]:
        with pytest.raises(Refused, match=words):
            layout.compose(**values)
    for wrong in (-1, 1.5, None, 1 << 200, [1]):
        with pytest.raises(TypeError, match="card: expected a whole number"):
            layout.compose(site=1, card=wrong)


def test_versions_agree():
    cargo = (ROOT / "Cargo.toml").read_text()
    assert f'version = "{holdover.__version__}"' in cargo
    assert holdover.SCHEMA == 2
    assert (pathlib.Path(holdover.__file__).parent / "py.typed").exists()
