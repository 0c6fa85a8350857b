// Results side by side per order, and their change against the first, beyond a threshold that the reader sets.
const MINOR = 0.01; // of the place's strongest order: what is below is not judged

class Differences {
  constructor(host, view) {
    const row = add(host, "p", { class: "row" }), label = add(row, "label", { for: "channel" }, "Compare ");
    this.select = add(label, "select", { id: "channel" });
    const names = (kind) => [...new Set(views.flatMap((one) => one.items(kind)))];
    for (const kind of ["mount", "sensor"]) for (const name of names(kind)) add(this.select, "option", { value: `${kind}/${name}` }, `${kind}: ${name}`);
    add(this.select, "option", { value: "torque/net" }, "net torque");
    const bound = add(row, "label", { for: "percent" }, "A change counts from, % of the larger ");
    this.percent = add(bound, "input", { id: "percent", type: "number", min: 0, max: 100, step: "any", value: 5 });
    const charts = add(host, "div", { class: "charts" }), x = { label: "engine order", unit: "" }, first = orders(view);
    this.sides = new Chart(charts, { title: "Amplitude per order", x, y: { label: "amplitude", unit: "" }, kind: "bars", series: views.map((one) => one.name), first });
    this.change = new Chart(charts, { title: `Change per order against ${views[0].name}`, x, y: { label: "change that counts", unit: "" }, kind: "bars", series: views.slice(1).map((one) => one.name), first });
    this.words = add(host, "p", { role: "status" });
    this.where = add(host, "p", { class: "quiet" });
    this.select.addEventListener("change", () => { this.sides.key = ""; this.change.key = ""; this.show(); });
    this.percent.addEventListener("input", () => this.show());
  }

  /** Amplitude of every order (n) at a view's place; nan where the view has not that order or place. */
  row(view, kind, name, order) {
    const item = kind === "torque" ? 0 : view.items(kind).indexOf(name);
    const found = item < 0 ? [] : kind === "torque" ? view.torque(view.point()) : view.amplitudes(kind, item, view.point());
    return order.map((one) => { const k = view.order.findIndex((other) => Math.abs(other - one) < 1e-6); return k > 0 && found.length ? found[k - 1] : NaN; });
  }

  show() {
    const [kind, ...rest] = this.select.value.split("/"), name = rest.join("/"), order = views[0].order.slice(1);
    const unit = kind === "mount" ? "N" : kind === "sensor" ? "m/s²" : "N m", share = Math.max(0, Number(this.percent.value) || 0) / 100;
    this.sides.spec.y.unit = unit;
    this.change.spec.y.unit = unit;
    const rows = views.map((view) => this.row(view, kind, name, order));
    this.sides.show(order, rows);
    const told = [];
    const changes = views.slice(1).map((view, n) => {
      const floor = (DATA.floors[view.name] || {})[this.select.value] || 0, least = MINOR * Math.max(greatest(rows[0]), greatest(rows[n + 1]));
      const change = order.map((_, k) => {
        const [a, b] = [rows[0][k], rows[n + 1][k]], larger = Math.max(Math.abs(a), Math.abs(b));
        return larger >= least && larger > 0 && Math.abs(b - a) > Math.max(floor, share * larger) ? b - a : NaN;
      });
      const list = (sign) => order.filter((_, k) => sign * change[k] > 0).join(", ") || "none";
      told.push(`${view.name}: less at orders ${list(-1)}; more at ${list(1)}`);
      return change;
    });
    this.change.show(order, changes);
    this.words.textContent = told.join(". ");
    this.where.textContent = views.map((view) => `${view.name}: ${view.words()}`).join("; ");
  }
}
