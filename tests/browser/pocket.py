"""The pocket page as a technician uses it: opened from disk, without a
network, by clicks, keys, pastes and files, on a phone and on a desktop.

What the page saves is held against what the binary writes, and the shared
cases of fixtures/cases go through the page's own engine.
"""

import base64
import http.server
import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from driver import AXE_RUN, OVERFLOW, SCREENS, TEXTS, Browser, requests

AXE, BINARY, PAGE, OUT = Path(sys.argv[1]).read_text(), *map(Path, sys.argv[2:5])
FIXTURES = Path("fixtures").resolve()
MILL = FIXTURES / "mill"

# What the page promises: bytes as a whole, and milliseconds from a paste to
# its answer on the screen.
MOST_BYTES = 2_000_000
MOST_MS = 100
# A machine that builds other things at the same time is slower than it is.
SLACK = float(os.environ.get("HOLDOVER_SLACK", "3"))

CONTROL, NONE, ENTER = "\ue009", "\ue000", "\ue007"
failures, numbers = [], {}


def fail(what):
    failures.append(what)
    print("FAULT", what, flush=True)


def binary(*words, directory, may=(0, 1)):
    done = subprocess.run([BINARY, *map(str, words)], cwd=directory, capture_output=True)
    assert done.returncode in may, done.stderr.decode()
    return done.stdout


def until(browser, script, what, seconds=60):
    """Waits for something to be so, as a person would."""
    end = time.monotonic() + seconds
    while not (value := browser.run(f"return {script}")):
        if time.monotonic() > end:
            browser.picture(OUT / "pocket-stuck.png")
            sys.exit(f"the page never came to: {what}; it says {status(browser)!r}, and {answer(browser)[:400]!r}")
        time.sleep(0.03)
    return value


def status(browser):
    return browser.run("return document.getElementById('status').textContent")


def answer(browser):
    """What the open step shows."""
    return browser.run("return document.querySelector('.step:not([hidden]) .answer').innerText")


def says(browser, words, seconds=60):
    until(browser, f"document.querySelector('.step:not([hidden]) .answer').innerText.includes({json.dumps(words)})", words, seconds)


def click(browser, path):
    found = browser.ask("POST", "/elements", {"using": "xpath", "value": path})
    assert len(found) == 1, (path, len(found))
    browser.ask("POST", f"/element/{next(iter(found[0].values()))}/click", {})


def press(browser, words):
    """Clicks the button of these words."""
    click(browser, f"//main/section[not(@hidden)]//button[normalize-space()='{words}']")


def turn(browser, step):
    """Goes to a step."""
    click(browser, f"//nav//a[starts-with(normalize-space(), '{step}')]")


def choose(browser, field, path):
    """Chooses a file, and sees it taken: the field is empty again."""
    browser.keys(field, str(path))
    until(browser, f"document.querySelector('{field}').value === ''", f"{path} taken")


def look(browser, name, size):
    """Everybody can read it, nothing is cut, nothing was asked of a network."""
    seen = browser.run(OVERFLOW)
    if seen["scroll"] > seen["client"] or seen["wide"]:
        fail(f"{name} ({size}): {seen['scroll']} wide on {seen['client']}: {seen['wide']}")
    for what in browser.run(TEXTS.replace("document.querySelectorAll('svg[role=img]')",
                                          "document.querySelectorAll('.step:not([hidden]) svg[role=img]')")):
        fail(f"{name} ({size}): {what}")
    if not browser.run("return typeof axe !== 'undefined'"):
        browser.run(AXE)
    for what in browser.run_async(AXE_RUN)["violations"]:
        fail(f"{name} ({size}): axe: {what}")
    for entry in browser.log("browser"):
        fail(f"{name} ({size}): console: {entry['message']}")
    for asked in requests(browser):
        if not asked.startswith(("blob:", "data:")) and asked.split("#")[0] != PAGE.as_uri():
            fail(f"{name} ({size}): asks for {asked[:200]}")
    browser.picture(OUT / f"pocket-{name}-{size}.png")


def opened(browser):
    browser.ask("POST", "/url", {"url": "about:blank"})
    browser.ask("POST", "/url", {"url": PAGE.as_uri()})
    until(browser, "document.body?.dataset.ready", "ready")
    numbers["ready after ms"] = int(browser.run("return document.body.dataset.ready"))


def downloads(browser, directory, names):
    """The files that come, whole."""
    end = time.monotonic() + 30
    while not all((directory / name).exists() for name in names):
        assert time.monotonic() < end, (names, os.listdir(directory))
        time.sleep(0.05)
    time.sleep(0.3)
    return {name: (directory / name).read_bytes() for name in names}


def reading(browser, size):
    browser.keys("#captures", "10100000100010000111000011\n0x70123440/26\n")
    says(browser, "4321")
    says(browser, "std26")
    look(browser, "read", size)
    # Cut, and pasted again: the time a technician sees.
    times = []
    for _ in range(5):
        browser.keys("#captures", CONTROL + "a" + NONE + CONTROL + "x")
        says(browser, "No capture yet")
        browser.keys("#captures", CONTROL + "v")
        says(browser, "4321")
        times.append(float(browser.run("return document.getElementById('read-answer').dataset.took")))
    numbers[f"first answer after a paste ({size}), ms"] = times[0]
    numbers[f"median of five ({size}), ms"] = sorted(times)[2]
    if times[0] > MOST_MS * SLACK:
        fail(f"{size}: a paste is answered after {times[0]} ms")
    # Masked, no number is left.
    browser.click("#hide")
    until(browser, "!document.getElementById('read-answer').innerText.includes('4321')", "numbers hidden")
    browser.click("#hide")
    says(browser, "4321")
    press(browser, "Clear")
    choose(browser, "#read-files", MILL / "gate.vcd")
    says(browser, "missing-pulse")
    says(browser, "4805")
    look(browser, "probe", size)


def learning(browser, size):
    turn(browser, "Learn")
    choose(browser, "#learn-files", MILL / "drawer.csv")
    says(browser, "found30")
    look(browser, "learn", size)
    press(browser, "Keep it as a table")
    turn(browser, "Read")
    choose(browser, "#read-files", MILL / "survey.csv")
    says(browser, "found30")


def planning(browser, size, saved):
    turn(browser, "Plan")
    choose(browser, "#roster-files", MILL / "roster.csv")
    choose(browser, "#site-files", MILL / "mill.toml")
    press(browser, "Plan the slots")
    says(browser, "same-panel-number")
    look(browser, "conflict", size)
    choose(browser, "#roster-files", MILL / "reissued.csv")
    press(browser, "Plan the slots")
    until(browser, "document.querySelector('#plan-answer .verdict')?.textContent.includes('every kept card')", "a clean plan")
    says(browser, "decimal figures")
    says(browser, "licensed people")
    look(browser, "plan", size)
    # On paper: the worksheet, nothing of the page around it, and no number.
    # The dialog that would open waits for nobody here: that it is asked for is
    # noted, and the browser prints instead.
    browser.run("window.asked = 0; window.print = () => { window.asked += 1; };")
    press(browser, "Print the worksheet")
    if browser.run("return window.asked") != 1:
        fail(f"{size}: the browser is not asked to print")
    path = OUT / f"pocket-worksheet-{size}.pdf"
    browser.paper(8.268, 11.693, path)
    text = subprocess.run(["pdftotext", "-layout", path, "-"], check=True, capture_output=True, text=True).stdout
    flat = " ".join(text.split())
    for wanted in ("Slot 1", "parity", "read back", "signed", "A. Dyer", "authorised to service"):
        if wanted not in flat:
            fail(f"{size}: {wanted!r} is not on the worksheet")
    for secret in ("04263857", "Choose a roster"):
        if secret in flat:
            fail(f"{size}: {secret!r} is on the worksheet")
    # What the sheet looks like is not changed by the page around it.
    heads = browser.run("return [...document.querySelector('#plan-answer .slot tr').children].map(cell => getComputedStyle(cell).display)")
    if set(heads) != {"table-cell"}:
        fail(f"{size}: the worksheet's columns are {heads}")
    # The panel's limits are set on the page, in the file's own text.
    browser.click("#panel summary")
    browser.keys("[data-key=slots]", CONTROL + "a")
    browser.keys("[data-key=slots]", "3" + ENTER)
    press(browser, "Plan the slots")
    says(browser, "no slot left")
    site = browser.run("return document.getElementById('site-text').value")
    before = (MILL / "mill.toml").read_text()
    if site == before or len(site.splitlines()) != len(before.splitlines()):
        fail(f"{size}: the site file is not as it was but for the slots")
    choose(browser, "#site-files", MILL / "mill.toml")
    press(browser, "Plan the slots")
    until(browser, "document.querySelector('#plan-answer .verdict')?.textContent.includes('every kept card')", "a clean plan")


def proving(browser, size):
    turn(browser, "Prove")
    press(browser, "Prove the plan")
    says(browser, "17")
    verdict = browser.run("return document.querySelector('#prove-answer .verdict').textContent")
    if "all 17" not in verdict:
        fail(f"{size}: the proof says {verdict!r}")
    look(browser, "prove", size)


def guided(browser, size):
    turn(browser, "Guide")
    says(browser, "a building in a day")
    look(browser, "guide", size)
    pages = browser.run("return [...document.querySelectorAll('#guide-answer a')].map(a => a.hash)")
    for page in pages:
        browser.run(f"location.hash = {json.dumps(page)}")
        name = page.split("/")[1]
        title = (Path("crates/cli/guide") / f"{name}.md").read_text().split("\n")[0][2:].replace("`", "")
        until(browser, f"document.getElementById('guide-title').textContent === {json.dumps(title)}", page)
        look(browser, f"guide-{name}", size)
    assert len(pages) > 25, pages
    click(browser, "//a[normalize-space()='All pages of the guide']")
    says(browser, "a building in a day")


def saving(browser, size):
    turn(browser, "Job")
    look(browser, "job", size)
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        browser.cdp("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(place))
        press(browser, "Save all files")
        wanted = ["gate.vcd", "drawer.csv", "survey.csv", "found.toml", "mill.toml", "reissued.csv", "plan.json",
                  "worksheet.txt", "enrolment.csv", "cutover.txt"]
        came = downloads(browser, place, wanted)
    # The same files, byte for byte, as the binary makes of the same.
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        for name in ("drawer.csv", "mill.toml", "reissued.csv", "gate.vcd", "survey.csv"):
            (place / name).write_bytes((MILL / name).read_bytes())
        binary("learn", "drawer.csv", "-o", "found.toml", directory=place)
        binary("plan", "--site", "mill.toml", "--roster", "reissued.csv", "--table", "built-in", "--table", "found.toml",
               "-o", "plan.json", "--worksheet", "worksheet.txt", "--enrolment", "enrolment.csv",
               "--cutover", "cutover.txt", directory=place)
        for name, bytes_ in came.items():
            if bytes_ != (place / name).read_bytes():
                fail(f"{size}: {name} is not what the binary writes")
    # Kept between visits when asked to be, and then forgotten.
    browser.click("#remember")
    until(browser, "document.getElementById('status').textContent.startsWith('This job is kept')", "kept")
    opened(browser)
    turn(browser, "Job")
    if not browser.run("return document.getElementById('files').innerText.includes('reissued.csv')"):
        fail(f"{size}: the job is gone after a visit")
    press(browser, "Forget everything")
    browser.ask("POST", "/alert/accept", {})
    until(browser, "document.getElementById('status').textContent === 'Everything is forgotten.'", "forgotten")
    opened(browser)
    if browser.run("return document.getElementById('files').innerText"):
        fail(f"{size}: something is still there")


def keyboard(browser):
    """Every control is reached by the Tab key, in the order it is seen, and shows it."""
    browser.run("document.activeElement.blur()")
    seen = []
    for _ in range(60):
        browser.ask("POST", "/actions", {"actions": [{"type": "key", "id": "k", "actions": [
            {"type": "keyDown", "value": "\ue004"}, {"type": "keyUp", "value": "\ue004"}]}]})
        name, outlined = browser.run("""
            const e = document.activeElement, shown = e.closest('.file') ?? e;
            return [e === document.body ? '' : e.id || e.textContent, getComputedStyle(shown).outlineStyle]""")
        if not name or name in seen:
            break
        seen.append(name)
        if outlined == "none":
            fail(f"the focus is not seen on {name!r}")
    wanted = ["Skip to the work", "Read", "Learn", "Plan", "Prove", "captures", "read-files", "example", "read-clear", "hide"]
    if [name for name in seen if name in wanted] != wanted:
        fail(f"the keyboard goes through {seen}")
    browser.keys("nav a[href='#learn']", ENTER)
    # The step opens once the browser says that the address changed.
    until(browser, "document.activeElement.id === 'learn-title'", "the focus on a step that is opened")
    turn(browser, "Read")


BEATS = """
window.beats = [performance.now()];
window.beating = setInterval(() => beats.push(performance.now()), 20);
"""
LONGEST = """
clearInterval(beating);
return Math.max(...beats.slice(1).map((beat, i) => beat - beats[i]));
"""


def garbage(browser):
    """Random bytes, wrong files, a huge paste: a word of what is wrong, and a page that goes on."""
    draw = random.Random(7)
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        noise = place / "noise.bin"
        noise.write_bytes(draw.randbytes(300_000))
        book = place / "broken.xlsx"
        book.write_bytes((MILL / "roster.xlsx").read_bytes()[:3000])
        empty = place / "empty.csv"
        empty.write_bytes(b"")
        files = [noise, book, empty, MILL / "mill.toml", MILL / "roster.xlsx", MILL / "gate.vcd", MILL / "survey.csv"]
        steps = {"Read": ("#read-files", None), "Learn": ("#learn-files", None), "Prove": ("#cases-files", "Prove the cases")}
        for name, (field, then) in steps.items():
            for file in files:
                turn(browser, name)
                browser.run("document.querySelector('.step:not([hidden]) .answer').replaceChildren()")
                choose(browser, field, file)
                if then:
                    press(browser, then)
                until(browser, "document.querySelector('.step:not([hidden]) .answer').innerText.trim() || document.getElementById('status').textContent === 'Ready.'",
                      f"{name}: a word about {file.name}")
                if "too much for the page" in status(browser):
                    fail(f"{name}: {file.name}: {answer(browser)[:300]}")
            if name == "Read":
                press(browser, "Clear")
        turn(browser, "Plan")
        for roster, site in [(noise, noise), (book, MILL / "drawer.csv"), (MILL / "mill.toml", MILL / "roster.csv")]:
            browser.run("document.getElementById('plan-answer').replaceChildren()")
            choose(browser, "#roster-files", roster)
            choose(browser, "#site-files", site)
            press(browser, "Plan the slots")
            until(browser, "document.querySelector('#plan-answer .said')", f"a word about {site.name}")
        look(browser, "garbage", "desktop")
    # Ten megabytes of captures and of noise, pasted: the page goes on meanwhile.
    opened(browser)
    for name, made in {"captures": "Array.from({length: 380000}, (_, i) => (i * 2654435761 >>> 6).toString(2).padStart(26, '0')).join('\\n')",
                       "noise": "Array.from({length: 1e7}, (_, i) => String.fromCharCode(33 + (i * 2654435761 >>> 8) % 94)).join('')"}.items():
        press(browser, "Clear")
        browser.run(f"""
            const data = new DataTransfer();
            data.setData('text/plain', {made});
            {BEATS}
            const began = performance.now();
            document.getElementById('captures').dispatchEvent(new ClipboardEvent('paste', {{clipboardData: data, bubbles: true, cancelable: true}}));
        """)
        began = time.monotonic()
        until(browser, "!document.getElementById('status').textContent.startsWith('Working') && document.getElementById('read-answer').innerText.length > 60",
              f"an answer to 10 MB of {name}", 240)
        numbers[f"10 MB of {name}, s"] = round(time.monotonic() - began, 1)
        longest = browser.run(LONGEST)
        numbers[f"the page stands still meanwhile for at most, ms ({name})"] = round(longest)
        if longest > 700 * SLACK:
            fail(f"10 MB of {name}: the page stands still for {longest:.0f} ms")
    # Stopped by its button, and asked anew at once.
    browser.run("document.getElementById('hide').click()")
    until(browser, "!document.getElementById('stop').hidden || !document.getElementById('status').textContent.startsWith('Working')", "work that can be stopped")
    if not browser.run("return document.getElementById('stop').hidden"):
        browser.click("#stop")
        until(browser, "document.getElementById('status').textContent.startsWith('Stopped')", "stopped")
    press(browser, "Clear")
    press(browser, "Show an example")
    says(browser, "std26")


MARKUP = "<img src=x onerror=window.hurt=1><script>window.hurt=1</script>"
# Turns the direction of what follows, and never turns it back.
TURNS = "\u202e\u2066"

HURT = """
const own = document.querySelectorAll('.answer img, .answer script, .answer iframe, .answer object, .answer embed, .answer form, .answer link, .answer base');
const hears = [...document.querySelectorAll('.answer *')].filter(e => [...e.attributes].some(a => /^on|^srcdoc$/.test(a.name) || /^\\s*javascript:/i.test(a.value)));
const bare = [...document.querySelectorAll('body *')].filter(e => e.childElementCount === 0 && /[\\u202a-\\u202e\\u2066-\\u2069]/.test(e.textContent) && !e.closest('textarea, bdi, pre, [dir=auto]'));
return [window.hurt ? 'a script of a file ran' : '', ...[...own, ...hears].map(e => e.outerHTML.slice(0, 200)),
        ...bare.map(e => 'turns the page: ' + e.outerHTML.slice(0, 200))].filter(Boolean);
"""


def attackers(browser, size):
    """Names, notes and contents made to do harm: shown as the text they are, and no wider than the page."""
    long = "m" * 4000
    bits = "10100000100010000111000011"
    words = {"markup": MARKUP, "turns": TURNS + "0001 tfil", "long": long, "quotes": "\"'`${window.hurt=1}</title></svg></style>"}
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        quote = lambda word: '"' + word.replace('"', '""') + '"'
        for name, word in words.items():
            opened(browser)
            cell = quote(word)
            # A name of a file has no slash, and 255 bytes at most.
            stem = word.replace("/", "!")[:100]
            reads = place / f"{stem} r.csv"
            reads.write_text(f"bits,reader,door,note,printed,expected\n{bits},{cell},{cell},{cell},4321,{cell}\n{bits[:-1]}0,{cell},{cell},{cell},7,{cell}\n{cell},1,1,1,1,1\n")
            roster = place / f"{stem} p.csv"
            other = quote("other " + word)
            roster.write_text(f"bits,printed,holder,state,{cell}\n{bits},4321,{cell},kept,{cell}\n{bits},4321,{other},kept,x\n")
            toml = json.dumps(word)
            table = place / f"{stem} t.toml"
            table.write_text(f"[[layout]]\nid = 'odd26'\ntitle = {toml}\nlength = 26\nbasis = {toml}\n"
                             "[[layout.field]]\nrole = 'card'\nspan = '2-25'\n")
            site = place / f"{stem} s.toml"
            site.write_text(f"# {word[:200]}\n[panel]\nslots = 2\n[states]\n{json.dumps(word[:200])} = 'kept'\n")
            turn(browser, "Read")
            drop(browser, table)
            until(browser, "document.getElementById('status').textContent.includes('table of layouts') || document.querySelector('#read-answer').innerText.trim()", f"{name}: a table")
            turn(browser, "Read")
            choose(browser, "#read-files", reads)
            until(browser, "document.querySelector('#read-answer').innerText.trim()", f"{name}: an answer")
            hurt(browser, f"attack-read-{name}", size)
            turn(browser, "Learn")
            choose(browser, "#learn-files", reads)
            until(browser, "document.querySelector('#learn-answer').innerText.trim()", f"{name}: a word of what to learn from")
            hurt(browser, f"attack-learn-{name}", size)
            turn(browser, "Plan")
            choose(browser, "#roster-files", roster)
            choose(browser, "#site-files", site)
            press(browser, "Plan the slots")
            until(browser, "document.querySelector('#plan-answer').innerText.trim()", f"{name}: a plan, or a word")
            hurt(browser, f"attack-plan-{name}", size)
            choose(browser, "#site-files", MILL / "mill.toml")
            press(browser, "Plan the slots")
            until(browser, "document.querySelector('#plan-answer .verdict')", f"{name}: a plan")
            hurt(browser, f"attack-planned-{name}", size)
            turn(browser, "Prove")
            press(browser, "Prove the plan")
            until(browser, "document.querySelector('#prove-answer').innerText.trim()", f"{name}: a proof")
            hurt(browser, f"attack-prove-{name}", size)
            turn(browser, "Job")
            hurt(browser, f"attack-job-{name}", size)


def hurt(browser, name, size):
    for what in browser.run(HURT):
        fail(f"{name} ({size}): {what}")
    seen = browser.run(OVERFLOW)
    if seen["scroll"] > seen["client"] or seen["wide"]:
        fail(f"{name} ({size}): {seen['scroll']} wide on {seen['client']}: {seen['wide']}")
    for asked in requests(browser):
        if not asked.startswith(("blob:", "data:")) and asked.split("#")[0] != PAGE.as_uri():
            fail(f"{name} ({size}): asks for {asked[:200]}")
    browser.picture(OUT / f"pocket-{name}-{size}.png")


TRAP = """
const done = arguments[arguments.length - 1];
holdover.ask("trap", [["a.txt", new Uint8Array(0)]], [{words: [1n]}]).then(() => done("answered"), error => done(String(error)));
"""

CASE = """
const [files, words, takes, done] = arguments;
const bytes = text => Uint8Array.from(atob(text), c => c.charCodeAt(0));
const text = bytes => { let all = ''; for (let i = 0; i < bytes.length; i += 8192) all += String.fromCharCode(...bytes.subarray(i, i + 8192)); return btoa(all); };
holdover.ask("case " + Math.random(), files.map(([name, content]) => [name, bytes(content)]), [{words, takes}]).then(
  ([ran]) => done({code: ran.code, said: ran.said, output: text(ran.output),
    files: Object.fromEntries(Object.entries(ran.files).map(([name, content]) => [name, text(content)]))}),
  error => done({broke: String(error)}));
"""


def cases(browser):
    """The calls that every way in answers alike, through the page's engine."""
    calls = json.loads((FIXTURES / "cases/calls.json").read_text())
    for call in calls["cases"]:
        name = call["name"]
        files = [[at, base64.b64encode((FIXTURES / path).read_bytes()).decode()] for at, path in call["files"].items()]
        came = browser.run_async(CASE, files, call["words"], call["writes"])
        def kept(what):
            path = FIXTURES / "cases/calls" / f"{name}.{what.replace('/', '-')}"
            return base64.b64encode(path.read_bytes() if path.exists() else b"").decode()
        expected = {"code": call["code"], "said": call["said"], "output": kept("out"),
                    "files": {what: kept(what) for what in call["writes"]}}
        if came != expected:
            fail(f"case {name}: {str(came)[:300]}")
    numbers["shared cases"] = len(calls["cases"])
    # An engine that breaks is told of, and the next one answers.
    if browser.run_async(TRAP) == "answered":
        fail("an impossible call was answered")
    if browser.run_async(CASE, [], ["compose", "std26", "site=65", "card=4321"], []).get("code") != 0:
        fail("after a break there is no engine")


def drop(browser, *paths):
    """Files dropped on the page."""
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        browser.cdp("Input.dispatchDragEvent", type=kind, x=200, y=200, data=data)


def dropping(browser):
    opened(browser)
    drop(browser, *(MILL / name for name in ("mill.toml", "roster.csv", "found.toml", "survey.csv")))
    says(browser, "found30")
    turn(browser, "Plan")
    press(browser, "Plan the slots")
    says(browser, "same-panel-number")


def without_worker(browser):
    """A browser that gives a page from disk no worker answers all the same."""
    script = browser.cdp("Page.addScriptToEvaluateOnNewDocument", source="delete globalThis.Worker")["identifier"]
    opened(browser)
    press(browser, "Show an example")
    says(browser, "4321")
    browser.cdp("Page.removeScriptToEvaluateOnNewDocument", identifier=script)


def served(browser):
    """From a server too the page is all that is asked for, and what keeps it; it then opens with the
    server gone."""
    asked = []
    beside = PAGE.with_name("holdover-offline.js")

    class Server(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            script = self.path.startswith("/holdover-offline.js")
            self.send_response(200)
            self.send_header("Content-Type", "text/javascript" if script else "text/html")
            self.end_headers()
            self.wfile.write((beside if script else PAGE).read_bytes())

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Server)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    browser.cdp("Network.emulateNetworkConditions", offline=False, latency=0, downloadThroughput=-1, uploadThroughput=-1)
    browser.ask("POST", "/url", {"url": f"http://127.0.0.1:{server.server_port}/pocket.html"})
    until(browser, "document.body?.dataset.ready", "ready")
    about = browser.cdp("Page.getAppManifest")
    if about.get("errors") or "standalone" not in about.get("data", ""):
        fail(f"the manifest: {str(about)[:300]}")
    press(browser, "Show an example")
    says(browser, "4321")
    until(browser, "!!navigator.serviceWorker.controller", "a page that is kept")
    server.shutdown()
    server.server_close()
    if set(asked) != {"/pocket.html", "/holdover-offline.js?page=pocket.html"}:
        fail(f"asks a server for {asked}")
    browser.ask("POST", "/refresh", {})
    until(browser, "document.body?.dataset.ready", "ready without its server")
    press(browser, "Show an example")
    says(browser, "4321")
    for entry in browser.log("browser"):
        fail(f"served: console: {entry['message']}")
    list(requests(browser))
    browser.go_offline()


def main():
    size = PAGE.stat().st_size
    numbers["bytes"] = size
    if size > MOST_BYTES:
        fail(f"the page has {size} bytes")
    browser = Browser()
    try:
        browser.go_offline()
        for size in SCREENS:
            browser.size(size)
            opened(browser)
            if size == "desktop":
                keyboard(browser)
            reading(browser, size)
            learning(browser, size)
            planning(browser, size, OUT)
            proving(browser, size)
            saving(browser, size)
            guided(browser, size)
            attackers(browser, size)
        dropping(browser)
        without_worker(browser)
        served(browser)
        opened(browser)
        cases(browser)
        garbage(browser)
    finally:
        browser.close()
    for what, number in numbers.items():
        print(f"{what}: {number}")
    if failures:
        sys.exit(f"{len(failures)} faults in the pocket page")
    print(f"the pocket page holds on {', '.join(SCREENS)}")


main()
