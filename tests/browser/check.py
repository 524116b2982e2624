"""Opens each page at a phone's, a desktop's and two papers' size and asserts
that nothing is cut, nothing is fetched, nothing fails and everybody can read it.
"""

import re
import subprocess
import sys
import time
from pathlib import Path

from driver import AXE_RUN, OVERFLOW, SCREENS, TEXTS, Browser, requests

AXE, OUT = Path(sys.argv[1]).read_text(), Path(sys.argv[2])

# Inches (ISO 216:2007, A4; ANSI/ASME Y14.1, size A; from memory) and the points that pdfinfo reports.
PAPERS = {"a4": (8.268, 11.693, "595.", "841."), "letter": (8.5, 11.0, "612", "792")}

# A page opens at once: both are judgements, no source.
MOST_BYTES = 600_000
MOST_SECONDS = 2.0

# What must stand on the paper of a page, and what must not on a masked one.
STANDS = {
    "plan": ["Slot 1", "parity", "read back", "signed", "***57", "A. Dyer"],
    "read": ["std26", "none of these", "What to do next"],
    "signal": ["median", "missing-pulse"],
    "learn": ["settled", "could be"],
    "prove": ["expected", "got", "line 5"],
    "large-plan": ["99,800 more lines are left out"],
    "large-read": ["99,940 more captures are left out"],
}
SECRETS = {
    "plan": ["04263857", "4017", "0345648", "C47A31D2"],
    "read": ["4987", "10100000100010011001111111"],
    "signal": ["10100000100010010110001010"],
    "learn": ["495028", "139492"],
    "prove": ["04264645"],
    "large-plan": ["49123"],
}

failures = []


def fail(page, size, what):
    failures.append(f"{page} ({size}): {what}")


def on_screen(browser, page, url, size):
    browser.size(size)
    browser.log("browser"), list(requests(browser))
    begun = time.monotonic()
    browser.ask("POST", "/url", {"url": url})
    took = time.monotonic() - begun
    if took > MOST_SECONDS:
        fail(page, size, f"takes {took:.1f} s to open")
    seen = browser.run(OVERFLOW)
    if seen["scroll"] > seen["client"] or seen["wide"]:
        fail(page, size, f"{seen['scroll']} wide on {seen['client']}: {seen['wide']}")
    if seen["deaf"]:
        fail(page, size, f"scrolls, but the keyboard does not reach it: {seen['deaf']}")
    for what in browser.run(TEXTS):
        fail(page, size, what)
    if browser.run("return document.title").startswith("broken"):
        fail(page, size, "a script of the input ran")
    if tags := browser.run("return [...document.querySelectorAll('script, img, b b, main h1, iframe')].map(e => e.tagName)"):
        fail(page, size, f"markup of the input became elements: {tags}")
    for entry in browser.log("browser"):
        fail(page, size, f"console: {entry['message']}")
    for asked in requests(browser):
        if asked != url:
            fail(page, size, f"asks for {asked[:200]}")
    browser.run(AXE)
    found = browser.run_async(AXE_RUN)
    for what in found["violations"]:
        fail(page, size, f"axe: {what}")
    browser.picture(OUT / f"{page}-{size}.png")


def on_paper(browser, page, size):
    width, height, *points = PAPERS[size]
    browser.cdp("Emulation.clearDeviceMetricsOverride")
    path = OUT / f"{page}-{size}.pdf"
    browser.paper(width, height, path)
    about = subprocess.run(["pdfinfo", path], check=True, capture_output=True, text=True).stdout
    if not re.search(rf"Page size:\s+{points[0]}\S* x {points[1]}", about):
        fail(page, size, "is another paper")
    text = subprocess.run(["pdftotext", "-layout", path, "-"], check=True, capture_output=True, text=True).stdout
    flat = " ".join(text.split())
    for wanted in STANDS.get(page, []):
        if wanted not in flat:
            fail(page, size, f"{wanted!r} is not on the paper")
    source = (OUT / f"{page}.html").read_text()
    for secret in SECRETS.get(page, []):
        if secret in flat or secret in source:
            fail(page, size, f"{secret!r} is on a masked page")
    # No word runs over the edge of the paper: each lies within its margins.
    boxes = subprocess.run(["pdftotext", "-bbox", path, "-"], check=True, capture_output=True, text=True).stdout
    # 8 mm from the edge; the page's own margin is 14 mm.
    edge = 8 / 25.4 * 72
    for x0, y0, x1, y1, word in re.findall(
            r'<word xMin="(\S+)" yMin="(\S+)" xMax="(\S+)" yMax="(\S+)">(.*?)</word>', boxes):
        if float(x0) < edge or float(x1) > width * 72 - edge:
            fail(page, size, f"{word[:40]!r} runs over the edge")
            break
        if float(y0) < edge or float(y1) > height * 72 - edge:
            fail(page, size, f"{word[:40]!r} is cut at the page's end")
            break


def main():
    browser = Browser()
    try:
        browser.go_offline()
        pages = sorted(OUT.glob("*.html"))
        for path in pages:
            if path.stat().st_size > MOST_BYTES:
                fail(path.stem, "file", f"{path.stat().st_size} bytes")
            for size in SCREENS:
                on_screen(browser, path.stem, path.resolve().as_uri(), size)
            for size in PAPERS:
                on_paper(browser, path.stem, size)
    finally:
        browser.close()
    if failures:
        sys.exit("\n".join(failures) + f"\n{len(failures)} faults in {len(pages)} pages")
    print(f"{len(pages)} pages hold on {', '.join([*SCREENS, *PAPERS])}")


main()
