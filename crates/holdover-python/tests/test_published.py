"""Check values, each with its source beside it in `fixtures/cases`."""

import tomllib

import pytest
from conftest import FIXTURES

import holdover

CASES = [
    case
    for path in sorted((FIXTURES / "cases").glob("*.toml"))
    for case in tomllib.loads(path.read_text())["case"]
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_published(case: dict):
    (answer,) = holdover.read(case["capture"])
    best = answer["candidates"][0]
    assert answer["verdict"] == case.get("verdict", "identified")
    assert best["layout"] == case["layout"]
    fields = {name: str(value) for name, value in best["fields"].items()}
    assert case.get("fields", {}).items() <= fields.items()
    failed = [check["check"] for check in best["checks"] if not check["holds"]]
    assert failed == case.get("failed", [])
    # And as columns.
    if best["reading"] == "as-captured":
        columns = holdover.Table.builtin()[case["layout"]].decode([case["capture"]])
        assert columns.holds[0] == (not failed)
        for name, value in case.get("fields", {}).items():
            column = columns[name]
            if column.ndim == 1:
                got = column[0].decode() if column.dtype.kind == "S" else str(column[0])
                assert got == value
