// The line to the engine in this very phone. page.js says what a line is; store.js stands before this.
'use strict';
window.trueturnLine = (() => {
  const mostBytes = 256 << 20; // of a picture: as much as a computer takes
  const idleMS = 120000; // a worker's memory never shrinks: after so long without work it ends
  const startMS = 90000; // for the engine to begin

  let on = null, worker = null, starting = null, ending = null, store = null, calls = new Map(), next = 1;
  let busy = false, worked = false, idle = 0, deaths = 0, last = '';

  async function open(listener) {
    on = listener;
    if (!(await alone())) {
      on.lost('Another tab has this session open: go on there, or close it and load this page again.');
      return;
    }
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
    keepForOffline();
    try {
      await running();
    } catch (why) {
      on.lost('The engine does not begin: ' + why.message + '. Load the page again.');
    }
  }

  // alone is whether no other tab works on the session; browsers without locks cannot tell.
  function alone() {
    return new Promise(resolve => {
      if (!navigator.locks) return resolve(true);
      navigator.locks.request('trueturn', { ifAvailable: true }, lock => {
        resolve(Boolean(lock));
        return lock ? new Promise(() => {}) : undefined; // held as long as the page is there
      }).catch(() => resolve(true));
    });
  }

  function keepForOffline() {
    if ('serviceWorker' in navigator && window.isSecureContext && location.protocol.startsWith('http') && !document.getElementById('worker-code')) {
      navigator.serviceWorker.register('sw.js').catch(() => {});
    }
  }

  // running is the engine at work, started where it is not, and not while it ends.
  function running() {
    if (ending) return ending.then(running);
    if (starting) return starting;
    starting = start();
    starting.catch(() => end());
    return starting;
  }

  async function start() {
    if (!store) store = await openTrueturnStore();
    const code = document.getElementById('worker-code');
    const w = code ? new Worker(URL.createObjectURL(new Blob([code.textContent], { type: 'text/javascript' }))) : new Worker('worker.js');
    worker = w;
    const ready = new Promise((resolve, reject) => {
      const late = setTimeout(() => reject(new Error('it takes too long')), startMS);
      w.onmessage = e => {
        if (worker !== w) return;
        if (e.data.ready) { clearTimeout(late); resolve(); }
        else if (e.data.died) { clearTimeout(late); reject(new Error(e.data.died)); died(e.data.died); }
        else hear(e.data);
      };
      w.onerror = e => { clearTimeout(late); reject(new Error(e.message || 'its program cannot be loaded')); died(e.message); };
    });
    w.postMessage({ begin: true, engine: code ? await unpacked() : undefined });
    await ready;
    const begun = await ask('start', {});
    if (begun.why) throw new Error(begun.why);
    on.here(store.kept ? 'on this phone alone' : 'on this phone alone; this browser keeps nothing: save the session before you close the page');
  }

  // unpacked is the engine out of the one file.
  async function unpacked() {
    const packed = Uint8Array.from(atob(document.getElementById('engine').textContent.trim()), c => c.charCodeAt(0));
    return new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'))).arrayBuffer();
  }

  function hear(told) {
    if (told.word !== undefined) {
      last = told.word;
      const live = JSON.parse(told.word).live;
      busy = Boolean(live.working || live.waiting);
      worked = worked || busy;
      if (!busy) deaths = 0;
      rest();
      on.word(told.word);
      return;
    }
    const answer = calls.get(told.id);
    calls.delete(told.id);
    if (answer) answer(JSON.parse(told.text));
  }

  // rest ends a worker that has measured and has nothing more to do.
  function rest() {
    clearTimeout(idle);
    if (busy || !worked || !store.kept || !worker) return;
    idle = setTimeout(() => {
      if (busy || calls.size || !worker) return rest();
      ending = ask('end', {}).then(() => { ending = null; end(); }); // all is in the store
    }, idleMS);
  }

  function end() {
    if (worker) worker.terminate();
    worker = starting = null;
    worked = busy = false;
    clearTimeout(idle);
    for (const answer of calls.values()) answer({ broken: true });
    calls.clear();
  }

  // died: the browser ended the engine, for want of memory say. What it was at is written down, and is read alone the next
  // time.
  function died(why) {
    end();
    if (deaths++ > 3) return on.lost('The engine has ended again and again (' + why + '): load the page anew.');
    on.lost('The engine has ended while it was reading: it begins again.');
    setTimeout(() => running().catch(() => {}), 1000);
  }

  function ask(name, args) {
    return new Promise(resolve => {
      const id = next++;
      calls.set(id, resolve);
      worker.postMessage({ id, name, args });
    });
  }

  async function call(name, args) {
    try {
      await running();
      return await ask(name, args);
    } catch (why) {
      return { broken: true, why: why.message };
    }
  }

  async function send(file, share) {
    if (file.size > mostBytes) return { why: 'larger than ' + (mostBytes >> 20) + ' MB', hint: 'save it smaller, or as JPEG' };
    let bytes;
    try {
      bytes = new Uint8Array(await file.arrayBuffer());
    } catch {
      return { broken: true, why: 'the browser cannot read it now: tried again by itself' };
    }
    share(0.5);
    const picture = { key: Date.now() + '-' + Math.random().toString(36).slice(2, 10), name: file.name, size: bytes.length, mod: file.lastModified };
    const taken = await (store && store.kept ? put(picture, bytes) : give(picture, bytes));
    share(1);
    return taken;
  }

  // put has the picture in the store before anybody is told.
  async function put(picture, bytes) {
    try {
      await store.add(picture, bytes);
    } catch (why) {
      return { why: why && why.name === 'QuotaExceededError' ? 'the browser has no room left for it' : 'the browser did not keep it', hint: 'make room on the phone, and choose it again' };
    }
    const said = await call('offer', picture);
    if (said.broken) { // it is kept, and measured when the engine is back
      setTimeout(() => running().catch(() => {}), 1000);
      return { taken: true };
    }
    if (said.laterMS || said.why) await store.drop(picture.key);
    return said;
  }

  async function give(picture, bytes) {
    try {
      await running();
    } catch (why) {
      return { broken: true, why: why.message };
    }
    return new Promise(resolve => {
      const id = next++;
      calls.set(id, resolve);
      worker.postMessage({ id, picture, bytes }, [bytes.buffer]);
    });
  }

  return {
    name: 'this phone',
    opening: 'Starting …',
    open,
    wake: () => { if (last) on.word(last); },
    send,
    act: call,
    run: args => call('run', { args }),
    judge: () => call('judge', {}),
    drawings: async () => {
      const said = await call('drawings', {});
      if (said.html === undefined) throw new Error('no drawings');
      return said.html;
    },
    report: async () => {
      const said = await call('report', {});
      return URL.createObjectURL(new Blob([said.html || ''], { type: 'text/html' }));
    },
    export: async () => {
      const said = await call('export', {});
      return { name: said.name, address: URL.createObjectURL(new Blob([said.text], { type: 'application/json' })) };
    },
    import: async text => call('import', { text }),
  };
})();
