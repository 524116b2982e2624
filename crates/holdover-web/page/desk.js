// The desk: hands work to the engine, one piece at a time, and can stop it.

const desk = {compiled: undefined, worker: undefined, asked: new Map(), last: 0, at: undefined, queue: []};

// Eleven signs, of the 94 that ASCII prints without "<", are nine bytes: a number
// of 72 bits, in two halves.
function decoded(text, length) {
  const bytes = new Uint8Array(text.length / 11 * 9), half = 2 ** 36;
  for (let at = 0, to = 0; at < text.length; at += 11, to += 9) {
    let high = 0, low = 0;
    for (let i = at; i < at + 11; i++) {
      const code = text.charCodeAt(i);
      low = low * 94 + code - (code > 60 ? 33 : 32);
      const carry = Math.floor(low / half);
      low -= carry * half;
      high = high * 94 + carry;
    }
    // The fifth byte has four bits of each half.
    for (let i = 3; i >= 0; i--) {
      bytes[to + i] = (high / 2 ** (4 + 8 * (3 - i))) % 256;
      bytes[to + 5 + i] = (low / 2 ** (8 * (3 - i))) % 256;
    }
    bytes[to + 4] = high % 16 * 16 + Math.floor(low / 2 ** 32);
  }
  return bytes.subarray(0, length);
}

async function unpack() {
  const packed = document.getElementById("packed");
  const bytes = decoded(packed.textContent, +packed.dataset.bytes);
  packed.remove();
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  desk.compiled = await WebAssembly.compile(await new Response(stream).arrayBuffer());
}

function heard({id, done, broke}) {
  const asked = desk.asked.get(id);
  desk.asked.delete(id);
  if (broke === undefined) asked?.resolve(done);
  else asked?.reject(new Error(broke));
}

function send(message) {
  return new Promise((resolve, reject) => {
    message.id = ++desk.last;
    desk.asked.set(message.id, {resolve, reject});
    desk.worker.send(message);
  });
}

// A worker made of the page's own script; a browser that lets a page from
// storage have none runs the engine on the page.
async function employ() {
  const own = `const hear = (${engine})(message => postMessage(message)); onmessage = event => hear(event.data);`;
  try {
    const url = URL.createObjectURL(new Blob([own], {type: "text/javascript"}));
    const worker = new Worker(url);
    const failed = new Promise((_, reject) => { worker.onerror = worker.onmessageerror = reject; });
    worker.onmessage = event => heard(event.data);
    desk.worker = {send: message => worker.postMessage(message), end: () => worker.terminate()};
    desk.guide = await Promise.race([send({compiled: desk.compiled}), failed]);
    URL.revokeObjectURL(url);
  } catch {
    const hear = engine(heard);
    desk.worker = {send: message => setTimeout(() => hear(message)), end() {}};
    desk.guide = await send({compiled: desk.compiled});
  }
}

function fire() {
  desk.worker?.end();
  desk.worker = undefined;
  for (const {reject} of desk.asked.values()) reject(new Error("stopped"));
  desk.asked.clear();
}

// Work of this key is not wanted any more: what waits is dropped, what is at
// work is stopped, unless it is nearly done: an engine takes time to start.
function drop(key) {
  desk.queue.filter(piece => piece.key === key).forEach(piece => piece.reject(new Error("superseded")));
  desk.queue = desk.queue.filter(piece => piece.key !== key);
  if (desk.at?.key !== key) return;
  desk.at.superseded = true;
  if (performance.now() - desk.at.begun > 250) fire();
}

// Runs commands on files. Of pieces of work with the same key only the newest
// is wanted.
function ask(key, files, runs) {
  return new Promise((resolve, reject) => {
    drop(key);
    desk.queue.push({key, files, runs, resolve, reject});
    next();
  });
}

async function next() {
  if (desk.at || !desk.queue.length) return;
  const piece = desk.at = desk.queue.shift();
  // What is done at once needs no button.
  const slow = setTimeout(() => {
    document.getElementById("stop").hidden = false;
    tell("Working …");
  }, 400);
  try {
    await desk.ready;
    if (!desk.worker) await employ();
    piece.begun = performance.now();
    const done = await send({files: piece.files, runs: piece.runs});
    if (piece.superseded) piece.reject(new Error("superseded"));
    else piece.resolve(done);
  } catch (error) {
    piece.reject(piece.superseded ? new Error("superseded") : error);
  }
  clearTimeout(slow);
  document.getElementById("stop").hidden = true;
  desk.at = undefined;
  next();
}
