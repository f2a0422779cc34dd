(function () {
  "use strict";
  document.documentElement.classList.add("scripted");
  var ink = "#1b2a41", soft = "#8a96a5", target = "#2a7f62", limit = "#a63d2f";
  var traces = JSON.parse(document.getElementById("traces").textContent);
  var made = [];
  function width(node) { return Math.max(280, node.clientWidth); }
  function height(node) { return Math.max(220, Math.round(0.45 * width(node))); }
  // Number every curve where its force is largest: nothing is told apart by colour alone.
  function numbering(names) {
    return function (u) {
      var ctx = u.ctx, size = Math.round(12 * window.devicePixelRatio), last = Infinity, peaks = [];
      names.forEach(function (name, place) {
        var at = -1, y = u.data[place + 1];
        for (var i = 0; i < y.length; i += 1) { if (y[i] !== null && (at < 0 || Math.abs(y[i]) > Math.abs(y[at]))) { at = i; } }
        if (at >= 0 && u.series[place + 1].show) { peaks.push([u.valToPos(u.data[0][at], "x", true), u.valToPos(y[at], "y", true), name]); }
      });
      peaks.sort(function (a, b) { return b[1] - a[1]; });
      ctx.save();
      ctx.font = "bold " + size + "px system-ui, sans-serif"; ctx.textAlign = "center"; ctx.textBaseline = "middle";
      peaks.forEach(function (peak) {
        if (peak[0] < u.bbox.left || peak[0] > u.bbox.left + u.bbox.width) { return; }
        var y = Math.max(Math.min(peak[1] - 0.9 * size, last - 1.3 * size), 0.7 * size);
        last = y;
        ctx.fillStyle = "rgba(255, 255, 255, 0.85)"; ctx.fillRect(peak[0] - 0.6 * size, y - 0.6 * size, 1.2 * size, 1.2 * size);
        ctx.fillStyle = ink; ctx.fillText(peak[2], peak[0], y);
      });
      ctx.restore();
    };
  }
  function draw(node, data, series, xlabel, ylabel, range, names) {
    var scales = { x: { time: false } };
    if (range) { scales.y = { range: range }; }
    if (names) { scales.y = { range: function (u, low, high) { return [low, high + 0.25 * (high - low)]; } }; }
    var options = { width: width(node), height: height(node), scales: scales,
      axes: [{ label: xlabel, stroke: ink }, { label: ylabel, stroke: ink, size: 64 }],
      series: [{ label: xlabel, value: function (u, v) { return v === null || v === undefined ? "-" : v.toPrecision(6); } }].concat(series),
      hooks: names ? { draw: [numbering(names)] } : {},
      cursor: { drag: { x: true, y: false } }, legend: { live: true } };
    var plot = new uPlot(options, data, node);
    var back = document.createElement("button");
    back.type = "button"; back.textContent = "show all";
    back.addEventListener("click", function () { plot.setData(data); });
    node.appendChild(back);
    made.push([plot, node]);
    return plot;
  }
  function flat(value, n) { var out = []; for (var i = 0; i < n; i += 1) { out.push(value); } return out; }
  // The numbers are newtons; the reader sees them in the unit of display.
  function shown(values, of) { return values.map(function (value) { return value === null ? null : value / of.newton_per_unit; }); }
  window.tautlogPlots = made;
  document.querySelectorAll("[data-trace]").forEach(function (node) {
    var one = traces[Number(node.dataset.trace)];
    if (!one.time_s.length) { return; }
    var n = one.time_s.length, data = [one.time_s, shown(one.raw_n, one), shown(one.force_n, one)];
    var series = [{ label: "unfiltered, " + one.unit, stroke: soft, width: 1 }, { label: one.label + ", " + one.unit, stroke: ink, width: 2 }];
    if (one.target_n) { data.push(shown(flat(one.target_n, n), one)); series.push({ label: "target, " + one.unit, stroke: target, dash: [8, 5], width: 1.5 }); }
    if (one.limit_n) { data.push(shown(flat(one.limit_n, n), one)); series.push({ label: "limit, " + one.unit, stroke: limit, dash: [10, 4, 2, 4], width: 1.5 }); }
    (one.expected_n || []).forEach(function (end, place) {
      data.push(shown(end, one));
      series.push({ label: ["lowest predicted, ", "highest predicted, "][place] + one.unit, stroke: soft, dash: [2, 3], width: 1 });
    });
    draw(node, data, series, "time from release, s", "force, " + one.unit);
  });
  var closures = JSON.parse(document.getElementById("closures").textContent);
  document.querySelectorAll("[data-closures]").forEach(function (node) {
    if (!closures.number.length) { return; }
    var n = closures.number.length, dots = { size: 9 };
    draw(node, [closures.number, closures.impulse, closures.rest, flat(0.95, n), flat(1.05, n)],
      [{ label: "impulse closure", stroke: ink, width: 1, points: dots },
       { label: "rest closure", stroke: soft, width: 1, dash: [4, 4], points: dots },
       { label: "0.95", stroke: limit, dash: [10, 4, 2, 4] }, { label: "1.05", stroke: limit, dash: [10, 4, 2, 4] }],
      "drop", "measured / expected", [0.8, 1.2]);
  });
  var overlay = JSON.parse(document.getElementById("overlay").textContent);
  var hues = ["#1b2a41", "#a63d2f", "#2a7f62", "#7a5195", "#b8860b"], dashes = [[], [9, 4], [9, 3, 2, 3], [2, 3]];
  document.querySelectorAll("[data-overlay]").forEach(function (node) {
    var n = overlay.time_ms.length;
    if (!n) { return; }
    var data = [overlay.time_ms].concat(overlay.force_n.map(function (one) { return shown(one, overlay); }));
    var series = overlay.labels.map(function (label, place) {
      return { label: label, stroke: hues[place % hues.length], dash: dashes[place % dashes.length], width: 1.5, spanGaps: false };
    });
    if (overlay.target_n) { data.push(shown(flat(overlay.target_n, n), overlay)); series.push({ label: "target, " + overlay.unit, stroke: target, dash: [8, 5], width: 1.5 }); }
    if (overlay.limit_n) { data.push(shown(flat(overlay.limit_n, n), overlay)); series.push({ label: "limit, " + overlay.unit, stroke: limit, dash: [10, 4, 2, 4], width: 1.5 }); }
    draw(node, data, series, "time since the line came taut, ms", "force, " + overlay.unit, undefined, overlay.labels.map(function (label) { return label.split(" ")[0]; }));
  });
  // A node may change its width without its window: after fonts, or when a phone is turned.
  var watch = new ResizeObserver(function () {
    made.forEach(function (pair) {
      if (pair[0].width !== width(pair[1])) { pair[0].setSize({ width: width(pair[1]), height: height(pair[1]) }); }
    });
  });
  made.forEach(function (pair) { watch.observe(pair[1]); });
}());
