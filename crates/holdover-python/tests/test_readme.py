"""The Python of the guide and of the package's page runs, block after block."""

import re

import pytest
from conftest import ROOT


@pytest.mark.parametrize("page", ["crates/cli/guide/python.md", "crates/holdover-python/README.md"])
def test_readme(page: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(ROOT)
    text = (ROOT / page).read_text()
    blocks = re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    names: dict = {}
    for block in blocks:
        exec(compile(block, page, "exec"), names)
    if page.endswith("python.md"):
        assert names["plan"].code == 0 and "worksheet.txt" in names["plan"].files
        columns = names["columns"]
        assert (columns.site.tolist(), columns.card.tolist()) == ([65], [4321])
        assert columns.holds.tolist() == [True] and len(columns.checks) == 2
    assert blocks
