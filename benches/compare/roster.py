"""Writes a site file of 1,000 ranges and rosters of up to a million cards.

    python3 benches/compare/roster.py DIRECTORY

All numbers are random, from a fixed seed. `holdover plan` on them is timed
whole, process start to last byte:

    holdover plan --site site.toml --roster 1000000.csv --format json
"""

import random
import sys
from pathlib import Path

SIZES = [1_000, 10_000, 100_000, 1_000_000]
KINDS = [
    ("std26", lambda rng: 60 + rng.randrange(8), 1 << 16),
    ("site34", lambda rng: rng.randrange(16), 1 << 16),
    ("num34", lambda rng: "", 1 << 32),
    ("serial32", lambda rng: "", 1 << 32),
]


def main(directory: Path) -> None:
    rng = random.Random(26)
    rows = []
    for i in range(SIZES[-1]):
        layout, site, most = KINDS[i % len(KINDS)]
        rows.append(f"{layout},{site(rng)},{rng.randrange(most)},holder {i}\n")
    for size in SIZES:
        text = "layout,site,card,holder\n" + "".join(rows[:size])
        (directory / f"{size}.csv").write_text(text)
    site = ["[panel]\nslots = 8\n"]
    for i in range(1_000):
        first, state = 37 * i, ["boxed", "issued", "issued"][i % 3]
        site.append(
            f'[[batch]]\nlayout = "site34"\nsite = {i}\n'
            f'cards = "{first}-{first + 499}"\nstate = "{state}"\n'
        )
    (directory / "site.toml").write_text("".join(site))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
