// The job: files by name, each with its use.

const USES = {
  captures: "captures", samples: "cards to learn from", roster: "roster", site: "site file",
  table: "table of layouts", plan: "plan", cases: "known cases", sheet: "sheet made here",
};
const TYPED = "typed.txt", SAMPLES = "samples.csv";
// The page takes no more at once: far more than a building needs, and less
// than phones give a page.
const MOST_BYTES = 256 * 2 ** 20;

const utf8 = new TextEncoder(), text = new TextDecoder();
const job = new Map();

// A name that a command takes for a file of this name, and for nothing else.
function nameOf(given) {
  const name = given.replace(/[\p{C}/\\]/gu, "_").replace(/^[-\s]+/, "").trim();
  return /^(built-in)?$|^[01\s_:-]+$|^0x/i.test(name) ? `file ${name}`.trim() + ".txt" : name;
}

// What a file is for, by its content.
function useOf(bytes) {
  if (bytes[0] === 0x50 && bytes[1] === 0x4b) return "roster";
  const head = text.decode(bytes.subarray(0, 65536));
  if (/^\s*\[\[\s*layout\s*\]\]/m.test(head)) return "table";
  if (/^\s*(\[\s*panel\s*\]|\[\[\s*batch\s*\]\])/m.test(head)) return "site";
  if (/^\s*\{\s*"slots"/.test(head)) return "plan";
  const header = head.replace(/^\ufeff/, "").split(/\r?\n/, 1)[0].toLowerCase();
  const columns = header.split(/[,;\t]/).map(cell => cell.trim().replace(/^"|"$/g, ""));
  const has = name => columns.includes(name);
  if (has("holder") || has("state") || has("layout") && has("card") && !has("bits")) return "roster";
  if (has("bits") && (has("layout") || has("verdict"))) return "cases";
  if (has("bits") && has("printed") && !has("reader") && !has("door")) return "samples";
  return "captures";
}

function isProbe(bytes) {
  const head = text.decode(bytes.subarray(0, 4096));
  return /\$(timescale|var|date|enddefinitions)\b/.test(head) || /^\ufeff?"?(time|#?sample)\b/im.test(head.slice(0, 400));
}

// Of a name there is one file; the newest of a use comes last.
function keep(name, bytes, use) {
  job.delete(name);
  job.set(name, {bytes, use});
}

// What was made here never takes the place of what was given.
function keepMade(name, bytes, use) {
  if (!job.has(name) || ["plan", "sheet"].includes(job.get(name).use)) keep(name, bytes, use);
}

const of = use => [...job].filter(([, file]) => file.use === use).map(([name]) => name);
const newest = use => of(use).at(-1);
const filesOf = names => names.map(name => [name, job.get(name).bytes]);

// The browser's own store, asked for only when someone wants it.
const store = {
  open: () => new Promise((resolve, reject) => {
    const asked = indexedDB.open("holdover", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("job");
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = asked.onblocked = () => reject(asked.error ?? new Error("blocked"));
  }),
  async with(mode, does) {
    const opened = await store.open();
    try {
      return await new Promise((resolve, reject) => {
        const change = opened.transaction("job", mode);
        const asked = does(change.objectStore("job"));
        change.oncomplete = () => resolve(asked.result);
        change.onerror = change.onabort = () => reject(change.error);
      });
    } finally {
      opened.close();
    }
  },
  // Whether there is a store at all is asked without making one.
  async load() {
    const known = await indexedDB.databases?.();
    if (known && !known.some(({name}) => name === "holdover")) return undefined;
    return store.with("readonly", all => all.get("files"));
  },
  save: () => store.with("readwrite", all => all.put([...job], "files")),
  forget: () => new Promise((resolve, reject) => {
    const asked = indexedDB.deleteDatabase("holdover");
    asked.onsuccess = resolve;
    asked.onerror = asked.onblocked = () => reject(asked.error ?? new Error("another tab has it open"));
  }),
};
