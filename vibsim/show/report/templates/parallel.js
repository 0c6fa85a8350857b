// Every point of a sweep as a line across its axes and quantities; limits that the reader sets; the best within them.
const MOST_COLUMNS = 11, BUCKETS = 8, MOST_BEST = 5, COLUMN = 92;

class Parallel {
  /** onPlace(): the place was changed. */
  constructor(host, view, onPlace) {
    this.view = view;
    this.onPlace = onPlace;
    this.columns = this.columnsOf(view);
    this.limits = this.columns.map(() => ({ least: null, most: null }));
    this.known = Array.from({ length: view.points }, (_, n) => n).filter((n) => this.columns.every((one) => Number.isFinite(one.at(n))));
    this.goal = this.columns.findIndex((one) => one.quantity);
    const figure = add(host, "figure", { class: "chart" });
    this.figure = figure;
    this.choice(figure);
    this.plot = add(add(figure, "div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Lines of all points; scroll sideways where it is wider than the screen" }), "div", { class: "across" });
    this.svg = add(this.plot, "svg", { role: "img", "aria-label": "A line for every point of the sweep across its axes and quantities, coloured by the quantity chosen" });
    this.still = add(this.svg, "g");
    this.faint = add(this.svg, "path", { fill: "none", stroke: FAINT, "stroke-width": 0.7, opacity: 0.5 });
    this.bunches = Array.from({ length: BUCKETS }, (_, n) => add(this.svg, "path", { fill: "none", stroke: shade(n / (BUCKETS - 1)), "stroke-width": 1.2, opacity: 0.85 }));
    this.here = add(this.svg, "path", { fill: "none", stroke: "#D55E00", "stroke-width": 3 });
    this.axes = add(this.svg, "g");
    add(figure, "p", { class: "quiet" }, "Thick: the place of the slider. Grey: outside the limits.");
    this.forms(figure);
    this.found = add(figure, "p", { role: "status", class: "found" });
    this.list = add(figure, "div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Best points within the limits" });
    new ResizeObserver(() => this.draw()).observe(figure);
  }

  columnsOf(view) {
    const strides = view.axes.map((_, n) => view.axes.slice(n + 1).reduce((size, axis) => size * axis.values.length, 1));
    const axes = view.axes.map((axis, n) => ({ label: axis.label, unit: axis.unit, quantity: false, count: axis.values.length,
      at: (point) => axis.values[view.grid ? Math.floor(point / strides[n]) % axis.values.length : point] })).filter((one) => one.count > 1);
    const quantities = view.quantities.map((one) => ({ label: one.label, unit: one.unit, quantity: true, at: (point) => one.values[point] }));
    const known = quantities.filter((one) => Array.from({ length: view.points }, (_, n) => n).some((n) => Number.isFinite(one.at(n))));
    return [...axes, ...known].slice(0, MOST_COLUMNS).map((one) => {
      const all = Array.from({ length: view.points }, (_, n) => one.at(n)).filter(Number.isFinite);
      return { ...one, low: all.reduce((a, b) => Math.min(a, b), Infinity), high: all.reduce((a, b) => Math.max(a, b), -Infinity) };
    });
  }

  choice(figure) {
    const row = add(figure, "p", { class: "row" }), label = add(row, "label", { for: "goal" }, "Best is ");
    this.way = add(label, "select", { "aria-label": "Least or most is best" });
    for (const words of ["least", "most"]) add(this.way, "option", { value: words }, words);
    const select = add(label, "select", { id: "goal" });
    this.columns.forEach((one, n) => one.quantity && add(select, "option", { value: n }, words(one)));
    select.addEventListener("change", () => { this.goal = Number(select.value); this.judge(); });
    this.way.addEventListener("change", () => this.judge());
  }

  forms(figure) {
    const table = add(add(figure, "div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Limits" }), "table", { class: "limits" });
    add(table, "caption", {}, "Limits: fill in what must be kept");
    const head = add(add(table, "thead"), "tr");
    for (const one of ["", "at least", "at most", "of the points"]) add(head, "th", { scope: "col" }, one);
    const body = add(table, "tbody");
    this.columns.forEach((one, n) => {
      const row = add(body, "tr");
      add(row, "th", { scope: "row" }, words(one));
      for (const side of ["least", "most"]) {
        const input = add(add(row, "td"), "input", { type: "number", step: "any", "aria-label": `${words(one)}, at ${side}`, "data-column": n, "data-side": side });
        input.addEventListener("input", () => { this.limits[n][side] = input.value === "" ? null : Number(input.value); this.judge(); });
      }
      add(row, "td", {}, `${plain(one.low)} … ${plain(one.high)}`);
    });
    const clear = add(add(figure, "p", { class: "act" }), "button", { type: "button" }, "Clear the limits");
    clear.addEventListener("click", () => {
      this.limits.forEach((one) => { one.least = null; one.most = null; });
      for (const input of body.querySelectorAll("input")) input.value = "";
      this.judge();
    });
  }

  keeps(point) {
    return this.columns.every((one, n) => {
      const { least, most } = this.limits[n], value = one.at(point);
      return (least === null || value >= least) && (most === null || value <= most);
    });
  }

  /** What is within the limits, and the best of it. */
  judge() {
    const goal = this.columns[this.goal], sign = this.way.value === "most" ? -1 : 1;
    this.kept = this.known.filter((point) => this.keeps(point));
    this.best = [...this.kept].sort((a, b) => sign * (goal.at(a) - goal.at(b))).slice(0, MOST_BEST);
    const sides = { least: "≥", most: "≤" }, kept = this.columns.flatMap((one, n) => Object.keys(sides).filter((side) => this.limits[n][side] !== null).map((side) => `${one.label} ${sides[side]} ${this.limits[n][side]} ${one.unit}`.trim()));
    const count = `${kept.length ? `${kept.join(", ")}: ` : ""}${this.kept.length} of ${this.known.length} points within the limits`;
    const place = this.best.length ? `; ${this.way.value} ${goal.label} ${plain(goal.at(this.best[0]))} ${goal.unit} at ${this.place(this.best[0])}` : "; no point keeps them all";
    this.found.textContent = `${count}${place}`;
    this.rows();
    this.lines();
  }

  place(point) {
    return this.columns.filter((one) => !one.quantity).map((one) => (one.unit === "rpm" ? `${plain(one.at(point), 4)} rpm` : `${one.label} ${plain(one.at(point), 4)} ${one.unit}`.trim())).join(", ");
  }

  rows() {
    empty(this.list);
    if (!this.best.length) return;
    const table = add(this.list, "table", { class: "narrow" }), head = add(add(table, "thead"), "tr");
    add(table, "caption", {}, "Best within the limits");
    add(head, "td", { class: "act" });
    for (const one of this.columns.map(words)) add(head, "th", { scope: "col" }, one);
    const body = add(table, "tbody");
    this.best.forEach((point, n) => {
      const row = add(body, "tr"), show = add(add(row, "td", { class: "act" }), "button", { type: "button", "aria-label": `Show point ${n + 1}: ${this.place(point)}` }, "show");
      show.addEventListener("click", () => { this.view.moveTo(point); this.onPlace(); });
      for (const one of this.columns) add(row, "td", {}, plain(one.at(point), one.quantity ? 3 : 4));
    });
  }

  draw() {
    const room = this.figure.clientWidth;
    if (!room) return;
    const width = Math.max(room, COLUMN * this.columns.length);
    if (width === this.width) return;
    this.width = width;
    this.height = 320;
    set(this.svg, { width, height: this.height, viewBox: `0 0 ${width} ${this.height}` });
    this.frame();
    if (!this.kept) this.judge();
    else this.lines();
    this.mark();
  }

  x(n) { return (this.width * (n + 0.5)) / this.columns.length; }
  y(column, value) { return 276 - ((value - column.low) / (column.high - column.low || 1)) * 200; }

  frame() {
    const { axes } = this, wide = this.width / this.columns.length;
    empty(axes);
    this.columns.forEach((one, n) => {
      const x = this.x(n);
      add(axes, "path", { d: `M${x} 76V276`, stroke: INK });
      lined(words(one), Math.floor(wide / 6.6)).forEach((text, k) => add(axes, "text", { x, y: 14 + 14 * k, "text-anchor": "middle", class: "label" }, text));
      add(axes, "text", { x, y: 70, "text-anchor": "middle", class: "tick" }, plain(one.high, 4));
      add(axes, "text", { x, y: 292, "text-anchor": "middle", class: "tick" }, plain(one.low, 4));
    });
  }

  line(point) {
    return this.columns.map((one, n) => `${n ? "L" : "M"}${this.x(n).toFixed(1)} ${this.y(one, one.at(point)).toFixed(1)}`).join("");
  }

  lines() {
    if (!this.width) return;
    const goal = this.columns[this.goal], kept = new Set(this.kept), paths = this.bunches.map(() => []);
    this.faint.setAttribute("d", this.known.filter((point) => !kept.has(point)).map((point) => this.line(point)).join(""));
    for (const point of this.kept) {
      const share = (goal.at(point) - goal.low) / (goal.high - goal.low || 1);
      paths[Math.min(BUCKETS - 1, Math.floor(share * BUCKETS))].push(this.line(point));
    }
    paths.forEach((one, n) => this.bunches[n].setAttribute("d", one.join("")));
  }

  /** The place of the slider has changed. */
  mark() {
    const point = this.view.point();
    if (this.width) this.here.setAttribute("d", this.columns.every((one) => Number.isFinite(one.at(point))) ? this.line(point) : "");
  }
}

function words(column) { return column.unit ? `${column.label}, ${column.unit}` : column.label; }

/** Words in lines of no more than so many letters, four at most. */
function lined(text, most) {
  const found = [""];
  for (const one of text.split(" ")) {
    const last = found[found.length - 1];
    if (last && last.length + 1 + one.length > most) found.push(one);
    else found[found.length - 1] = last ? `${last} ${one}` : one;
  }
  if (found.length <= 4) return found;
  return [...found.slice(0, 3), `${found[3]} …`];
}
