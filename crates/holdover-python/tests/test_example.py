"""The example runs, in a directory of its own, and its picture is one."""

import os
import pathlib
import subprocess
import sys

import matplotlib.image
from conftest import ROOT

EXAMPLE = ROOT / "crates/holdover-python/examples/mill.py"


def test_mill(tmp_path: pathlib.Path):
    ran = subprocess.run(
        [sys.executable, str(EXAMPLE)],
        cwd=tmp_path,
        env={**os.environ, "MPLBACKEND": "Agg", "MPLCONFIGDIR": str(tmp_path)},
        capture_output=True,
        text=True,
    )
    assert ran.returncode == 0, ran.stderr
    assert "found30" in ran.stdout and "every kept card opens" in ran.stdout
    picture = matplotlib.image.imread(tmp_path / "raster.png")
    assert picture.shape[0] > 300 and picture.shape[1] > 600
    # Something is drawn: paper and ink, both in quantity.
    grey = picture[..., :3].mean(axis=-1)
    assert (grey > 0.9).mean() > 0.2 and (grey < 0.5).mean() > 0.05
