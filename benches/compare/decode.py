"""Decoding the 26-bit card: numpy, bitstring and construct against this
library's columns, on captures of the same kind.

    python3 -m pip install numpy bitstring construct
    cargo bench --bench decode -- "one layout/columns"
    python3 benches/compare/decode.py [--rust-ns NS] [--criterion DIR]

The library's time is read from the bench's own record, which has to be made
directly before: both then share the machine's state. numpy is written in two ways,
and each has its best of several sizes of column and of words of 32 and 64 bits.
"""

import argparse
import json
import os
import pathlib
import time

import numpy as np

# Captures a column in benches/decode.rs.
CAPTURES = 1024
LENGTH = 26


def captures(count):
    """Words of 26 bits, the first bit the highest, with both parities right."""
    rng = np.random.default_rng(26)
    site = rng.integers(0, 1 << 8, count, dtype=np.uint64)
    card = rng.integers(0, 1 << 16, count, dtype=np.uint64)
    words = site << np.uint64(17) | card << np.uint64(1)
    even, odd = parity(words >> np.uint64(13)), parity(words & np.uint64(0x1FFF))
    return words | even << np.uint64(25) | (odd ^ np.uint64(1))


def parity(words):
    """The parity of words of up to 16 bits, by folding."""
    for by in (8, 4, 2, 1):
        words = words ^ words >> words.dtype.type(by)
    return words & words.dtype.type(1)


def plain(words):
    """numpy as one writes it down."""
    number = words.dtype.type
    sites = words >> number(17) & number(0xFF)
    cards = words >> number(1) & number(0xFFFF)
    even, odd = parity(words >> number(13)), parity(words & number(0x1FFF))
    return (even == 0) & (odd == 1), sites, cards


class Columns:
    """numpy with all its room made beforehand: nothing is allocated."""

    def __init__(self, words):
        self.words = words
        self.room = [np.empty_like(words) for _ in range(5)]

    def decode(self):
        words = self.words
        number = words.dtype.type
        sites, cards, fits, fold, by = self.room
        np.right_shift(words, number(17), out=sites)
        np.bitwise_and(sites, number(0xFF), out=sites)
        np.right_shift(words, number(1), out=cards)
        np.bitwise_and(cards, number(0xFFFF), out=cards)
        # Both halves at once: folded by 8, 4, 2 and 1 inside 13 bits each, put
        # 16 bits apart.
        np.right_shift(words, number(13), out=fold)
        np.left_shift(fold, number(16), out=fold)
        np.bitwise_and(words, number(0x1FFF), out=by)
        np.bitwise_or(fold, by, out=fold)
        for step in (8, 4, 2, 1):
            np.right_shift(fold, number(step), out=by)
            np.bitwise_xor(fold, by, out=fold)
        np.bitwise_and(fold, number(0x10001), out=fold)
        np.equal(fold, number(1), out=fits, casting="unsafe")
        return fits, sites, cards


def median(run, times):
    """The median of several times, in seconds."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return sorted(taken)[times // 2]


def of_numpy(way):
    """The best time a capture, in nanoseconds, and how it was had."""
    best = (float("inf"), "")
    for count in (1 << 12, 1 << 14, 1 << 16, 1 << 18):
        for kind in (np.uint32, np.uint64):
            words = captures(count).astype(kind)
            run = way(words)
            fits, sites, cards = run()
            assert fits.all() and int(sites[0]) == int(words[0]) >> 17 & 0xFF
            assert int(cards[0]) == int(words[0]) >> 1 & 0xFFFF
            taken = median(run, max(51, (1 << 22) // count))
            how = f"{count} captures, {np.dtype(kind).name}"
            best = min(best, (taken / count * 1e9, how))
    return best


def of_bitstring(words):
    import bitstring

    bits = [bitstring.Bits(uint=int(word), length=LENGTH) for word in words]

    def decode():
        for each in bits:
            fits = each[:13].count(1) % 2 == 0 and each[13:].count(1) % 2 == 1
            site, card = each[1:9].uint, each[9:25].uint
        return fits, site, card

    assert decode() == (True, int(words[-1]) >> 17 & 0xFF, int(words[-1]) >> 1 & 0xFFFF)
    return median(decode, 5) / len(words) * 1e9


def of_construct(words):
    from construct import BitsInteger, BitStruct, Padding

    card26 = BitStruct(
        "even" / BitsInteger(1),
        "site" / BitsInteger(8),
        "card" / BitsInteger(16),
        "odd" / BitsInteger(1),
        Padding(6),
    )
    data = [(int(word) << 6).to_bytes(4, "big") for word in words]

    def decode():
        for each in data:
            read = card26.parse(each)
            front = read.even + read.site.bit_count() + (read.card >> 12).bit_count()
            back = (read.card & 0xFFF).bit_count() + read.odd
            fits = front % 2 == 0 and back % 2 == 1
        return fits, read.site, read.card

    assert decode() == (True, int(words[-1]) >> 17 & 0xFF, int(words[-1]) >> 1 & 0xFFFF)
    return median(decode, 5) / len(words) * 1e9


def recorded(directory):
    """The library's time a capture, in nanoseconds."""
    root = pathlib.Path(__file__).resolve().parents[2]
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", root / "target"))
    record = (directory or target / "criterion") / "one layout/columns/new/estimates.json"
    if record.exists():
        return json.loads(record.read_text())["median"]["point_estimate"] / CAPTURES
    return None


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rust-ns", type=float, help="the library's time a capture")
    parser.add_argument("--criterion", type=pathlib.Path, help="where the bench's records are")
    arguments = parser.parse_args()
    rust = arguments.rust_ns or recorded(arguments.criterion)

    times = {}
    for name, way in (
        ("numpy", lambda words: lambda: plain(words)),
        ("numpy, both folds in one, its room made beforehand", lambda words: Columns(words).decode),
    ):
        taken, how = of_numpy(way)
        times[f"{name} ({how})"] = taken
    for name, of in (("bitstring", of_bitstring), ("construct", of_construct)):
        try:
            times[name] = of(captures(CAPTURES))
        except ImportError:
            print(f"{name} is not installed: left out")
    if rust:
        print(f"this library: {rust:.2f} ns a capture")
    for name, taken in times.items():
        ratio = f", {taken / rust:,.1f} times this library's" if rust else ""
        print(f"{name}: {taken:,.2f} ns a capture{ratio}")
    if not rust:
        print("no time of this library: run the bench first, or give --rust-ns")


if __name__ == "__main__":
    main()
