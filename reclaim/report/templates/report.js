"use strict";
/* Makes tables sortable, shows a core's log beside the map, and runs the what-if panel.
   The page is whole without it. */
(function () {
  const thin = "\u202f", minus = "\u2212";

  /* The number that a cell starts with, or null. */
  function leading(text) {
    const plain = text.replaceAll(thin, "").replaceAll("\u00a0", " ").replaceAll(minus, "-").trim();
    const found = /^-?\d+(\.\d+)?(e[-+]?\d+)?/i.exec(plain);
    return found ? Number(found[0]) : null;
  }

  function sortBy(table, column, button) {
    const head = button.parentElement, body = table.tBodies[0];
    const up = head.getAttribute("aria-sort") !== "ascending";
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    const words = head.classList.contains("text") || column === 0;
    const rows = Array.from(body.rows).map(function (row, place) {
      const text = row.cells[column].textContent.trim();
      return { row, place, text, number: leading(text) };
    });
    rows.sort(function (a, b) {
      if (words || (a.number === null && b.number === null)) {
        return (up ? 1 : -1) * a.text.localeCompare(b.text, "en", { numeric: true }) || a.place - b.place;
      }
      if (a.number === null || b.number === null) return a.number === null ? 1 : -1;
      return (up ? 1 : -1) * (a.number - b.number) || a.place - b.place;
    });
    for (const { row } of rows) body.append(row);
  }

  function makeSortable(table) {
    if (!table.tHead || table.tBodies[0].rows.length < 3) return;
    Array.from(table.tHead.rows[0].cells).forEach(function (head, column) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", function () { sortBy(table, column, button); });
    });
  }

  function showLogs(block) {
    const place = block.querySelector("#chosen");
    if (!place) return;
    const all = block.querySelectorAll("a.core");
    for (const link of all) {
      link.addEventListener("click", function (event) {
        event.preventDefault();
        const strip = document.getElementById(link.getAttribute("href").slice(1));
        const copy = strip.cloneNode(true);
        copy.removeAttribute("id");
        copy.removeAttribute("aria-labelledby");
        for (const part of copy.querySelectorAll("[id]")) part.removeAttribute("id");
        place.replaceChildren(copy);
        for (const other of all) other.removeAttribute("aria-current");
        link.setAttribute("aria-current", "true");
      });
    }
  }

  /* Three significant figures at most, thousands set apart. */
  function figures(value, step) {
    const rounded = Math.round(value / step) * step;
    const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const text = Math.abs(rounded).toFixed(decimals).replace(/\B(?=(\d{3})+(?!\d))/g, thin);
    return (rounded < 0 ? minus : "") + text;
  }

  function power(value) { return Math.floor(Math.log10(Math.abs(value))); }

  /* As the report words it: two figures of the range, none of the three with more than three. */
  function range(best, low, high) {
    const sizes = [best, low, high].filter(function (v) { return v !== 0; });
    if (!sizes.length) return ["0", "0", "0"];
    let place = Math.max(...sizes.map(power)) - 2;
    if (high > low) place = Math.max(place, power(high - low) - 1);
    if (best !== 0) place = Math.min(place, power(best));
    const step = Math.pow(10, place);
    return [figures(best, step), figures(low, step), figures(high, step)];
  }

  function quantile(sorted, share) {
    const at = share * (sorted.length - 1), below = Math.floor(at);
    const above = Math.min(below + 1, sorted.length - 1);
    return sorted[below] + (at - below) * (sorted[above] - sorted[below]);
  }

  function numbers(text) {
    const bytes = Uint8Array.from(atob(text), function (c) { return c.charCodeAt(0); });
    return new Float32Array(bytes.buffer);
  }

  function runPanel(panel, data) {
    const draws = data.draws, rates = data.rates.map(function (rate) {
      return {
        best: rate.best, bestSlopes: rate.best_slopes,
        base: numbers(rate.npv), slopes: rate.slopes.map(numbers),
      };
    });
    const drawn = data.drivers.map(function (driver) {
      return driver.drawn === null ? null : numbers(driver.drawn);
    });
    const sliders = panel.querySelectorAll("input[data-driver]");
    const boxes = panel.querySelectorAll("input[data-number]");
    const moved = data.drivers.map(function () { return null; });
    const rate = panel.querySelector("#rate"), outcome = panel.querySelector("#panel-outcome");

    function show() {
      const at = rates[Number(rate.value)];
      let best = at.best;
      const npv = Float64Array.from(at.base);
      moved.forEach(function (price, k) {
        if (price === null) return;
        best += at.bestSlopes[k] * (price - data.drivers[k].value);
        for (let i = 0; i < draws; i += 1) {
          const was = drawn[k] === null ? data.drivers[k].value : drawn[k][i];
          npv[i] += at.slopes[k][i] * (price - was);
        }
      });
      let above = 0;
      for (const value of npv) above += value > 0 ? 1 : 0;
      npv.sort();
      const low = quantile(npv, 0.1), high = quantile(npv, 0.9);
      const most = Math.max(Math.abs(best), Math.abs(low), Math.abs(high));
      const scale = most >= 1e6 ? 1e-6 : 1, unit = (scale < 1 ? "million " : "") + data.currency;
      const words = range(scale * best, scale * low, scale * high);
      const chance = Math.round((1000 * above) / draws) / 10;
      outcome.dataset.npv = String(best);
      outcome.dataset.low = String(low);
      outcome.dataset.high = String(high);
      outcome.dataset.chance = String(above / draws);
      outcome.textContent = "Net present value " + words[0] + "\u00a0" + unit + " (P10 to P90: "
        + words[1] + " to " + words[2] + "\u00a0" + unit + "), above zero in "
        + (chance >= 9.95 ? Math.round(chance) : chance) + "% of the draws.";
    }

    function move(k, value) {
      if (value === "" || !Number.isFinite(Number(value))) return;
      moved[k] = Number(value);
      show();
    }
    sliders.forEach(function (slider, k) {
      slider.addEventListener("input", function () {
        const step = Math.pow(10, power(Number(slider.max) - Number(slider.min)) - 2);
        const value = Number((Math.round(Number(slider.value) / step) * step).toPrecision(12));
        boxes[k].value = String(value);
        move(k, value);
      });
      boxes[k].addEventListener("input", function () {
        if (!boxes[k].checkValidity()) return;
        slider.value = boxes[k].value;
        move(k, boxes[k].value);
      });
    });
    rate.addEventListener("change", show);
    panel.querySelector("form").addEventListener("submit", function (event) { event.preventDefault(); });
    panel.querySelector("#panel-reset").addEventListener("click", function () {
      moved.fill(null);
      rate.value = "0";
      sliders.forEach(function (slider, k) {
        slider.value = slider.defaultValue;
        boxes[k].value = boxes[k].defaultValue;
      });
      show();
    });
    show();
    panel.hidden = false;
  }

  function start() {
    document.querySelectorAll("table").forEach(makeSortable);
    const map = document.getElementById("map");
    if (map) showLogs(map);
    const panel = document.getElementById("panel"), held = document.getElementById("panel-data");
    if (panel && held) runPanel(panel, JSON.parse(held.textContent));
    document.documentElement.dataset.ready = "yes";
  }

  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("#cautions details, details.folded").forEach(function (part) { part.open = true; });
  });
  /* The page is painted first. */
  requestAnimationFrame(function () { setTimeout(start, 0); });
})();
