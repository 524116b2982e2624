// The engine: Holdover as WebAssembly, asked by messages. It runs in a worker
// of its own, or on the page where a browser lets a file have none; so it may
// use nothing from outside this function.
function engine(post) {
  let module, instance;
  const utf8 = new TextEncoder(), text = new TextDecoder();

  // What the engine's parts would ask a browser for. It wants none of it: the
  // time of day is overwritten before it is used, the rest is never called.
  function imports() {
    const all = {};
    for (const {module: from, name} of WebAssembly.Module.imports(module)) {
      (all[from] ??= {})[name] = name.startsWith("__wbg_now") ? () => 0 : () => { throw new Error(name); };
    }
    return all;
  }

  function say(...parts) {
    const bytes = parts.reduce((sum, part) => sum + part.length, 0);
    let at = instance.room(bytes) >>> 0;
    if (at === 0) throw new RangeError("no memory");
    for (const part of parts) {
      new Uint8Array(instance.memory.buffer, at, part.length).set(part);
      at += part.length;
    }
  }

  function answer() {
    return new Uint8Array(instance.memory.buffer, instance.answer() >>> 0, instance.answer_len() >>> 0).slice();
  }

  // Files by name, then commands one after the other; each says which files of
  // those it wrote are wanted.
  function work({files, runs}) {
    instance.clear();
    for (const [name, bytes] of files) {
      const named = utf8.encode(name);
      say(named, bytes);
      instance.put(named.length);
    }
    return runs.map(({words, takes}) => {
      say(utf8.encode(JSON.stringify(words)));
      const code = instance.run(), output = answer();
      instance.said();
      const said = text.decode(answer()), written = {};
      for (const name of takes ?? []) {
        say(utf8.encode(name));
        if (instance.take()) {
          written[name] = answer();
          // Later commands may read it.
          say(utf8.encode(name), written[name]);
          instance.put(utf8.encode(name).length);
        }
      }
      return {code, output, said, files: written};
    });
  }

  function guide() {
    instance.guide();
    return text.decode(answer());
  }

  return async ({id, compiled, files, runs}) => {
    try {
      if (compiled) module = compiled;
      instance ??= (await WebAssembly.instantiate(module, imports())).exports;
      post({id, done: runs ? work({files, runs}) : guide()});
    } catch (error) {
      // A panic ends in a trap; what is left of the instance is thrown away.
      instance = undefined;
      post({id, broke: String(error)});
    }
  };
}
