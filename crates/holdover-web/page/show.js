// What the page shows: the engine's own pages, taken apart and put in place.

// Lines of mistakes shown; a wrong file has one a line.
const MOST_SAID = 40;

const at = id => document.getElementById(id);

function make(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

function tell(words, bad = false) {
  const status = at("status");
  status.classList.toggle("bad", bad);
  if (status.textContent !== words) status.textContent = words;
}

// A page the engine made. It holds no script, and this page's policy would run
// none; headings step down to stand below the step's own.
function parsed(bytes) {
  const page = new DOMParser().parseFromString(text.decode(bytes), "text/html");
  if (!document.querySelector("svg.patterns")) document.body.prepend(document.adoptNode(page.querySelector("svg.patterns")));
  return page;
}

// Its headings stand below the step's own, and keep their looks.
function lowered(part) {
  for (const heading of part.querySelectorAll("h2, h3, h4, h5")) heading.ariaLevel = +heading.tagName[1] + 1;
  return part;
}

// The guide, a page at a time, as it came with the engine.
function guide(name) {
  const all = new DOMParser().parseFromString(desk.guide ?? "", "text/html");
  const page = all.getElementById(`guide-${name}`) ?? all.getElementById("guide-index");
  if (!page) return;
  for (const block of page.querySelectorAll("pre")) Object.assign(block, {className: "scroll", tabIndex: 0});
  for (const table of page.querySelectorAll("table")) {
    const wide = all.createElement("div");
    Object.assign(wide, {className: "wide", tabIndex: 0});
    table.replaceWith(wide);
    wide.append(table);
  }
  const [title, ...rest] = lowered(document.adoptNode(page)).children;
  at("guide-title").textContent = title.textContent;
  at("guide-back").hidden = page.id === "guide-index";
  at("guide-answer").replaceChildren(...rest);
}

// Verdict, body and what it was made of, in the order they are read.
function parts(bytes) {
  const page = parsed(bytes);
  const adopt = element => document.adoptNode(element);
  const verdict = adopt(page.querySelector(".verdict"));
  const body = lowered(adopt(page.querySelector("main")));
  return {verdict, body: [...body.childNodes]};
}

// What was said on standard error: mistakes, with what to do.
function said(ran) {
  if (!ran.said.trim()) return [];
  const note = ran.code !== 2, lines = ran.said.trimEnd().split("\n");
  const more = lines.length > MOST_SAID ? [`and ${lines.length - MOST_SAID} more lines`] : [];
  const shown = [...lines.slice(0, MOST_SAID), ...more].map(line => line.slice(0, 2000)).join("\n");
  return [make("pre", {className: note ? "said note" : "said", tabIndex: 0, textContent: shown, role: "group", ariaLabel: note ? "Notes" : "Mistakes"})];
}

function button(words, does, main = false) {
  return make("button", {type: "button", className: main ? "main" : "", textContent: words, onclick: does});
}

function save(name, bytes) {
  const url = URL.createObjectURL(new Blob([bytes], {type: "application/octet-stream"}));
  const link = make("a", {href: url, download: name, hidden: true});
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
}

// The engine's page on paper, and nothing of this one, until work goes on.
function print(bytes) {
  const page = parsed(bytes);
  at("paper").replaceChildren(...[...page.body.children].filter(part => !part.matches("svg.patterns")).map(part => document.adoptNode(part)));
  document.body.classList.add("paper");
  const away = () => {
    document.body.classList.remove("paper");
    at("paper").replaceChildren();
  };
  for (const goesOn of ["pointerdown", "keydown"]) addEventListener(goesOn, away, {once: true, capture: true});
  window.print();
}

// An answer in its place: pages under each other, then what can be done.
function show(place, ran, page, ...more) {
  const pages = page === undefined ? [] : [page].flat();
  const shown = [...said(ran)];
  let verdict = "";
  for (const bytes of pages) {
    const {verdict: line, body} = parts(bytes);
    verdict ||= line.textContent.trim();
    shown.push(line, ...body);
  }
  if (ran.code === 2 && !pages.length) verdict = "This did not work: see what is wrong below.";
  place.classList.remove("stale");
  // Mistakes come first; notes after the answer they belong to.
  if (ran.code !== 2 && shown[0]?.matches?.("pre")) shown.push(shown.shift());
  place.replaceChildren(...shown, ...more);
  return verdict;
}
