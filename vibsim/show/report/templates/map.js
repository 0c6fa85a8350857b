// A quantity over two axes: cells of a grid, dots of drawn points, coloured; a ring where the slider is.
const CIVIDIS = ["#00224E", "#123570", "#3B496C", "#575D6D", "#707173", "#8A8678", "#A59C74", "#C3B369", "#E1CC55", "#FEE838"];

function shade(share) {
  const at = Math.min(Math.max(share, 0), 1) * (CIVIDIS.length - 1), n = Math.min(Math.floor(at), CIVIDIS.length - 2);
  const channel = (hex, k) => parseInt(hex.slice(1 + 2 * k, 3 + 2 * k), 16);
  return "#" + [0, 1, 2].map((k) => Math.round(channel(CIVIDIS[n], k) + (at - n) * (channel(CIVIDIS[n + 1], k) - channel(CIVIDIS[n], k))).toString(16).padStart(2, "0")).join("");
}

class SweepMap {
  /** onPlace(view): the place was changed by a click or a key. */
  constructor(host, view, onPlace) {
    this.view = view;
    this.onPlace = onPlace;
    this.across = view.slider;
    this.upward = view.axes.findIndex((axis, n) => n !== view.slider && (!view.grid || axis.values.length > 1));
    const figure = add(host, "figure", { class: "chart" });
    const label = add(add(figure, "p", { class: "row" }), "label", { for: "quantity" }, "Quantity ");
    this.select = add(label, "select", { id: "quantity" });
    view.quantities.forEach((one, n) => add(this.select, "option", { value: n }, one.unit ? `${one.label}, ${one.unit}` : one.label));
    this.select.addEventListener("change", () => { this.key = ""; this.draw(); });
    this.plot = add(figure, "div", { class: "plot", tabindex: "0", role: "group", "aria-roledescription": "map",
      "aria-label": "Map over the sweep. Arrow keys move the ring, and everything else with it." });
    this.svg = add(this.plot, "svg", { role: "img", "aria-label": "Map of a quantity over two axes of the sweep" });
    this.still = add(this.svg, "g");
    this.ring = add(this.svg, "circle", { r: 8, fill: "none", stroke: "#D55E00", "stroke-width": 3 });
    this.readout = add(figure, "p", { class: "readout", role: "status" });
    this.plot.addEventListener("click", (event) => this.pick(event));
    this.plot.addEventListener("keydown", (event) => this.pressed(event));
    new ResizeObserver(() => this.draw()).observe(this.plot);
  }

  values(axis) { return this.view.axes[axis].values; }

  draw() {
    const width = this.plot.clientWidth;
    if (!width) return;
    this.size = { width, height: Math.round(Math.min(420, Math.max(240, 0.55 * width))), left: 58, right: 78, top: 12, bottom: 42 };
    const others = this.view.place.filter((_, n) => n !== this.across && n !== this.upward);
    const key = [width, this.select.value, ...others].join();
    if (key !== this.key) { this.frame(); this.key = key; }
    this.mark();
  }

  scale(axis, low, high) {
    const values = [...this.values(axis)].sort((a, b) => a - b), first = values[0], last = values[values.length - 1];
    const half = this.view.grid && values.length > 1 ? (last - first) / (values.length - 1) / 2 : 0.03 * (last - first) || 0.5;
    return (value) => low + ((value - first + half) / (last - first + 2 * half)) * (high - low);
  }

  frame() {
    const { width, height, left, right, top, bottom } = this.size, { view } = this, still = this.still;
    empty(still);
    set(this.svg, { width, height, viewBox: `0 0 ${width} ${height}` });
    this.x = this.scale(this.across, left, width - right);
    this.y = this.scale(this.upward, height - bottom, top);
    const quantity = view.quantities[Number(this.select.value)], known = Array.from(quantity.values).filter(Number.isFinite);
    const low = Math.min(...known), high = Math.max(...known), tint = (value) => (Number.isFinite(value) ? shade((value - low) / (high - low || 1)) : "#FFFFFF");
    if (view.grid) this.cells(quantity, tint);
    else for (let n = 0; n < view.points; n++) {
      add(still, "circle", { cx: this.x(this.values(this.across)[n]), cy: this.y(this.values(this.upward)[n]), r: 5, fill: tint(quantity.values[n]), stroke: INK, "stroke-width": 0.6 });
    }
    this.labels(quantity, low, high);
  }

  cells(quantity, tint) {
    const { view, still } = this;
    const edges = (values, scale) => {
      const at = values.map(scale), middle = at.slice(1).map((v, n) => (v + at[n]) / 2);
      return values.length > 1 ? [2 * at[0] - middle[0], ...middle, 2 * at[at.length - 1] - middle[middle.length - 1]] : [at[0] - 20, at[0] + 20];
    };
    const xs = edges(this.values(this.across), this.x), ys = edges(this.values(this.upward), this.y);
    for (let i = 0; i < xs.length - 1; i++) {
      for (let j = 0; j < ys.length - 1; j++) {
        const place = { ...view.place, [this.across]: i, [this.upward]: j };
        const point = view.axes.reduce((sum, axis, n) => sum * axis.values.length + place[n], 0), value = quantity.values[point];
        const y = Math.min(ys[j], ys[j + 1]), fill = tint(value);
        add(still, "rect", { x: xs[i].toFixed(1), y: y.toFixed(1), width: (xs[i + 1] - xs[i] + 0.4).toFixed(1), height: (Math.abs(ys[j + 1] - ys[j]) + 0.4).toFixed(1), fill });
      }
    }
  }

  labels(quantity, low, high) {
    const { width, height, left, right, top, bottom } = this.size, still = this.still, axes = this.view.axes;
    const words = (axis) => [axis.label, axis.unit].filter(Boolean).join(", ");
    const ends = (axis) => [Math.min(...this.values(axis)), Math.max(...this.values(axis))];
    for (const value of ticks(...ends(this.across), width / 90)) add(still, "text", { x: this.x(value), y: height - bottom + 16, "text-anchor": "middle", class: "tick" }, plain(value, 5));
    for (const value of ticks(...ends(this.upward), 6)) add(still, "text", { x: left - 6, y: this.y(value) + 4, "text-anchor": "end", class: "tick" }, plain(value, 4));
    add(still, "text", { x: width - right, y: height - 6, "text-anchor": "end", class: "label" }, words(axes[this.across]));
    add(still, "text", { x: 14, y: top, class: "label", "text-anchor": "end", transform: `rotate(-90 14 ${top})` }, words(axes[this.upward]));
    const tall = height - top - bottom;
    for (let n = 0; n < 40; n++) add(still, "rect", { x: width - right + 12, y: top + (tall * (39 - n)) / 40, width: 14, height: tall / 40 + 0.5, fill: shade(n / 39) });
    for (const share of [0, 0.5, 1]) add(still, "text", { x: width - right + 30, y: top + tall * (1 - share) + (share === 1 ? 10 : share === 0 ? 0 : 4), class: "tick" }, plain(low + share * (high - low)));
    add(still, "text", { x: width - 2, y: height - bottom + 16, "text-anchor": "end", class: "tick" }, quantity.unit);
  }

  mark() {
    const { view } = this, point = view.point(), value = (axis) => (view.grid ? this.values(axis)[view.place[axis]] : this.values(axis)[point]);
    set(this.ring, { cx: this.x(value(this.across)), cy: this.y(value(this.upward)) });
    const quantity = view.quantities[Number(this.select.value)];
    this.readout.textContent = `${view.words()}: ${quantity.label} ${plain(quantity.values[point])} ${quantity.unit}`;
  }

  pick(event) {
    const box = this.svg.getBoundingClientRect(), at = [event.clientX - box.left, event.clientY - box.top], { view } = this;
    const near = (values, scale, place) => values.reduce((best, v, n) => (Math.abs(scale(v) - place) < Math.abs(scale(values[best]) - place) ? n : best), 0);
    if (view.grid) {
      view.place[this.across] = near(this.values(this.across), this.x, at[0]);
      view.place[this.upward] = near(this.values(this.upward), this.y, at[1]);
    } else {
      const far = (n) => Math.hypot(this.x(this.values(this.across)[n]) - at[0], this.y(this.values(this.upward)[n]) - at[1]);
      const best = view.rank.reduce((one, n) => (far(n) < far(one) ? n : one));
      view.place[view.slider] = view.rank.indexOf(best);
    }
    this.onPlace();
  }

  pressed(event) {
    const [axis, step] = { ArrowRight: [this.across, 1], ArrowLeft: [this.across, -1], ArrowUp: [this.upward, 1], ArrowDown: [this.upward, -1] }[event.key] || [];
    if (step === undefined || (!this.view.grid && axis !== this.across)) return;
    const last = (axis === this.across ? this.view.count : this.values(axis).length) - 1;
    this.view.place[axis] = Math.min(last, Math.max(0, this.view.place[axis] + step));
    this.onPlace();
    event.preventDefault();
  }
}
