// Shows how the drop stands, and its samples as they arrive. Nothing is worked out here.
(function () {
  "use strict";
  var drop = document.getElementById("drop"), news = document.getElementById("news");
  if (news) { news.remove(); } // this page draws itself anew
  if (!drop || !window.EventSource) { return; }
  var place = document.getElementById("trace"), newest = drop.dataset.number, asking = false;
  var WINDOW_S = 12, MOST = 1200000; // seconds and samples that are kept for drawing
  var times = [], forces = [], last = 0, plot = null, drawing = false;

  function focusFirst() { var first = document.querySelector("#stands [autofocus]"); if (first) { first.focus(); } }

  function nameOf(stands, one) { return one && stands.contains(one) ? one.tagName + one.name + (one.tagName === "BUTTON" ? one.textContent : "") : ""; }

  function draw() {
    if (asking || newest === drop.dataset.number) { return; }
    asking = true;
    var number = newest;
    fetch("/drop/stands").then(function (answer) {
      if (!answer.ok) { throw new Error(answer.status); }
      return answer.text();
    }).then(function (text) {
      var stands = document.getElementById("stands"), typed = stands.querySelector("input:not([type=hidden])");
      var kept = typed ? [typed.name, typed.value] : null, had = nameOf(stands, document.activeElement);
      stands.innerHTML = text; // escaped by the desk
      drop.dataset.number = number;
      var again = kept && stands.querySelector("input[name=" + kept[0] + "]");
      if (again) { again.value = kept[1]; }
      // Who works by keyboard alone stays where he was, as long as it is still there.
      var same = had && Array.prototype.find.call(stands.querySelectorAll("input, button"), function (one) { return nameOf(stands, one) === had; });
      if (same) { same.focus(); } else if (!again) { focusFirst(); }
    }).catch(function () {}).then(function () { asking = false; draw(); });
  }

  function bytesOf(text) {
    var raw = window.atob(text), bytes = new Uint8Array(raw.length);
    for (var i = 0; i < raw.length; i += 1) { bytes[i] = raw.charCodeAt(i); }
    return new Float32Array(bytes.buffer);
  }

  function add(piece) {
    if (piece.number <= last) { return; }
    last = piece.number;
    var force = bytesOf(piece.force), before = times.length ? times[times.length - 1] : null;
    if (before !== null && piece.start - before > 1.5 * piece.step) { times.push(before + piece.step); forces.push(null); }
    for (var i = 0, unit = newtons(); i < force.length; i += 1) { times.push(piece.start + i * piece.step); forces.push(force[i] / unit); }
    if (times.length > MOST) { times.splice(0, times.length - MOST); forces.splice(0, forces.length - MOST); }
  }

  // Samples and levels come in newtons; they are shown in the unit of the page.
  function newtons() { return Number(place ? place.dataset.newtons : 0) || 1; }

  function level(u, value, name, dash, above) {
    if (!value) { return; }
    var y = u.valToPos(Number(value) / newtons(), "y", true), pen = u.ctx;
    pen.save(); pen.strokeStyle = "#10151c"; pen.fillStyle = "#10151c"; pen.lineWidth = 2;
    pen.setLineDash(dash); pen.beginPath(); pen.moveTo(u.bbox.left, y); pen.lineTo(u.bbox.left + u.bbox.width, y); pen.stroke();
    pen.textAlign = "left"; pen.textBaseline = above ? "bottom" : "top"; pen.font = "600 " + 15 * devicePixelRatio + "px system-ui, sans-serif"; pen.fillText(name, u.bbox.left + 8, above ? y - 4 : y + 4); pen.restore();
  }

  function size() { return { width: place.clientWidth, height: Math.max(180, Math.min(300, window.innerHeight * 0.34)) }; }

  function made() {
    var most = Number(place.dataset.limit || place.dataset.target || 0) / newtons();
    return new uPlot({
      width: size().width, height: size().height, legend: { show: false }, cursor: { show: false },
      scales: { x: { time: false }, y: { range: function (u, low, high) { return [Math.min(low, -0.05 * most), Math.max(high, 1.15 * most, 1 / newtons())]; } } },
      axes: [{ label: "s, on the board's clock" }, { label: place.dataset.unit + ", less the level at rest", size: 70 }],
      series: [{}, { stroke: "#10151c", width: 1.5, points: { show: false }, spanGaps: false }],
      hooks: { draw: [function (u) { level(u, place.dataset.target, "target", [], false); level(u, place.dataset.limit, "limit", [9, 4, 2, 4], true); }] }
    }, [times, forces], place);
  }

  function show() {
    drawing = false;
    if (!place || !times.length) { return; }
    var first = times[times.length - 1] - WINDOW_S, cut = 0;
    while (times[cut] < first) { cut += 1; }
    if (cut > MOST / 20) { times.splice(0, cut); forces.splice(0, cut); }
    if (!plot) { plot = made(); } else { plot.setData([times, forces]); }
    place.dataset.drawn = String(last);
    place.dataset.until = String(times[times.length - 1]);
  }

  function soon() { if (!drawing) { drawing = true; window.requestAnimationFrame(show); } }

  focusFirst();
  var feed = new EventSource("/events"), waiting = [], fetching = false;

  // What came before this page listened, or what a slow page was not told, the desk still has.
  function catchUp() {
    if (!place || fetching) { return; }
    fetching = true;
    fetch("/drop/trace").then(function (answer) { return answer.json(); }).then(function (pieces) {
      var newest = pieces.length ? pieces[pieces.length - 1].number : last;
      if (newest > last) { times = []; forces = []; last = 0; pieces.forEach(add); }
    }).catch(function () {}).then(function () {
      fetching = false;
      waiting.splice(0).forEach(add); soon();
    });
  }
  feed.addEventListener("open", catchUp);
  feed.addEventListener("trace", function (event) {
    if (!place) { return; }
    var piece = JSON.parse(event.data);
    if (!fetching && last && piece.number > last + 1) { catchUp(); }
    if (fetching) { waiting.push(piece); } else { add(piece); soon(); }
  });
  feed.addEventListener("standing", function (event) {
    var told = JSON.parse(event.data);
    var here = told.kind === "a drop" && told.under_way;
    if (here !== (drop.dataset.underWay === "yes")) { window.location.replace(window.location.pathname); return; }
    if (!here) { return; }
    document.querySelectorAll("[data-live]").forEach(function (spot) {
      var text = told.live[spot.dataset.live];
      if (text !== undefined && spot.textContent !== text) { spot.textContent = text; }
    });
    newest = String(told.number);
    draw();
  });
  window.addEventListener("resize", function () { if (plot) { plot.setSize(size()); } });
  window.addEventListener("pagehide", function () { feed.close(); });
  window.addEventListener("pageshow", function (event) { if (event.persisted) { window.location.reload(); } });
}());
