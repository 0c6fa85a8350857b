// Lines or bars with zoom, readout, legend that toggles, and the same numbers as a table.
class Chart {
  /** spec: title, x and y {label, unit}, kind "lines" | "bars", series names, cursor: whether a place is marked,
      most: the height that stays while values move (absent: as the values are), first: the range shown at first,
      afloat: zero need not be in sight, onPick(index): what a click on a point does. */
  constructor(host, spec) {
    this.spec = spec;
    this.hidden = new Set();
    this.x = [];
    this.values = [];
    this.zoom = spec.first || null;
    this.at = null;
    this.key = "";
    this.build(host);
    new ResizeObserver(() => this.draw()).observe(this.plot);
  }

  build(host) {
    const spec = this.spec, figure = add(host, "figure", { class: "chart" });
    this.figure = figure;
    add(figure, "figcaption", {}, spec.title);
    const legend = add(figure, "div", { class: "legend", role: "group", "aria-label": `Show or hide in ${spec.title}` });
    this.buttons = spec.series.map((name, n) => this.legendButton(legend, name, n));
    this.plot = add(figure, "div", { class: "plot", tabindex: "0", role: "group", "aria-roledescription": "chart",
      "aria-label": `${spec.title}. Left and right arrow read values, plus and minus zoom, 0 shows all.` });
    this.svg = add(this.plot, "svg", { role: "img", "aria-label": `${spec.title}, ${spec.y.unit} over ${spec.x.label}` });
    this.axes = add(this.svg, "g");
    const clip = `clip-${Chart.count = (Chart.count || 0) + 1}`;
    this.clip = add(add(add(this.svg, "defs"), "clipPath", { id: clip }), "rect", {});
    const inside = add(this.svg, "g", { "clip-path": `url(#${clip})` });
    this.paths = spec.series.map((_, n) => add(inside, "path", this.look(n)));
    this.mark = add(inside, "path", { stroke: INK, "stroke-width": 1.3 });
    this.hair = add(inside, "path", { stroke: QUIET, "stroke-dasharray": "2 2" });
    this.band = add(inside, "rect", { fill: "#0072B2", opacity: 0.15, visibility: "hidden" });
    this.readout = add(figure, "p", { class: "readout", role: "status" });
    this.tools(figure);
    this.listen();
  }

  look(n) {
    if (this.spec.kind === "bars") return { fill: colour(n) };
    if (this.spec.band) return { fill: colour(n), "fill-opacity": 0.35, stroke: colour(n), "stroke-width": 0.8 };
    return { fill: "none", stroke: colour(n), "stroke-width": 2, "stroke-dasharray": dash(n), "stroke-linejoin": "round" };
  }

  legendButton(legend, name, n) {
    const button = add(legend, "button", { type: "button", "aria-pressed": "true" });
    const swatch = add(button, "svg", { width: 22, height: 10, "aria-hidden": "true" });
    if (this.spec.kind === "bars") add(swatch, "rect", { width: 12, height: 10, x: 5, fill: colour(n) });
    else add(swatch, "path", { d: "M0 5H22", stroke: colour(n), "stroke-width": 3, "stroke-dasharray": dash(n) });
    add(button, "span", {}, name);
    button.addEventListener("click", () => {
      if (!this.hidden.delete(n)) this.hidden.add(n);
      button.setAttribute("aria-pressed", String(!this.hidden.has(n)));
      this.draw();
    });
    return button;
  }

  tools(figure) {
    const row = add(figure, "div", { class: "tools" });
    const tool = (words, label, act) =>
      add(row, "button", { type: "button", "aria-label": `${label}: ${this.spec.title}` }, words).addEventListener("click", act);
    tool("+", "Zoom in", () => this.zoomBy(0.5));
    tool("−", "Zoom out", () => this.zoomBy(2));
    tool("all", "Show all", () => this.showAll());
    const fold = add(row, "details", {}), words = add(fold, "summary", {}, "table");
    words.setAttribute("aria-label", `Table of ${this.spec.title}`);
    this.table = add(fold, "div", { class: "wide" });
    fold.addEventListener("toggle", () => this.fillTable());
    this.fold = fold;
  }

  listen() {
    const plot = this.plot;
    let from = null;
    const inside = (event) => event.clientX - this.svg.getBoundingClientRect().left;
    plot.addEventListener("pointerdown", (event) => { from = inside(event); });
    plot.addEventListener("pointermove", (event) => {
      const to = inside(event);
      if (from !== null && Math.abs(to - from) > 8) {
        set(this.band, { x: Math.min(from, to), width: Math.abs(to - from), y: 0, height: this.height, visibility: "visible" });
      }
      this.read(this.nearest(this.value(to)), false);
    });
    plot.addEventListener("pointerup", (event) => {
      const to = inside(event);
      if (from !== null && Math.abs(to - from) > 8) this.setZoom([this.value(from), this.value(to)].sort((a, b) => a - b));
      else if (this.spec.onPick && this.at !== null) this.spec.onPick(this.at);
      from = null;
      this.band.setAttribute("visibility", "hidden");
    });
    plot.addEventListener("pointerleave", () => { from = null; this.band.setAttribute("visibility", "hidden"); this.read(null); });
    plot.addEventListener("pointercancel", () => { from = null; });
    plot.addEventListener("dblclick", () => this.showAll());
    plot.addEventListener("keydown", (event) => this.pressed(event));
  }

  pressed(event) {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (step) this.read(Math.min(this.x.length - 1, Math.max(0, this.at === null ? this.nearest(this.range()[0]) : this.at + step)));
    else if (event.key === "+" || event.key === "=") this.zoomBy(0.5);
    else if (event.key === "-") this.zoomBy(2);
    else if (event.key === "0" || event.key === "Escape") { this.showAll(); this.read(null); }
    else if (event.key === "Enter" && this.spec.onPick && this.at !== null) this.spec.onPick(this.at);
    else return;
    event.preventDefault();
  }

  whole() {
    const half = this.spec.kind === "bars" ? 0.5 * this.step() : 0;
    const low = this.x[0], high = this.x[this.x.length - 1];
    return high > low || half ? [low - half, high + half] : [low - 0.5, low + 0.5];
  }

  step() { return this.x.length > 1 ? this.x[1] - this.x[0] : 1; }
  range() { return this.zoom || this.whole(); }
  showAll() { this.zoom = null; this.draw(); }

  setZoom(range) {
    const [low, high] = this.whole(), least = 0.5 * Math.abs(this.step());
    let [a, b] = range;
    if (b - a < least) { const middle = (a + b) / 2; a = middle - least / 2; b = middle + least / 2; }
    a = Math.max(a, low);
    b = Math.min(b, high);
    this.zoom = b - a >= (high - low) * 0.999 ? null : [a, b];
    this.draw();
  }

  zoomBy(factor) {
    const [a, b] = this.range(), middle = this.at !== null ? this.x[this.at] : (a + b) / 2, half = ((b - a) * factor) / 2;
    this.setZoom([middle - half, middle + half]);
  }

  /** New numbers: x (n), values per series (n); nan is left out. */
  show(x, values) {
    this.x = x;
    this.values = values;
    this.draw();
    if (this.fold.open) this.fillTable();
    if (this.at !== null) this.read(this.at, false);
  }

  cursor(x) {
    this.place = x;
    const at = this.pixel(x);
    this.mark.setAttribute("d", Number.isFinite(at) ? `M${at.toFixed(1)} ${this.top}V${this.height - this.bottom}` : "");
  }

  pixel(x) { const [a, b] = this.range(); return this.left + ((x - a) / (b - a)) * (this.width - this.left - this.right); }
  value(pixel) { const [a, b] = this.range(); return a + ((pixel - this.left) / (this.width - this.left - this.right)) * (b - a); }
  nearest(x) { return nearest(this.x, x); }

  /** Lowest and highest shown. */
  heights() {
    const [a, b] = this.range();
    let low = this.spec.afloat ? Infinity : 0, high = this.spec.afloat ? -Infinity : this.zoom && this.spec.kind === "lines" ? 0 : this.spec.most || 0;
    this.values.forEach((row, n) => {
      if (this.hidden.has(n)) return;
      for (let k = 0; k < row.length; k++) {
        if (this.x[k] < a || this.x[k] > b || !Number.isFinite(row[k])) continue;
        if (row[k] < low) low = row[k];
        if (row[k] > high) high = row[k];
      }
    });
    if (high === 0 && low === 0) high = 1;
    if (!this.spec.afloat) return [low * 1.06, high * 1.06];
    const room = 0.08 * (high - low) || 0.01 * Math.abs(high) || 1;
    return [low - room, high + room];
  }

  draw() {
    const width = this.plot.clientWidth;
    if (!width || !this.x.length) return;
    this.width = width;
    this.height = Math.round(Math.min(300, Math.max(200, 0.5 * width)));
    [this.left, this.right, this.top, this.bottom] = [58, 12, 20, 40];
    const [low, high] = this.heights(), inside = this.height - this.top - this.bottom;
    const y = (value) => this.top + inside * (1 - (value - low) / (high - low));
    const key = [width, ...this.range(), low, high].join();
    if (key !== this.key) { this.frame(y, low, high); this.key = key; }
    this.values.forEach((row, n) => this.paths[n].setAttribute("d", this.hidden.has(n) ? "" : this.spec.kind === "bars" ? this.bars(row, n, y) : this.line(row, y)));
    if (this.spec.cursor && this.place !== undefined) this.cursor(this.place);
  }

  frame(y, low, high) {
    const { width, height, left, right, top, bottom, spec } = this, axes = this.axes;
    empty(axes);
    set(this.svg, { width, height, viewBox: `0 0 ${width} ${height}` });
    set(this.clip, { x: left, y: top - 4, width: width - left - right, height: height - top - bottom + 8 });
    for (const value of ticks(low, high, 5)) {
      add(axes, "path", { d: `M${left} ${y(value)}H${width - right}`, stroke: Math.abs(value) < 1e-12 ? INK : GRID });
      add(axes, "text", { x: left - 6, y: y(value) + 4, "text-anchor": "end", class: "tick" }, plain(value, 4));
    }
    const [a, b] = this.range();
    for (const value of ticks(a, b, width / 75)) {
      const at = this.pixel(value);
      add(axes, "path", { d: `M${at} ${top}V${height - bottom}`, stroke: GRID });
      add(axes, "text", { x: at, y: height - bottom + 16, "text-anchor": "middle", class: "tick" }, plain(value, 5));
    }
    add(axes, "text", { x: left, y: 12, class: "label" }, [spec.y.label, spec.y.unit].filter(Boolean).join(", "));
    add(axes, "text", { x: width - right, y: height - 6, "text-anchor": "end", class: "label" }, [spec.x.label, spec.x.unit].filter(Boolean).join(", "));
  }

  /** Filled between the least and the greatest value of every interval, which follow each other in a row. */
  filled(row, y) {
    let upper = "", lower = "";
    for (let n = 0; n + 1 < row.length; n += 2) {
      const x = this.pixel((this.x[n] + this.x[n + 1]) / 2).toFixed(1);
      upper += `${n ? "L" : "M"}${x} ${y(row[n + 1]).toFixed(1)}`;
      lower = `L${x} ${y(row[n]).toFixed(1)}${lower}`;
    }
    return `${upper}${lower}Z`;
  }

  line(row, y) {
    if (this.spec.band) return this.filled(row, y);
    let path = "", pen = "M";
    for (let n = 0; n < row.length; n++) {
      if (!Number.isFinite(row[n])) { pen = "M"; continue; }
      path += `${pen}${this.pixel(this.x[n]).toFixed(1)} ${y(row[n]).toFixed(1)}`;
      pen = "L";
    }
    if (row.length === 1 && path) path += "h0.1";
    return path;
  }

  bars(row, n, y) {
    const seen = this.values.map((_, k) => k).filter((k) => !this.hidden.has(k)), place = seen.indexOf(n);
    const whole = this.pixel(this.x[0] + this.step()) - this.pixel(this.x[0]), wide = (0.8 * whole) / seen.length, floor = y(0);
    let path = "";
    for (let k = 0; k < row.length; k++) {
      const top = y(row[k]);
      if (!Number.isFinite(top) || Math.abs(floor - top) < 0.3) continue;
      const left = this.pixel(this.x[k]) - 0.4 * whole + place * wide;
      path += `M${left.toFixed(1)} ${floor.toFixed(1)}V${top.toFixed(1)}h${(0.94 * wide).toFixed(1)}V${floor.toFixed(1)}Z`;
    }
    return path;
  }

  read(index, told = true) {
    this.at = index;
    if (index === null || index >= this.x.length) { this.at = null; this.hair.setAttribute("d", ""); this.readout.textContent = ""; return; }
    const at = this.pixel(this.x[index]).toFixed(1), unit = this.spec.y.unit;
    this.hair.setAttribute("d", `M${at} ${this.top}V${this.height - this.bottom}`);
    const parts = this.values.map((row, n) => (this.hidden.has(n) ? "" : `${this.spec.series[n]} ${plain(row[index])}`)).filter(Boolean);
    this.readout.setAttribute("aria-live", told ? "polite" : "off");
    this.readout.textContent = `${this.spec.x.label} ${plain(this.x[index], 4)} ${this.spec.x.unit}: ${parts.join(", ")} ${unit}`;
  }

  fillTable() {
    if (!this.fold.open) return;
    empty(this.table);
    const table = add(this.table, "table"), head = add(add(table, "thead"), "tr"), unit = this.spec.y.unit;
    add(head, "th", { scope: "col" }, [this.spec.x.label, this.spec.x.unit].filter(Boolean).join(", "));
    for (const name of this.spec.series) add(head, "th", { scope: "col" }, unit ? `${name}, ${unit}` : name);
    const body = add(table, "tbody");
    const step = Math.ceil(this.x.length / 90);
    for (let k = 0; k < this.x.length; k += step) {
      const row = add(body, "tr");
      add(row, "th", { scope: "row" }, plain(this.x[k], 4));
      for (const values of this.values) add(row, "td", {}, plain(values[k]));
    }
  }
}
