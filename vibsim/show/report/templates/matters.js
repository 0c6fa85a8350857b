// What matters: how much of a quantity's variance every axis explains by itself, and how the quantity goes along it.
class Matters {
  constructor(host, view) {
    this.view = view;
    this.axes = view.axes.map((axis, n) => ({ ...axis, n })).filter((axis) => view.grid ? axis.values.length > 1 : true);
    const how = view.grid ? "first-order effect: variance of the mean over everything else" : "squared rank correlation: what rises or falls throughout";
    add(host, "p", { class: "quiet" }, `Share of the variance that each axis explains by itself (${how}). What is missing to 100 % they explain together.`);
    const row = add(host, "p", { class: "row" }), label = add(row, "label", { for: "matters-of" }, "Quantity ");
    const select = add(label, "select", { id: "matters-of" });
    view.quantities.forEach((one, n) => add(select, "option", { value: n }, words(one)));
    select.addEventListener("change", () => this.show(Number(select.value)));
    this.words = add(host, "p", { role: "status" });
    this.bars = add(host, "div", { class: "shares" });
    const charts = add(host, "div", { class: "charts" });
    this.charts = this.axes.map((axis) => ({ axis, chart: this.chart(charts, axis) }));
    this.show(0);
  }

  chart(host, axis) {
    return new Chart(host, { title: `Along ${axis.label}`, x: { label: axis.label, unit: axis.unit }, y: { label: "", unit: "" }, kind: "lines", afloat: true,
      series: this.view.grid ? ["mean over the rest", "least", "most"] : ["mean of a sixth of the points", "least", "most"] });
  }

  show(index) {
    const one = this.view.quantities[index];
    empty(this.bars);
    const ranked = this.axes.map((axis) => ({ axis, share: one.shares[axis.n] })).sort((a, b) => (b.share || 0) - (a.share || 0));
    ranked.forEach(({ axis, share }) => {
      const row = add(this.bars, "div", { class: "share" });
      add(row, "span", {}, axis.label);
      const bar = add(row, "span", { class: "meter" });
      add(bar, "span", { style: `width: ${100 * (share || 0)}%` });
      add(row, "span", { class: "numbers" }, share === null ? "not known: points are missing" : `${plain(100 * share, share < 0.1 ? 1 : 2)} %`);
    });
    const [first] = ranked;
    this.words.textContent = first.share === null ? "" : `${one.label}: ${first.axis.label} matters most, ${plain(100 * first.share, 2)} % by itself.`;
    for (const { axis, chart } of this.charts) {
      chart.spec.y.unit = one.unit;
      chart.key = "";
      const [x, ...rows] = this.along(axis, one.values);
      chart.show(x, rows);
    }
  }

  /** Places, mean, least and most of all points there; of drawn points in six parts of as many each. */
  along(axis, values) {
    const { view } = this, bins = new Map(), of = (point) => view.valueOf(axis.n, point);
    const known = Array.from({ length: view.points }, (_, n) => n).filter((n) => Number.isFinite(values[n])).sort((a, b) => of(a) - of(b));
    known.forEach((point, rank) => {
      const key = view.grid ? of(point) : Math.min(5, Math.floor((6 * rank) / known.length));
      if (!bins.has(key)) bins.set(key, []);
      bins.get(key).push(point);
    });
    const parts = [...bins.values()], mean = (list) => list.reduce((a, b) => a + b, 0) / list.length;
    return [parts.map((part) => mean(part.map(of))), ...[mean, (v) => Math.min(...v), (v) => Math.max(...v)].map((take) => parts.map((part) => take(part.map((n) => values[n]))))];
  }
}
