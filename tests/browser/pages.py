"""Builds the pages the browser opens: the mill's, a hostile one, a large one."""

import subprocess
import sys
from pathlib import Path

BINARY, OUT = Path(sys.argv[1]), Path(sys.argv[2])
MILL = "fixtures/mill"
TABLES = ["--table", "built-in", "--table", f"{MILL}/found.toml"]

# Markup, quotes, script, an unbreakable word and text that is written from the
# right, with an override that would turn the rest of a line around.
LONG = "W" * 10_000
HOSTILE = [
    "<script>document.title='broken'</script>",
    "<img src=x onerror=\"document.title='broken'\">",
    "\"'><svg/onload=alert(1)>",
    "</title></style></svg></td><h1>broken",
    "\u05d3\u05d5\u05d3 \u05dc\u05d5\u05d9",
    "safe\u202egnirts\u202c",
    "&lt;b&gt; &amp; <b>bold</b>",
    LONG,
]


def run(*arguments, may_fail=(0, 1)):
    """The binary; 1 says that something is wrong with the cards."""
    done = subprocess.run([BINARY, *map(str, arguments)], capture_output=True, text=True)
    if done.returncode not in may_fail:
        sys.exit(f"holdover {' '.join(map(str, arguments))} ended with {done.returncode}\n{done.stderr}")
    return done.stdout


def quoted(cell):
    return '"' + cell.replace('"', '""') + '"'


def mill():
    site = ["--site", f"{MILL}/mill.toml"]
    roster = ["--roster", f"{MILL}/roster.csv"]
    run("read", f"{MILL}/survey.csv", *site, "--html", OUT / "read.html")
    run("read", "10100000100010000111000011", "--html", OUT / "one.html", "--show-numbers")
    run("signal", f"{MILL}/gate.vcd", "--html", OUT / "signal.html")
    run("learn", f"{MILL}/drawer.csv", "--html", OUT / "learn.html")
    run("learn", f"{MILL}/drawer.csv", "--html", OUT / "learn-shown.html", "--show-numbers")
    plan = OUT / "plan.json"
    run("plan", *site, *roster, *TABLES, "-o", plan, "--html", OUT / "plan.html")
    run("prove", "--plan", plan, *roster, *site, "--html", OUT / "prove.html")


def wide():
    """The longest layouts, drawn over several rows."""
    fields = ["series=1", "issue=1", "person=1234567890", "org_category=1", "organisation=32", "association=1"]
    words = run("compose", "fascn200", "agency=32", "system=1", "credential=100-140", *fields)
    (OUT / "wide.txt").write_text(words + run("compose", "serial80", "card=70000-70040"))
    run("read", OUT / "wide.txt", "--html", OUT / "wide.html", "--show-numbers")


def hostile():
    rows = ["layout,site,card,bits,printed,holder,state"]
    for number, text in enumerate(HOSTILE):
        rows.append(f"std26,65,{4000 + number},,{quoted(text[:60])},{quoted(text)},kept")
    rows.append(f"std26,66,4000,,,{quoted(HOSTILE[0])},kept")
    roster = OUT / "hostile.csv"
    roster.write_text("\n".join(rows) + "\n")
    title = LONG[:300] + "<script>alert(1)</script>\\u202Eabc"
    table = Path(f"{MILL}/found.toml").read_text().splitlines()
    table = [f'title = "{title}"' if line.startswith("title") else line for line in table]
    (OUT / "hostile.toml").write_text("\n".join(table) + "\n")
    site = OUT / "hostile-site.toml"
    site.write_text('[panel]\nslots = 4\nmax_digits = 5\n\n[[batch]]\nlayout = "found30"\nsite = 19\ncards = "1-99"\nstate = "issued"\n')
    tables = ["--table", "built-in", "--table", OUT / "hostile.toml"]
    run("plan", "--site", site, "--roster", roster, *tables,
        "--html", OUT / "hostile-plan.html", "--show-numbers")
    survey = ["bits,printed,reader,note," + quoted("<b>" + LONG[:200])]
    for text in HOSTILE:
        survey.append(f"10100000100010000111000011,,{quoted(text[:60])},{quoted(text)},x")
    survey.append("no capture,,,,")
    (OUT / "hostile-survey.csv").write_text("\n".join(survey) + "\n")
    run("read", OUT / "hostile-survey.csv", "--html", OUT / "hostile-read.html", may_fail=(2,))


def large():
    rows = ["layout,site,card,holder"]
    rows += [f"std26,{60 + number // 50_000},{number % 50_000},person {number}" for number in range(100_000)]
    (OUT / "large.csv").write_text("\n".join(rows) + "\n")
    (OUT / "large.toml").write_text("[panel]\nslots = 4\n")
    run("plan", "--site", OUT / "large.toml", "--roster", OUT / "large.csv",
        "--html", OUT / "large-plan.html")
    words = [run("compose", "std26", f"site={site}", "card=0-49999") for site in (60, 61)]
    (OUT / "large.txt").write_text("".join(words))
    run("read", OUT / "large.txt", "--html", OUT / "large-read.html")


mill()
wide()
hostile()
large()
