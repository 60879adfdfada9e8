"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const root = document.getElementById("drawings");
  const whole = { from: data.from, to: data.to };
  const view = { from: data.from, to: data.to };
  const leastView = Math.min(2, whole.to - whole.from);
  const plots = [...root.querySelectorAll(".plot")];
  const readout = document.getElementById("readout");
  const hint = "Point at a lane to read it. Drag to move, double click to enlarge; keys: + \u2212 \u2190 \u2192 0.";

  const bytes = (text) => Uint8Array.from(atob(text || ""), (letter) => letter.charCodeAt(0));
  // Held apart from the words around it whichever way it runs.
  const held = (name) => "\u2068" + name.replace(/[\u0000-\u001f\u2028\u2029]/g, " ") + "\u2069";
  for (const lane of data.lanes) {
    lane.name = held(lane.name);
    for (const file of lane.files || []) file[0] = held(file[0]);
    lane.peaks = bytes(lane.peaks);
    lane.powers = bytes(lane.powers);
  }

  // ---- texts

  const clock = (seconds, decimals) => {
    const unit = 10 ** decimals;
    const units = Math.round(Math.abs(seconds) * unit);
    const s = Math.floor(units / unit);
    const two = (n) => String(n).padStart(2, "0");
    const fraction = decimals ? "." + String(units % unit).padStart(decimals, "0") : "";
    const sign = seconds < 0 && units ? "-" : "";
    return sign + two(Math.floor(s / 3600)) + ":" + two(Math.floor(s / 60) % 60) + ":" + two(s % 60) + fraction;
  };
  const signed = (value, decimals) => (value < 0 ? "\u2212" : "+") + Math.abs(value).toFixed(decimals);
  const micro = (us) => {
    const size = Math.abs(us);
    if (size < 1000) return signed(us, 1) + " \u00b5s";
    return size < 1e6 ? signed(us / 1e3, 2) + " ms" : signed(us / 1e6, 2) + " s";
  };
  const decibels = (level) => (level ? ((level - 1) / 2 - 100).toFixed(1) + " dBFS" : "silence");

  // ---- envelopes

  // As wave.cpp draws them for the whole session: a step of the outline, there and back, by level.
  const there = [];
  const back = [];
  for (let level = 0; level < 256; ++level) {
    const share = Math.min(1, Math.max(0, ((level - 1) / 2 - 40) / 60));
    const height = level === 0 ? 0.5 : Math.max(1, 48 * share);
    there.push("V" + (50 - height).toFixed(1) + "h1");
    back.push("V" + (50 + height).toFixed(1) + "h-1");
  }
  const powerOf = Float64Array.from({ length: 256 }, (_, level) => (level ? 10 ** ((level - 201) / 20) : 0));
  const levelOf = (power) => (power > 0 ? Math.min(255, Math.max(1, Math.round(201 + 20 * Math.log10(power)))) : 0);
  // Cells of a recording by the column that they lie in, as columns.h does.
  const forCells = (spans, cellS, count, columns, take) => {
    const columnS = (view.to - view.from) / columns;
    for (const [from, to, lineFrom, lineTo] of spans) {
      if (lineTo <= view.from || lineFrom >= view.to) continue;
      const first = Math.max(0, (lineFrom - view.from) / columnS);
      const until = Math.min(columns, (lineTo - view.from) / columnS);
      const perLine = (to - from) / (lineTo - lineFrom);
      const trackAt = (column) =>
        from + (Math.min(Math.max(view.from + column * columnS, lineFrom), lineTo) - lineFrom) * perLine;
      for (let column = Math.floor(first); column < until; ++column) {
        const start = Math.max(0, Math.floor(trackAt(column) / cellS));
        const end = Math.min(count, Math.max(start + 1, Math.ceil(trackAt(column + 1) / cellS)));
        for (let cell = start; cell < end; ++cell) take(column, cell);
      }
    }
  };
  // Per column the highest of the peaks and the mean of the powers; -1 where nothing was recorded.
  const columnLevels = (lane, columns) => {
    const peaks = new Int16Array(columns).fill(-1);
    const sums = new Float64Array(columns);
    const counts = new Int32Array(columns);
    forCells(lane.spans, lane.cell, lane.peaks.length, columns, (column, cell) => {
      if (lane.peaks[cell] > peaks[column]) peaks[column] = lane.peaks[cell];
      sums[column] += powerOf[lane.powers[cell]];
      ++counts[column];
    });
    return [peaks, Int16Array.from(sums, (sum, i) => (counts[i] ? levelOf(sum / counts[i]) : -1))];
  };
  const outline = (levels) => {
    const path = [];
    for (let from = 0; from < levels.length; ++from) {
      if (levels[from] < 0) continue;
      let to = from;
      path.push("M" + from + " 50");
      for (; to < levels.length && levels[to] >= 0; ++to) path.push(there[levels[to]]);
      for (let column = to - 1; column >= from; --column) path.push(back[levels[column]]);
      path.push("z");
      from = to;
    }
    return path.join("") || "M0 50";
  };
  const drawWave = (plot, lane, width) => {
    const columns = Math.min(2400, Math.max(50, width));
    const svg = plot.querySelector("svg");
    svg.setAttribute("viewBox", "0 0 " + columns + " 100");
    const [peaks, powers] = columnLevels(lane, columns);
    svg.querySelector(".peaks").setAttribute("d", outline(peaks));
    svg.querySelector(".powers").setAttribute("d", outline(powers));
  };

  // ---- the null

  const nothing = data.null && data.null.rest ? data.null : null;
  if (nothing) {
    nothing.rest = bytes(nothing.rest);
    nothing.mix = bytes(nothing.mix);
  }
  const restDb = (byte) => (2 - byte) / 4;
  // As null_plot.cpp draws it for the whole session.
  const area = (rests) => {
    const path = [];
    rests.forEach((rest, column) => {
      const is = Number.isFinite(rest);
      if (is && !Number.isFinite(rests[column - 1])) path.push("M" + column + " 100");
      if (is) path.push("V" + (100 * Math.min(1, Math.max(0, rest / nothing.deepest))).toFixed(1) + "h1");
      if (is && !Number.isFinite(rests[column + 1])) path.push("V100z");
    });
    return path.join("") || "M0 100";
  };
  const drawNull = (plot, width) => {
    const columns = Math.min(2400, Math.max(50, width));
    const worst = new Float64Array(columns).fill(NaN);
    const mix = new Float64Array(columns);
    const rest = new Float64Array(columns);
    forCells(data.lanes[0].spans, nothing.cell, nothing.rest.length, columns, (column, cell) => {
      if (nothing.rest[cell] < 2) return;
      const db = restDb(nothing.rest[cell]);
      const power = 10 ** (nothing.mix[cell] / 20);
      if (!(worst[column] >= db)) worst[column] = db;
      mix[column] += power;
      rest[column] += power * 10 ** (db / 10);
    });
    const svg = plot.querySelector("svg");
    svg.setAttribute("viewBox", "0 0 " + columns + " 100");
    svg.querySelector(".worst").setAttribute("d", area(worst));
    svg.querySelector(".whole").setAttribute("d", area(rest.map((power, i) => 10 * Math.log10(power / mix[i]))));
  };
  const nullText = (lineS) => {
    const span = data.lanes[0].spans.find(([, , from, to]) => lineS >= from && lineS < to);
    if (!span) return "nothing of the mix is here";
    const mixS = span[0] + ((lineS - span[2]) * (span[1] - span[0])) / (span[3] - span[2]);
    const byte = nothing.rest[Math.floor(mixS / nothing.cell)];
    if (!byte) return "no placed track lies here";
    if (byte === 1) return "a pause: too faint to tell";
    return "the tracks leave " + signed(restDb(byte), 1) + " dB of the mix";
  };

  // ---- drawing a view

  const tickSteps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400];
  const drawTicks = (width) => {
    const ticks = document.getElementById("ticks");
    const length = view.to - view.from;
    const most = Math.max(2, width / 105);
    const step = tickSteps.find((each) => length / each <= most) || 86400 * Math.ceil(length / most / 86400);
    ticks.replaceChildren();
    // No label is cut off at the right.
    const last = view.to - (70 / width) * length;
    for (let i = Math.ceil(view.from / step); i * step <= last; ++i) {
      const tick = document.createElement("span");
      tick.className = "tick";
      tick.style.left = (100 * (i * step - whole.from)) / (whole.to - whole.from) + "%";
      tick.textContent = clock(i * step, step < 1 ? 1 : 0);
      ticks.append(tick);
    }
  };
  const draw = () => {
    const width = plots[0].clientWidth;
    const perSecond = data.units / (whole.to - whole.from);
    const share = (whole.to - whole.from) / (view.to - view.from);
    const box = [(view.from - whole.from) * perSecond, 0, (view.to - view.from) * perSecond, 100].join(" ");
    for (const plot of plots) {
      const lane = data.lanes[plot.dataset.lane];
      const svg = plot.querySelector("svg");
      if (plot.dataset.null !== undefined) drawNull(plot, width);
      else if (plot.dataset.most) svg.setAttribute("viewBox", box);
      else if (lane && lane.cell) drawWave(plot, lane, width);
      for (const over of plot.querySelectorAll(".over")) {
        over.style.left = (-100 * (view.from - whole.from)) / (view.to - view.from) + "%";
        over.style.width = 100 * share + "%";
      }
    }
    drawTicks(width);
    const thumb = document.getElementById("thumb");
    thumb.style.left = (100 * (view.from - whole.from)) / (whole.to - whole.from) + "%";
    thumb.style.width = 100 / share + "%";
    document.getElementById("range").textContent = clock(view.from, 1) + " to " + clock(view.to, 1);
  };
  let waiting = false;
  const show = (from, to) => {
    const length = Math.min(whole.to - whole.from, Math.max(leastView, to - from));
    const middle = (from + to) / 2;
    view.from = Math.min(Math.max(middle - length / 2, whole.from), whole.to - length);
    view.to = view.from + length;
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      draw();
    });
  };
  const zoom = (factor, at) => show(at - (at - view.from) * factor, at + (view.to - at) * factor);
  const middle = () => (view.from + view.to) / 2;
  const move = (share) => {
    const by = share * (view.to - view.from);
    show(view.from + by, view.to + by);
  };
  const actions = {
    in: () => zoom(0.5, middle()),
    out: () => zoom(2, middle()),
    left: () => move(-0.25),
    right: () => move(0.25),
    all: () => show(whole.from, whole.to),
  };

  // ---- reading a place

  const fileText = (lane, trackS) => {
    if (!lane.files) return lane.name + ": " + clock(trackS, 2);
    let start = 0;
    for (const [file, end] of lane.files) {
      if (trackS <= end || end === lane.files[lane.files.length - 1][1])
        return lane.name + ": " + file + " at " + clock(trackS - start, 2);
      start = end;
    }
    return lane.name;
  };
  const laneText = (lane, lineS) => {
    const span = lane.spans.find(([, , from, to]) => lineS >= from && lineS < to);
    if (!span) return lane.name + ": nothing recorded here";
    const trackS = span[0] + ((lineS - span[2]) * (span[1] - span[0])) / (span[3] - span[2]);
    const text = fileText(lane, trackS);
    if (!lane.cell) return text;
    const cell = Math.min(lane.peaks.length - 1, Math.max(0, Math.floor(trackS / lane.cell)));
    return text + " \u00b7 peak " + decibels(lane.peaks[cell]) + " \u00b7 level " + decibels(lane.powers[cell]);
  };
  const curveText = (lane, lineS) => {
    let text = lane.name + ": no place here";
    for (const points of lane.curve) {
      const after = points.findIndex((point) => point[0] >= lineS);
      if (after < 1) continue;
      const [a, b] = [points[after - 1], points[after]];
      const share = b[0] > a[0] ? (lineS - a[0]) / (b[0] - a[0]) : 0;
      text = lane.name + ": " + micro(a[1] + share * (b[1] - a[1])) + ", bound \u00b1" + micro(Math.max(a[2], b[2])).slice(1);
      break;
    }
    let nearest = null;
    for (const window of lane.windows)
      if (!nearest || Math.abs(window[0] - lineS) < Math.abs(nearest[0] - lineS)) nearest = window;
    if (!nearest) return text;
    const weight = nearest[3] > 0 ? "weight " + nearest[3] : "not used";
    return text + " \u00b7 window at " + clock(nearest[0], 1) + ": " + micro(nearest[1]) + " \u00b1" + micro(nearest[2]).slice(1) + ", " + weight;
  };
  const secondAt = (plot, x) => {
    const box = plot.getBoundingClientRect();
    return view.from + ((x - box.left) / box.width) * (view.to - view.from);
  };
  const setCursor = (share) => {
    for (const lanes of root.querySelectorAll(".lanes")) lanes.style.setProperty("--cursor", share);
  };
  const read = (plot, x) => {
    const lineS = secondAt(plot, x);
    const lane = data.lanes[plot.dataset.lane];
    setCursor((100 * (lineS - view.from)) / (view.to - view.from) + "%");
    const text = plot.dataset.null !== undefined ? nullText(lineS) : !lane ? "" : plot.dataset.most ? curveText(lane, lineS) : laneText(lane, lineS);
    readout.textContent = clock(lineS, 2) + (text ? " \u00b7 " + text : "");
  };
  const unread = () => {
    setCursor("-10%");
    readout.textContent = hint;
  };

  // ---- hands

  const fingers = new Map();
  const apart = () => {
    const [a, b] = [...fingers.values()];
    return Math.max(20, Math.abs(a - b));
  };
  for (const plot of plots) {
    plot.addEventListener("pointerdown", (event) => {
      if (event.target.closest("a") || event.button > 0) return;
      fingers.set(event.pointerId, event.clientX);
      plot.setPointerCapture(event.pointerId);
    });
    plot.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (before !== undefined && fingers.size === 1) {
        const by = ((before - event.clientX) / plot.clientWidth) * (view.to - view.from);
        if (by) show(view.from + by, view.to + by);
      }
      if (before !== undefined && fingers.size === 2) {
        const width = apart();
        fingers.set(event.pointerId, event.clientX);
        zoom(width / apart(), middle());
      }
      if (before !== undefined) fingers.set(event.pointerId, event.clientX);
      read(plot, event.clientX);
    });
    for (const end of ["pointerup", "pointercancel"])
      plot.addEventListener(end, (event) => fingers.delete(event.pointerId));
    plot.addEventListener("pointerleave", unread);
    plot.addEventListener("dblclick", (event) => zoom(0.4, secondAt(plot, event.clientX)));
    plot.addEventListener(
      "wheel",
      (event) => {
        if (event.ctrlKey || event.metaKey) {
          event.preventDefault();
          zoom(event.deltaY > 0 ? 1.25 : 0.8, secondAt(plot, event.clientX));
        } else if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
          event.preventDefault();
          move(event.deltaX / plot.clientWidth);
        }
      },
      { passive: false });
  }

  const keys = { "+": "in", "=": "in", "-": "out", ArrowLeft: "left", ArrowRight: "right", 0: "all" };
  root.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Home") show(whole.from, whole.from + view.to - view.from);
    else if (event.key === "End") show(whole.to - view.to + view.from, whole.to);
    else if (keys[event.key]) actions[keys[event.key]]();
    else return;
    event.preventDefault();
  });
  for (const button of root.querySelectorAll("button[data-do]"))
    button.addEventListener("click", () => actions[button.dataset.do]());
  const strip = document.getElementById("strip");
  const seek = (event) => {
    const box = strip.getBoundingClientRect();
    const at = whole.from + ((event.clientX - box.left) / box.width) * (whole.to - whole.from);
    const half = (view.to - view.from) / 2;
    show(at - half, at + half);
  };
  strip.addEventListener("pointerdown", (event) => {
    strip.setPointerCapture(event.pointerId);
    seek(event);
  });
  strip.addEventListener("pointermove", (event) => {
    if (strip.hasPointerCapture(event.pointerId)) seek(event);
  });

  // ---- from a finding to its place

  for (const item of document.querySelectorAll("li[data-from]")) {
    const [from, to] = [Number(item.dataset.from), Number(item.dataset.to)];
    const button = document.createElement("button");
    button.type = "button";
    button.className = "show";
    const inList = item.parentElement.classList.contains("clips");  // which tells its place
    button.textContent = inList ? "show" : "show " + clock(from, 0);
    if (inList) button.setAttribute("aria-label", "show " + clock(from, 0));
    button.addEventListener("click", () => {
      const around = Math.max(10, 0.5 * (to - from));
      show(from - around, to + around);
      document.getElementById("timeline").scrollIntoView();
      document.getElementById("lanes").focus({ preventScroll: true });
    });
    item.append(button);
  }

  document.getElementById("bar").hidden = false;
  root.classList.add("live");
  window.addEventListener("resize", () => show(view.from, view.to));
  unread();
  draw();
})();
