"use strict";
const $ = id => document.getElementById(id), all = sel => [...document.querySelectorAll(sel)];
const token = new URLSearchParams(location.search).get("token") || "";
const written = document.body.dataset.written, mostPins = +document.body.dataset.pins;
const tab = Math.random().toString(36).slice(2);
let design = written, pins = [], base = "", seq = 0, cell = [0, 0], abort = null, known = {};

// a design as text: the same as state.py reads
const parse = text => Object.fromEntries(new URLSearchParams(text));
const format = d => "on=" + d.on + "&u=" + encodeURIComponent(d.u) + "&r=" + encodeURIComponent(d.r) + "&p=" + d.p + "&c=" + d.c;

function fromControls() {
  const d = parse(design);
  let on = 0n;
  for (const box of all("input[name=on]")) if (box.checked) on |= 1n << BigInt(box.value);
  d.on = on.toString(16);
  d.u = all("input[name=u]").map(one => one.value || "0").join(",");
  d.p = $("plan").value;
  d.c = document.querySelector("input[name=c]:checked").value;
  return d;
}
function toControls() {
  const d = parse(design), on = BigInt("0x" + (d.on || "0")), units = d.u.split(",");
  for (const box of all("input[name=on]")) box.checked = (on >> BigInt(box.value) & 1n) === 1n;
  all("input[name=u]").forEach((one, k) => { one.value = units[k]; });
  $("plan").value = d.p;
  for (const one of all("input[name=c]")) one.checked = one.value === d.c;
  showReserve(d.r);
}
function showReserve(text) {
  const parts = text.split(","), twelve = parts.length === 12;
  $("twelve").open = $("twelve").open || twelve;
  $("reserve").value = twelve || text === "best" ? "" : text;
  all("input[name=m]").forEach((one, k) => { one.value = twelve ? parts[k] : text === "best" ? "" : text; });
}

// the address holds the design, the pins and what is compared against
function toAddress() {
  const q = new URLSearchParams([["d", design], ...pins.map(pin => ["pin", pin]), ["base", base]]);
  history.replaceState(null, "", location.pathname + location.search + "#" + q);
}
function fromAddress() {
  const q = new URLSearchParams(location.hash.slice(1));
  const shaped = text => /^on=[0-9a-f]+&u=[^&]*&r=[^&]*&p=[^&]*&c=[^&]*$/.test(text || "");
  design = shaped(q.get("d")) ? q.get("d") : written;
  pins = q.getAll("pin").filter(shaped).slice(0, mostPins);
  base = pins.includes(q.get("base")) ? q.get("base") : "";
}

async function from(path, more) {
  const q = new URLSearchParams({d: design, b: base, tab, n: seq, ...more});
  for (const pin of pins) q.append("pin", pin);
  const got = await fetch(path + "?" + q, {headers: {"x-token": token}, signal: abort.signal, cache: "no-store"});
  if (got.status === 409) throw new DOMException("overtaken", "AbortError");
  const data = await got.json();
  return got.ok ? data : {refused: data.refused || "The page's program refused this."};
}
async function ask() {
  const mine = ++seq;
  if (abort) abort.abort();
  abort = new AbortController();
  toAddress();
  $("busy").textContent = "working";
  document.body.setAttribute("aria-busy", "true");
  document.body.dataset.asked = mine;
  try {
    const first = await source.first();
    if (mine !== seq) return;
    show(first);
    if (first.refused) return;
    for (const id of ["plans", "bound"]) $(id).textContent = "working";
    for (const next of [source.second, source.third]) {
      const more = await next();
      if (mine !== seq) return;
      show(more);
    }
    done();
  } catch (error) {
    if (error.name === "AbortError" || mine !== seq) return;
    $("gone").hidden = false;
    done();
  }
}
function done() {
  document.body.dataset.answered = seq;
  $("busy").textContent = "";
  document.body.removeAttribute("aria-busy");
}
function show(data) {
  $("gone").hidden = true;
  $("refused").hidden = !data.refused;
  if (data.refused) { $("refused").textContent = data.refused; done(); return; }
  for (const id of ["answer", "map", "bills", "checks", "bound", "plans", "pins"]) if (id in data) put(id, data[id]);
  for (const leg in data.rulers || {}) if ($("ruler-" + leg)) put("ruler-" + leg, data.rulers[leg]);
  for (const k in data.rows || {}) $("row-" + k).textContent = data.rows[k];
  if (data.month) $("month").textContent = data.month;
  if (data.plan) $("plan").options[0].textContent = "default (" + data.default_plan + ")";
  if ("reserve" in data && !parse(design).r) showReserve(data.reserve);
  if ("map" in data) settle(false);
}
function put(id, html) {
  const held = id === "map" && $("map").contains(document.activeElement);
  $(id).innerHTML = html;
  if (held) settle(true);
}

// the map is one stop of the tab key; arrows move inside it
const cells = () => [...$("map").querySelectorAll("tbody tr")].map(row => [...row.querySelectorAll("td")]);
function settle(focus) {
  const one = (cells()[cell[0]] || [])[cell[1]];
  if (!one) return;
  one.tabIndex = 0;
  if (focus) { one.focus(); $("say").textContent = one.dataset.say; }
}
$("map").addEventListener("keydown", event => {
  const step = {ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1], Home: [0, -23], End: [0, 23]}[event.key];
  if (!step) return;
  event.preventDefault();
  move(Math.min(11, Math.max(0, cell[0] + step[0])), Math.min(23, Math.max(0, cell[1] + step[1])));
});
function move(row, column) {
  const was = cells()[cell[0]][cell[1]];
  if (was) was.tabIndex = -1;
  cell = [row, column];
  settle(true);
}
$("map").addEventListener("click", event => {
  const at = event.target.closest("td[data-say]");
  if (at) move(at.parentElement.rowIndex - 1, at.cellIndex - 1);
});
$("map").addEventListener("mouseover", event => {
  const at = event.target.closest("td[data-say]");
  if (at) $("say").textContent = at.dataset.say;
});

function change(d) { design = format(d); ask(); }
$("board").addEventListener("submit", event => event.preventDefault());
$("board").addEventListener("change", event => {
  const d = fromControls();
  if (event.target.name === "r") { d.r = event.target.value; showReserve(d.r); }
  if (event.target.name === "m") d.r = all("input[name=m]").map(one => one.value || "0").join(",");
  change(d);
});
$("board").addEventListener("click", event => {
  const by = event.target.dataset.by, one = by && $(event.target.dataset.for);
  if (!by) return;
  const value = Math.min(+one.max, Math.max(+one.min, (+one.value || 0) + +by));
  one.value = String(Math.round(value * 1e6) / 1e6);
  one.dispatchEvent(new Event("change", {bubbles: true}));
});
function bases() {
  const options = [["", "as written"], ...pins.map((pin, k) => [pin, "design " + (k + 1)])];
  $("base").replaceChildren(...options.map(([value, text]) => new Option(text, value, false, value === base)));
  $("pin").disabled = pins.length >= mostPins;
  $("unpin").disabled = !pins.length;
}
function begin() { toControls(); bases(); ask(); }
$("pin").addEventListener("click", () => {
  if (design !== written && !pins.includes(design)) { pins.push(design); base = design; }
  bases(); ask();
});
$("unpin").addEventListener("click", () => { pins.pop(); base = pins.includes(base) ? base : ""; bases(); ask(); });
$("base").addEventListener("change", () => { base = $("base").value; ask(); });
$("back").addEventListener("click", () => { design = written; toControls(); ask(); });
if ($("write")) $("write").addEventListener("click", async () => {
  $("written").textContent = "working";
  try {
    const got = await fetch("write", {method: "POST", headers: {"x-token": token, "content-type": "text/plain"}, body: design});
    const data = await got.json();
    $("written").textContent = got.ok ? data.text : data.refused;
  } catch (error) { $("written").textContent = ""; $("gone").hidden = false; }
});
const source = typeof fromFile === "function" ? fromFile() : {first: () => from("first"), second: () => from("second"), third: () => from("third")};
addEventListener("hashchange", () => { fromAddress(); begin(); });
fromAddress();
begin();
