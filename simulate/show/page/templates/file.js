"use strict";
const $ = id => document.getElementById(id), all = sel => [...document.querySelectorAll(sel)];
const facts = JSON.parse($("facts").dataset.facts), px = facts.px;
const SVG = "http://www.w3.org/2000/svg";
let known = null, cell = [0, 0];

async function unpacked() {
  const bytes = Uint8Array.from(atob($("facts").dataset.designs), one => one.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return JSON.parse(await new Response(stream).text());
}
function bits() {
  return facts.switched.reduce((sum, place, k) => sum + (box(place).checked ? 1 << k : 0), 0);
}
const box = place => document.querySelector(`input[name=on][value="${place}"]`);
const lines = text => text ? text.split("\n") : [];

function element(name, text, kind) {
  const one = document.createElement(name);
  one.textContent = text;
  if (kind) one.className = kind;
  return one;
}
function show() {
  const n = bits() + (1 << facts.switched.length) * (+$("reserve").value + facts.n_reserves * +$("units").value);
  const [stop, hours, paid, month, circuits, legs, map, bills, checks] = known.columns.map(column => known.texts[column[n]]);
  const stops = element("ul", "", "stop");
  stops.append(...lines(stop).map(text => element("li", text)));
  $("answer").replaceChildren(...(stop ? [stops] : []), element("p", hours, "hours"), element("p", paid, "paid"));
  $("month").textContent = facts.months[+month];
  draw(lines(circuits).map(text => text.split("|")), legs.split("\n"));
  shade(map);
  $("bills").replaceChildren(...lines(bills).map((text, k) => {
    const [name, total, change] = text.split("|"), row = document.createElement("li");
    row.append(element("span", facts.steps[name]), " ", element("span", total, "total"), " ", element("span", k ? change : "", "change"));
    return row;
  }));
  $("checks").replaceChildren(...(checks ? lines(checks) : ["none"]).map(text => element("li", text)));
  history.replaceState(null, "", "#" + [bits().toString(16), $("units").value, $("reserve").value].join("-"));
}
const high = part => px.height - px.edge - part / 1000 * (px.height - 2 * px.edge);
function draw(circuits, legs) {
  circuits.forEach(([, text], k) => { $("row-" + k).textContent = text; });
  ["A", "B"].forEach((leg, at) => {
    if (!$("ruler-" + leg)) return;
    const x = leg === "A" ? px.ruler : px.width - px.ruler, paths = [];
    for (const on of [leg, "AB"]) facts.legs[on].forEach((place, k) => {
      if (!circuits[place][0]) return;
      const own = on === leg, path = document.createElementNS(SVG, "path");
      path.setAttribute("class", "line " + (own ? "own" : "across"));
      path.setAttribute("d", `M${own === (leg === "A") ? 0 : px.width} ${(k + 0.5) * px.row}L${x} ${high(+circuits[place][0])}`);
      paths.push(path);
    });
    const svg = $("ruler-" + leg).firstElementChild, [end, text] = (legs[at] || "").split("|");
    svg.querySelector(".lines").replaceChildren(...paths);
    svg.querySelector(".dead").setAttribute("d", end ? `M${x - 16} ${high(+end)}h32` : "");
    svg.setAttribute("aria-label", "Leg " + leg + (end ? " goes dead after " + text : ": nothing is carried"));
  });
}
function shade(map) {
  [...map].forEach((band, k) => {
    const one = cells()[Math.floor(k / 24)][k % 24];
    one.className = band === "-" ? "" : "b" + band;
    one.dataset.say = `${facts.months[1 + Math.floor(k / 24)]}, ${String(k % 24).padStart(2, "0")}:00: nine times in ten ${facts.bands[+band] || ""} h`;
  });
}
function build() {
  const table = element("table", "", "map"), head = table.createTHead().insertRow(), body = table.createTBody();
  table.setAttribute("role", "grid");
  table.setAttribute("aria-label", "Hours survived, nine times in ten, by month and hour at which the power fails");
  head.append(element("td", ""), ...[...Array(24).keys()].map(h => element("th", h)));
  for (const month of facts.months.slice(1)) {
    const row = body.insertRow();
    row.append(element("th", month.slice(0, 3)), ...Array.from({length: 24}, () => element("td", "")));
    row.firstElementChild.scope = "row";
    for (const one of row.querySelectorAll("td")) one.tabIndex = -1;
  }
  $("map").append(table);
  cells()[0][0].tabIndex = 0;
}
const cells = () => grid || (grid = all("#map tbody tr").map(row => [...row.querySelectorAll("td")]));
let grid = null;
function move(row, column) {
  cells()[cell[0]][cell[1]].tabIndex = -1;
  cell = [row, column];
  const one = cells()[row][column];
  one.tabIndex = 0;
  one.focus();
  $("say").textContent = one.dataset.say;
}
$("map").addEventListener("keydown", event => {
  const step = {ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1]}[event.key];
  if (!step) return;
  event.preventDefault();
  move(Math.min(11, Math.max(0, cell[0] + step[0])), Math.min(23, Math.max(0, cell[1] + step[1])));
});
$("map").addEventListener("click", event => {
  const at = event.target.closest("td[data-say]");
  if (at) move(at.parentElement.rowIndex - 1, at.cellIndex - 1);
});
function asDrawn() {
  for (const one of all("input[name=on]")) one.checked = facts.on[+one.value];
  $("units").value = "0";
  $("reserve").value = "0";
}
function fromAddress() {
  const got = /^#([0-9a-f]{1,2})-(\d+)-(\d+)$/.exec(location.hash);
  asDrawn();
  if (!got || +got[2] >= $("units").length || +got[3] >= $("reserve").length) return;
  facts.switched.forEach((place, k) => { box(place).checked = (parseInt(got[1], 16) >> k & 1) === 1; });
  $("units").value = got[2];
  $("reserve").value = got[3];
}
$("board").addEventListener("change", show);
$("board").addEventListener("submit", event => event.preventDefault());
$("back").addEventListener("click", () => { asDrawn(); show(); });
build();
fromAddress();
unpacked().then(data => { known = data; show(); });
