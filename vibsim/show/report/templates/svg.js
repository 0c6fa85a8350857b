// What every picture shares: elements, numbers in words, scales, line styles.
const NS = document.getElementById("first-drawing").namespaceURI;
const INK = "#222222", FAINT = "#BBBBBB", GRID = "#E5E5E5", QUIET = "#555555";
const DASHES = ["", "7 3", "7 3 2 3", "2 3"];

function add(parent, tag, attributes, text) {
  const made = parent.namespaceURI === NS || tag === "svg" ? document.createElementNS(NS, tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
  if (text !== undefined) made.textContent = text;
  parent.appendChild(made);
  return made;
}

function set(element, attributes) {
  for (const name in attributes) element.setAttribute(name, attributes[name]);
}

function empty(element) {
  while (element.firstChild) element.removeChild(element.firstChild);
}

/** Three digits, no exponent, no trailing zeros. */
function plain(value, digits = 3) {
  if (!Number.isFinite(value)) return "not computed";
  if (value === 0) return "0";
  const places = Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value))));
  return String(Number(value.toFixed(Math.min(places, 8)))).replace("-", "−");
}

/** The greatest of 1, 2, 5 times a power of ten that is not above a positive value. */
function nice(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  for (const step of [5, 2, 1]) if (step * power <= value * (1 + 1e-9)) return step * power;
  return power;
}

function ticks(low, high, count) {
  if (!(high > low)) return [low];
  let step = nice((high - low) / count);
  while ((high - low) / step > count * 1.6) step = nice(step * 2.6);
  const found = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + 1e-9 * step; n++) found.push(n * step);
  return found;
}

function colour(index) {
  return DATA.colours[index % DATA.colours.length];
}

function dash(index) {
  return DASHES[(Math.floor(index / DATA.colours.length) + index) % DASHES.length];
}

/** Little-endian 32-bit floats from base64. */
function decode(text) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let n = 0; n < raw.length; n++) bytes[n] = raw.charCodeAt(n);
  return new Float32Array(bytes.buffer);
}

/** The index of the value nearest to one. */
function nearest(values, value) {
  let best = 0;
  values.forEach((one, n) => { if (Math.abs(one - value) < Math.abs(values[best] - value)) best = n; });
  return best;
}

function greatest(values) {
  let most = 0;
  for (const value of values) if (value > most) most = value;
  return most;
}

/** An arrow as paths of its shaft and its head; nothing where it is too short to be seen. */
function arrowPath(x, y, dx, dy, head) {
  const length = Math.hypot(dx, dy);
  if (!(length >= 0.05 * head)) return ["", ""];
  const h = Math.min(head, 0.75 * length), ux = dx / length, uy = dy / length;
  const bx = x + dx - ux * h, by = y + dy - uy * h, w = 0.42 * h;
  const p = (v) => v.toFixed(2);
  return [`M${p(x)} ${p(y)}L${p(bx)} ${p(by)}`, `M${p(x + dx)} ${p(y + dy)}L${p(bx - uy * w)} ${p(by + ux * w)}L${p(bx + uy * w)} ${p(by - ux * w)}Z`];
}

/** Arrows of one look: `draw` takes what arrowPath gives, one or many. */
class Arrows {
  constructor(parent, tint, width, dashes = "") {
    this.shafts = add(parent, "path", { stroke: tint, "stroke-width": width, "stroke-dasharray": dashes, fill: "none" });
    this.heads = add(parent, "path", { fill: tint, stroke: tint, "stroke-width": 0.2 * width });
  }

  draw(arrows) {
    this.shafts.setAttribute("d", arrows.map((one) => one[0]).join(""));
    this.heads.setAttribute("d", arrows.map((one) => one[1]).join(""));
  }
}

/** A word in a drawing, readable over what it stands on. */
function word(parent, x, y, size, text, anchor = "start", tint = INK) {
  return add(parent, "text", { x, y, "font-size": size, "text-anchor": anchor, fill: tint, stroke: "white", "stroke-width": 0.2 * size, "paint-order": "stroke" }, text);
}

/** A drawing that is as wide as its place: `box` [left, top, width, height] in its own lengths, y downwards. */
function canvas(host, label, box) {
  const made = add(host, "svg", { role: "img", "aria-label": label, viewBox: box.map((v) => v.toFixed(2)).join(" "), class: "drawing" });
  return made;
}

/** A box at least as wide as it is high and a quarter more, so that words in it can be read. */
function noTaller(box) {
  const width = Math.max(box[2], 1.25 * box[3]);
  return [box[0] - (width - box[2]) / 2, box[1], width, box[3]];
}

/** A bar that says how long so many units are drawn. */
function scaleBar(parent, box, perUnit, unit, size) {
  const value = nice((0.25 * box[2]) / perUnit), length = value * perUnit;
  const x = box[0] + 0.03 * box[2], y = box[1] + 0.97 * box[3];
  add(parent, "path", { d: `M${x} ${y - size / 3}v${size / 1.5}m0 ${-size / 3}h${length}m0 ${-size / 3}v${size / 1.5}`, stroke: INK, "stroke-width": size / 9, fill: "none" });
  add(parent, "text", { x: x + length / 2, y: y - size / 2, "font-size": size, "text-anchor": "middle", fill: INK }, `${plain(value)} ${unit}`);
}
