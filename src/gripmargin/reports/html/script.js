'use strict';
(() => {
  const NONE = '–', UNBOUNDED = 1e9;
  const fixed = (v, d) => {
    if (v === null || v === undefined || !Number.isFinite(v)) return NONE;
    let s = v.toFixed(d);
    if (Number(s) === 0) s = (0).toFixed(d);
    return s.replace('-', '−');
  };
  const margin = use => {
    if (use === null || use === undefined) return NONE;
    if (use <= 0) return '∞';
    if (use >= UNBOUNDED) return '0.00';
    const m = 1 / use;
    return m >= 999.5 ? 'over 1000' : m >= 100 ? m.toFixed(0) : fixed(m, 2);
  };
  const nearest = (t, wanted) => {
    let low = 0, high = t.length - 1;
    while (high - low > 1) { const mid = (low + high) >> 1; if (t[mid] <= wanted) low = mid; else high = mid; }
    return Math.abs(t[low] - wanted) <= Math.abs(t[high] - wanted) ? low : high;
  };
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];

  function grip(face) {
    const times = (M, w) => Array(6).fill(0).map((_, r) => w.reduce((s, v, c) => s + M[6 * r + c] * v, 0));
    const least = (a, b, c) => a < 0 ? (Math.sqrt(Math.max(b * b - a * c, 0)) + b) / -a : Infinity;
    const use = ([x, y, z], more, [a, b, c], left) => {
      if (!(a || b || c)) return (Math.hypot(x, y, Math.max(z, 0)) + more) / left;
      const square = a * a + b * b - left * left, half = a * x + b * y + left * more, rest = x * x + y * y - more * more;
      const u = least(square + c * c, half + c * z, rest + z * z);
      return c * u + z > 0 ? u : least(square, half, rest);
    };
    return (load, strength = 1) => {
      const move = times(face.C, load), apart = Math.hypot(...times(face.L, load));
      const shift = move.slice(0, 3), turn = move.slice(3);
      const traction = (pad, p, kind, i) => {
        if (pad.bent.length) return [0, 1, 2].map(c => load.reduce((s, w, k) => s + pad.bent[kind][18 * i + 6 * c + k] * w, 0));
        const way = cross(turn, p).map((v, c) => v + shift[c]);
        return [0, 1, 2].map(c => pad.k[c] * dot(pad.axes.slice(3 * c, 3 * c + 3), way));
      };
      let most = null, peel = null;
      face.pads.forEach((pad, i) => {
        for (let e = 0; e < pad.edge.length / 3 && pad.holds[e] > 0; e++) {
          const p = pad.edge.slice(3 * e, 3 * e + 3), q = traction(pad, p, 1, e), holds = strength * pad.holds[e] / face.asked;
          const t = [q[0] / (pad.T * holds), q[1] / (pad.T * holds), q[2] / (pad.S * holds)];
          const more = pad.slack[e] * apart / strength, start = pad.start.length ? pad.start.slice(3 * e, 3 * e + 3).map(v => v / strength) : [0, 0, 0];
          const left = Math.max(1 - (1 - (pad.left[e] ?? 1)) / strength, 0);
          const u = use(t, more, start, left), n = (Math.max(t[2], 0) + more) / Math.max(left - start[2], 0);
          if (!most || u > most.v) most = {v: u, pad: i, e, p};
          if (!peel || n > peel.v) peel = {v: n, pad: i, e, p};
        }
      });
      return {most, peel, traction};
    };
  }

  function pads(root, face, held) {
    const groups = [...root.querySelectorAll('[data-map]')].filter(g => g.dataset.map !== 'bond');
    const said = root.querySelector('[data-face="said"]');
    const used = (pad, q, holds) => Math.hypot(q[0] / pad.T, q[1] / pad.T, Math.max(q[2], 0) / pad.S) / holds;
    return (load, t, hung) => {
      const {most, peel, traction} = held(load);
      for (const g of groups) {
        const pad = face.pads[g.dataset.pad];
        [...g.children].forEach((cell, c) => {
          let name = 'u-none';
          if (pad.ok[c] && pad.bond[c] > 0) {
            const q = traction(pad, pad.cells.slice(3 * c, 3 * c + 3), 0, c);
            const v = g.dataset.map === 'use' ? used(pad, q, pad.bond[c]) : q[2] / (pad.S * pad.bond[c]);
            name = v >= 0 ? 'u' + Math.min(Math.floor(10 * v), 10) : 'k' + (1 + Math.min(Math.floor(-3 * v), 2));
          }
          if (cell.getAttribute('class') !== name) cell.setAttribute('class', name);
        });
        const spot = g.parentNode.querySelector('[data-spot]'), at = g.dataset.map === 'use' ? most : peel;
        if (!spot) continue;
        const here = at && at.v > 0 && at.pad === Number(g.dataset.pad);
        spot.setAttribute('visibility', here ? 'visible' : 'hidden');
        if (here) spot.setAttribute('transform', `translate(${pad.spot[2 * at.e].toFixed(1)} ${pad.spot[2 * at.e + 1].toFixed(1)})`);
      }
      if (!hung) { said.textContent = `At ${t} the part does not hang on the pads.`; return; }
      if (!most) return;
      const where = at => `on pad ‘${face.pads[at.pad].name}’ at x ${fixed(1e3 * at.p[0], 1)}, y ${fixed(1e3 * at.p[1], 1)} mm`;
      let text = `At ${t} the most used place is ${where(most)}: ${fixed(100 * most.v, 0)} % of what it holds`;
      if (peel.v > 0) text += `; the highest tension, ${fixed(100 * peel.v, 0)} % of the pull-off stress, ${where(peel)} (${fixed(Math.atan2(peel.p[1], peel.p[0]) * 180 / Math.PI, 0)}° about tool z): it would peel from there`;
      said.textContent = text + '.';
    };
  }

  function space(root, path) {
    const svg = root.querySelector('.path3d');
    if (!svg) return () => {};
    const count = path.p[0].length, half = path.size / 2;
    let [azimuth, elevation] = path.eye, here = 0;
    const strokes = [...svg.querySelectorAll('.strokes path')];
    const axes = [...svg.querySelectorAll('.floor .axis')], names = [...svg.querySelectorAll('.floor .axis-name')];
    const marks = [...svg.querySelectorAll('[data-mark]')], ends = [...svg.querySelectorAll('.end')];
    const whiskers = svg.querySelector('.whiskers'), dot = svg.querySelector('.here');
    const look = (x, y, z) => {
      const c = Math.cos(azimuth), s = Math.sin(azimuth), ce = Math.cos(elevation), se = Math.sin(elevation);
      return [c * x + s * y, -(z * ce + (-s * x + c * y) * se)];
    };
    const at = (i, lift = 0) => {
      const p = [0, 1, 2].map(c => path.p[c][i] + (lift ? lift * path.axis[c][i] : 0)), [x, y] = look(...p);
      return [half + path.factor * x, half + path.factor * y];
    };
    const move = (e, [x, y]) => e && e.setAttribute('transform', `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
    function draw() {
      const flat = path.p[0].map((_, i) => at(i)), d = strokes.map(() => '');
      let last = -1;
      for (let i = 0; i + 1 < count; i++) {
        const a = path.kind[i], b = path.kind[i + 1], k = a === 0 || b === 0 ? 0 : Math.max(a, b);
        if (k !== last) d[k] += `M${flat[i][0].toFixed(1)} ${flat[i][1].toFixed(1)}`;
        d[k] += `L${flat[i + 1][0].toFixed(1)} ${flat[i + 1][1].toFixed(1)}`;
        last = k;
      }
      if (count > 1) strokes.forEach((p, k) => p.setAttribute('d', d[k]));
      if (path.whisk) whiskers.setAttribute('d', path.whisk.map(i => {
        const a = flat[i], b = at(i, 16 / path.factor);
        return `M${a[0].toFixed(1)} ${a[1].toFixed(1)}L${b[0].toFixed(1)} ${b[1].toFixed(1)}`;
      }).join(''));
      axes.forEach((axis, c) => {
        const [x, y] = look(...[0, 1, 2].map(k => k === c ? path.length * path.factor : 0));
        const foot = [path.foot, path.size - path.foot];
        axis.setAttribute('d', `M${foot[0]} ${foot[1]}L${(foot[0] + x).toFixed(1)} ${(foot[1] + y).toFixed(1)}`);
        names[c].setAttribute('x', (foot[0] + 1.22 * x).toFixed(1));
        names[c].setAttribute('y', (foot[1] + 1.22 * y).toFixed(1));
        names[c].setAttribute('visibility', Math.hypot(x, y) > 4 ? 'visible' : 'hidden');
      });
      marks.forEach(m => { const i = path.marks[m.dataset.mark]; if (i >= 0) move(m, flat[i]); });
      move(ends[0], flat[0]); move(ends[1], flat[count - 1]);
      move(dot, flat[here]);
    }
    const turn = (a, e) => { azimuth += a; elevation = Math.max(-Math.PI / 2, Math.min(Math.PI / 2, elevation + e)); draw(); };
    let from = null;
    svg.addEventListener('pointerdown', e => { from = [e.clientX, e.clientY]; svg.setPointerCapture(e.pointerId); });
    svg.addEventListener('pointermove', e => {
      if (!from) return;
      turn((from[0] - e.clientX) * 0.008, (e.clientY - from[1]) * 0.008);
      from = [e.clientX, e.clientY];
    });
    for (const end of ['pointerup', 'pointercancel']) svg.addEventListener(end, () => { from = null; });
    svg.addEventListener('keydown', e => {
      const step = {ArrowLeft: [0.1, 0], ArrowRight: [-0.1, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1]}[e.key];
      if (step) { e.preventDefault(); turn(...step); }
    });
    root.querySelectorAll('[data-view]').forEach(b => b.addEventListener('click', () => {
      [azimuth, elevation] = b.dataset.view.split(' ').map(Number);
      draw();
    }));
    return i => { here = i; move(dot, at(i)); };
  }

  function tries(root, data, held) {
    const own = root.querySelector('.what-if');
    if (!own) return;
    const {rows, mass, com, g, target} = data.tries, t = data.t, mark = what => own.querySelector(`[data-tried=${what}]`);
    const fields = [...own.querySelectorAll('[data-try]')], shown = {};
    own.querySelectorAll('[data-row]').forEach(e => { shown[e.dataset.row] = e; });
    const carried = t.map((_, i) => i).filter(i => data.low[i] !== null);
    const inside = carried.map(i => rows.map((_, r) => r).filter(r => rows[r][0] <= t[i] && t[i] <= rows[r][1]));
    const loads = carried.map(i => {
      const weight = g.map(row => mass * row[row.length > 1 ? i : 0]), still = [...weight, ...cross(com, weight)];
      return [still, [...data.force, ...data.moment].map((row, c) => row[i] - still[c])];
    });
    const line = own.querySelector('.plot path.s1'), low = Number(mark('chart').dataset.low);
    const width = Math.max(data.span[1] - data.span[0], 1e-12), last = carried.map(() => [1, 1, 0]);
    const largest = uses => uses.reduce((m, u) => Math.max(m, u), 0);
    const share = f => Math.min(Math.max(Number(f.value) / 100, f.min / 100), f.max / 100) || 1;
    function redraw() {
      const k = rows.map(() => 1);
      let strength = 1;
      for (const f of fields) {
        f.setAttribute('aria-invalid', !f.checkValidity() || !f.value);
        if (f.dataset.try < 0) strength = share(f); else k[f.dataset.try] = share(f);
      }
      const square = carried.map((_, j) => (inside[j].length ? Math.max(...inside[j].map(r => k[r])) : 1) ** 2);
      const uses = carried.map((i, j) => {
        if (square[j] === 1 && strength === 1) return data.use[i];
        if (last[j][0] !== square[j] || last[j][1] !== strength) {
          const found = held(loads[j][0].map((w, c) => w + square[j] * loads[j][1][c]), strength).most;
          last[j] = [square[j], strength, found ? found.v : UNBOUNDED];
        }
        return last[j][2];
      });
      const highs = carried.map((i, j) => data.low[i] >= UNBOUNDED ? UNBOUNDED : uses[j] + square[j] * (data.low[i] - data.use[i]) / strength);
      let d = '', before = -2;
      carried.forEach((i, j) => {
        if (uses[j] < UNBOUNDED) {
          d += `${before === i - 1 ? 'L' : 'M'}${(1000 * (t[i] - data.span[0]) / width).toFixed(1)} ${(1000 * Math.min(uses[j] / low, 1)).toFixed(1)}`;
          before = i;
        }
      });
      line.setAttribute('d', d);
      rows.forEach((row, r) => {
        if (!row[3]) return;
        shown[`${r} margin`].textContent = margin(largest(uses.filter((_, j) => inside[j].includes(r))));
        shown[`${r} time`].textContent = fixed((row[1] - row[0]) / k[r], 3);
      });
      const most = largest(uses), high = largest(highs), length = width + rows.reduce((sum, row, r) => sum + (row[1] - row[0]) * (1 / k[r] - 1), 0);
      const when = (all, v) => `${margin(v)} at ${fixed(t[carried[all.indexOf(v)]], 3)} s`, perhaps = margin(high) === margin(most) ? '' : `, perhaps ${when(highs, high)}`;
      const on = high * target <= 1 + 1e-9 ? 'on target' : most * target > 1 + 1e-9 ? 'short of the target' : 'perhaps short of the target';
      mark('said').textContent = (high >= UNBOUNDED ? `Hold cannot be told: at ${fixed(t[carried[highs.indexOf(high)]], 3)} s the motion is not known. ` :
        `Preview: hold ${when(uses, most)}${perhaps}: ${on} of ${fixed(target, 2)}; now ${margin(largest(carried.map(i => data.use[i])))}. `) +
        `The program takes ${fixed(length, 3)} s; now ${fixed(width, 3)} s.`;
      Object.assign(mark('said').dataset, {use: most, high});
      mark('typed').value = typed(rows, k);
    }
    fields.forEach(f => { f.disabled = false; f.addEventListener('input', redraw); });
    mark('copy').addEventListener('click', () => {
      mark('typed').select();
      navigator.clipboard?.writeText(mark('typed').value).catch(() => {});
    });
    redraw();
  }

  function typed(rows, k) {
    const figure = v => {
      if (!(v > 0 && Number.isFinite(v))) return '-';
      const digits = Math.floor(Math.log10(v)) - 2, step = 10 ** digits;
      return (Math.floor(v / step + 1e-9) * step).toFixed(Math.max(0, -digits));
    };
    const later = time => (Math.max(Math.ceil(1e3 * time - 0.01), 0) / 1e3).toFixed(3);
    const table = [['move', 'speed', 'tool mm/s', 'mm/s^2', 'joint', 'its speed', 'up s', 'brake s', 'time s']];
    rows.forEach(([start, end, name, , speed, acceleration, leads, up, brake, joint, slides], r) => {
      const of = joint ? `${figure(k[r] * leads * (slides ? 1e3 : 180 / Math.PI))} ${slides ? 'mm/s' : 'deg/s'}` : '-';
      const figures = speed === undefined ? Array(7).fill('-') : [`${(100 * k[r]).toFixed(1)} %`, figure(1e3 * k[r] * speed),
        figure(1e3 * k[r] * k[r] * acceleration), joint ? `${joint}` : '-', of, later(up / k[r]), later(brake / k[r])];
      table.push([name, ...figures, later((end - start) / k[r])]);
    });
    const wide = table[0].map((_, c) => Math.max(...table.map(row => row[c].length)));
    return table.map(row => row.map((cell, c) => c ? cell.padStart(wide[c]) : cell.padEnd(wide[0])).join('  ')).join('\n');
  }

  function job(root) {
    const source = root.querySelector('script.data'), slider = root.querySelector('input[type=range]');
    if (!source || !slider) return;
    const data = JSON.parse(source.textContent), t = data.t;
    const says = {};
    root.querySelectorAll('[data-say]').forEach(e => (says[e.dataset.say] ??= []).push(e));
    const plots = [...root.querySelectorAll('.plot')].map(plot => {
      const axis = plot.parentNode.parentNode;
      const hand = axis.closest('[data-span]');
      return {plot, line: plot.querySelector('.cursor'), span: hand ? hand.dataset.span.split(' ').map(Number) : data.span};
    });
    const held = data.face ? grip(data.face) : null, faces = held ? pads(root, data.face, held) : null, dotAt = space(root, data.path);
    if (held && data.tries) tries(root, data, held);
    const back = root.querySelector('.back');
    const three = (rows, i, factor, digits) => rows.map(r => fixed(r[i] === null ? null : factor * r[i], digits)).join(', ');
    let at = -1;
    function show(i) {
      if (i === at) return;
      at = i;
      const time = `${fixed(t[i], 3)} s`, move = data.move ? data.labels[data.move[i]] : '', phase = data.phase ? data.phase[i] : NONE;
      const words = {
        t: time, move, phase, margin: margin(data.use[i]), low: margin(data.low[i]),
        peel: data.peel[i] === null ? NONE : fixed(100 * data.peel[i], 0),
        force: data.hung[i] ? three(data.force, i, 1, 2) : NONE, moment: data.hung[i] ? three(data.moment, i, 1e3, 0) : NONE, place: three(data.place, i, 1e3, 1),
        acc: three(data.acc, i, 1, 2), omega: three(data.omega, i, 1, 2),
        swing: data.swing ? margin(data.swing[i]) : NONE, stop: data.stop ? margin(data.stop[i]) : NONE,
        load: data.said[data.carried[i]],
        governs: data.checks[data.by[i]] ? `${data.checks[data.by[i]]} ${margin(data.share[i])}` : NONE,
        cause: data.cause && data.hung[i] ? Object.entries(data.cause).filter(([, v]) => Math.abs(v[i]) >= 0.005).map(([n, v]) => `${n} ${fixed(100 * v[i], 0)}`).join(', ') : NONE,
      };
      for (const [key, elements] of Object.entries(says)) for (const e of elements) e.textContent = words[key] ?? NONE;
      slider.value = i;
      slider.setAttribute('aria-valuetext', `${time}${move ? ', move ' + move : ''}, share of target: ${words.governs}`);
      const found = data.found.indexOf(i);
      back.hidden = found < 0;
      if (found >= 0) { back.textContent = `finding ${found + 1}`; back.href = `#${data.key}-f${found + 1}`; }
      for (const {line, span} of plots) {
        if (!line) continue;
        const share = span[1] > span[0] ? (t[i] - span[0]) / (span[1] - span[0]) : 0.5, inside = share >= -1e-9 && share <= 1 + 1e-9;
        line.setAttribute('visibility', inside ? 'visible' : 'hidden');
        line.setAttribute('x1', `${100 * share}%`);
        line.setAttribute('x2', `${100 * share}%`);
      }
      if (faces) faces(data.load.map(r => r[i]), time, data.hung[i]);
      dotAt(i);
    }
    const go = wanted => show(nearest(t, wanted));
    slider.addEventListener('input', () => { show(Number(slider.value)); history.replaceState(null, '', `#${data.key}:t=${t[at].toFixed(4)}`); });
    root.querySelectorAll('[data-t]').forEach(b => b.addEventListener('click', () => go(Number(b.dataset.t))));
    for (const {plot, span} of plots) {
      let held = false;
      const point = e => {
        const box = plot.getBoundingClientRect();
        go(span[0] + (span[1] - span[0]) * Math.max(0, Math.min(1, (e.clientX - box.left) / box.width)));
      };
      plot.addEventListener('pointerdown', e => { held = true; plot.setPointerCapture(e.pointerId); point(e); });
      plot.addEventListener('pointermove', e => { if (held) point(e); });
      for (const end of ['pointerup', 'pointercancel']) plot.addEventListener(end, () => { held = false; });
    }
    root.querySelectorAll('[data-toggle]').forEach(b => b.addEventListener('click', () => {
      const shown = b.getAttribute('aria-pressed') !== 'true';
      b.setAttribute('aria-pressed', shown);
      b.closest('figure').querySelectorAll(`.plot [data-check="${b.dataset.toggle}"]`).forEach(e => e.classList.toggle('off', !shown));
    }));
    const address = () => {
      const found = /^#(?:(job\d+):)?t=([\d.]+)$/.exec(location.hash);
      const card = !found && location.hash.startsWith(`#${data.key}-`) && document.getElementById(location.hash.slice(1));
      if (card) { card.open = true; card.firstElementChild.focus(); }
      if (found && (found[1] ?? 'job1') === data.key) go(Number(found[2]));
    };
    addEventListener('hashchange', address);
    show(Number(slider.value));
    address();
  }

  const unpacked = text => new Response(
    new Blob([Uint8Array.from(atob(text), c => c.charCodeAt(0))]).stream().pipeThrough(new DecompressionStream('deflate'))
  ).text();

  async function unpack(entry) {
    const packed = entry.querySelector('script.packed'), section = entry.querySelector('.job');
    if (!packed) return;
    packed.remove();
    try {
      section.innerHTML = await unpacked(packed.textContent);
    } catch {
      const said = document.createElement('p');
      said.textContent = 'This browser cannot unpack findings and drawings; have a page made of this job alone.';
      section.append(said);
      return;
    }
    job(section);
    entry.dataset.ready = 'yes';
  }

  function overview(entries) {
    const box = document.querySelector('.filter');
    if (!box) return;
    const search = box.querySelector('input'), said = box.querySelector('output'), what = box.dataset.what || 'job';
    const buttons = [...box.querySelectorAll('[data-only]')];
    const all = entries.map(entry => ({entry, words: entry.firstElementChild.textContent.toLowerCase()}));
    function filter() {
      const wanted = search.value.toLowerCase().split(/\s+/);
      const only = buttons.filter(b => b.getAttribute('aria-pressed') === 'true').map(b => b.dataset.only);
      let count = 0;
      for (const {entry, words} of all) {
        entry.hidden = (only.length && !only.includes(entry.dataset.verdict)) || !wanted.every(w => words.includes(w));
        count += !entry.hidden;
      }
      said.textContent = count === all.length ? `${count} ${what}s, the worst first` : `${count} of ${all.length} ${what}s`;
    }
    for (const control of [search, ...buttons]) control.disabled = false;
    search.addEventListener('input', filter);
    for (const b of buttons) b.addEventListener('click', () => {
      b.setAttribute('aria-pressed', b.getAttribute('aria-pressed') !== 'true');
      filter();
    });
    const address = () => {
      const found = /^#(job\d+)(?=$|[:-])/.exec(location.hash), entry = found && document.getElementById(found[1]);
      if (!entry || !entry.matches('.entry')) return;
      entry.hidden = false;
      entry.open = true;
      entry.scrollIntoView();
    };
    for (const entry of entries) entry.addEventListener('toggle', () => {
      if (entry.open) unpack(entry); else entry.scrollIntoView({block: 'nearest'});
    });
    addEventListener('hashchange', address);
    address();
  }

  const entries = [...document.querySelectorAll('.entry')];
  if (entries.length) overview(entries);
  else document.querySelectorAll('.job').forEach(job);
  document.documentElement.dataset.ready = 'yes';
})();
