// Keeps a screen live: follows the run's event stream, replaces the parts that
// changed, and sends the forms of the gauging without loading the screen anew.
// Everything works without it as well.
(() => {
  'use strict';
  const line = document.getElementById('line');
  const touched = new Set(); // names of parts in which somebody wrote or ticked
  let stream = null, running = false, again = false, timer = 0, lost = false;

  function say(text) {
    line.textContent = text;
    line.hidden = text === '';
  }

  // Moments are shown in the reader's own time.
  function localTimes(root) {
    for (const t of root.querySelectorAll('time[datetime]')) {
      const at = new Date(t.dateTime);
      if (!isNaN(at)) t.textContent = at.toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });
    }
  }

  // A button that was just pressed keeps the focus in its new shape.
  function focusKey() {
    const b = document.activeElement;
    return b && b.name === 'press' ? { value: b.value, kind: b.className } : null;
  }
  function refocus(key) {
    if (!key) return;
    const all = [...document.querySelectorAll('button[name=press]:not(:disabled)')];
    const b = all.find(x => x.value === key.value) || all.find(x => x.className === key.kind) || all[0];
    if (b) b.focus({ preventScroll: true });
  }

  function put(html, ours) {
    const doc = new DOMParser().parseFromString(html, 'text/html');
    localTimes(doc);
    const key = focusKey();
    for (const part of document.querySelectorAll('[data-part]')) {
      const name = part.dataset.part;
      const fresh = doc.querySelector('[data-part="' + name + '"]');
      if (!fresh || part.isEqualNode(fresh)) continue;
      if (!ours && touched.has(name) && part.dataset.key === fresh.dataset.key) continue;
      touched.delete(name);
      part.replaceWith(document.importNode(fresh, true));
    }
    refocus(key);
    document.title = doc.title;
    attend(doc.body.dataset);
  }

  async function refresh() {
    if (running) { again = true; return; }
    running = true;
    try {
      const res = await fetch(document.body.dataset.here, { cache: 'no-store', signal: AbortSignal.timeout(15000) });
      put(await res.text(), false);
      if (lost) { lost = false; say(''); }
    } catch {
      gone();
    }
    running = false;
    if (again) { again = false; setTimeout(refresh, 250); }
  }

  function gone() {
    if (!lost) say('No connection since ' + new Date().toLocaleTimeString() + '. What you see is old; trying again.');
    lost = true;
    clearTimeout(timer);
    timer = setTimeout(refresh, 1500);
  }

  // attend follows what the screen says that it follows.
  function attend(data) {
    clearTimeout(timer);
    if (data.events && !stream) {
      stream = new EventSource(data.events);
      stream.onmessage = refresh;
      stream.onopen = () => { if (lost) refresh(); };
      stream.onerror = gone;
    } else if (!data.events && stream) {
      stream.close();
      stream = null;
    }
    if (data.poll) timer = setTimeout(refresh, 1000 * data.poll);
  }

  // A move is sent once: if no answer comes, the screen is read again, never
  // the move sent again, and the buttons rest until then.
  async function press(form, button) {
    const data = new URLSearchParams(new FormData(form, button));
    for (const b of form.querySelectorAll('button')) b.disabled = true;
    try {
      const res = await fetch(form.action, { method: 'POST', body: data });
      if ((res.headers.get('Content-Type') || '').includes('json')) { // refused at the door
        const refusal = (await res.json()).error;
        say(refusal.text + ' ' + refusal.hint);
        refresh();
      } else {
        put(await res.text(), true);
      }
    } catch {
      gone();
    }
  }

  // A stop request is sent again and again until it is answered.
  async function stop(form) {
    const said = form.querySelector('[data-said]');
    if (form.dataset.busy) return;
    form.dataset.busy = 'yes';
    for (let n = 1; ; n++) {
      said.textContent = 'Asking the printer to stop' + (n > 1 ? ', attempt ' + n : '') + '. If it does not stop, use the power switch.';
      try {
        const res = await fetch('/api/v1/stop', { method: 'POST', signal: AbortSignal.timeout(3000) });
        if (res.ok) {
          said.textContent = 'The stop request went out at ' + new Date().toLocaleTimeString() + '. Look at the printer; if it moves, use the power switch.';
          break;
        }
        const refusal = await res.json();
        said.textContent = 'Refused: ' + refusal.error.text + '. Use the power switch.';
        if (res.status < 500) break;
      } catch { /* no answer: again */ }
      await new Promise(done => setTimeout(done, 400));
    }
    delete form.dataset.busy;
    refresh();
  }

  document.addEventListener('submit', e => {
    const form = e.target;
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
  localTimes(document);
  attend(document.body.dataset);
})();
