"""`holdover read` on millions of mixed lines, against the limits of this machine.

    cargo build --release
    python3 benches/compare/read.py FOLDER [LINES] [ROUNDS]

Makes a file of LINES reads (10 million unless said), 26- and 37-bit cards in
random order, numbers drawn evenly. Each round times, one after another, `wc -l`,
`read --format csv` on one thread and on two, all to /dev/null; printed are the
medians of ROUNDS (7), their ratios and the peak memory. Then how that grows
over five decades of lines, the last ten times LINES, and JSON against `cat` of
the same bytes. Takes 45 bytes of FOLDER a line of the longest, 650 for the JSON.
All data is invented. Needs numpy.
"""

import os
import statistics
import subprocess
import sys
import time

HOLDOVER = os.path.join(
    os.environ.get("CARGO_TARGET_DIR", os.path.join(os.path.dirname(__file__), "..", "..", "target")),
    "release",
    "holdover",
)
SITES = [42, 118, 203]


def parity(words):
    """Whether the ones in each word are odd in number."""
    for by in (32, 16, 8, 4, 2, 1):
        words = words ^ (words >> np.uint64(by))
    return words & np.uint64(1)


def between(words, length, first, last):
    """The bits `first` to `last` of words of `length` bits, counted from 1."""
    return (words >> np.uint64(length - last)) & np.uint64((1 << (last - first + 1)) - 1)


def cards(random, count, length, site, card, even, odd):
    """Words of `length` bits: even parity in the first bit, odd in the last."""
    words = random.choice(SITES, count).astype(np.uint64) << np.uint64(card)
    words = (words | random.integers(0, 1 << card, count, dtype=np.uint64)) << np.uint64(1)
    words |= parity(between(words, length, *even)) << np.uint64(length - 1)
    words |= parity(between(words, length, *odd)) ^ np.uint64(1)
    return words


def lines(words, length):
    """The words as lines of `length` digits."""
    out = np.empty((len(words), length + 1), np.uint8)
    for bit in range(length):
        out[:, bit] = 48 + between(words, length, bit + 1, bit + 1)
    out[:, length] = 10
    return out


def make(path, count, seed=26):
    global np
    import numpy as np

    random = np.random.default_rng(seed)
    with open(path, "wb") as file:
        for begun in range(0, count, 1_000_000):
            many = min(1_000_000, count - begun)
            short = random.integers(0, 2, many).astype(bool)
            of26 = lines(cards(random, int(short.sum()), 26, 8, 16, (2, 13), (14, 25)), 26)
            of37 = lines(cards(random, int((~short).sum()), 37, 16, 19, (2, 19), (19, 36)), 37)
            begins = np.concatenate(([0], np.cumsum(np.where(short, 27, 38))))
            out = np.empty(begins[-1], np.uint8)
            out[begins[:-1][short][:, None] + np.arange(27)] = of26
            out[begins[:-1][~short][:, None] + np.arange(38)] = of37
            file.write(out.tobytes())


def made(folder, count):
    """A file of so many lines, made by another process: what this one has held
    would count as the peak of those it starts."""
    path = os.path.join(folder, f"{count}.txt")
    subprocess.run([sys.executable, __file__, "--make", path, str(count)], check=True)
    return path


def timed(command, output=os.devnull):
    """Wall seconds, processor seconds and peak memory in MB."""
    with open(output, "wb") as out:
        before = time.perf_counter()
        process = subprocess.Popen(command, stdout=out)
        _, status, usage = os.wait4(process.pid, 0)
        wall = time.perf_counter() - before
    assert status == 0, command
    return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def medians(rounds, commands):
    """Each command once a round, in turn: the medians of what `timed` says."""
    seen = {name: [] for name in commands}
    for _ in range(rounds):
        for name, command in commands.items():
            seen[name].append(timed(command))
    return {name: [statistics.median(column) for column in zip(*rows)] for name, rows in seen.items()}


def read(path, style, threads):
    command = [HOLDOVER, "read", "--quiet", "--format", style, path]
    return ["env", f"RAYON_NUM_THREADS={threads}", *command]


def show(title, seen):
    print(title)
    limit = next(iter(seen.values()))[0]
    for name, (wall, processor, peak) in seen.items():
        print(
            f"  {name:12} {wall:8.3f} s  {wall / limit:6.1f} times the first"
            f"  processor {processor:8.3f} s  peak {peak:4.0f} MB"
        )


def main(folder, count=10_000_000, rounds=7):
    path = made(folder, count)
    commands = {"wc -l": ["wc", "-l", path]}
    commands |= {f"{threads} thread(s)": read(path, "csv", threads) for threads in (1, 2)}
    show(f"{count} lines, {os.path.getsize(path) / 1e6:.0f} MB, CSV", medians(rounds, commands))

    decades = [count // 1_000, count // 100, count // 10, count, 10 * count]
    files = {f"{lines}": made(folder, lines) for lines in decades}
    show("lines", {name: timed(read(file, "csv", 1)) for name, file in files.items()})

    records = os.path.join(folder, "records.json")
    timed(read(path, "json", 1), records)
    commands = {"cat": ["cat", records], "1 thread": read(path, "json", 1)}
    size = os.path.getsize(records)
    seen = medians(3, commands)
    show(f"JSON, {size / 1e9:.2f} GB", seen)
    print(f"  {size / 1e9 / seen['1 thread'][0]:.1f} GB a second")


if __name__ == "__main__":
    if sys.argv[1] == "--make":
        make(sys.argv[2], int(sys.argv[3]))
    else:
        main(sys.argv[1], *map(int, sys.argv[2:]))
