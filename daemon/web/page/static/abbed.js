// Keeps a screen live: follows the run's event stream, replaces the parts that
// changed, and sends the forms of the gauging without loading the screen anew.
// Everything works without it as well.
(() => {
  'use strict';
  const line = document.getElementById('line');
  const touched = new Set(); // names of parts in which somebody wrote or ticked
  const came = new WeakMap(); // what each part was when it came
  let stream = null, running = false, again = false, timer = 0, lost = false;

  function say(text) {
    line.textContent = text;
    line.hidden = text === '';
  }

  // Moments are shown in the reader's own time.
  function localTimes(root) {
    for (const t of root.querySelectorAll('time[datetime]')) {
      const at = new Date(t.dateTime);
      if (!isNaN(at)) t.textContent = at.toLocaleString([], t.dataset.clock === undefined ? { dateStyle: 'medium', timeStyle: 'short', hourCycle: 'h23' } : { timeStyle: 'short', hourCycle: 'h23' });
    }
    for (const z of root.querySelectorAll('[data-zone]')) z.hidden = true; // they are the reader's own;
  }

  // The name that was given last on this device is offered again.
  function offerName(root) {
    try {
      const name = localStorage.getItem('person');
      for (const i of root.querySelectorAll('input[name=person]:not([type=hidden])')) if (name && !i.value) i.value = name;
    } catch { /* nothing is kept here */ }
  }
  function keepName(form) {
    const i = form.querySelector('input[name=person]:not([type=hidden])');
    try {
      if (i && i.value.trim()) localStorage.setItem('person', i.value.trim());
    } catch { /* nothing is kept here */ }
  }

  // Where there is little room the steps stand in a strip that is scrolled, also
  // by the keyboard.
  function scrollSteps(strip) {
    const now = strip.querySelector('[aria-current]');
    if (strip.scrollWidth <= strip.clientWidth) return strip.removeAttribute('tabindex');
    strip.tabIndex = 0;
    if (now) strip.scrollLeft = now.offsetLeft - (strip.clientWidth - now.offsetWidth) / 2;
  }
  addEventListener('resize', () => document.querySelectorAll('.stages').forEach(scrollSteps));

  // dress makes what came from the server this reader's own.
  function dress(root) {
    localTimes(root);
    offerName(root);
    for (const p of root.querySelectorAll('svg.picture')) if (spots(p).length) p.tabIndex = 0;
    const strip = root.matches && root.matches('.stages') ? root : root.querySelector('.stages');
    if (strip) scrollSteps(strip);
  }

  // The values of a picture: what its dots say, and the field below them.
  const known = new WeakMap();
  function spots(picture) {
    if (known.has(picture)) return known.get(picture);
    const out = [];
    for (const t of picture.querySelectorAll('circle > title')) {
      const c = t.parentNode;
      out.push({ x: +c.getAttribute('cx'), y: +c.getAttribute('cy'), text: t.textContent, near: .5 });
    }
    const told = picture.querySelector('.told');
    for (const one of told && told.dataset.at ? told.dataset.at.split(';') : []) {
      const [x, y, ...words] = one.split(' ');
      out.push({ x: +x, y: +y, text: words.join(' '), near: 1 });
    }
    const g = picture.querySelector('.values');
    if (g) {
      const list = name => g.dataset[name].split(' ');
      const axis = ([lo, hi, from, to]) => v => from + (v - lo) / (hi - lo) * (to - from);
      const u = axis(list('u').map(Number)), v = axis(list('v').map(Number));
      const xs = list('x'), ys = list('y'), zs = list('z');
      ys.forEach((y, j) => xs.forEach((x, i) => {
        const z = zs[j * xs.length + i];
        if (z === '_') return;
        const mm = (z / 1000).toFixed(3).replace('-', '\u2212');
        out.push({ x: u(+x), y: v(+y), text: 'x ' + x + ' mm, y ' + y + ' mm: ' + (g.dataset.signed && z > 0 ? '+' : '') + mm + ' mm', near: 1 });
      }));
    }
    known.set(picture, out);
    return out;
  }
  function pick(picture, spot) {
    const figure = picture.closest('figure');
    let line = figure.querySelector('.value'), ring = picture.querySelector('.pick');
    if (!line) {
      line = document.createElement('p');
      line.className = 'value';
      line.setAttribute('role', 'status');
      picture.after(line);
    }
    if (!ring) {
      ring = document.createElementNS('http://www.w3.org/2000/svg', 'circle');
      ring.setAttribute('class', 'pick');
      ring.setAttribute('r', 9);
      picture.append(ring);
    }
    ring.setAttribute('cx', spot.x);
    ring.setAttribute('cy', spot.y);
    picture.picked = spot;
    if (line.textContent !== spot.text) line.textContent = spot.text;
  }
  function least(all, cost) {
    let best = null, at = Infinity;
    for (const s of all) {
      const c = cost(s);
      if (c < at) [best, at] = [s, c];
    }
    return best;
  }
  function pointed(e) {
    const picture = e.target.closest && e.target.closest('figure svg.picture');
    if (!picture) return;
    const r = picture.getBoundingClientRect(), k = picture.viewBox.baseVal.width / r.width;
    const x = (e.clientX - r.left) * k, y = (e.clientY - r.top) * k;
    const s = least(spots(picture), s => s.near * Math.hypot(s.x - x, s.y - y));
    if (s && Math.hypot(s.x - x, s.y - y) < 40) pick(picture, s);
  }
  document.addEventListener('pointerdown', pointed);
  document.addEventListener('pointermove', e => { if (e.pointerType === 'mouse') pointed(e); });
  document.addEventListener('keydown', e => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    const picture = e.target.closest('svg.picture');
    if (!way || !picture || !spots(picture).length) return;
    e.preventDefault();
    const p = picture.picked;
    const s = p ? least(spots(picture), s => {
      const along = (s.x - p.x) * way[0] + (s.y - p.y) * way[1], aside = Math.abs((s.x - p.x) * way[1]) + Math.abs((s.y - p.y) * way[0]);
      return along > .5 ? along + 4 * aside : Infinity;
    }) : spots(picture)[0];
    if (s) pick(picture, s);
  });

  // A button that was just pressed keeps the focus in its new shape. While it
  // rests it has none, so what was pressed is held. Where another step came, its
  // heading has the focus: a second Enter must not be a move that nobody read of.
  let held = null;
  const keyOf = b => ({ value: b.value });
  function focusKey() {
    const b = document.activeElement;
    if (b && b.name === 'press') return keyOf(b);
    return !b || b === document.body ? held : null;
  }
  function refocus(key) {
    if (!key) return;
    const all = [...document.querySelectorAll('button[name=press]:not(:disabled)')];
    let b = all.find(x => x.value === key.value);
    if (!b) {
      b = document.querySelector('[data-part=step] h1');
      if (b) b.tabIndex = -1;
    }
    if (b) b.focus({ preventScroll: true });
  }

  // What was pressed is under way: until it is answered, nothing else can be.
  let pending = null;
  // How many moves were answered: what was asked for before the last is old.
  let answered = 0;
  function rest() {
    for (const b of document.querySelectorAll('form[data-live] button')) {
      b.disabled = true;
      came.delete(b.closest('[data-part]')); // drawn anew in any case
    }
  }
  function moves() {
    rest();
    document.documentElement.classList.add('moves');
  }

  // What stands where a button was just pressed is not pressed by the same finger: it
  // has to be read first.
  let readBy = 0;
  function readFirst() {
    const left = readBy - performance.now();
    if (left <= 0) return;
    const all = [...document.querySelectorAll('.answers button:not(:disabled)')];
    for (const b of all) b.disabled = true;
    setTimeout(() => { if (!pending && !lost) for (const b of all) b.disabled = false; }, left);
  }

  // Calling the person: a tone and a shake, which browsers allow after a first press
  // only, and a screen that stays lit while somebody is needed.
  let audio = null, touchedYet = false, lit = null;
  function allowed(e) {
    if (!e.isTrusted) return;
    touchedYet = true;
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!audio && Context) audio = new Context();
    if (audio && audio.state !== 'running') audio.resume();
    quiet();
  }
  addEventListener('pointerup', allowed);
  addEventListener('keydown', allowed);
  // quiet says that this device cannot call yet.
  function quiet() {
    for (const p of document.querySelectorAll('[data-quiet]')) p.hidden = touchedYet;
  }
  function call(tones, shake) {
    if (!touchedYet) return;
    if (navigator.vibrate) navigator.vibrate(shake);
    if (!audio) return;
    tones.forEach((hz, i) => {
      const from = audio.currentTime + i * .25, tone = audio.createOscillator(), loud = audio.createGain();
      tone.frequency.value = hz;
      loud.gain.setValueAtTime(0, from);
      loud.gain.linearRampToValueAtTime(.4, from + .02);
      loud.gain.linearRampToValueAtTime(0, from + .22);
      tone.connect(loud).connect(audio.destination);
      tone.start(from);
      tone.stop(from + .22);
    });
  }
  function stayLit(wanted) {
    if (!wanted || document.hidden) {
      if (lit) lit.then(l => l && l.release());
      lit = null;
    } else if (!lit && navigator.wakeLock) {
      const mine = lit = navigator.wakeLock.request('screen').then(l => {
        l.addEventListener('release', () => { if (lit === mine) lit = null; });
        return l;
      }).catch(() => { if (lit === mine) lit = null; }); // a battery that is low
    }
  }
  // waiting is for what the machine waits now, '' for nothing.
  const waiting = () => (document.querySelector('[data-part=step][data-waits]') || { dataset: { key: '' } }).dataset.key;

  function put(html, ours) {
    const doc = new DOMParser().parseFromString(html, 'text/html');
    const key = focusKey(), waited = waiting();
    document.documentElement.className = doc.documentElement.className;
    for (const part of document.querySelectorAll('[data-part]')) {
      const name = part.dataset.part;
      const fresh = doc.querySelector('[data-part="' + name + '"]');
      if (!fresh || came.get(part) === fresh.outerHTML) continue;
      if (part.querySelector('[data-busy]')) continue; // a stop is on its way
      if (!ours && touched.has(name) && part.dataset.key === fresh.dataset.key) continue;
      touched.delete(name);
      const titled = s => s.textContent.replace(/\d.*/s, ''); // its numbers change
      const open = [...part.querySelectorAll('details[open] > summary')].map(titled);
      const next = document.importNode(fresh, true);
      came.set(next, fresh.outerHTML);
      for (const s of next.querySelectorAll('details > summary')) if (open.includes(titled(s))) s.parentNode.open = true;
      part.replaceWith(next);
      dress(next);
      if (part.dataset.key === next.dataset.key) continue;
      // What comes next is read from its beginning, wherever one had scrolled to.
      if (next.getBoundingClientRect().top < (parseFloat(getComputedStyle(document.documentElement).scrollPaddingTop) || 0)) next.scrollIntoView();
      if (next.querySelector('.answers')) readBy = performance.now() + 700;
    }
    quiet();
    readFirst();
    if (waiting() && waiting() !== waited) call([660, 880], [200, 100, 200]);
    if (pending && !ours) {
      moves();
    } else {
      refocus(key);
      held = null;
    }
    document.title = doc.title;
    attend(doc.body.dataset);
  }

  async function refresh() {
    if (running) { again = true; return; }
    running = true;
    const before = answered;
    try {
      const res = await fetch(document.body.dataset.here, { cache: 'no-store', signal: AbortSignal.timeout(broken ? 4000 : 15000) });
      const text = await res.text();
      if (before === answered) put(text, false);
      else again = true;
      if (lost) { lost = false; say(''); }
    } catch {
      gone();
    }
    running = false;
    if (again) { again = false; setTimeout(refresh, 250); }
  }

  function gone() {
    if (!lost) say('No connection since ' + new Date().toLocaleTimeString([], { hourCycle: 'h23' }) + '. What you see is old; trying again.');
    lost = true;
    leave(); // opened again once something is answered
    if (pending) pending.abort(); // its answer will not come over this line
    // What might arrive late must not move anything: the buttons rest.
    rest();
    document.documentElement.classList.remove('moves');
    clearTimeout(timer);
    timer = setTimeout(refresh, 1500);
  }

  // A stream that breaks off says nothing of the line yet: the screen is read, and
  // that tells.
  let broken = 0;
  function reread() {
    leave();
    clearTimeout(timer);
    timer = setTimeout(refresh, broken++ ? 1500 : 0);
  }

  function leave() {
    if (stream) stream.close();
    stream = null;
  }

  // attend follows what the screen says that it follows. A browser has few
  // lines to one host, which all its windows share: one that nobody looks at
  // takes none.
  function attend(data) {
    clearTimeout(timer);
    stayLit(data.awake !== undefined);
    if (document.hidden) return leave();
    if (data.events && !stream) {
      stream = new EventSource(data.events);
      stream.onmessage = refresh;
      stream.onopen = () => { broken = 0; if (lost) refresh(); };
      stream.onerror = reread;
    } else if (!data.events) {
      leave();
    }
    if (data.poll) timer = setTimeout(refresh, 1000 * data.poll);
  }

  // A move is sent once: if no answer comes, the screen is read again, never
  // the move sent again, and the buttons rest until then.
  async function press(form, button) {
    const data = new URLSearchParams(new FormData(form, button));
    held = keyOf(button);
    pending = new AbortController();
    moves();
    try {
      const res = await fetch(form.action, { method: 'POST', body: data, signal: pending.signal });
      const text = await res.text();
      pending = null;
      answered++;
      if ((res.headers.get('Content-Type') || '').includes('json')) { // refused at the door
        const refusal = JSON.parse(text).error;
        say(refusal.text + ' ' + refusal.hint);
        refresh();
      } else {
        const waited = waiting();
        put(text, true);
        if (res.ok && waited && waiting() === waited) call([520], 60); // it has moved: feel again
      }
    } catch {
      pending = null;
      gone();
    }
  }

  // A stop request belongs to what goes on now. It is sent again until it is answered,
  // for ten seconds at most: later it might reach something else.
  const stopFor = 10000;
  async function stop(form) {
    const said = form.querySelector('[data-said]');
    if (form.dataset.busy) return;
    form.dataset.busy = 'yes';
    leave(); // no line of ours stands in its way
    const began = Date.now();
    for (let n = 1; ; n++) {
      said.textContent = 'Asking the printer to stop' + (n > 1 ? ', attempt ' + n : '') + '. If it does not stop, use the power switch.';
      try {
        const res = await fetch('/api/v1/stop?for=' + encodeURIComponent(form.dataset.stop), { method: 'POST', signal: AbortSignal.timeout(3000) });
        const answer = await res.json();
        lost = false; // what is said now stays
        if (res.ok) {
          said.textContent = answer.requested ? 'The stop request went out at ' + new Date().toLocaleTimeString([], { hourCycle: 'h23' }) + '. Look at the printer; if it moves, use the power switch.' : answer.text;
          break;
        }
        said.textContent = 'Refused: ' + answer.error.text + '. Use the power switch.';
        if (res.status < 500) break;
      } catch { /* no answer: again */ }
      if (Date.now() - began > stopFor) {
        said.textContent = 'The stop request could not be delivered, and is given up. Use the power switch.';
        break;
      }
      await new Promise(done => setTimeout(done, 400));
    }
    delete form.dataset.busy;
    say(said.textContent); // the bar goes with what went on
    refresh();
  }

  document.addEventListener('submit', e => {
    const form = e.target;
    keepName(form);
    if (form.matches('[data-stop]')) {
      e.preventDefault();
      stop(form);
    } else if (form.matches('[data-live]')) {
      e.preventDefault();
      press(form, e.submitter);
    }
  });
  document.addEventListener('input', e => {
    const part = e.target.closest('[data-part]');
    if (part) touched.add(part.dataset.part);
  });
  document.addEventListener('visibilitychange', () => {
    if (document.hidden) attend(document.body.dataset);
    else refresh();
  });
  for (const part of document.querySelectorAll('[data-part]')) came.set(part, part.outerHTML);
  dress(document);
  quiet();
  attend(document.body.dataset);
})();
