"""Opens each page at a phone's, a desktop's and two papers' size and asserts
that nothing is cut, nothing is fetched, nothing fails and everybody can read it.

Speaks the driver's protocol (W3C WebDriver) over HTTP: no package is needed.
"""

import base64
import json
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

AXE, OUT = Path(sys.argv[1]).read_text(), Path(sys.argv[2])

SCREENS = {"phone": (390, 844), "desktop": (1280, 900)}
# Inches (ISO 216, ANSI/ASME Y14.1) and the points that pdfinfo reports.
PAPERS = {"a4": (8.268, 11.693, "595.", "841."), "letter": (8.5, 11.0, "612", "792")}

# A page opens at once: both are judgements, no source.
MOST_BYTES = 600_000
MOST_SECONDS = 2.0

# What must stand on the paper of a page, and what must not on a masked one.
STANDS = {
    "plan": ["Slot 1", "card number starts at", "read back", "signed", "******57", "A. Dyer"],
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


class Browser:
    """One session of the driver."""

    def __init__(self):
        command = ["chromedriver", "--port=0"]
        self.driver = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        for line in self.driver.stdout:
            if found := re.search(r"started successfully on port (\d+)", line):
                self.at = f"http://127.0.0.1:{found[1]}"
                break
        else:
            sys.exit("the driver does not start: try `chromedriver` by hand")
        # Where there is no user's sandbox, as for root, the browser needs none:
        # it opens only pages of ours.
        arguments = ["--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--hide-scrollbars",
                     "--disable-background-networking", "--no-first-run"]
        capabilities = {
            "browserName": "chrome",
            "goog:chromeOptions": {"args": arguments},
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        }
        value = self.ask("POST", "/session", {"capabilities": {"alwaysMatch": capabilities}})
        self.at += f"/session/{value['sessionId']}"

    def ask(self, method, path, body=None):
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.at + path, data, {"Content-Type": "application/json"}, method=method)
        try:
            with urllib.request.urlopen(request, timeout=120) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            sys.exit(f"the driver refuses {path}: {error.read().decode()[:500]}")

    def cdp(self, command, **parameters):
        return self.ask("POST", "/goog/cdp/execute", {"cmd": command, "params": parameters})

    def run(self, script, *arguments):
        return self.ask("POST", "/execute/sync", {"script": script, "args": arguments})

    def run_async(self, script, *arguments):
        return self.ask("POST", "/execute/async", {"script": script, "args": arguments})

    def log(self, kind):
        return self.ask("POST", "/se/log", {"type": kind})

    def close(self):
        try:
            self.ask("DELETE", "")
        finally:
            self.driver.terminate()
            self.driver.wait(timeout=20)


OVERFLOW = """
const root = document.scrollingElement;
const wide = [...document.querySelectorAll('body *')]
  .filter(e => !e.closest('.scroll, .wide, .patterns') && e.getBoundingClientRect().right > root.clientWidth + 1)
  .map(e => e.tagName + '.' + (e.className.baseVal ?? e.className)).slice(0, 5);
const deaf = [...document.querySelectorAll('*')]
  .filter(e => e.scrollWidth > e.clientWidth + 1 && /auto|scroll/.test(getComputedStyle(e).overflowX))
  .filter(e => e !== root && e.tabIndex < 0).map(e => e.tagName + '.' + e.className);
return {scroll: root.scrollWidth, client: root.clientWidth, wide, deaf};
"""

# Every text of a picture lies inside the picture, and no two of a size overlap.
TEXTS = """
const bad = [];
for (const svg of document.querySelectorAll('svg[role=img]')) {
  const title = svg.querySelector('title')?.textContent;
  if (!title || !svg.querySelector('desc')?.textContent) bad.push('no title or desc');
  const frame = svg.viewBox.baseVal;
  const boxes = [...svg.querySelectorAll('text')].filter(t => !t.getAttribute('x').includes(' '))
    .map(t => [t.getBBox(), t.textContent]);
  for (const [box, text] of boxes) {
    if (box.x < -1 || box.y < -1 || box.x + box.width > frame.width + 1 || box.y + box.height > frame.height + 2)
      bad.push(`${title}: "${text}" is cut`);
  }
  for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
    const [a, b] = [boxes[i][0], boxes[j][0]];
    const over = Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x);
    const down = Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y);
    if (over > 1 && down > 5) bad.push(`${title}: "${boxes[i][1]}" and "${boxes[j][1]}" overlap`);
  }
}
return bad.slice(0, 6);
"""

AXE_RUN = """
const done = arguments[arguments.length - 1];
axe.run(document, {resultTypes: ['violations', 'incomplete']}).then(
  r => done({violations: r.violations.map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.target).join(' ')),
             contrast: r.incomplete.filter(v => v.id === 'color-contrast').map(v => v.nodes.length)}),
  e => done({violations: [String(e)], contrast: []}));
"""


def requests(browser):
    """What was asked for since the last look: the page itself, nothing else."""
    for entry in browser.log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            yield message["params"]["request"]["url"]


def on_screen(browser, page, url, size):
    width, height = SCREENS[size]
    browser.cdp("Emulation.setDeviceMetricsOverride", width=width, height=height,
                deviceScaleFactor=1, mobile=size == "phone")
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
    picture = browser.cdp("Page.captureScreenshot", captureBeyondViewport=True)["data"]
    (OUT / f"{page}-{size}.png").write_bytes(base64.b64decode(picture))


def on_paper(browser, page, size):
    width, height, *points = PAPERS[size]
    browser.cdp("Emulation.clearDeviceMetricsOverride")
    data = browser.cdp("Page.printToPDF", paperWidth=width, paperHeight=height, preferCSSPageSize=False,
                       printBackground=False)["data"]
    path = OUT / f"{page}-{size}.pdf"
    path.write_bytes(base64.b64decode(data))
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
        browser.cdp("Network.enable")
        browser.cdp("Network.emulateNetworkConditions", offline=True, latency=0,
                    downloadThroughput=0, uploadThroughput=0)
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
