// What people feel at the place of the slider, judged for as many hours a day as the reader says.
const DAY = 8; // hours that A(8) is of

function comfortWords(total) {
  return DATA.comfort.filter(([low, high]) => total >= low && (high === null || total < high)).map((band) => band[2]).join(" to ");
}

class People {
  constructor(host, view) {
    this.view = view;
    const row = add(host, "p", { class: "row" }), label = add(row, "label", { for: "hours" }, "Hours a day ");
    this.hours = add(label, "input", { id: "hours", type: "number", min: 0.1, max: 24, step: "any", value: DAY });
    this.hours.addEventListener("input", () => this.show(this.point));
    this.lead = add(row, "strong", { role: "status" });
    this.rows = view.felt.map((one, n) => ({ one, n })).filter(({ one }) => one.action !== null);
    const table = add(add(host, "div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Exposure at the place shown" }), "table", { class: "felt" });
    add(table, "caption", {}, "Exposure at the place shown");
    const head = add(add(table, "thead"), "tr");
    for (const words of ["at", "A(8), m/s²", "of the action value", "verdict", "hours to action", "to limit", "comfort"]) add(head, "th", { scope: "col", class: /at|verdict|comfort/.test(words) && words.length < 8 ? "text" : "" }, words);
    this.body = add(table, "tbody");
    this.lines = view.felt.map((one) => this.line(one));
  }

  line(one) {
    const row = add(this.body, "tr"), name = add(row, "th", { scope: "row" }, one.name);
    add(name, "span", { class: "quiet" }, ` ${one.contact}`);
    const level = add(row, "td"), cell = add(row, "td"), bar = add(cell, "span", { class: "meter" }), fill = add(bar, "span"), share = add(cell, "span", { class: "quiet" });
    return { level, cell, bar, fill, share, verdict: add(row, "td", { class: "text" }), action: add(row, "td"), limit: add(row, "td"), comfort: add(row, "td", { class: "text" }) };
  }

  /** Rewrite the rows for a point of the view. */
  show(point) {
    this.point = point;
    const { view } = this, hours = Number(this.hours.value), valid = hours > 0 && hours <= 24, count = view.felt.length;
    this.hours.setAttribute("aria-invalid", String(!valid));
    const over = [];
    view.felt.forEach((one, n) => {
      const eight = view.a8[point * count + n], total = view.comfort[point * count + n], at = this.lines[n];
      const level = eight * Math.sqrt(hours / DAY), judged = one.action !== null && Number.isFinite(level) && valid;
      at.level.textContent = judged ? plain(level) : "";
      at.bar.hidden = !judged;
      at.share.textContent = judged ? `${plain((100 * level) / one.action, level < one.action ? 2 : 3)} % of ${one.action}` : "";
      at.fill.style.width = judged ? `${Math.min(100, (100 * level) / one.action)}%` : "0";
      at.cell.classList.toggle("alarm", judged && level > one.action);
      const words = !judged ? "" : level > one.limit ? "ABOVE THE LIMIT VALUE" : level > one.action ? "above the action value" : "below the action value";
      at.verdict.textContent = one.action === null ? "comfort alone" : words;
      at.verdict.classList.toggle("doubt", judged && level > one.action);
      if (judged && level > one.action) over.push(one.name);
      const until = (value) => { const h = DAY * (value / eight) ** 2; return h > 24 ? "over 24" : plain(h); };
      at.action.textContent = judged ? until(one.action) : "";
      at.limit.textContent = judged ? until(one.limit) : "";
      at.comfort.textContent = Number.isFinite(total) ? `${plain(total)} m/s², ${comfortWords(total)}` : "";
    });
    this.lead.textContent = !valid ? "give 0.1 to 24 hours" : !this.rows.length ? "" : !Number.isFinite(view.a8[point * count + this.rows[0].n]) ? "not computed at this place" : over.length ? `Over the action value at ${over.join(", ")}.` : "Below every action value.";
  }
}

/** A(8) as a share of the action value along the slider; undefined where there is nothing to draw. */
function exposureAlong(host, view, onPick) {
  const rows = view.felt.map((one, n) => ({ one, n })).filter(({ one }) => one.action !== null);
  if (view.count < 2 || !rows.length) return undefined;
  const axis = view.axes[view.slider];
  const chart = new Chart(host, { title: `A(8) of 8 h as a share of the action value over ${axis.label}`, x: { label: axis.label, unit: axis.unit }, y: { label: "share", unit: "%" },
    kind: "lines", series: [...rows.map(({ one }) => one.name), "action value"], cursor: true, onPick });
  return () => {
    const along = view.along(), points = along.map((_, at) => view.point(at)), count = view.felt.length;
    chart.place = along[view.at];
    chart.show(along, [...rows.map(({ one, n }) => points.map((point) => (100 * view.a8[point * count + n]) / one.action)), along.map(() => 100)]);
  };
}
