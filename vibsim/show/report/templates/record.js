// A record that does not repeat: its orders over time as tracks and as a map, both with the place of the slider.
const TRACKS = 6, SHADES = 32, MAP_ORDERS = 8;

class RecordOrders {
  /** onPlace(index): a window was picked. */
  constructor(host, view, onPlace) {
    this.view = view;
    this.onPlace = onPlace;
    const row = add(host, "p", { class: "row" }), label = add(row, "label", { for: "track" }, "Of ");
    this.select = add(label, "select", { id: "track" });
    for (const kind of ["mount", "sensor"]) view.items(kind).forEach((name, n) => add(this.select, "option", { value: `${kind}/${n}` }, `${kind}: ${name}`));
    add(this.select, "option", { value: "torque/0" }, "net torque");
    this.select.value = view.sensors.length ? "sensor/0" : this.select.value;
    this.select.addEventListener("change", () => this.choose());
    this.pair = add(host, "div", { class: "charts" });
    this.chart = null;
    const figure = add(this.pair, "figure", { class: "chart" });
    this.caption = add(figure, "figcaption", {}, "Order map");
    this.plot = add(figure, "div", { class: "plot", tabindex: "0", role: "group", "aria-roledescription": "map", "aria-label": "Map of orders over time. Left and right arrow move the line, and everything else with it." });
    this.svg = add(this.plot, "svg", { role: "img", "aria-label": "Amplitude over time and engine order" });
    this.still = add(this.svg, "g");
    this.mark = add(this.svg, "path", { stroke: "#D55E00", "stroke-width": 2.5 });
    this.readout = add(figure, "p", { class: "readout", role: "status" });
    this.plot.addEventListener("click", (event) => onPlace(view.nearest(this.time(event.clientX - this.svg.getBoundingClientRect().left))));
    this.plot.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      onPlace(Math.min(view.count - 1, Math.max(0, view.at + step)));
      event.preventDefault();
    });
    this.choose();
    new ResizeObserver(() => { this.key = ""; this.draw(); }).observe(this.plot);
  }

  choose() {
    const { view } = this, [kind, item] = this.select.value.split("/"), points = view.along().map((_, n) => n);
    this.unit = kind === "mount" ? "N" : kind === "sensor" ? "m/s²" : "N m";
    this.values = points.map((point) => (kind === "torque" ? view.torque(point) : view.amplitudes(kind, Number(item), point)));
    const orders = view.order.slice(1), peak = orders.map((_, k) => greatest(this.values.map((row) => row[k])));
    const strong = orders.map((_, k) => k).sort((a, b) => peak[b] - peak[a]).slice(0, TRACKS).sort((a, b) => a - b);
    if (this.chart) this.chart.figure.remove();
    const host = document.createElement("div");
    this.chart = new Chart(host, { title: `Strongest orders, ${this.select.selectedOptions[0].textContent}`, x: { label: "time", unit: "s" }, y: { label: "amplitude", unit: this.unit },
      kind: "lines", series: strong.map((k) => `order ${orders[k]}`), cursor: true, onPick: this.onPlace });
    this.pair.prepend(this.chart.figure);
    this.chart.show(view.along(), strong.map((k) => this.values.map((row) => row[k])));
    this.caption.textContent = `Order map, ${this.select.selectedOptions[0].textContent}`;
    this.key = "";
    this.draw();
  }

  time(x) { const t = this.view.along(), { left, right, width } = this.size; return t[0] + ((x - left) / (width - left - right)) * (t[t.length - 1] - t[0]); }
  x(time) { const t = this.view.along(), { left, right, width } = this.size; return left + ((time - t[0]) / (t[t.length - 1] - t[0])) * (width - left - right); }
  y(order) { const { top, bottom, height } = this.size; return height - bottom - ((order - this.low) / (this.high - this.low)) * (height - top - bottom); }

  draw() {
    const width = this.plot.clientWidth;
    if (!width) return;
    this.size = { width, height: Math.round(Math.min(340, Math.max(240, 0.55 * width))), left: 44, right: 70, top: 20, bottom: 40 };
    if (this.key !== String(width)) { this.frame(); this.key = String(width); }
    const { top, height, bottom } = this.size, { view } = this, x = this.x(view.along()[view.at]).toFixed(1), row = this.values[view.at];
    this.mark.setAttribute("d", `M${x} ${top}V${height - bottom}`);
    this.chart.cursor(view.along()[view.at]);
    const k = row.indexOf(greatest(row));
    this.readout.textContent = `${view.words()}: ${k < 0 ? "nothing" : `order ${view.order[k + 1]} leads, ${plain(row[k])} ${this.unit}`}`;
  }

  frame() {
    const { width, height, left, right, top, bottom } = this.size, { view, still } = this, times = view.along();
    empty(still);
    set(this.svg, { width, height, viewBox: `0 0 ${width} ${height}` });
    const step = view.order[1], orders = view.order.slice(1).filter((order) => order <= MAP_ORDERS);
    this.low = 0.5 * step;
    this.high = orders[orders.length - 1] + 0.5 * step;
    const most = greatest(this.values.map((row) => greatest(row.slice(0, orders.length)))) || 1, paths = Array.from({ length: SHADES }, () => "");
    const edge = (n) => (n <= 0 ? left : n >= times.length ? width - right : (this.x(times[n - 1]) + this.x(times[n])) / 2);
    const tall = (this.y(this.low) - this.y(this.high)) / orders.length;
    this.values.forEach((row, n) => {
      const x = edge(n), wide = edge(n + 1) - x + 0.4;
      orders.forEach((order, k) => {
        const y = this.y(order) - tall / 2, shadeOf = Math.min(SHADES - 1, Math.floor((row[k] / most) * SHADES));
        paths[shadeOf] += `M${x.toFixed(1)} ${y.toFixed(1)}h${wide.toFixed(1)}v${(tall + 0.3).toFixed(1)}h${(-wide).toFixed(1)}Z`;
      });
    });
    paths.forEach((d, n) => d && add(still, "path", { d, fill: shade(n / (SHADES - 1)) }));
    for (const value of ticks(times[0], times[times.length - 1], width / 75)) add(still, "text", { x: this.x(value), y: height - bottom + 16, "text-anchor": "middle", class: "tick" }, plain(value, 4));
    for (const order of orders.filter((one) => orders.length < 9 || Number.isInteger(one))) add(still, "text", { x: left - 6, y: this.y(order) + 4, "text-anchor": "end", class: "tick" }, plain(order));
    add(still, "text", { x: left, y: 12, class: "label" }, "engine order");
    add(still, "text", { x: width - right, y: height - 6, "text-anchor": "end", class: "label" }, "time, s");
    const high = height - top - bottom;
    for (let n = 0; n < SHADES; n++) add(still, "rect", { x: width - right + 12, y: top + (high * (SHADES - 1 - n)) / SHADES, width: 14, height: high / SHADES + 0.5, fill: shade(n / (SHADES - 1)) });
    for (const share of [0, 0.5, 1]) add(still, "text", { x: width - right + 30, y: top + high * (1 - share) + (share === 1 ? 10 : share === 0 ? 0 : 4), class: "tick" }, plain(share * most));
    add(still, "text", { x: width - 2, y: height - bottom + 16, "text-anchor": "end", class: "tick" }, this.unit);
  }
}
