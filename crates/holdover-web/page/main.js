// What is clicked, typed, pasted and dropped.

// A paste or a file of more than this is no text for a field: browsers take
// seconds to lay it out.
const MOST_TYPED = 65536;

const SECTIONS = ["read", "learn", "plan", "prove", "job", "guide"];
const NAMES = {typed: [TYPED, "captures"], samples: [SAMPLES, "samples"]};

// After any change of the job: lists, choices and the store follow.
let saving;
function changed() {
  const files = [...job].filter(([, file]) => file.bytes.length || ![TYPED, SAMPLES].includes(file.name));
  at("count").textContent = files.length ? ` ${files.length}` : "";
  at("no-files").hidden = files.length > 0;
  at("files").replaceChildren(...files.map(fileRow));
  for (const id of ["roster", "site"]) choices(id);
  const withs = [...of("table"), ...(chosen("site") ? [chosen("site")] : [])];
  at("read-with").textContent = withs.length ? `Known besides the built-in table: ${withs.join(", ")}.` : "";
  const others = of("captures").filter(name => name !== TYPED);
  if (others.length) at("read-with").append(make("span", {textContent: ` Files read: ${others.join(", ")}.`}));
  at("learn-with").textContent = newest("samples") ? `Cards of ${newest("samples")}.` : "";
  at("plan-with").textContent = of("table").length ? `Tables: built-in, ${of("table").join(", ")}.` : "Tables: built-in. A layout that was learnt is used once it is kept as a table.";
  const planned = newest("plan");
  at("prove-with").textContent = planned ? `Plan: ${planned}. Roster: ${chosen("roster") || "none yet"}. Site file: ${chosen("site") || "none"}.` : "No plan yet.";
  clearTimeout(saving);
  if (at("remember").checked) {
    saving = setTimeout(() => { store.kept = store.save().catch(cannotKeep); }, 300);
  }
}

function cannotKeep(error) {
  at("remember").checked = false;
  tell(`This browser keeps nothing for this page (${error?.message ?? error}): save the files instead.`, true);
}

function size(bytes) {
  return bytes < 1000 ? `${bytes} bytes` : bytes < 1e6 ? `${(bytes / 1000).toFixed(1)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

function fileRow([name, file]) {
  const uses = make("select", {onchange() { file.use = this.value; changed(); read(); }},
    ...Object.entries(USES).map(([use, words]) => make("option", {value: use, textContent: words, selected: use === file.use})));
  uses.setAttribute("aria-label", `Use of ${name}`);
  const act = (words, does) => {
    const pressed = button(words, does);
    pressed.setAttribute("aria-label", `${words} ${name}`);
    return pressed;
  };
  return make("li", {},
    make("span", {className: "name", textContent: name}), " ", make("span", {className: "size", textContent: size(file.bytes.length)}),
    make("div", {className: "row"}, uses, act("Save", () => save(name, file.bytes)), act("Remove", () => {
      job.delete(name);
      if (name === TYPED) at("captures").value = "";
      if (name === SAMPLES) at("samples").value = "";
      changed();
      read();
      tell(`${name} is removed from the job.`);
      at("files-title").scrollIntoView({block: "nearest"});
    })));
}

// Rosters or site files to choose from, and the text of the chosen one.
function choices(id) {
  const select = at(id), before = select.value, names = of(id), none = select.options.length > 1 && before === "";
  const empty = id === "roster" ? "none: only the site file's cards" : "none yet";
  select.replaceChildren(make("option", {value: "", textContent: names.length ? "none" : empty}),
    ...names.map(name => make("option", {value: name, textContent: name})));
  select.value = names.includes(before) ? before : none ? "" : names.at(-1) ?? "";
  opened(id);
}

function opened(id) {
  const name = chosen(id), field = at(`${id}-text`), bytes = job.get(name)?.bytes;
  const binary = bytes && bytes[0] === 0x50 && bytes[1] === 0x4b;
  const fits = bytes && !binary && bytes.length <= MOST_TYPED;
  at(`${id}-itself`).hidden = !fits;
  if (fits && field !== document.activeElement) field.value = text.decode(bytes);
  if (id === "site") panel(fits ? text.decode(bytes) : undefined);
}

// The panel's limits, read from the site file's text and written back into it,
// comments and all.
const limit = key => new RegExp(`^(\\s*${key}\\s*=\\s*)("[^"]*"|[^\\s#]+)`, "m");

function panel(site) {
  at("panel").hidden = site === undefined;
  if (site === undefined) return;
  const [head] = site.split(/^\s*\[\[/m, 1);
  const standard = {slots: "", first_bit: "1", identity: '"number"', max_length: "256", max_digits: "10", kept_digits: '"low"', checks_parity: "true", checks_site: "true"};
  for (const field of at("panel").querySelectorAll("[data-key]")) {
    if (field !== document.activeElement) field.value = head.match(limit(field.dataset.key))?.[2] ?? standard[field.dataset.key];
  }
}

function setLimit(key, value) {
  const name = chosen("site"), site = text.decode(job.get(name).bytes);
  const end = site.search(/^\s*\[\[/m), cut = end < 0 ? site.length : end;
  let head = site.slice(0, cut);
  if (limit(key).test(head)) head = head.replace(limit(key), (_, before) => before + value);
  else if (/^\s*\[\s*panel\s*\].*$/m.test(head)) head = head.replace(/^\s*\[\s*panel\s*\].*$/m, line => `${line}\n${key} = ${value}`);
  else head = `[panel]\n${key} = ${value}\n\n${head}`;
  keep(name, utf8.encode(head + site.slice(cut)), "site");
  at("site").value = name;
  changed();
}

// Files from outside.
async function take(files, wanted) {
  let last;
  for (const file of files) {
    if (file.size > MOST_BYTES) {
      tell(`${file.name}: larger than 256 MiB, more than this page takes: use the command holdover.`, true);
      continue;
    }
    let bytes;
    try {
      bytes = new Uint8Array(await file.arrayBuffer());
    } catch (error) {
      tell(`${file.name} cannot be read (${error.message}): choose it again.`, true);
      continue;
    }
    const name = nameOf(file.name), use = wanted ?? useOf(bytes), before = job.has(name);
    keep(name, bytes, use);
    if (use === "roster" || use === "site") {
      changed();
      at(use).value = name;
    }
    last = {name, use, before};
  }
  changed();
  if (!last) return;
  tell(`${last.name} is in the job, as ${USES[last.use]}${last.before ? ", in the place of the one before" : ""}.`);
  const section = {captures: "read", samples: "learn", roster: "plan", site: "plan", plan: "prove", cases: "prove"}[last.use];
  if (!wanted && section && files.length === 1) location.hash = section;
  if (last.use === "samples") learn();
  else if (["captures", "table", "site"].includes(last.use)) await read();
}

// A field that is a file of the job.
function typed(field, [name, use]) {
  const typing = at(field).value;
  if (typing) {
    const header = use === "samples" && /^[\s01]/.test(typing) ? "bits,printed\n" : "";
    keep(name, utf8.encode(header + typing), use);
  } else {
    job.delete(name);
  }
  changed();
}

function pastedInto(field, use, then) {
  at(field).addEventListener("paste", event => {
    const pasted = event.clipboardData?.getData("text/plain") ?? "";
    if (pasted.length <= MOST_TYPED) return;
    event.preventDefault();
    keep("pasted.txt", utf8.encode(pasted), use);
    changed();
    tell(`${size(pasted.length)} were pasted: kept as the file pasted.txt.`);
    then();
  });
}

function go() {
  const [wanted, page] = location.hash.slice(1).split("/");
  if (wanted === "work") return;
  if (wanted === "guide") guide(page);
  const name = SECTIONS.includes(wanted) ? wanted : "read";
  for (const section of SECTIONS) at(section).hidden = section !== name;
  for (const link of document.querySelectorAll("nav a")) {
    if (link.hash === `#${name}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  document.title = name === "read" ? "Holdover" : `${at(`${name}-title`).textContent} · Holdover`;
  if (wanted) {
    scrollTo(0, 0);
    at(`${name}-title`).focus({preventScroll: true});
  }
}

// A site file and a roster to begin with, as `holdover init` writes them.
async function begin(use) {
  const name = `${use}.${use === "site" ? "toml" : "csv"}`;
  if (job.has(name)) return tell(`${name} is there already: remove it first, or change it.`, true);
  try {
    const [ran] = await ask("begin", [], [{words: ["init", "new"], takes: [`new/${name}`]}]);
    keep(name, ran.files[`new/${name}`], use);
    changed();
    at(use).value = name;
    changed();
    at(use === "site" ? "panel" : "roster-itself").open = true;
    tell(`${name} is begun: ${use === "site" ? "set what the new panel's manual says" : "a card a row below the header"}.`);
  } catch (error) {
    tell(`This did not work: ${error.message}.`, true);
  }
}

let soon;
function listen() {
  addEventListener("hashchange", go);
  at("stop").onclick = fire;

  at("captures").addEventListener("input", event => {
    typed("captures", NAMES.typed);
    clearTimeout(soon);
    if (event.inputType === "insertFromPaste") read();
    else soon = setTimeout(read, 150);
  });
  pastedInto("captures", "captures", read);
  at("samples").addEventListener("input", () => typed("samples", NAMES.samples));
  pastedInto("samples", "samples", learn);
  at("example").onclick = () => {
    at("captures").value = "10100000100010000111000011\n";
    typed("captures", NAMES.typed);
    read();
  };
  at("read-clear").onclick = () => {
    at("captures").value = "";
    for (const name of of("captures")) job.delete(name);
    changed();
    read();
    at("captures").focus();
  };
  at("hide").onchange = read;

  for (const input of document.querySelectorAll("input[type=file]")) {
    input.onchange = async () => {
      await take([...input.files], input.dataset.use);
      // So that the same file, changed, can be chosen again.
      input.value = "";
    };
  }
  at("learn-run").onclick = learn;
  at("plan-run").onclick = plan;
  at("prove-run").onclick = prove;
  at("cases-run").onclick = proveCases;
  for (const id of ["plan-full", "pseudonyms"]) at(id).onchange = () => { if (at("plan-answer").childElementCount) plan(); };
  for (const use of ["roster", "site"]) {
    at(`${use}-new`).onclick = () => begin(use);
    at(use).onchange = () => { changed(); if (use === "site") read(); };
    at(`${use}-text`).addEventListener("input", () => {
      const name = chosen(use);
      keep(name, utf8.encode(at(`${use}-text`).value), use);
      changed();
      at(use).value = name;
    });
  }
  at("panel").addEventListener("change", ({target}) => setLimit(target.dataset.key, target.value || "1"));

  at("job-save").onclick = () => {
    // One after the other: browsers drop downloads that come all at once.
    [...job].forEach(([name, file], i) => setTimeout(() => save(name, file.bytes), i * 300));
    tell(job.size ? `${job.size} files are saved where this browser keeps downloads. It may ask whether several are allowed.` : "There is no file to save.");
  };
  at("job-forget").onclick = async () => {
    if (job.size && !confirm("Forget all files of this job, here and in this browser's store? What is not saved is lost.")) return;
    job.clear();
    for (const key of ["read", "learn", "plan", "prove"]) drop(key);
    for (const id of ["captures", "samples", "roster-text", "site-text"]) at(id).value = "";
    for (const id of ["read", "learn", "plan", "prove"]) at(`${id}-answer`).replaceChildren();
    at("remember").checked = false;
    changed();
    try {
      await store.kept;
      await store.forget();
      tell("Everything is forgotten.");
    } catch (error) {
      tell(`The page is empty, but this browser's store is not (${error.message}): close other tabs of this page and try again.`, true);
    }
  };
  at("remember").onchange = async ({target}) => {
    try {
      await (target.checked ? store.save() : store.forget());
      tell(target.checked ? "This job is kept in this browser from now on." : "This browser keeps nothing of this job any more.");
    } catch (error) {
      cannotKeep(error);
    }
  };

  let inside = 0;
  const dragsFiles = event => event.dataTransfer?.types.includes("Files");
  addEventListener("dragenter", event => { if (dragsFiles(event)) at("drop").hidden = ++inside === 0; });
  addEventListener("dragleave", event => { if (dragsFiles(event)) at("drop").hidden = --inside <= 0; });
  addEventListener("dragover", event => { if (dragsFiles(event)) event.preventDefault(); });
  addEventListener("drop", event => {
    if (!dragsFiles(event)) return;
    event.preventDefault();
    inside = 0;
    at("drop").hidden = true;
    take([...event.dataTransfer.files]);
  });
}

// From a server, phones offer to put it on the home screen.
function manifest() {
  if (!location.protocol.startsWith("http")) return;
  const here = location.href.split("#")[0], icon = document.querySelector("link[rel=icon]").href;
  const about = {name: "Holdover", short_name: "Holdover", start_url: here, scope: here, display: "standalone",
    background_color: "#ffffff", theme_color: "#ffffff", icons: [{src: icon, sizes: "any", type: "image/svg+xml"}]};
  document.head.append(make("link", {rel: "manifest", href: `data:application/manifest+json,${encodeURIComponent(JSON.stringify(about))}`}));
}

// Where `holdover page --served` has put its second file too, the browser keeps
// the page, and opens it without a network from then on.
function stay() {
  if (!location.protocol.startsWith("http") || !navigator.serviceWorker) return;
  const name = encodeURIComponent(location.pathname.split("/").pop());
  navigator.serviceWorker.register(`holdover-offline.js?page=${name}`).catch(() => {});
}

async function begun() {
  listen();
  go();
  manifest();
  stay();
  desk.ready = unpack();
  try {
    await desk.ready;
    await employ();
    go();
  } catch (error) {
    return tell(`This browser cannot run the page (${error.message}). It needs WebAssembly and DecompressionStream: browsers of 2023 and later have them.`, true);
  }
  try {
    const kept = await store.load();
    if (kept) {
      kept.forEach(([name, file]) => job.set(name, file));
      at("remember").checked = true;
      if (job.has(TYPED)) at("captures").value = text.decode(job.get(TYPED).bytes);
      if (job.has(SAMPLES)) at("samples").value = text.decode(job.get(SAMPLES).bytes);
    }
  } catch {
    // No store is no loss: nothing was asked of it yet.
  }
  changed();
  // A first answer that nobody waits for makes the next ones quick.
  const [{output}] = await ask("first", [["first.txt", utf8.encode("10100000100010000111000011\n")]],
    [{words: ["--version"]}, {words: ["read", "first.txt", "--format", "csv", "--html", "first.html"]}]);
  at("version").textContent = `Made by ${text.decode(output).trim().replace(/^h/, "H")}.`;
  await read();
  document.body.dataset.ready = performance.now().toFixed(0);
}

// For whoever wants to ask the engine from the console, as tests do.
globalThis.holdover = {ask};
begun();
