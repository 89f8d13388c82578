"use strict";

/* What is computed: quantities in SI, surfaces over shares of their ranges. */
const explorer = {
  value(one, share) {
    if (share <= 0) return one.low;
    if (share >= 1) return one.high;
    const exact = one.scaled
      ? one.low * (one.high / one.low) ** share
      : one.low + share * (one.high - one.low);
    const shown = Number(((exact - one.offset) / one.size).toPrecision(4));
    return Math.min(Math.max(shown * one.size + one.offset, one.low), one.high);
  },

  share(one, value) {
    if (!one.scaled) return (value - one.low) / (one.high - one.low);
    return value > 0 ? Math.log(value / one.low) / Math.log(one.high / one.low) : -Infinity;
  },

  /* A value in the unit of the design file, with six digits as there. */
  number(one, value) {
    return String(Number(((value - one.offset) / one.size).toPrecision(6)));
  },

  text(one, value) {
    return `${explorer.number(one, value)} ${one.unit}`;
  },

  /* Weights of the solves at a point, or null outside the ranges that were solved. */
  weights(data, shares) {
    if (!shares.every((u) => u >= -1e-9 && u <= 1 + 1e-9)) return null;
    const basis = data.points.map((p) => Math.hypot(...p.map((x, k) => x - shares[k])) ** 3);
    basis.push(1, ...shares);
    return data.points.map((_, j) =>
      basis.reduce((sum, b, i) => sum + b * data.matrix[i][j], 0));
  },

  blend(weights, values) {
    return weights.reduce((sum, w, k) => sum + w * values[k], 0);
  },

  voltages(data, weights) {
    const found = {};
    for (const [key, one] of Object.entries(data.voltages)) {
      found[key] = data.first * Math.exp(explorer.blend(weights, one.logs));
    }
    return found;
  },

  /* A criterion's value over its limit, and what can be said of it in spite of the error. */
  row(one, weights) {
    const high = explorer.blend(weights, one.high);
    const low = Math.min(explorer.blend(weights, one.low), high);
    let state = "not proved";
    if (high + one.error <= 0) state = "pass";
    else if (low - one.error > 0) state = "fail";
    return { low, high, state };
  },

  outline(body, weights) {
    let path = "";
    for (let i = 0; i < body.drawn.length; i += 2) {
      let x = 0;
      let y = 0;
      for (let k = 0; k < weights.length; k += 1) {
        x += weights[k] * body.points[k][i];
        y += weights[k] * body.points[k][i + 1];
      }
      path += `${i ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`;
    }
    return `${path}Z`;
  },

  /* Emitter minus accelerator, where one of them has a slider. */
  designVoltage(data, values) {
    const sign = { "voltages.emitter": 1, "voltages.accelerator": -1 };
    return data.free.reduce(
      (sum, one, k) => sum + (sign[one.key] || 0) * (values[k] - one.drawn), data.design_voltage);
  },

  file(data, values) {
    return data.file.pieces
      .map((p) => (typeof p === "number" ? explorer.text(data.free[p], values[p]) : p))
      .join("");
  },

  volts(value) {
    return Math.abs(value) >= 1e3 ? `${(value / 1e3).toFixed(2)} kV` : `${Number(value.toPrecision(3))} V`;
  },

  percent(value) {
    return `${Number((100 * value).toPrecision(2))} %`;
  },

  /* A share of the limit; beyond a factor of twenty either way it is no longer told. */
  ofLimit(low, high) {
    const words = (excess) => {
      if (excess < -2.9) return "below 5 %";
      if (excess > 2.9) return "over 2000 %";
      return `${Number((100 * Math.exp(excess)).toPrecision(3))} %`;
    };
    return words(low) === words(high) ? words(high) : `${words(low)} to ${words(high)}`;
  },
};

/* What is shown. */
function startExplorer() {
  const data = JSON.parse(document.getElementById("data").textContent);
  const byId = (id) => document.getElementById(id);
  const marks = { pass: "✓ pass", fail: "✗ fail", "not proved": "? not proved" };
  const values = data.free.map((one) => one.drawn);
  let speaking = 0;

  function draw(weights) {
    for (const [v, view] of data.views.entries()) {
      for (const [b, body] of view.bodies.entries()) {
        byId(`view${v}-${b}`).setAttribute("d", explorer.outline(body, weights));
      }
    }
  }

  function axis(found) {
    const design = explorer.designVoltage(data, values);
    const logs = Object.values(data.voltages).flatMap((one) => one.logs);
    const ends = [design, ...logs.map((e) => data.first * Math.exp(e))];
    const low = Math.max(0, Math.min(...ends) * 0.95);
    const high = Math.max(...ends) * 1.05;
    const place = (v) => (1000 * (v - low)) / (high - low);
    const [a, b] = [place(found.first_emission_low), place(found.first_emission_high)];
    byId("band").setAttribute("x", a);
    byId("band").setAttribute("width", Math.max(b - a, 0));
    for (const [id, v] of [["now", found.first_emission], ["was", data.drawn.first_emission],
      ["design", design]]) {
      byId(id).setAttribute("transform", `translate(${place(v)} 0)`);
    }
    byId("design-words").setAttribute("text-anchor", place(design) > 600 ? "end" : "start");
  }

  function show() {
    const shares = data.free.map((one, k) => explorer.share(one, values[k]));
    const outside = data.free.filter((_, k) => !(shares[k] >= -1e-9 && shares[k] <= 1 + 1e-9));
    const weights = explorer.weights(data, shares);
    document.body.classList.toggle("outside", weights === null);
    document.body.classList.toggle("as-drawn", data.free.every((one, k) => values[k] === one.drawn));
    byId("save").disabled = weights === null;
    let spoken;
    if (weights === null) {
      const words = outside.map((one) => `${one.label} was solved from ${one.low_text} to ${one.high_text}`);
      spoken = `No number here: ${words.join("; ")}.`;
      for (const id of ["first", "band-words", "change"]) byId(id).textContent = "–";
      for (const [k] of data.rows.entries()) {
        byId(`value${k}`).textContent = "–";
        byId(`state${k}`).textContent = "–";
        byId(`row${k}`).className = "";
      }
      byId("file").textContent = "";
    } else {
      const found = explorer.voltages(data, weights);
      const first = explorer.volts(found.first_emission);
      const [low, high] = [found.first_emission_low, found.first_emission_high].map(explorer.volts);
      const change = found.first_emission / data.drawn.first_emission - 1;
      const states = data.rows.map((one, k) => {
        const row = explorer.row(one, weights);
        byId(`value${k}`).textContent = explorer.ofLimit(row.low, row.high);
        byId(`state${k}`).textContent = marks[row.state];
        byId(`row${k}`).className = row.state.replace(" ", "-");
        return row.state;
      });
      const count = (state) => states.filter((one) => one === state).length;
      byId("first").textContent = first;
      byId("band-words").textContent = `${low} to ${high}`;
      byId("change").textContent = `${change < 0 ? "−" : "+"}${(100 * Math.abs(change)).toFixed(1)} %`;
      byId("file").textContent = explorer.file(data, values);
      spoken = `First emission at ${first}, between ${low} and ${high}; of ${states.length} criteria `
        + `${count("fail")} fail and ${count("not proved")} are not proved.`;
      draw(weights);
      axis(found);
    }
    byId("message").textContent = weights === null ? spoken : "";
    // A screen reader is told once the slider rests.
    clearTimeout(speaking);
    speaking = setTimeout(() => { byId("spoken").textContent = spoken; }, 400);
  }

  function set(k, value, from) {
    const one = data.free[k];
    values[k] = value;
    const slider = byId(`slider${k}`);
    const number = byId(`number${k}`);
    if (from !== number) number.value = explorer.number(one, value);
    const share = explorer.share(one, value);
    const inside = share >= -1e-9 && share <= 1 + 1e-9;
    number.setAttribute("aria-invalid", inside ? "false" : "true");
    if (from !== slider && Number.isFinite(share)) slider.value = share;
    slider.setAttribute("aria-valuetext", inside ? explorer.text(one, value) : "outside the range");
  }

  for (const [k, one] of data.free.entries()) {
    byId(`slider${k}`).addEventListener("input", (event) => {
      set(k, explorer.value(one, Number(event.target.value)), event.target);
      show();
    });
    byId(`number${k}`).addEventListener("input", (event) => {
      const given = event.target.value.trim() === "" ? NaN : Number(event.target.value);
      set(k, given * one.size + one.offset, event.target);
      show();
    });
  }
  byId("reset").addEventListener("click", () => {
    data.free.forEach((one, k) => set(k, one.drawn));
    show();
  });
  byId("save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([explorer.file(data, values)], { type: "application/toml" }));
    link.download = data.file.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
  // A setting may be given behind the page's address: #accelerator.gap=0.8&..., in the units shown.
  const asked = new URLSearchParams(location.hash.slice(1));
  data.free.forEach((one, k) => {
    const given = asked.get(one.key);
    const drawn = explorer.share(one, one.drawn);
    const start = drawn >= 0 && drawn <= 1 ? one.drawn : explorer.value(one, 0.5);
    set(k, given === null ? start : Number(given) * one.size + one.offset);
  });
  show();
}

if (typeof document !== "undefined") startExplorer();
