"""A browser without a network, and what every page is looked at for.

Speaks the driver's protocol (W3C WebDriver) over HTTP: no package is needed.
"""

import base64
import json
import re
import subprocess
import sys
import urllib.error
import urllib.request

SCREENS = {"phone": (390, 844), "desktop": (1280, 900)}


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

    def go_offline(self):
        self.cdp("Network.enable")
        self.cdp("Network.emulateNetworkConditions", offline=True, latency=0,
                 downloadThroughput=0, uploadThroughput=0)

    def size(self, size):
        width, height = SCREENS[size]
        self.cdp("Emulation.setDeviceMetricsOverride", width=width, height=height,
                 deviceScaleFactor=1, mobile=size == "phone")

    def picture(self, path):
        data = self.cdp("Page.captureScreenshot", captureBeyondViewport=True)["data"]
        path.write_bytes(base64.b64decode(data))

    def paper(self, width, height, path):
        """Prints to a PDF file, inches wide and high."""
        data = self.cdp("Page.printToPDF", paperWidth=width, paperHeight=height,
                        preferCSSPageSize=False, printBackground=False)["data"]
        path.write_bytes(base64.b64decode(data))

    def element(self, css):
        """The one element there is, as the driver names it."""
        return next(iter(self.ask("POST", "/element", {"using": "css selector", "value": css}).values()))

    def click(self, css):
        self.ask("POST", f"/element/{self.element(css)}/click", {})

    def keys(self, css, text):
        """Types; into a field for files, chooses them."""
        self.ask("POST", f"/element/{self.element(css)}/value", {"text": text})

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

# Every text of a picture lies inside the picture, but for the pixel of the
# screen by which a letter may lean out, and no two of a size overlap.
TEXTS = """
const bad = [];
for (const svg of document.querySelectorAll('svg[role=img]')) {
  const title = svg.querySelector('title')?.textContent;
  if (!title || !svg.querySelector('desc')?.textContent) bad.push('no title or desc');
  const frame = svg.viewBox.baseVal;
  const pixel = Math.max(1, frame.width / svg.getBoundingClientRect().width) + .01;
  const boxes = [...svg.querySelectorAll('text')].filter(t => !t.getAttribute('x').includes(' '))
    .map(t => [t.getBBox(), t.textContent]);
  for (const [box, text] of boxes) {
    if (box.x < -pixel || box.y < -pixel || box.x + box.width > frame.width + pixel || box.y + box.height > frame.height + 2)
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
