"""Decoding the 26-bit card from Python: this library's columns, numpy written by
hand in four ways, bitstring and construct, in one run.

    maturin build --release -m crates/holdover-python/Cargo.toml --out wheels
    python3 -m pip install wheels/holdover-*.whl bitstring construct
    python3 benches/compare/columns.py

All give the site code, the card number and whether each parity holds, each as a
column of its own. Ways take turns of five calls each, so that what else the machine
does meets all of them, and each has its own columns at hand as in a loop; of each
turn's median times the ratio is taken, and of the ratios the median.
"""

import os
import statistics
import time

import numpy as np
from decode import captures, of_bitstring, of_construct, parity

import holdover

LAYOUT = holdover.Table.builtin()["std26"]
EVEN, ODD = "even 1 over 2-13", "odd 26 over 14-25"
SIZES = (1 << 12, 1 << 14, 1 << 16, 1 << 18, 1 << 20, 1 << 22)


def ours(words):
    columns = LAYOUT.decode(words)
    checks = columns.checks
    return columns.site, columns.card, checks[EVEN], checks[ODD]


def folded(words):
    """numpy as one writes it down: parity by folding."""
    number = words.dtype.type
    site = words >> number(17) & number(0xFF)
    card = words >> number(1) & number(0xFFFF)
    even = parity(words >> number(13)) == 0
    return site, card, even, parity(words & number(0x1FFF)) == 1


def looked_up(words):
    """Parity by a table of all 13-bit words."""
    number = words.dtype.type
    site = words >> number(17) & number(0xFF)
    card = words >> number(1) & number(0xFFFF)
    even = ~TABLE[words >> number(13)]
    return site, card, even, TABLE[words & number(0x1FFF)]


TABLE = parity(np.arange(1 << 13, dtype=np.uint16)).astype(bool)


def counted(words):
    """Parity by numpy 2's count of ones, which uses the processor's own."""
    number = words.dtype.type
    site = words >> number(17) & number(0xFF)
    card = words >> number(1) & number(0xFFFF)
    even = np.bitwise_count(words >> number(13)) & 1 == 0
    return site, card, even, np.bitwise_count(words & number(0x1FFF)) & 1 == 1


def counted_narrow(words):
    """The same, with numbers as narrow as ours: less to write, more to do."""
    site, card, even, odd = counted(words)
    return site.astype(np.uint8), card.astype(np.uint16), even, odd


WAYS = {
    "folded": folded,
    "looked up": looked_up,
    "counted": counted,
    "counted, made narrow": counted_narrow,
}


def turn(way, words):
    times = []
    for _ in range(5):
        start = time.perf_counter()
        way(words)
        times.append(time.perf_counter() - start)
    return sorted(times)[2]


def main():
    print(f"holdover {holdover.__version__}, numpy {np.__version__}, {os.cpu_count()} processors")
    print("ns a capture, and in brackets how many times ours")
    least = dict.fromkeys(WAYS, float("inf"))
    for kind in (np.uint32, np.uint64):
        for count in SIZES:
            words = captures(count).astype(kind)
            expected = ours(words)
            for name, way in WAYS.items():
                assert all((a == b).all() for a, b in zip(way(words), expected)), name
            turns = max(9, (1 << 21) // count)
            times = {name: [] for name in ("ours", *WAYS)}
            for _ in range(turns):
                for name, way in (("ours", ours), *WAYS.items()):
                    times[name].append(turn(way, words))
            own = statistics.median(times["ours"]) / count * 1e9
            line = f"{np.dtype(kind).name} {count:>8}: ours {own:.2f}"
            for name in WAYS:
                ratios = [a / b for a, b in zip(times[name], times["ours"])]
                ratio, taken = statistics.median(ratios), statistics.median(times[name])
                least[name] = min(least[name], ratio)
                line += f"; {name} {taken / count * 1e9:.2f} ({ratio:.1f})"
            print(line)
    print("least: " + ", ".join(f"{name} {ratio:.1f}" for name, ratio in least.items()))

    words = captures(1 << 10)
    for name, of in (("bitstring", of_bitstring), ("construct", of_construct)):
        taken = of(words)
        many = captures(1 << 10).astype(np.uint32)
        own = statistics.median(turn(ours, many) for _ in range(301)) / len(many) * 1e9
        large = captures(1 << 16).astype(np.uint32)
        best = statistics.median(turn(ours, large) for _ in range(101)) / len(large) * 1e9
        print(
            f"{name}: {taken:,.0f} ns a capture, {taken / own:,.0f} times ours of 1,024 captures "
            f"({own:.2f} ns), {taken / best:,.0f} times ours of 65,536 ({best:.2f} ns)"
        )


if __name__ == "__main__":
    main()
