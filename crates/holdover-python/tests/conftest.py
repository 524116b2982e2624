"""What the tests share. They run against the wheel as it is installed."""

import pathlib

import numpy as np
import pytest

import holdover

ROOT = pathlib.Path(__file__).resolve().parents[3]
FIXTURES = ROOT / "fixtures"
MILL = FIXTURES / "mill"


def pytest_report_header(config: pytest.Config) -> str:
    return f"holdover {holdover.__version__} from {pathlib.Path(holdover.__file__).parent}"


@pytest.fixture
def std26() -> holdover.Layout:
    return holdover.Table.builtin()["std26"]


def by_hand(words: np.ndarray) -> dict[str, np.ndarray]:
    """The 26-bit card decoded in numpy, the last bit lowest: site code in bits
    2-9, card number in 10-25, even parity over 1-13, odd over 14-26 (SIA
    AC-01-1996.10)."""
    words = words.astype(np.uint64)
    return {
        "site": words >> 17 & 0xFF,
        "card": words >> 1 & 0xFFFF,
        "even": np.bitwise_count(words >> 13) % 2 == 0,
        "odd": np.bitwise_count(words & 0x1FFF) % 2 == 1,
    }
