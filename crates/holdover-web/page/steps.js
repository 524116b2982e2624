// The steps: which words the command line is given, and what comes of them.

// As many captures are drawn before the sums of them.
const A_HANDFUL = 5;

const tables = () => of("table").flatMap((name, i) => i ? ["--table", name] : ["--table", "built-in", "--table", name]);
const chosen = id => at(id).value;

// Work, and what is told of it.
async function step(place, key, files, runs, then) {
  if (place.childElementCount) place.classList.add("stale");
  tell("Working …");
  try {
    tell(then(await ask(key, files, runs)));
  } catch (error) {
    if (error.message === "superseded") return;
    const stopped = error.message === "stopped";
    const words = stopped
      ? "Stopped. Nothing was changed."
      : "This was too much for the page. Nothing was changed; the engine was started anew, and smaller files may do.";
    place.classList.remove("stale");
    place.replaceChildren(make("pre", {className: "said", tabIndex: 0, textContent: stopped ? words : `${words}\n${error.message}`}));
    tell(words, true);
  }
}

function read() {
  const begun = performance.now(), place = at("read-answer");
  const inputs = of("captures").filter(name => job.get(name).bytes.length);
  if (!inputs.length) {
    drop("read");
    place.replaceChildren(make("p", {className: "nothing", textContent: "No capture yet: type or paste one, or choose a file."}));
    place.classList.remove("stale");
    return tell("Ready.");
  }
  const [site] = at("site").value ? [chosen("site")] : [];
  const hide = at("hide").checked, shown = hide ? ["--mask"] : ["--show-numbers"];
  const files = filesOf([...inputs, ...of("table"), ...(site ? [site] : [])]);
  const words = ["read", ...inputs, ...tables(), ...(site ? ["--site", site] : []), "--format", "csv", "--html", "read.html", ...shown];
  const runs = [{words, takes: ["read.html"]}];
  const probes = inputs.filter(name => isProbe(job.get(name).bytes));
  if (probes.length) {
    runs.push({words: ["signal", ...probes, "--format", "csv", "--html", "signal.html", ...(hide ? [] : shown)], takes: ["signal.html"]});
  }
  return step(place, "read", files, runs, ([answered, line]) => {
    const page = answered.files["read.html"];
    const pages = [page, line?.files["signal.html"]].filter(Boolean);
    const keeps = make("div", {className: "buttons"},
      button("Save the answers (CSV)", () => save("answers.csv", answered.output)),
      ...(page ? [button("Print", () => print(page)), button("Save this page", () => save("captures.html", page))] : []));
    const verdict = show(place, answered, pages, ...(page ? [keeps] : []));
    // A handful is looked at one by one: their pictures come before the sums.
    const drawn = [...place.children].find(part => part.firstElementChild?.textContent === "The captures");
    if (drawn?.querySelectorAll("h3").length <= A_HANDFUL) place.querySelector(".verdict").after(drawn);
    const took = performance.now() - begun;
    place.dataset.took = took.toFixed(1);
    return `${verdict} (${took < 1000 ? `${Math.ceil(took)} ms` : `${(took / 1000).toFixed(1)} s`})`;
  });
}

function learn() {
  const place = at("learn-answer"), samples = newest("samples");
  if (!samples) {
    place.replaceChildren(make("p", {className: "nothing", textContent: "No cards yet: type them, or choose a file."}));
    return tell("Cards are needed: their bits, and the numbers printed on them.", true);
  }
  const id = chosen("learn-id").trim() || "found", table = `${nameOf(id)}.toml`;
  const words = ["learn", samples, "--id", id, "-o", table, "--format", "json", "--html", "learn.html", "--show-numbers"];
  return step(place, "learn", filesOf([samples]), [{words, takes: ["learn.html", table]}], ([ran]) => {
    const page = ran.files["learn.html"], found = ran.files[table];
    const verdict = show(place, ran, page ?? []);
    if (found) {
      const keepIt = button("Keep it as a table", () => {
        if (job.has(table) && job.get(table).use !== "table") {
          return tell(`${table} is there already, for something else: give the layout another name and learn it again.`, true);
        }
        keep(table, found, "table");
        changed();
        tell(`${table} is a table of this job now: reading and planning use it.`);
      }, true);
      place.querySelector(".verdict").after(make("div", {className: "buttons"}, keepIt,
        button("Save the table", () => save(table, found)), button("Print", () => print(page))));
    }
    return verdict;
  });
}

function plan() {
  const place = at("plan-answer"), roster = chosen("roster"), site = chosen("site");
  if (!site) {
    place.replaceChildren(make("p", {className: "nothing", textContent: "No site file yet: choose one, or begin one with the new panel's limits."}));
    return tell("A site file is needed: choose one, or begin one.", true);
  }
  const sheets = ["plan.json", "worksheet.txt", "enrolment.csv", "cutover.txt"];
  const words = ["plan", "--site", site, ...(roster ? ["--roster", roster] : []), ...tables(), "--format", "json",
    "-o", "plan.json", "--worksheet", "worksheet.txt", "--enrolment", "enrolment.csv", "--cutover", "cutover.txt",
    "--html", "worksheet.html", ...(at("plan-full").checked ? ["--show-numbers"] : []), ...(at("pseudonyms").checked ? ["--pseudonyms"] : [])];
  const files = filesOf([site, ...(roster ? [roster] : []), ...of("table")]);
  return step(place, "plan", files, [{words, takes: [...sheets, "worksheet.html"]}], ([ran]) => {
    const page = ran.files["worksheet.html"];
    const more = [];
    if (page) {
      for (const name of sheets) keepMade(name, ran.files[name], name === "plan.json" ? "plan" : "sheet");
      changed();
      more.push(make("div", {className: "buttons"},
        ...sheets.map(name => button(`Save ${name}`, () => save(name, ran.files[name]))),
        button("Save worksheet.html", () => save("worksheet.html", page))));
    }
    const verdict = show(place, ran, page ?? [], ...more);
    if (page) {
      const first = make("div", {className: "buttons"}, button("Print the worksheet", () => print(page), true),
        button("Prove this plan", () => { location.hash = "prove"; prove(); }));
      place.querySelector(".verdict").after(first);
    }
    return verdict;
  });
}

function proof(words, files, need) {
  const place = at("prove-answer");
  if (need) {
    place.replaceChildren(make("p", {className: "nothing", textContent: need}));
    return tell(need, true);
  }
  const full = at("prove-full").checked ? ["--show-numbers"] : [];
  words.push("--format", "json", "--html", "proof.html", ...full);
  return step(place, "prove", filesOf(files), [{words, takes: ["proof.html"]}], ([ran]) => {
    const page = ran.files["proof.html"];
    const more = page ? [make("div", {className: "buttons"}, button("Print", () => print(page)),
      button("Save the proof", () => save("proof.html", page)))] : [];
    return show(place, ran, page ?? [], ...more);
  });
}

function prove() {
  const planned = newest("plan"), roster = chosen("roster"), site = chosen("site");
  const need = !planned ? "A plan is needed: make one in the step before, or choose one." : !roster && "A roster is needed: choose one in the step before.";
  const words = ["prove", "--plan", planned, "--roster", roster, ...(site ? ["--site", site] : [])];
  return proof(words, need ? [] : [planned, roster, ...(site ? [site] : [])], need);
}

function proveCases() {
  const cases = newest("cases");
  return proof(["prove", "--cases", cases, ...tables()], cases ? [cases, ...of("table")] : [], !cases && "Known cases are needed: choose a file of them.");
}
