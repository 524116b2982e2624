"""Null space over GF(2) of 100,000 rows of 26 bits: galois and a bit-packed
numpy elimination against this library's time for the same rows.

    python3 -m pip install numpy galois
    cargo bench -p holdover --bench null_space -- 100000x26
    python3 benches/compare/null_space.py [--rust-ns NS] [--rows N]

The library's time is read from the bench's own record under target/criterion,
unless it is given.
"""

import argparse
import json
import pathlib
import time

import numpy as np

LENGTH = 26
CHECKS = 2


def rows(count):
    """Random rows whose first bits are parities of the others."""
    rng = np.random.default_rng(26)
    bits = rng.integers(0, 2, size=(count, LENGTH), dtype=np.uint8)
    for check in range(CHECKS):
        cover = rng.integers(0, 2, size=LENGTH, dtype=np.uint8)
        cover[:CHECKS] = 0
        bits[:, check] = (bits & cover).sum(axis=1) & 1
    return bits


def packed_null_space(bits):
    """Relations by eliminating bit-packed columns: each column of the sample
    is a vector over the rows, and what it took to make one zero is a relation."""
    moved = bits ^ bits[0]
    columns = np.packbits(moved.T, axis=1)
    pad = -columns.shape[1] % 8
    columns = np.ascontiguousarray(np.pad(columns, ((0, 0), (0, pad)))).view(np.uint64)
    taken = [1 << at for at in range(bits.shape[1])]
    held = []
    relations = []
    for at in range(bits.shape[1]):
        column, made_of = columns[at], taken[at]
        for pivot, bit, other, other_of in held:
            if column[pivot] >> bit & np.uint64(1):
                column, made_of = column ^ other, made_of ^ other_of
        where = np.flatnonzero(column)
        if where.size == 0:
            relations.append(made_of)
            continue
        pivot = where[0]
        bit = np.uint64(int(column[pivot]).bit_length() - 1)
        held.append((pivot, bit, column, made_of))
    return relations


def fastest(run, times=5):
    """The least of several times, in seconds."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - start)
    return best


def recorded():
    """The bench's record of the library's time, in nanoseconds."""
    root = pathlib.Path(__file__).resolve().parents[2]
    for target in (root / "target", pathlib.Path("target")):
        record = target / "criterion/100000x26/null space/2/new/estimates.json"
        if record.exists():
            return json.loads(record.read_text())["median"]["point_estimate"]
    return None


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rust-ns", type=float, help="the library's time, in nanoseconds")
    parser.add_argument("--rows", type=int, default=100_000)
    arguments = parser.parse_args()
    rust = arguments.rust_ns or recorded()
    bits = rows(arguments.rows)

    times = {"numpy, bit-packed": fastest(lambda: packed_null_space(bits))}
    assert len(packed_null_space(bits)) == CHECKS
    try:
        import galois

        matrix = galois.GF(2)(np.hstack([bits, np.ones((len(bits), 1), dtype=np.uint8)]))
        assert len(matrix.null_space()) == CHECKS
        times["galois"] = fastest(matrix.null_space, times=1)
    except ImportError:
        print("galois is not installed: left out")

    for name, seconds in times.items():
        ratio = f", {seconds * 1e9 / rust:,.0f} times this library's" if rust else ""
        print(f"{name}: {seconds * 1e3:,.1f} ms{ratio}")
    if not rust:
        print("no time of this library: run the bench first, or give --rust-ns")


if __name__ == "__main__":
    main()
