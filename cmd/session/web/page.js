// The live page. It shows what the computer says, and sends it pictures; it measures and decides nothing itself.
//
//   events, state → show → headline, sentence, level, lists
//   files chosen  → ways → upload, two at a time, again after a broken line
//
// Words that come from elsewhere are set as text. Drawings come from the computer as inert HTML.
'use strict';
(() => {
  const $ = id => document.getElementById(id);
  const body = document.body;
  const title = document.title;

  // kept remembers choices on this device; where the browser refuses that, they last as long as the page.
  const kept = {
    get(name) { try { return localStorage.getItem('trueturn-' + name); } catch { return null; } },
    set(name, value) { try { localStorage.setItem('trueturn-' + name, value); } catch { /* a private window */ } },
  };

  // fit shows what would turn the writing round or not be seen, as the program does in its own texts.
  function fit(text) {
    return text.replace(/(?!\n)[\p{C}\p{Zl}\p{Zp}]/gu, c => '\\u' + c.codePointAt(0).toString(16).padStart(4, '0'));
  }

  // write touches the page only where a word has changed, so that readers aloud stay quiet else.
  function write(element, text) {
    text = fit(text);
    if (element.textContent !== text) element.textContent = text;
  }

  function make(name, className, text) {
    const e = document.createElement(name);
    if (className) e.className = className;
    if (text) e.textContent = fit(text);
    return e;
  }

  // place puts a piece of HTML into an element; scripts in it would not run.
  function place(element, html) {
    const parsed = new DOMParser().parseFromString(html, 'text/html');
    element.replaceChildren(...document.adoptNode(parsed.body).childNodes);
  }

  function count(n, one, many) { return n + ' ' + (n === 1 ? one : many); }

  // ---- cautions

  const care = $('care');

  function foldCare(read) {
    care.classList.toggle('read', read);
    write($('care-head'), read ? 'Take care: ledges, cables, cold' : 'Take care');
    write($('care-read'), read ? 'Show' : 'I have read it');
    $('care-read').setAttribute('aria-expanded', String(!read));
    kept.set('care', read ? 'read' : '');
  }
  $('care-read').addEventListener('click', () => foldCare(!care.classList.contains('read')));
  if (kept.get('care') === 'read') foldCare(true);

  // ---- what the computer says

  let seen = null; // the last word shown
  let words = 0; // how many came by events

  const longSentence = 110; // letters: what is longer is set smaller, for the tubes to stay on the screen
  const unknownYet = { waiting: 'No picture yet' };
  const alarms = new Set(['wrong way', 'overshot', 'remeasure']);

  function show(word) {
    const live = word.live = word.live || {};
    const before = seen;
    seen = word;
    const headline = live.headline || unknownYet[live.phase] || 'Not known yet';
    write($('headline'), live.question ? '' : headline); // which the act says
    write($('stage'), live.stage || '');
    write($('act'), live.act || headline);
    document.title = (live.act || headline) + ' – ' + title;
    const say = live.instruction || (word.advice && word.advice.next_text) || '';
    write($('say'), say);
    $('say').classList.toggle('long', say.length > longSentence);
    body.classList.toggle('alarm', alarms.has(live.kind));
    showQuestion(live.question);
    showLevel(live);
    showBusy(live);
    tellFates(word);
    showPick();
    write($('amiss'), live.trouble || '');
    showTroubles(word);
    showPictures(word);
    refreshDrawings();
    if (before) cue(before.live || {}, live);
  }

  // ---- a question of place and clock, which a finger answers

  const rightAs = { site: 'The place is right: go on', clock: 'The clock is right: go on', '': 'Place and clock are right: go on' };

  function showQuestion(question) {
    const button = $('settle');
    button.hidden = !question;
    if (!question || button.dataset.number === String(question.number)) return;
    button.dataset.number = question.number;
    button.disabled = false;
    write(button, rightAs[question.about] || rightAs['']);
  }

  $('settle').addEventListener('click', async () => {
    const button = $('settle'), number = button.dataset.number;
    button.disabled = true;
    try {
      const answer = await fetch('settle', { method: 'POST', body: new URLSearchParams({ question: number }) });
      if (!answer.ok && answer.status !== 404) throw new Error(answer.status); // 404: it stands no more, as the next word shows
    } catch {
      if (button.dataset.number !== number) return;
      write(button, 'That did not get through: try again');
    }
    if (button.dataset.number === number) button.disabled = false;
  });

  function showLevel(live) {
    const tubes = live.tubes || {};
    if (tubes.tolerance) write($('planned'), tubes.tolerance);
    const known = Boolean(live.level && tubes.azimuth && tubes.altitude);
    $('level').hidden = !known;
    $('bench').classList.toggle('levelled', known);
    if (!known) return;
    move($('base-tube'), tubes.azimuth, 'x');
    move($('tilt-tube'), tubes.altitude, 'y');
    for (const [knob, id, text] of [['azimuth', 'base-words', tubes.azimuth_text], ['altitude', 'tilt-words', tubes.altitude_text]]) {
      write($(id), text || '');
      $(id).classList.toggle('now', live.knob === knob);
      $(id).classList.toggle('other', Boolean(live.knob) && live.knob !== knob);
    }
  }

  // move draws a tube anew. Where the scale stayed the bubble glides, so that the eye sees what the hand did.
  const still = matchMedia('(prefers-reduced-motion: reduce)');
  const drawnAs = new WeakMap();

  function move(element, html, along) {
    if (drawnAs.get(element) === html) return;
    drawnAs.set(element, html);
    const from = bubbleOf(element, along);
    place(element, html);
    const to = bubbleOf(element, along);
    if (still.matches || !from || !to || from.scale !== to.scale || from.at === to.at) return;
    const by = from.at - to.at;
    const start = along === 'x' ? `translateX(${by}px)` : `translateY(${by}px)`;
    for (const part of element.querySelectorAll('.bubble, .core')) {
      if (part.animate) part.animate([{ transform: start }, { transform: 'none' }], { duration: 600, easing: 'ease-out' });
    }
  }

  function bubbleOf(element, along) {
    const core = element.querySelector('.core');
    if (!core) return null;
    const scale = [...element.querySelectorAll('.number')].map(n => n.textContent).join();
    const pair = [core.getAttribute(along + '1'), core.getAttribute(along + '2')].map(Number);
    return { at: (pair[0] + pair[1]) / 2, scale };
  }

  function showBusy(live) {
    const waiting = live.waiting || 0;
    let text = '';
    if (live.working) text = 'measuring ' + live.working + (waiting ? ', ' + waiting + ' waiting' : '');
    else if (waiting) text = waiting + ' waiting';
    write($('busy'), text);
  }

  const mostTroubles = 12;

  // notesOf are what went amiss and what else there is to know, each with its name. Before the first picture the
  // sentence says all.
  function notesOf(word) {
    if (!measured(word).length) return [];
    const advice = word.advice || {};
    const said = [word.live.instruction, advice.next_text];
    const amiss = (word.situations || []).map(s => [s.kind + (s.files && s.files.length ? ', from ' + s.files[0] : '') + ': ', s.text]);
    const notes = (advice.notes || []).filter(n => !said.includes(n)).map(n => ['', n]);
    return [...amiss, ...notes].slice(0, mostTroubles);
  }

  function showTroubles(word) {
    const list = notesOf(word);
    const key = JSON.stringify(list);
    if ($('troubles').dataset.key === key) return;
    $('troubles').dataset.key = key;
    $('troubles').replaceChildren(...list.map(([kind, text]) => {
      const item = make('li');
      if (kind) item.append(make('b', '', kind));
      item.append(text);
      return item;
    }));
    $('trouble').hidden = list.length === 0;
  }

  // ---- the growing list, newest first

  const newest = 50;
  let all = false;
  const rows = new Map(); // by name and instant
  const cameAfter = new Map(); // of pictures without a clock: the newest picture when they were first seen

  // inOrder is the order of the clocks; a picture without one stays where it came in, and not for ever on top.
  function inOrder(frames) {
    const timed = frames.filter(f => f.mid_utc);
    const known = new Set(timed.map(f => f.file));
    const newestNow = rows.size && timed.length ? timed.at(-1).file : '';
    const after = new Map([['', []]]);
    for (const f of frames) {
      if (f.mid_utc) continue;
      if (!cameAfter.has(f.file)) cameAfter.set(f.file, newestNow);
      const place = known.has(cameAfter.get(f.file)) ? cameAfter.get(f.file) : '';
      if (!after.has(place)) after.set(place, []);
      after.get(place).push(f);
    }
    return [...after.get(''), ...timed.flatMap(f => [f, ...(after.get(f.file) || [])])];
  }

  // isAside tells the pictures that were set aside from those that were measured.
  function isAside(word, frame) {
    return !frame.used && !frame.mid_utc && (word.live.set_aside || []).includes(frame.file);
  }

  function measured(word) {
    return (word.frames || []).filter(f => !isAside(word, f));
  }

  function showPictures(word) {
    const aside = (word.frames || []).filter(f => isAside(word, f));
    const frames = [...inOrder(measured(word)), ...aside]; // what wants a hand stands on top
    const used = frames.filter(f => f.used).length;
    write($('count'), frames.length ? count(frames.length, 'picture', 'pictures') + ', ' + used + ' used, newest first.' : 'None yet.');
    $('reports').hidden = frames.length === aside.length;
    $('all').hidden = frames.length <= newest;
    write($('all'), all ? 'Show the newest ' + newest + ' only' : 'Show all ' + frames.length);
    const list = $('pictures');
    const first = all ? 0 : Math.max(0, frames.length - newest);
    const standing = new Set();
    let next = list.firstChild;
    for (let i = frames.length - 1; i >= first; i--) {
      const key = keyOf(frames[i], standing);
      standing.add(key);
      const row = rowOf(key, frames[i]);
      offerAgain(row, frames[i], aside.includes(frames[i]));
      if (row === next) next = next.nextSibling;
      else list.insertBefore(row, next);
    }
    for (const [key, row] of rows) {
      if (standing.has(key)) continue;
      row.remove();
      rows.delete(key);
    }
  }

  function keyOf(frame, taken) {
    let key = frame.file + '|' + frame.mid_utc;
    while (taken.has(key)) key += '+';
    return key;
  }

  function rowOf(key, frame) {
    let row = rows.get(key);
    if (!row) {
      row = make('li');
      row.append(make('span', 'name', frame.file), ' ', make('span', 'figures'), make('span', 'why'));
      rows.set(key, row);
    }
    write(row.children[1], figuresOf(frame));
    write(row.children[2], frame.used ? '' : 'not used: ' + (frame.why_not || 'no reason given'));
    return row;
  }

  // offerAgain puts a button beside a picture that was set aside, and takes it away when it is so no more.
  function offerAgain(row, frame, aside) {
    const there = row.querySelector('button');
    if (!aside && there) there.remove();
    if (!aside || there) return;
    const again = make('button', '', 'Try again');
    again.type = 'button';
    again.setAttribute('aria-label', 'Try ' + frame.file + ' again');
    again.addEventListener('click', () => tryAgain(again, frame.file));
    row.append(again);
  }

  async function tryAgain(button, file) {
    button.disabled = true;
    try {
      const answer = await fetch('again', { method: 'POST', body: new URLSearchParams({ file }) });
      if (!answer.ok && answer.status !== 404) throw new Error(answer.status); // 404: it is being tried already
      write(button, 'Being tried');
    } catch {
      write(button, 'Not begun: try again');
      button.disabled = false;
    }
  }

  function figuresOf(frame) {
    const said = [];
    if (frame.mid_utc) said.push(frame.mid_utc.slice(11, 19) + ' UTC');
    if (frame.exposure_s) said.push(Number(frame.exposure_s.toFixed(1)) + ' s');
    said.push(count(frame.stars || 0, 'star', 'stars'));
    if (frame.elongation) said.push('length/width ' + frame.elongation.toFixed(2));
    return said.join(', ');
  }

  $('all').addEventListener('click', () => {
    all = !all;
    if (seen) showPictures(seen);
  });

  // ---- drawings: fetched while they are open, not oftener than every three seconds

  let drawn = null, drawing = false, drawnAt = 0, drawLater = 0;
  const restMS = 3000;

  function refreshDrawings() {
    if (!seen || !seen.live || !$('drawn').open || document.hidden || drawing || drawn === String(seen.live.drawings)) return;
    if (!measured(seen).length) { write($('drawn-state'), 'Nothing to draw yet.'); return; }
    const wait = drawnAt + restMS - Date.now();
    clearTimeout(drawLater);
    if (wait > 0) { drawLater = setTimeout(refreshDrawings, wait); return; }
    draw(String(seen.live.drawings));
  }

  async function draw(serial) {
    drawing = true;
    if (drawn === null) write($('drawn-state'), 'Drawing …');
    try {
      const answer = await fetch('drawings?n=' + encodeURIComponent(serial), { cache: 'no-store' });
      if (!answer.ok) throw new Error(answer.status);
      place($('drawings'), await answer.text());
      drawn = serial;
      write($('drawn-state'), '');
    } catch {
      write($('drawn-state'), 'The drawings did not come through: tried again with the next picture.');
    }
    drawing = false;
    drawnAt = Date.now();
    if (drawn === serial) refreshDrawings();
  }

  const broad = matchMedia('(min-width: 900px)').matches;
  $('drawn').open = (kept.get('drawn') || (broad ? 'open' : '')) === 'open';
  $('drawn').addEventListener('toggle', () => {
    kept.set('drawn', $('drawn').open ? 'open' : 'shut');
    refreshDrawings();
  });

  // ---- the line to the computer

  let source = null, tries = 0, heardAt = 0, heardWord = '', beats = false, triedAt = 0, losing = 0, retry = 0;
  const patienceMS = 2500; // a line that is back sooner was not lost
  const silenceMS = 45000; // three heartbeats
  const againMS = 20000;

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
      heardWord = new Date().toTimeString().slice(0, 5);
      take(e.data);
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

  function take(text) {
    let word;
    try { word = JSON.parse(text); } catch { return; } // cut short: the next one is whole
    show(word);
  }

  function heard() {
    heardAt = Date.now();
    tries = 0;
    clearTimeout(losing);
    losing = 0;
    const was = body.classList.contains('lost');
    body.classList.remove('lost');
    write($('link'), 'connected');
    if (was || !$('link').dataset.once) hurry();
    $('link').dataset.once = '1';
  }

  const lostText = 'The page has lost the computer: still trying.';

  function miss() {
    if (!losing) losing = setTimeout(() => lost(lostText), patienceMS);
  }

  function lost(text) {
    body.classList.add('lost');
    write($('link'), text + (heardWord ? ' What stands here is from ' + heardWord + '.' : ''));
  }

  // ask fetches the state once: after a sleep it is sooner there than the line, and it says when the address is void.
  async function ask() {
    const before = words;
    try {
      const answer = await fetch('state', { cache: 'no-store' });
      if (answer.status === 403 || answer.status === 404) {
        clearTimeout(losing);
        losing = -1;
        lost('This address is no longer valid: open the one the computer shows now.');
      } else if (answer.ok) {
        const text = await answer.text();
        if (words === before) take(text);
      }
    } catch { /* the line's own trouble says so */ }
  }

  setInterval(() => {
    const now = Date.now();
    const silent = beats && now - heardAt > silenceMS;
    if (silent) miss();
    const stuck = source.readyState !== EventSource.OPEN && now - triedAt > againMS;
    if ((silent && now - triedAt > againMS) || stuck) connect();
  }, 5000);

  function wake() {
    if (document.hidden) return;
    ask();
    if (!source || source.readyState !== EventSource.OPEN || (beats && Date.now() - heardAt > silenceMS)) connect();
    refreshDrawings();
    hurry();
    stayAwake();
  }
  document.addEventListener('visibilitychange', wake);
  addEventListener('online', wake);
  addEventListener('pageshow', e => { if (e.persisted) connect(); });
  addEventListener('pagehide', () => { if (source) source.close(); });

  // ---- pictures on their way

  const ways = []; // {file, state: waiting|sending|again|refused, row, …}; what was taken leaves
  const abreast = 2;
  const mostRows = 20;
  let sent = 0, offered = 0, calm = 0;

  function send(files) {
    for (const file of files) {
      ways.push({ file, state: 'waiting', tries: 0, timer: 0, row: null });
      offered++;
    }
    pump();
  }

  function pump() {
    let busy = ways.filter(w => w.state === 'sending').length;
    for (const w of ways) {
      if (busy >= abreast) break;
      if (w.state !== 'waiting') continue;
      busy++;
      post(w);
    }
    showWays();
  }

  const stallMS = 30000; // without a byte more
  const answerMS = 120000; // all is sent, and the computer says nothing

  function post(w) {
    const x = new XMLHttpRequest();
    const form = new FormData();
    form.append('picture', w.file, w.file.name); // the file as it is
    let watch = 0;
    const expect = ms => { clearTimeout(watch); watch = setTimeout(() => x.abort(), ms); };
    const ended = then => () => { clearTimeout(watch); then(); };
    w.state = 'sending';
    w.note = '';
    w.share = 0;
    x.open('POST', 'upload');
    x.upload.onprogress = e => {
      expect(stallMS);
      w.share = e.lengthComputable && e.total ? e.loaded / e.total : 0;
      showShare(w);
    };
    x.upload.onload = () => { expect(answerMS); w.share = 1; showShare(w); };
    x.onload = ended(() => judge(w, x));
    x.onerror = x.onabort = ended(() => broken(w));
    expect(stallMS);
    x.send(form);
  }

  // judge reads the computer's word on one file.
  function judge(w, x) {
    const said = verdict(x.responseText);
    if (x.status === 503 || x.status === 429) {
      const seconds = Number(x.getResponseHeader('Retry-After')) || 3;
      return later(w, 1000 * Math.min(60, seconds), 'the computer has enough to measure for now: sent again by itself');
    }
    if (x.status === 408) return later(w, 2000, 'the sending was too slow: sent again by itself; nearer to the network’s station it is faster');
    if (x.status >= 200 && x.status < 300 && said.taken !== false) return arrived(w);
    const plain = {
      403: ['this address is no longer valid', 'open the one the computer shows now'],
      404: ['this address is no longer valid', 'open the one the computer shows now'],
      413: ['the file is too large', 'send a JPEG instead'],
      507: ['the computer’s disk is full', 'make room on it, then send again'],
    }[x.status] || ['the computer did not take it', 'send it again, or put it into the folder the computer watches'];
    refuse(w, said.why_not || plain[0], said.why_not ? said.hint || '' : plain[1]);
  }

  function verdict(text) {
    try {
      const said = JSON.parse(text);
      const files = Array.isArray(said) ? said : said.files || [];
      return files.find(f => !f.taken) || files[0] || said; // without a file, what was amiss with all of it
    } catch { return {}; }
  }

  function arrived(w) {
    sent++;
    fates.set(w.file.name, performance.now());
    if (w.row) w.row.remove();
    ways.splice(ways.indexOf(w), 1);
    pump();
  }

  function refuse(w, why, hint) {
    w.state = 'refused';
    w.note = why + (hint ? ': ' + hint : '');
    pump();
  }

  // broken: the line is gone, or the file is.
  async function broken(w) {
    try {
      await w.file.slice(0, 1).arrayBuffer();
    } catch {
      return refuse(w, 'the browser can no longer read this file', 'choose it once more');
    }
    later(w, Math.min(15000, 1000 * 2 ** w.tries++), 'no connection to the computer: kept, and sent again by itself');
  }

  function later(w, ms, note) {
    w.state = 'again';
    w.note = note;
    w.timer = setTimeout(() => { w.state = 'waiting'; pump(); }, ms);
    pump();
  }

  // hurry sends at once what waits for the line.
  function hurry() {
    for (const w of ways) {
      if (w.state !== 'again') continue;
      clearTimeout(w.timer);
      w.state = 'waiting';
    }
    pump();
  }

  function showWays() {
    const refused = ways.filter(w => w.state === 'refused').length;
    const left = ways.length - refused;
    $('sending').hidden = offered === 0;
    write($('sent'), tally(left, refused));
    // Those that are sent and those refused have a row; of those that wait, as many as there is room for.
    let room = mostRows;
    for (const state of ['sending', 'refused', 'again', 'waiting']) {
      for (const w of ways) {
        if (w.state !== state) continue;
        if (room-- > 0) showWay(w);
        else if (w.row) { w.row.remove(); w.row = null; }
      }
    }
    $('ways-clear').hidden = refused === 0 || left > 0;
    clearTimeout(calm);
    if (offered && ways.length === 0) calm = setTimeout(clearWays, 8000);
  }

  function tally(left, refused) {
    const said = [];
    if (left) said.push(sent + ' of ' + offered + ' sent');
    else if (sent) said.push(count(sent, 'picture', 'pictures') + ' sent');
    if (refused) said.push(refused + ' not taken');
    if (ways.length > mostRows) said.push(ways.length - mostRows + ' more not listed');
    return said.length ? said.join(', ') + '.' : '';
  }

  function showWay(w) {
    if (!w.row) {
      w.row = make('li');
      const bar = make('progress');
      bar.max = 1;
      bar.setAttribute('aria-label', 'sent of ' + fit(w.file.name));
      const again = make('button', '', 'Send again');
      again.type = 'button';
      again.setAttribute('aria-label', 'Send ' + fit(w.file.name) + ' again');
      again.addEventListener('click', () => { w.state = 'waiting'; w.note = ''; pump(); });
      w.row.append(make('span', 'name', w.file.name), again, bar, make('span', 'bad'));
      $('ways').append(w.row);
    }
    const [, again, bar, note] = w.row.children;
    again.hidden = w.state !== 'refused';
    bar.hidden = w.state !== 'sending';
    write(note, w.note || (w.state === 'waiting' ? 'waiting its turn' : ''));
    showShare(w);
  }

  function showShare(w) {
    if (w.row && w.state === 'sending') w.row.children[2].value = w.share || 0;
    showPick();
  }

  // What becomes of pictures sent is seen on the button that was pressed, wherever the page is scrolled to.
  const fates = new Map(); // pictures sent whose measuring is awaited, by name, and since when
  const queueMS = 3000; // until the computer says that one waits
  const fateMS = 8000; // that what became of one stays on the button
  let fate = '', fading = 0;

  function tellFates(word) {
    const live = word.live || {};
    for (const frame of word.frames || []) {
      if (!fates.delete(frame.file)) continue;
      fate = frame.used ? 'Used. Send more' : 'Not used: see below';
      clearTimeout(fading);
      fading = setTimeout(() => { fate = ''; showPick(); }, fateMS);
    }
    if (live.working || live.waiting) return;
    for (const [name, since] of fates) { // measured under another name, or known already
      if (performance.now() - since > queueMS) fates.delete(name);
    }
  }

  function showPick() {
    const going = ways.filter(w => w.state === 'sending');
    const live = (seen && seen.live) || {};
    let text = fate || 'Send pictures';
    if (going.length) text = 'Sending ' + Math.round(100 * going.reduce((sum, w) => sum + (w.share || 0), 0) / going.length) + ' %';
    else if (fates.size && (live.working || live.waiting)) text = 'Measuring';
    write($('pick-says'), text);
  }

  function clearWays() {
    for (const w of ways.splice(0)) if (w.row) w.row.remove();
    sent = offered = 0;
    showWays();
  }
  $('ways-clear').addEventListener('click', () => { clearWays(); $('pick').focus(); });

  for (const input of [$('pick'), $('take')]) {
    input.addEventListener('change', () => {
      send([...input.files]);
      input.value = ''; // the same file may be chosen again
    });
  }
  addEventListener('dragover', e => { e.preventDefault(); body.classList.add('dropping'); });
  addEventListener('dragleave', () => body.classList.remove('dropping'));
  addEventListener('drop', e => {
    e.preventDefault();
    body.classList.remove('dropping');
    send([...e.dataTransfer.files]);
  });
  addEventListener('beforeunload', e => { if (ways.some(w => w.state !== 'refused')) e.preventDefault(); });

  // ---- a cue for eyes that are elsewhere

  let speaker = null;
  const turnOn = [[620, 0.14]], falling = [[560, 0.14], [370, 0.22]], low = [[220, 0.2]], rising = [[520, 0.14], [780, 0.24]];
  const tones = { 'wrong way': falling, overshot: falling, remeasure: falling, wait: low, tighten: rising, done: rising };

  function cue(before, now) {
    if (before.serial === now.serial || (before.instruction === now.instruction && before.kind === now.kind)) return;
    const notes = tones[now.kind] || (now.phase === 'done' ? rising : turnOn);
    if ($('sound').checked) play(notes);
    if ($('shake').checked && navigator.vibrate) navigator.vibrate(notes.flatMap(n => [Math.round(1000 * n[1]), 90]));
  }

  function play(notes) {
    if (!speaker || speaker.state !== 'running') return;
    let at = speaker.currentTime + 0.02;
    for (const [hertz, seconds] of notes) {
      const tone = speaker.createOscillator(), volume = speaker.createGain();
      tone.frequency.value = hertz;
      volume.gain.setValueAtTime(0, at);
      volume.gain.linearRampToValueAtTime(0.15, at + 0.02);
      volume.gain.linearRampToValueAtTime(0, at + seconds);
      tone.connect(volume).connect(speaker.destination);
      tone.start(at);
      tone.stop(at + seconds);
      at += seconds + 0.05;
    }
  }

  // A browser lets a page sound only after a touch.
  function rouse() {
    if (!$('sound').checked) return;
    const Speaker = window.AudioContext || window.webkitAudioContext;
    try {
      if (!speaker && Speaker) speaker = new Speaker();
      if (speaker && speaker.state === 'suspended') speaker.resume();
    } catch { speaker = null; }
  }
  addEventListener('pointerdown', rouse);
  addEventListener('keydown', rouse);

  for (const name of ['sound', 'shake']) {
    $(name).checked = kept.get(name) === 'on';
    $(name).addEventListener('change', () => {
      kept.set(name, $(name).checked ? 'on' : 'off');
      rouse();
      if (!$(name).checked) return;
      if (name === 'sound') setTimeout(() => play(turnOn), 150);
      else navigator.vibrate(140);
    });
  }
  $('shake-choice').hidden = !navigator.vibrate;

  // ---- a screen that stays awake, where the browser can

  let lock = null;

  async function stayAwake() {
    if (!navigator.wakeLock || !$('awake').checked || document.hidden || (lock && !lock.released)) return;
    try { lock = await navigator.wakeLock.request('screen'); } catch { /* battery saver */ }
  }
  if (navigator.wakeLock) {
    $('awake-choice').hidden = false;
    $('awake-how').hidden = true;
    $('awake').checked = kept.get('awake') !== 'off';
    $('awake').addEventListener('change', () => {
      kept.set('awake', $('awake').checked ? 'on' : 'off');
      if ($('awake').checked) stayAwake();
      else if (lock) lock.release();
    });
    stayAwake();
  }

  connect();
})();
