# %% [markdown]
# # A drawer of cards nobody documented
#
# The mill is invented: a canal-side mill turned into studios. Its cards, people
# and numbers are made up. Real captures are keys: whoever has the bits of a card
# can make the card, so that pictures like the one below stay as locked up as the
# cards themselves.
#
# Run it cell by cell in an editor that knows `# %%`, or whole:
# `python crates/holdover-python/examples/mill.py`. It writes `raster.png`.

# %%
import pathlib

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from matplotlib.colors import ListedColormap
from matplotlib.patches import Patch

import holdover

MILL = pathlib.Path(__file__).resolve().parents[3] / "fixtures" / "mill"

# %% [markdown]
# ## The roster, and the cards in the drawer
#
# Everything is read as text: printed numbers keep their leading zeros.

# %%
roster = pd.read_csv(MILL / "reissued.csv", dtype=str)
drawer = pd.read_csv(MILL / "drawer.csv", dtype=str)
print(roster["layout"].value_counts(dropna=False).to_string())

# %% [markdown]
# ## What the captures have in common
#
# `learn` takes the data frame as it is, and says what is settled and what is not.

# %%
learnt = holdover.learn(drawer)
kind = learnt[0]
assert learnt.table is not None and kind["layout"] is not None
layout = learnt.table.layouts[0]
print(f"{layout.id}: {layout.length} bits, of {kind['samples']} cards")
for field in kind["fields"]:
    print(f"  {field['role']:5}{field['span']:8}", "settled" if field["settled"] else "not settled")
for check in kind["checks"]:
    name = f"{check['kind']} {check['bit']} over {check['over']}"
    print(f"  {name:21}", "settled" if check["settled"] else "not settled")
print("lines left out:", ", ".join(map(str, kind["misread"])))
print("next:", kind["next_sample"])

# %% [markdown]
# ## All captures as columns
#
# The column of text goes in, numpy arrays come out, one value a capture; pandas
# takes all of them at once.

# %%
columns = layout.decode(drawer["bits"])
frame = pd.DataFrame.from_arrow(columns)
frame["printed"] = drawer["printed"].str.rsplit("-", n=1).str[1].astype(int)
frame["line"] = frame.index + 2
odd_ones = frame[(frame["card"] != frame["printed"]) | ~frame["holds"]]
print(odd_ones[["line", "card", "printed", "holds"]].to_string(index=False))
assert set(odd_ones["line"]) == set(kind["misread"])

# %% [markdown]
# ## A raster of the bits
#
# A row a card, in the order of their numbers; ink is a 1. Grey columns never
# varied, so that nothing can be said of them.

# %%
bits = np.array([list(map(int, row)) for row in drawer["bits"]], np.uint8)
order = np.argsort(frame["card"].to_numpy(), kind="stable")
shown = bits[order].astype(int)
fixed = (bits == bits[0]).all(axis=0)
shown[:, fixed] += 2

figure, axes = plt.subplots(figsize=(9, 6), layout="constrained")
axes.pcolormesh(
    np.arange(layout.length + 1) + 0.5,
    np.arange(len(shown) + 1),
    shown,
    cmap=ListedColormap(["#fbf8ef", "#1c1b19", "#dedacd", "#77736a"]),
    vmin=0,
    vmax=3,
    edgecolors="white",
    linewidth=0.5,
)
for field in layout.fields:
    first, last = min(field.positions) - 0.4, max(field.positions) + 0.4
    axes.annotate("", (first, -0.6), (last, -0.6), arrowprops={"arrowstyle": "|-|"}, annotation_clip=False)
    axes.text((first + last) / 2, -1.1, field.role, ha="center", va="bottom")
misread = set(kind["misread"])
labels = [
    f"{card}{'  left out' if line in misread else ''}"
    for card, line in zip(frame["card"].iloc[order], frame["line"].iloc[order])
]
axes.set_yticks(np.arange(len(shown)) + 0.5, labels, fontsize=7)
axes.set_xticks([1, *range(5, layout.length + 1, 5)])
axes.set_xlabel("bit, from 1 in the order received")
axes.set_ylabel("card number")
axes.invert_yaxis()
for side in axes.spines.values():
    side.set_visible(False)
axes.legend(
    handles=[
        Patch(facecolor="#1c1b19", label="1"),
        Patch(facecolor="#fbf8ef", edgecolor="#1c1b19", label="0"),
        Patch(facecolor="#77736a", label="never varied, 1"),
        Patch(facecolor="#dedacd", label="never varied, 0"),
    ],
    loc="upper center",
    bbox_to_anchor=(0.5, -0.1),
    ncols=4,
    frameon=False,
)
figure.suptitle(f"{layout.id}: {len(shown)} cards of an invented mill")
figure.savefig("raster.png", dpi=120)
plt.close(figure)

# %% [markdown]
# ## The takeover
#
# The panel's slots are planned for the roster, and every kept card is run through
# them as the panel would read it. What a plan changes at a door follows the local
# code, and is done by licensed people.

# %%
plan = holdover.plan(MILL / "mill.toml", roster, table=["built-in", learnt.table])
for slot in plan.plan["slots"]:
    print(f"slot {slot['slot']}: {slot['name']}, {slot['length']} bits")
proofs = holdover.prove(plan=plan, roster=roster)
failed = [proof for proof in proofs if not proof["holds"]]
print(f"{len(proofs)} rows proved:", "some fail" if failed else "every kept card opens")
