// The page of a session. It shows what is measured, and hands over pictures; it measures and decides nothing itself.
//
//   a word of the line → show → act, tubes, lists
//   files chosen       → ways → line.send, two at a time, again after a broken line
//
// A line is what differs between a computer beside the tripod and the phone alone (window.trueturnLine):
//
//   name, opening           what is at its other end, for sentences; what stands there until it answers
//   open({word, here, lost})  tells each new word as its JSON, that the line holds, that it is lost, each with a text
//   wake(anew)              the page was asleep
//   send(file, share)       → {taken} or {why, hint}, with laterMS or broken where it is to be tried again
//   act(name, fields)       → {ok} or {gone, why, hint}: settle, again, throw, afresh, describe
//   drawings(serial)        → HTML without scripts
//   report                  an address, or a function that yields one
//   run(args), judge()      a command's {text, beside, code}, and what became of the exposures; where the page has the other jobs too
//   export, import(text)    the session as {name, address}, and another in its place; neither where it is a folder already
//
// Words that come from elsewhere are set as text. Drawings are inert HTML.
'use strict';
(() => {
  const $ = id => document.getElementById(id);
  const body = document.body;
  const title = document.title;
  const line = window.trueturnLine;

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

  // An evening lasts until noon.
  const evening = new Date(Date.now() - 12 * 3600e3).toDateString();

  function foldCare(read) {
    care.classList.toggle('read', read);
    write($('care-head'), read ? 'Take care: ledges, cables, cold' : 'Take care');
    write($('care-read'), read ? 'Show' : 'I have read it');
    $('care-read').setAttribute('aria-expanded', String(!read));
    kept.set('care', read ? evening : '');
  }
  $('care-read').addEventListener('click', () => foldCare(!care.classList.contains('read')));
  if (kept.get('care') === evening) foldCare(true);

  // ---- what is told

  let seen = null; // the last word shown

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
    showGive(live);
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
    const done = await line.act('settle', { question: number });
    if (button.dataset.number !== number) return;
    if (!done.ok && !done.gone) write(button, 'That did not get through: try again'); // gone: it stands no more, as the next word shows
    button.disabled = false;
  });

  // ---- what the pictures do not say, a hand can

  const fields = [...document.querySelectorAll('#give .field')];

  function showGive(live) {
    const wants = (live.wants || []).map(thing => ({ 'site anew': 'site', 'other zone': 'zone' }[thing] || thing));
    if (live.question && live.question.about !== 'clock') wants.push('site');
    if (live.question && live.question.about !== 'site') wants.push('zone');
    for (const field of fields) {
      const wanted = wants.includes(field.dataset.thing);
      if (wanted && field.hidden && field.dataset.thing === 'zone' && !live.question) $('give-zone').value = zoneHere();
      field.hidden = !wanted;
    }
    const none = fields.every(f => f.hidden);
    if (none && !$('give').hidden) write($('give-why'), '');
    $('give').hidden = none;
  }

  // zoneHere is this device's offset from UTC, the likeliest of the camera's clock.
  function zoneHere() {
    const minutes = -new Date().getTimezoneOffset(), whole = Math.abs(minutes);
    const two = n => String(n).padStart(2, '0');
    return (minutes < 0 ? '-' : '+') + two(Math.floor(whole / 60)) + ':' + two(whole % 60);
  }

  $('give').addEventListener('submit', async e => {
    e.preventDefault();
    const said = {};
    for (const field of fields) if (!field.hidden) said[field.querySelector('input').name] = field.querySelector('input').value;
    write($('give-why'), 'Taking it up …');
    const done = await line.act('describe', said);
    write($('give-why'), done.ok ? '' : done.why ? done.why + (done.hint ? ': ' + done.hint : '') : 'That did not get through: try again');
    if (done.ok) sendUnused();
  });

  function showLevel(live) {
    const tubes = live.tubes || {};
    if (tubes.tolerance) write($('planned'), tubes.tolerance);
    const known = Boolean(live.level && tubes.azimuth && tubes.altitude);
    $('level').hidden = !known;
    $('bench').classList.toggle('levelled', known);
    if (!known) return;
    const turning = live.phase === 'turning' && live.knob;
    $('bench').classList.toggle('base-now', turning === 'azimuth');
    $('bench').classList.toggle('tilt-now', turning === 'altitude');
    showTube('base', 'x', tubes.azimuth, tubes.azimuth_text, tubes.azimuth_reach, turning, turning === 'azimuth');
    showTube('tilt', 'y', tubes.altitude, tubes.altitude_text, tubes.altitude_reach, turning, turning === 'altitude');
    showStale();
  }

  function showTube(name, along, drawing, text, reach, turning, now) {
    const tube = $(name + '-tube'), words = $(name + '-words');
    move(tube, drawing, along);
    const changed = tube.dataset.reach && tube.dataset.reach !== reach;
    tube.dataset.reach = reach || '';
    write(words.children[1], text || '');
    write(words.children[2], changed ? 'Its scale has changed: it ends at ' + reach + ' now.' : '');
    words.classList.toggle('now', now);
    words.classList.toggle('other', Boolean(turning) && !now);
  }

  // showStale dims the bubble of the knob that is being turned until a picture has seen the turn.
  function showStale() {
    const live = (seen && seen.live) || {};
    const coming = Boolean(live.working || live.waiting) || ways.some(w => w.state !== 'refused');
    $('bench').classList.toggle('stale', live.phase === 'turning' && (coming || live.kind === 'wait'));
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
      offer(row, word, frames[i], aside.includes(frames[i]));
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

  // offer puts the one button a picture's line may have: to try again what was set aside, to throw out, to take back.
  function offer(row, word, frame, aside) {
    const thrown = (word.live.thrown || []).includes(frame.file);
    const [verb, name, fields] = aside ? ['Try again', 'again', {}] : thrown ? ['Take back', 'throw', { back: 'yes' }] : ['Throw out', 'throw', {}];
    let button = row.querySelector('button');
    if (button && button.dataset.verb === verb) return;
    if (button) button.remove();
    button = make('button', '', verb);
    button.type = 'button';
    button.dataset.verb = verb;
    button.setAttribute('aria-label', { 'Try again': 'Try ' + frame.file + ' again', 'Take back': 'Take ' + frame.file + ' back', 'Throw out': 'Throw ' + frame.file + ' out' }[verb]);
    button.addEventListener('click', async () => {
      button.disabled = true;
      const done = await line.act(name, { file: frame.file, ...fields });
      button.disabled = done.ok || Boolean(done.gone); // the next word shows what became of it
      write(button, button.disabled ? 'Being done' : 'Not done: try again');
    });
    row.append(button);
  }

  $('afresh').addEventListener('click', async () => {
    const button = $('afresh');
    button.disabled = true;
    const done = await line.act('afresh', { sure: 'yes' });
    write(button, done.ok ? 'Yes, begin afresh' : 'That did not get through: try again');
    button.disabled = false;
    if (!done.ok) return;
    files.clear();
    $('anew').open = false;
    scrollTo(0, 0);
  });

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
      place($('drawings'), await line.drawings(serial));
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

  // ---- the line

  let heardWord = '';

  function take(text) {
    let word;
    try { word = JSON.parse(text); } catch { return; } // cut short: the next one is whole
    heardWord = new Date().toTimeString().slice(0, 5);
    show(word);
  }

  function here(text) {
    const was = body.classList.contains('lost') || !$('link').dataset.once;
    body.classList.remove('lost');
    write($('link'), text);
    $('link').dataset.once = '1';
    if (was) hurry();
  }

  function lost(text) {
    body.classList.add('lost');
    write($('link'), text + (heardWord ? ' What stands here is from ' + heardWord + '.' : ''));
  }

  function wake(anew) {
    if (document.hidden) return;
    line.wake(anew);
    refreshDrawings();
    hurry();
    stayAwake();
  }
  document.addEventListener('visibilitychange', () => wake(false));
  addEventListener('online', () => wake(false));
  addEventListener('pageshow', e => { if (e.persisted) wake(true); });

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

  async function post(w) {
    w.state = 'sending';
    w.note = '';
    w.share = 0;
    const done = await line.send(w.file, share => { w.share = share; showShare(w); });
    if (done.taken) return arrived(w);
    if (done.broken) return broken(w, done.why);
    if (done.laterMS) return later(w, done.laterMS, done.why);
    refuse(w, done.why, done.hint);
  }

  function arrived(w) {
    sent++;
    fates.set(w.file.name, performance.now());
    remember(w.file);
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
  async function broken(w, why) {
    try {
      await w.file.slice(0, 1).arrayBuffer();
    } catch {
      return refuse(w, 'the browser can no longer read this file', 'choose it once more');
    }
    later(w, Math.min(15000, 1000 * 2 ** w.tries++), why);
  }

  // The last files sent, by name: what could not be used for want of a word is sent again when that is said.
  const files = new Map();
  const mostFiles = 60;

  function remember(file) {
    files.delete(file.name);
    files.set(file.name, file);
    if (files.size > mostFiles) files.delete(files.keys().next().value);
  }

  function sendUnused() {
    const used = new Set(((seen && seen.frames) || []).filter(f => f.mid_utc && f.ra_deg !== null).map(f => f.file));
    send([...files.values()].filter(file => !used.has(file.name)));
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
  const queueMS = 3000; // until it is told that one waits
  const fateMS = 8000; // that what became of one stays on the button
  let fate = '', fading = 0;

  function tellFates(word) {
    const live = word.live || {};
    for (const frame of word.frames || []) {
      if (!fates.delete(frame.file)) continue;
      fate = frame.used ? 'Used' : 'Not used';
      clearTimeout(fading);
      fading = setTimeout(() => { fate = ''; showPick(); }, fateMS);
    }
    if (live.working || live.waiting) return;
    for (const [name, since] of fates) { // measured under another name, or known already
      if (performance.now() - since > queueMS) fates.delete(name);
    }
  }

  function showPick() {
    showStale();
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

  if (line.report && typeof line.report !== 'string') {
    $('report').addEventListener('click', async e => {
      e.preventDefault();
      const link = make('a');
      link.href = await line.report();
      link.download = 'trueturn-report.html';
      link.click();
    });
  }

  // ---- a session as a file, where it is kept in a browser

  if (line.export) {
    $('file').hidden = false;
    $('save').addEventListener('click', async () => {
      const file = await line.export();
      const link = make('a');
      link.href = file.address;
      link.download = file.name;
      link.click();
      write($('saved'), 'Saved as ' + file.name + '.');
    });
    $('open').addEventListener('change', async () => {
      const [file] = $('open').files;
      if (!file) return;
      write($('saved'), 'Opening …');
      const done = await line.import(await file.text());
      write($('saved'), done.ok ? 'Opened ' + file.name + '.' : (done.why || 'It could not be opened') + (done.hint ? ': ' + done.hint : ''));
      $('open').value = '';
    });
  }

  // ---- the other jobs, where the engine is in the page

  const heads = { pole: 'Where is the pole?', expose: 'How long may I expose?', round: 'Were they round?', tonight: 'What does tonight allow?' };
  const cares = {
    pole: 'By day: never look at the Sun, nor point a lens or finder near it.',
    tonight: 'Before you walk back in the dark: mind ledges, water and the way you came.',
  };

  function go(job) {
    question++;
    body.dataset.job = job;
    const aim = job === 'aim', choosing = job === '';
    $('jobs').hidden = !choosing;
    for (const id of ['now', 'rest']) $(id).hidden = !aim;
    $('asked').hidden = aim || choosing;
    $('back').hidden = choosing;
    kept.set('job', job);
    scrollTo(0, 0);
    if (aim || choosing) return;
    write($('asked-head'), heads[job]);
    write($('asked-care'), cares[job] || '');
    let fields = 0;
    for (const field of document.querySelectorAll("#ask .field")) {
      field.hidden = !field.dataset.jobs.split(' ').includes(job);
      fields += field.hidden ? 0 : 1;
    }
    $('ask').hidden = fields === 0;
    $('answer').replaceChildren();
    write($('asked-why'), '');
    $('copy').hidden = true;
    $('rough').hidden = job !== 'pole';
    $('asked-head').focus();
    if (job === 'round') judge();
    else if (job === 'expose' || $('ask-site').value.trim()) answer(job);
  }

  // said lays out what a command says: a table keeps its columns, a sentence flows.
  function said(text) {
    const out = [];
    let table = [];
    const flush = () => { if (table.length) out.push(make('pre', '', table.join('\n'))); table = []; };
    for (const line of text.split('\n')) {
      if (/\S {2,}\S|^ {2,}\S/.test(line)) { table.push(line); continue; }
      flush();
      if (line.trim()) out.push(make('p', '', line));
    }
    flush();
    return out;
  }

  let question = 0; // the newest

  async function answer(job) {
    write($('asked-why'), 'Working it out …');
    const args = argsOf(job), mine = ++question;
    const done = await line.run(args);
    if (mine !== question) return;
    if (done.code !== 0) return complain(done);
    write($('asked-why'), '');
    $('answer').replaceChildren(...said(done.text));
    if (job === 'expose') return;
    const drawing = await line.run([...args, '--svg', '-']);
    const picture = new DOMParser().parseFromString(drawing.text.replace(/<style>[^]*?<\/style>/, ''), 'image/svg+xml').documentElement; // the page has its rules
    if (mine === question && drawing.code === 0 && picture.nodeName === 'svg') {
      $('answer').querySelector('pre, p:last-child').before(document.adoptNode(picture));
    }
  }

  function complain(done) {
    const beside = done.beside || '';
    const part = kind => (beside.split('\n').find(l => l.startsWith(kind + ': ')) || '').slice(kind.length + 2);
    const why = part('error') || done.why || 'It cannot be told';
    $('answer').replaceChildren();
    write($('asked-why'), why + (part('hint') || done.hint ? ': ' + (part('hint') || done.hint) : ''));
  }

  function argsOf(job) {
    const value = id => $(id).value.trim();
    const site = value('ask-site').replace(/\s+/g, '');
    if (job === 'pole') return ['pole', '--site=' + site, '--tz=' + zoneHere()];
    if (job === 'tonight') return ['tonight', '--site=' + site, '--tz=' + zoneHere(), ...(value('ask-target') ? ['--target=' + value('ask-target')] : [])];
    const args = ['expose'];
    if ($('ask-tripod').checked) args.push('--tripod');
    else if (seen && seen.axis) args.push('--session=mount.json');
    if (value('ask-lens')) args.push('--equivalent=' + value('ask-lens'), '--size=' + value('ask-size'));
    return args;
  }

  // ---- the phone as a level and a needle

  const readings = [null, null]; // {tilt, bearing} of the top edge, degrees; bearing from magnetic north, null: not known
  const readMS = 1500; // so long a reading is averaged

  // sense gathers what the sensors say for a while. The top edge points (W3C Device Orientation: turns about z, x, y) beta above the
  // horizon, toward alpha west of north.
  function sense() {
    return new Promise((resolve, reject) => {
      const tilts = [], easts = [], norths = [];
      const hear = e => {
        if (e.beta === null) return;
        tilts.push(Math.asin(Math.sin(e.beta * Math.PI / 180)) * 180 / Math.PI);
        const heading = e.webkitCompassHeading !== undefined ? e.webkitCompassHeading : e.absolute && e.alpha !== null ? 360 - e.alpha : null;
        if (heading === null) return;
        easts.push(Math.sin(heading * Math.PI / 180));
        norths.push(Math.cos(heading * Math.PI / 180));
      };
      const names = ['deviceorientation', 'deviceorientationabsolute'];
      for (const n of names) addEventListener(n, hear);
      setTimeout(() => {
        for (const n of names) removeEventListener(n, hear);
        if (tilts.length === 0) return reject(new Error('This device has no sensors for it, or does not let the page read them.'));
        const sum = all => all.reduce((a, b) => a + b, 0);
        resolve({ tilt: sum(tilts) / tilts.length, bearing: easts.length ? Math.atan2(sum(easts), sum(norths)) * 180 / Math.PI : null });
      }, readMS);
    });
  }

  async function readPhone(which) {
    write($('rough-says'), 'Hold still …');
    try {
      const ask = window.DeviceOrientationEvent && DeviceOrientationEvent.requestPermission; // some systems want to be asked, by a finger
      if (ask && await DeviceOrientationEvent.requestPermission() !== 'granted') throw new Error('The phone does not let the page read its sensors: allow motion and orientation for it.');
      readings[which] = await sense();
    } catch (why) {
      return write($('rough-says'), why.message);
    }
    $('read-two').disabled = false;
    const pole = await line.run(['pole', '--site=' + $('ask-site').value.replace(/\s+/g, ''), '--json']);
    if (pole.code !== 0) return write($('rough-says'), 'Say first where the mount stands.');
    const [one, two] = which === 0 ? [readings[0], null] : readings;
    const told = await line.act('rough', { pole: pole.text, tilt: one.tilt, bearing: one.bearing, turned: two ? two.tilt : null });
    write($('rough-says'), told.text || told.why || '');
    place($('rough-tubes'), told.html || '');
  }

  async function judge() {
    const done = await line.judge();
    if (body.dataset.job !== 'round') return;
    if (!done.ok) return complain(done);
    const frames = JSON.parse(done.beside).frames;
    const out = frames.filter(f => !f.round).map(f => f.file);
    $('answer').replaceChildren(...said(done.text));
    $('copy').hidden = out.length === 0;
    $('copy').onclick = async () => {
      const text = out.join('\n') + '\n';
      try {
        if (navigator.share) await navigator.share({ title: 'Pictures to leave out', text });
        else { await navigator.clipboard.writeText(text); write($('asked-why'), 'The names are copied.'); }
      } catch { write($('asked-why'), 'The browser does not share here. The names: ' + out.join(', ')); }
    };
  }

  if (line.run) {
    for (const button of document.querySelectorAll('#jobs button')) button.addEventListener('click', () => go(button.dataset.job));
    $('back').addEventListener('click', () => go(''));
    $('ask-site').value = kept.get('site') || '';
    $('ask').addEventListener('submit', e => {
      e.preventDefault();
      kept.set('site', $('ask-site').value);
      answer(body.dataset.job);
    });
    $('here').hidden = !navigator.geolocation;
    $('here').addEventListener('click', () => {
      write($('asked-why'), 'Asking the phone …');
      navigator.geolocation.getCurrentPosition(p => {
        $('ask-site').value = p.coords.latitude.toFixed(2) + ', ' + p.coords.longitude.toFixed(2); // a kilometre does
        $('ask').requestSubmit();
      }, () => write($('asked-why'), 'The phone does not say where it is: type the place.'), { maximumAge: 3600e3, timeout: 20000 });
    });
    $('read-one').addEventListener('click', () => readPhone(0));
    $('read-two').addEventListener('click', () => readPhone(1));
    go(kept.get('job') || '');
  }

  window.trueturn = { ...window.trueturn, state: () => seen };
  write($('link'), line.opening);
  line.open({ word: take, here, lost });
})();
