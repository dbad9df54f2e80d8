"use strict";
// One page, no library: choose a pull, sort a table, look closer at the plan, read a chart off.
(() => {
  const all = (selector, root = document) => Array.from(root.querySelectorAll(selector));
  const details = JSON.parse(document.getElementById("details").textContent);
  const holder = document.getElementById("pull-detail");
  const made = new Map();
  let wanted = 0;

  async function text(number) {
    if (!details.packed) return details.pulls[number - 1];
    const bytes = Uint8Array.from(atob(details.pulls[Math.floor((number - 1) / details.packed)]), (c) => c.charCodeAt(0));
    const batch = await new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"))).json();
    return batch[(number - 1) % details.packed];
  }

  function place(number, content) {
    if (!made.has(number)) {
      const box = document.createElement("div");
      box.innerHTML = content; // made and escaped by the program, never by the page
      const node = box.firstElementChild;
      holder.append(node);
      all(".chart", node).forEach(readable);
      all("table.sorted", node).forEach(sortable);
      made.set(number, node);
    }
    return made.get(number);
  }

  async function choose(number, move) {
    if (!(number >= 1 && number <= Number(holder.dataset.total))) return;
    wanted = number;
    const chosen = made.get(number) || place(number, await text(number));
    if (wanted !== number) return; // another was chosen meanwhile
    for (const node of holder.children) node.hidden = node !== chosen;
    all(".chosen").forEach((node) => node.classList.remove("chosen"));
    all(`[data-pull="${number}"]`).forEach((node) => node.classList.add("chosen"));
    if (move) {
      history.replaceState(null, "", `#pull-${number}`);
      chosen.scrollIntoView({ block: "start", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
    }
  }

  let dragged = false;
  document.addEventListener("click", (event) => {
    const target = event.target.closest("[data-pull]");
    if (target && !dragged) choose(Number(target.dataset.pull), true);
  });

  // In print every pull has its page, as long as they are not too many (then they are not packed either).
  function fill() {
    if (details.packed) {
      for (const node of Array.from(holder.children)) if (node.hidden) { node.remove(); for (const [n, m] of made) if (m === node) made.delete(n); }
      return;
    }
    details.pulls.forEach((content, k) => place(k + 1, content));
    for (const n of Array.from(made.keys()).sort((a, b) => a - b)) holder.append(made.get(n));
  }

  // Rows beyond the first few hundred wait until the page has opened.
  const waiting = all("script.rows").map((store) => ({ body: document.getElementById(store.dataset.table).tBodies[0], rows: JSON.parse(store.textContent) }));
  function add(store, most) {
    store.body.insertAdjacentHTML("beforeend", store.rows.splice(0, most).join("\n"));
    all(`[data-pull="${wanted}"]`, store.body).forEach((row) => row.classList.add("chosen"));
  }
  function complete(body) {
    for (const store of waiting) if (!body || store.body === body) add(store, Infinity);
  }
  function trickle() {
    const store = waiting.find((s) => s.rows.length);
    if (!store) return;
    add(store, 250);
    setTimeout(trickle, 0);
  }

  function sortable(table) {
    const heads = all("thead th", table);
    heads.forEach((head, column) => {
      const button = head.querySelector("button");
      if (!button) return;
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach((h) => h.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        const body = table.tBodies[0];
        complete(body);
        const rows = Array.from(body.rows).map((row) => {
          const cell = row.cells[column];
          const value = cell.dataset.v === undefined ? cell.textContent.trim() : Number(cell.dataset.v);
          return { row, value, empty: cell.dataset.v === "" || value === "" || value === "-" };
        });
        const compare = (a, b) => {
          if (a.empty || b.empty) return Number(a.empty) - Number(b.empty); // what is not there comes last either way
          const order = typeof a.value === "number" && typeof b.value === "number" ? a.value - b.value : String(a.value).localeCompare(String(b.value), undefined, { numeric: true });
          return down ? -order : order;
        };
        rows.sort(compare);
        body.append(...rows.map((r) => r.row));
      });
    });
  }

  // A chart tells its values at the pointer.
  function readable(svg) {
    const source = svg.dataset.read;
    if (!source) return;
    const read = JSON.parse(source);
    const figure = svg.closest(".figure");
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("stroke", "#000");
    line.setAttribute("stroke-width", "0.8");
    line.style.pointerEvents = "none";
    svg.append(line);
    const out = document.createElement("div");
    out.className = "readout";
    out.hidden = true;
    figure.append(out);
    const at = (values, s) => {
      let k = 1;
      while (k < read.s.length - 1 && read.s[k] < s) k += 1;
      const span = read.s[k] - read.s[k - 1];
      const f = span > 0 ? Math.min(Math.max((s - read.s[k - 1]) / span, 0), 1) : 1;
      return { through: values[k - 1] + f * (values[k] - values[k - 1]), step: values[k] };
    };
    const show = (value, decimals) => value.toLocaleString("en-US", { minimumFractionDigits: decimals, maximumFractionDigits: decimals });
    svg.addEventListener("pointermove", (event) => {
      const frame = svg.getBoundingClientRect();
      const outer = figure.getBoundingClientRect();
      const x = (event.clientX - frame.left) / frame.width * svg.viewBox.baseVal.width;
      const s = (x - read.left) / (read.right - read.left) * read.end;
      if (!(s >= 0 && s <= read.end)) { out.hidden = true; line.setAttribute("d", ""); return; }
      line.setAttribute("d", `M${x} ${read.top}V${read.bottom}`);
      const [length, force, pressure] = read.units;
      let text = `${show(s, 0)} ${length}: ${show(at(read.t, s).through, read.decimals)} ${force}`;
      const wall = at(read.w, s).step;
      if (wall > 0) text += `, sidewall ${show(wall, read.decimals)} ${pressure}`;
      out.textContent = text;
      out.hidden = false;
      const half = out.offsetWidth / 2 + 4;
      out.style.left = `${Math.min(Math.max(event.clientX - outer.left, half), outer.width - half)}px`;
      out.style.top = `${frame.top - outer.top + 2}px`;
    });
    svg.addEventListener("pointerleave", () => { out.hidden = true; line.setAttribute("d", ""); });
  }

  // The plan: names and marks keep their size on every screen and at every scale.
  function closer(svg) {
    const box = svg.viewBox.baseVal;
    const width = box.width;
    const height = Number(svg.dataset.map);
    const world = svg.querySelector(".world");
    const place = (node) => /translate\((\S+) ([^)]+)\)/.exec(node.getAttribute("transform")).slice(1).map(Number);
    const known = (node) => ({
      node,
      ...Object.fromEntries(place(node).map((v, n) => ["xy"[n], v])),
      edge: node.dataset.edge === "1",
      box: node.dataset.box ? node.dataset.box.split(" ").map(Number) : null,
      mark: node.classList.contains("mark"),
      vault: node.classList.contains("vault"),
    });
    const fixed = all(".fixed", svg).map(known);
    // What nobody sees before looking closer comes when the page has opened.
    function more() {
      for (const [group, content] of Object.entries(rest)) {
        const holder = svg.querySelector(`.${group}`);
        const before = holder.children.length;
        holder.insertAdjacentHTML("beforeend", content);
        for (let n = before; n < holder.children.length; n += 1) fixed.push(known(holder.children[n]));
        delete rest[group];
      }
    }
    const bar = svg.querySelector(".bar");
    const rest = JSON.parse(document.getElementById("plan-rest").textContent);
    let k = 1, tx = 0, ty = 0, waiting = false;

    function names(shrink, small) {
      const cells = new Map();
      const put = (b) => each(b, (key) => { if (!cells.has(key)) cells.set(key, []); cells.get(key).push(b); });
      const each = (b, act) => {
        for (let i = Math.floor(b[0] / 80); i <= Math.floor(b[2] / 80); i += 1) for (let j = Math.floor(b[1] / 80); j <= Math.floor(b[3] / 80); j += 1) act(i * 100003 + j);
      };
      const meets = (b) => {
        let hit = false;
        each(b, (key) => { for (const o of cells.get(key) || []) if (b[0] < o[2] && o[0] < b[2] && b[1] < o[3] && o[1] < b[3]) hit = true; });
        return hit;
      };
      for (const f of fixed) {
        if (!f.vault) continue;
        const x = f.x * k + tx, y = f.y * k + ty;
        if (x < 0 || y < 0 || x > width || y > height) continue;
        const r = 7 * small;
        put([x - r, y - r, x + r, y + r]);
      }
      for (const f of fixed) {
        if (!f.box) continue;
        const x = f.x * k + tx, y = f.y * k + ty;
        let hide = true;
        if (x >= 0 && y >= 0 && x <= width && y <= height) {
          const [x0, y0, x1, y1] = f.box;
          for (const [dx, dy] of [[0, 0], [0, -y0 - y1], [-x0 - x1, 0], [-x0 - x1, -y0 - y1]]) { // as drawn, or on the other side
            const b = [(x0 + dx) * shrink + x, (y0 + dy) * shrink + y, (x1 + dx) * shrink + x, (y1 + dy) * shrink + y];
            if (b[0] < 0 || b[2] > width || b[1] < 0 || b[3] > height || meets(b)) continue;
            put([b[0] - 4 * shrink, b[1], b[2] + 4 * shrink, b[3]]); // a little air, or two names in a row read as one
            f.node.setAttribute("transform", `translate(${x + dx * shrink} ${y + dy * shrink}) scale(${shrink})`);
            hide = false;
            break;
          }
        }
        if (f.hide !== hide) f.node.setAttribute("display", hide ? "none" : "inline");
        f.hide = hide;
      }
    }

    function scaleBar(shrink) {
      const unit = Number(svg.dataset.unit);
      const metres = Number(svg.dataset.metres) / k;
      const most = 200 * shrink * metres / unit;
      const power = 10 ** Math.floor(Math.log10(most));
      const length = [5, 2, 1].find((s) => s * power <= most * (1 + 1e-9)) * power;
      const pixels = length * unit / metres / shrink;
      bar.querySelector("path").setAttribute("d", `M0 -6V6M0 0H${pixels}M${pixels} -6V6`);
      const text = bar.querySelector("text");
      text.setAttribute("x", pixels + 8);
      text.textContent = `${length.toLocaleString("en-US", { maximumFractionDigits: 3 })} ${svg.dataset.label}`;
    }

    const PAPER = 700; // width between the margins of an upright sheet, letter or A4 [px]
    function lay(most) {
      waiting = false;
      const shown = Math.min(svg.getBoundingClientRect().width, most);
      const shrink = shown > 0 ? Math.max(width / shown, 0.7) : 1;
      const small = shrink * Math.min(1, Math.max(0.25, Number(svg.dataset.spacing) * k / shrink / 26)); // marks shrink where vaults crowd
      world.setAttribute("transform", `matrix(${k} 0 0 ${k} ${tx} ${ty})`);
      for (const f of fixed) {
        const x = f.edge ? f.x : f.x * k + tx, y = f.edge ? f.y : f.y * k + ty;
        const edge = f.edge && f.node !== bar ? width - (width - x) * shrink : x;
        f.node.setAttribute("transform", `translate(${edge} ${y}) scale(${f.mark ? small : shrink})`);
      }
      names(shrink, small);
      scaleBar(shrink);
      svg.classList.toggle("near", k > 1.001);
    }
    function later() { if (!waiting) { waiting = true; requestAnimationFrame(() => lay(Infinity)); } }

    function zoom(factor, x, y) {
      more();
      const to = Math.min(Math.max(k * factor, 1), 400);
      tx = x - (x - tx) * (to / k);
      ty = y - (y - ty) * (to / k);
      k = to;
      keep();
      later();
    }
    function keep() {
      tx = Math.min(Math.max(tx, width - width * k), 0);
      ty = Math.min(Math.max(ty, height - height * k), 0);
    }
    function spot(event) {
      const frame = svg.getBoundingClientRect();
      return [(event.clientX - frame.left) / frame.width * width, (event.clientY - frame.top) / frame.width * width];
    }
    const down = new Map();
    svg.addEventListener("pointerdown", (event) => { down.set(event.pointerId, spot(event)); dragged = false; });
    svg.addEventListener("pointermove", (event) => {
      if (!down.has(event.pointerId)) return;
      const before = down.get(event.pointerId), now = spot(event);
      if (down.size === 2) {
        const other = Array.from(down).find(([id]) => id !== event.pointerId)[1];
        const span = (p) => Math.max(Math.hypot(p[0] - other[0], p[1] - other[1]), 1);
        dragged = true;
        zoom(span(now) / span(before), other[0], other[1]);
      } else if (k > 1.001) {
        if (Math.hypot(now[0] - before[0], now[1] - before[1]) > 1) dragged = true;
        tx += now[0] - before[0];
        ty += now[1] - before[1];
        keep();
        later();
      }
      down.set(event.pointerId, now);
    });
    for (const kind of ["pointerup", "pointercancel", "pointerleave"]) svg.addEventListener(kind, (event) => down.delete(event.pointerId));
    svg.addEventListener("dblclick", (event) => { event.preventDefault(); zoom(2, ...spot(event)); });
    svg.addEventListener("wheel", (event) => { if (event.ctrlKey || k > 1.001) { event.preventDefault(); zoom(Math.exp(-event.deltaY * 0.0025), ...spot(event)); } }, { passive: false });
    const act = { in: () => zoom(2, width / 2, height / 2), out: () => zoom(0.5, width / 2, height / 2), all: () => { k = 1; tx = 0; ty = 0; later(); } };
    all("[data-zoom]").forEach((button) => button.addEventListener("click", act[button.dataset.zoom]));
    let before = svg.getBoundingClientRect().width;
    new ResizeObserver(() => { const now = svg.getBoundingClientRect().width; if (now !== before) { before = now; later(); } }).observe(svg);
    setTimeout(() => { if (Object.keys(rest).length) { more(); later(); } }, 1500);
    addEventListener("beforeprint", () => { complete(); more(); fill(); act.all(); lay(PAPER); });
    addEventListener("afterprint", later);
    lay(Infinity);
  }

  all("table.sorted").forEach(sortable);
  all(".chart").forEach(readable);
  all("svg.plan").forEach(closer);
  const asked = /^#pull-(\d+)$/.exec(location.hash);
  const first = asked ? Number(asked[1]) : Number(holder.dataset.first);
  choose(first, Boolean(asked)).finally(() => { document.documentElement.dataset.ready = "1"; setTimeout(trickle, 300); });
})();
