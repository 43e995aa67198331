(() => {
  "use strict";
  const by = id => document.getElementById(id);
  const list = by("list");
  const cords = Array.from(list.children);
  // Text to search in, read once and only when somebody searches.
  let texts = null;
  const textOf = i => {
    if (!texts) texts = cords.map(c => c.textContent.toLowerCase());
    return texts[i];
  };
  const filter = () => {
    const find = by("find").value.trim().toLowerCase();
    const verdict = by("verdict").value;
    const limits = by("limits").value;
    let shown = 0;
    cords.forEach((cord, i) => {
      const d = cord.dataset;
      const keep = (!verdict || d.state === verdict) &&
        (!limits || d.limits.split(" ").includes(limits)) &&
        (!find || textOf(i).includes(find));
      cord.hidden = !keep;
      if (keep) ++shown;
    });
    by("shown").textContent = shown + " shown";
    by("none").hidden = shown > 0;
  };
  const rank = { fail: 0, open: 1, pass: 2 };
  const orders = {
    name: () => 0,
    state: (a, b) => rank[a.dataset.state] - rank[b.dataset.state],
    attempts: (a, b) => b.dataset.attempts - a.dataset.attempts,
    time: (a, b) => (a.dataset.time < b.dataset.time ? 1 : a.dataset.time > b.dataset.time ? -1 : 0),
  };
  const sort = () => {
    const sorted = cords.map((cord, i) => ({ cord, i }));
    const order = orders[by("order").value];
    sorted.sort((a, b) => order(a.cord, b.cord) || a.i - b.i);
    list.append(...sorted.map(s => s.cord));
  };
  by("controls").addEventListener("submit", e => e.preventDefault());
  by("find").addEventListener("input", filter);
  by("verdict").addEventListener("change", filter);
  by("limits").addEventListener("change", filter);
  by("order").addEventListener("change", sort);

  const zones = JSON.parse(by("zones").textContent);
  const make = (name, attributes, text) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    return node;
  };
  // Lines are drawn twice, dark below light, so that they show on any picture.
  const stroke = (svg, name, attributes, colour, width) => {
    const base = { fill: "none", "vector-effect": "non-scaling-stroke" };
    svg.append(make(name, { ...base, ...attributes, stroke: "#000", "stroke-width": width + 1.5, opacity: 0.6 }));
    svg.append(make(name, { ...base, ...attributes, stroke: colour, "stroke-width": width }));
  };
  const overlay = shot => {
    const um = +shot.dataset.um;
    const svg = make("svg", { viewBox: `${-um / 2} ${-um / 2} ${um} ${um}`, role: "img", "aria-label": "zones and features" });
    for (const d of zones[shot.dataset.limits] || []) stroke(svg, "circle", { r: d / 2 }, "#56b4e9", 1);
    for (const [id, breaks, x, y, d, outline] of JSON.parse(shot.dataset.marks)) {
      if (!breaks) { stroke(svg, "circle", { cx: x, cy: y, r: d / 2 + 1.5 }, "#f0e442", 1); continue; }
      if (outline.length > 4) stroke(svg, "polygon", { points: outline.join(" ") }, "#d55e00", 2.5);
      else stroke(svg, "circle", { cx: x, cy: y, r: d / 2 + 1.5 }, "#d55e00", 2.5);
      const at = { x: x + d / 2 + 2, y: y - 1, "font-size": 9, "font-weight": 700, "font-family": "sans-serif" };
      svg.append(make("text", { ...at, stroke: "#000", "stroke-width": 2, fill: "#000" }, id));
      svg.append(make("text", { ...at, fill: "#fff" }, id));
    }
    return svg;
  };
  list.addEventListener("click", e => {
    const shot = e.target.closest(".shot");
    if (!shot) return;
    const face = shot.parentElement;
    const stage = by("stage");
    stage.replaceChildren(shot.querySelector("img").cloneNode());
    if (+shot.dataset.um > 0) stage.append(overlay(shot));
    by("view-title").textContent = shot.closest(".cord").dataset.name + ", " + face.querySelector("h4").textContent;
    const reasons = face.querySelector("ul");
    by("view-text").replaceChildren(...(reasons ? [reasons.cloneNode(true)] : []));
    by("view").showModal();
  });
})();
