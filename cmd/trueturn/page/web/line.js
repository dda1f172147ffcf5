// The line to the computer that measures. page.js says what a line is.
'use strict';
window.trueturnLine = (() => {
  const patienceMS = 2500; // a line that is back sooner was not lost
  const silenceMS = 45000; // three heartbeats
  const againMS = 20000;
  const stallMS = 30000; // of a picture on its way, without a byte more
  const answerMS = 120000; // all is sent, and the computer says nothing
  const voidText = 'This address is no longer valid: open the one the computer shows now.';

  let on = null; // whom to tell
  let source = null, tries = 0, heardAt = 0, beats = false, triedAt = 0, losing = 0, retry = 0, words = 0;

  function open(listener) {
    on = listener;
    connect();
    setInterval(() => {
      const now = Date.now();
      const silent = beats && now - heardAt > silenceMS;
      if (silent) miss();
      const stuck = source.readyState !== EventSource.OPEN && now - triedAt > againMS;
      if ((silent && now - triedAt > againMS) || stuck) connect();
    }, 5000);
    addEventListener('pagehide', () => { if (source) source.close(); });
  }

  function connect() {
    clearTimeout(retry);
    if (source) source.close();
    triedAt = Date.now();
    const s = new EventSource('events');
    source = s;
    s.onopen = () => { if (s === source) heard(); };
    s.onmessage = e => {
      if (s !== source) return;
      heard();
      words++;
      on.word(e.data);
    };
    s.addEventListener('beat', () => { beats = true; if (s === source) heard(); });
    s.onerror = () => {
      if (s !== source) return;
      miss();
      if (s.readyState === EventSource.CLOSED) {
        retry = setTimeout(connect, Math.min(10000, 1000 * 2 ** tries++));
        ask();
      }
    };
  }

  function heard() {
    heardAt = Date.now();
    tries = 0;
    clearTimeout(losing);
    losing = 0;
    on.here('connected');
  }

  function miss() {
    if (!losing) losing = setTimeout(() => on.lost('The page has lost the computer: still trying.'), patienceMS);
  }

  // ask fetches the state once: after a sleep it is sooner there than the events, and it says when the address is void.
  async function ask() {
    const before = words;
    try {
      const answer = await fetch('state', { cache: 'no-store' });
      if (answer.status === 403 || answer.status === 404) {
        clearTimeout(losing);
        losing = -1;
        on.lost(voidText);
      } else if (answer.ok) {
        const text = await answer.text();
        if (words === before) on.word(text);
      }
    } catch { /* the events' own trouble says so */ }
  }

  function wake(anew) {
    if (anew) return connect();
    ask();
    if (!source || source.readyState !== EventSource.OPEN || (beats && Date.now() - heardAt > silenceMS)) connect();
  }

  function send(file, share) {
    return new Promise(resolve => {
      const x = new XMLHttpRequest();
      const form = new FormData();
      form.append('picture', file, file.name); // the file as it is
      let watch = 0;
      const expect = ms => { clearTimeout(watch); watch = setTimeout(() => x.abort(), ms); };
      const end = fate => () => { clearTimeout(watch); resolve(fate()); };
      x.open('POST', 'upload');
      x.upload.onprogress = e => {
        expect(stallMS);
        share(e.lengthComputable && e.total ? e.loaded / e.total : 0);
      };
      x.upload.onload = () => { expect(answerMS); share(1); };
      x.onload = end(() => judge(x));
      x.onerror = x.onabort = end(() => ({ broken: true, why: 'no connection to the computer: kept, and sent again by itself' }));
      expect(stallMS);
      x.send(form);
    });
  }

  // judge reads the computer's word on one file.
  function judge(x) {
    const said = verdict(x.responseText);
    if (x.status === 503 || x.status === 429) {
      const seconds = Number(x.getResponseHeader('Retry-After')) || 3;
      return { laterMS: 1000 * Math.min(60, seconds), why: 'the computer has enough to measure for now: sent again by itself' };
    }
    if (x.status === 408) return { laterMS: 2000, why: 'the sending was too slow: sent again by itself; nearer to the router it is faster' };
    if (x.status >= 200 && x.status < 300 && said.taken !== false) return { taken: true };
    const plain = {
      403: ['this address is no longer valid', 'open the one the computer shows now'],
      404: ['this address is no longer valid', 'open the one the computer shows now'],
      413: ['the file is too large', 'send a JPEG instead'],
      507: ['the computer’s disk is full', 'make room on it, then send again'],
    }[x.status] || ['the computer did not take it', 'send it again, or put it into the folder the computer watches'];
    return said.why_not ? { why: said.why_not, hint: said.hint || '' } : { why: plain[0], hint: plain[1] };
  }

  function verdict(text) {
    try {
      const said = JSON.parse(text);
      const files = Array.isArray(said) ? said : said.files || [];
      return files.find(f => !f.taken) || files[0] || said; // without a file, what was amiss with all of it
    } catch { return {}; }
  }

  async function act(name, fields) {
    try {
      const answer = await fetch(name, { method: 'POST', body: new URLSearchParams(fields) });
      if (answer.ok) return { ok: true };
      if (answer.status === 404) return { ok: false, gone: true };
      const said = verdict(await answer.text());
      return { ok: false, why: said.why_not || '', hint: said.hint || '' };
    } catch { return { ok: false }; }
  }

  async function drawings(serial) {
    const answer = await fetch('drawings?n=' + encodeURIComponent(serial), { cache: 'no-store' });
    if (!answer.ok) throw new Error(answer.status);
    return answer.text();
  }

  return { name: 'the computer', opening: 'Reaching the computer …', open, wake, send, act, drawings, report: 'report.html' };
})();
