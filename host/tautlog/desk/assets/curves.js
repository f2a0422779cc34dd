// Curves with zoom and two cursors. The desk gives samples and readings; nothing is reckoned here.
(function () {
  "use strict";
  var INKS = ["#10151c", "#0a4f8f", "#b35300", "#5b2a86", "#00705c", "#8a1538", "#5f6b00", "#555555"];
  var DASHES = [[], [10, 5], [3, 4], [14, 4, 3, 4], [18, 6], [6, 3, 2, 3, 2, 3], [2, 2], [22, 4, 4, 4]];

  function plainly(u, values) { return values.map(function (value) { return String(Number(value.toPrecision(6))); }); }

  function Plot(section) {
    this.section = section;
    this.place = section.querySelector(".plot");
    this.drops = JSON.parse(section.dataset.drops);
    this.page = section.dataset.page;
    this.seen = null; // [from, to], or null for all
    this.whole = null;
    this.active = "a";
    this.cursors = { a: null, b: null };
    this.number = 0;
    this.plot = null;
    this.listen();
    this.load();
  }

  Plot.prototype.query = function () {
    var query = new URLSearchParams({ page: this.page });
    this.drops.forEach(function (name) { query.append("drop", name); });
    if (this.seen) { query.set("from", this.seen[0]); query.set("to", this.seen[1]); }
    return query;
  };

  Plot.prototype.get = function (address, query) {
    return fetch(address + "?" + query.toString(), { credentials: "same-origin" })
      .then(function (answer) { return answer.json(); });
  };

  Plot.prototype.load = function () {
    var self = this, number = (this.number += 1);
    this.get("/curves", this.query()).then(function (found) {
      if (number === self.number) { self.draw(found); }
    }).catch(function () { self.tell("The desk does not answer."); });
  };

  Plot.prototype.tell = function (text) {
    if (this.plot) { this.plot.destroy(); this.plot = null; }
    this.place.textContent = text;
    this.section.dataset.state = "told";
  };

  Plot.prototype.draw = function (found) {
    if (found.problem) { this.tell(found.problem); return; }
    if (this.plot) { this.plot.destroy(); }
    this.place.textContent = "";
    this.last = found;
    var tables = found.curves.map(function (one) { return [one.x, one.y]; });
    var data = tables.length === 1 ? tables[0] : uPlot.join(tables);
    this.plot = new uPlot(this.options(found), data, this.place);
  };

  // The library knows its scales only once it has drawn.
  Plot.prototype.drawn = function (u) {
    var scale = u.scales.x;
    if (!this.seen) { this.whole = [scale.min, scale.max]; }
    this.section.dataset.width = String(scale.max - scale.min);
    this.section.dataset.state = "drawn";
  };

  Plot.prototype.options = function (found) {
    var self = this, seen = this.seen, inks = 0;
    var series = [{ label: found.x.label + ", " + found.x.unit }];
    var many = found.curves.filter(function (one) { return !one.faint; }).length > 1;
    found.curves.forEach(function (one, place) {
      var at = one.faint ? -1 : inks++;
      series.push({
        label: (many && !one.faint ? place + 1 + " " : "") + one.name, spanGaps: true, points: { show: false }, width: one.faint ? 1 : 2,
        stroke: at < 0 ? "#8b97a6" : INKS[at % INKS.length],
        dash: at < 0 ? [] : DASHES[at % DASHES.length]
      });
    });
    var levels = found.levels.map(function (one) { return one.at; });
    return {
      width: Math.max(280, this.place.clientWidth), height: this.height(), series: series,
      scales: {
        x: { time: false, range: seen ? function () { return seen; } : undefined },
        y: { range: function (u, low, high) {
          return uPlot.rangeNum(Math.min.apply(null, [low].concat(seen ? [] : levels)),
            Math.max.apply(null, [high].concat(seen ? [] : levels)), 0.08, true); } }
      },
      axes: [
        { label: found.x.label + ", " + found.x.unit, stroke: "#10151c", font: "15px system-ui", labelFont: "15px system-ui", size: 44, labelSize: 24, values: plainly },
        { label: found.y.label + ", " + found.y.unit, stroke: "#10151c", font: "15px system-ui", labelFont: "15px system-ui", size: 66, labelSize: 24, values: plainly }
      ],
      legend: { live: false, show: found.curves.length > 1 },
      cursor: { drag: { x: true, y: false, setScale: false }, points: { show: false } },
      hooks: {
        setSelect: [function (u) {
          if (u.select.width < 4) { return; }
          var from = u.posToVal(u.select.left, "x");
          var to = u.posToVal(u.select.left + u.select.width, "x");
          self.look(from, to);
        }],
        draw: [function (u) { self.lines(u, found); }],
        ready: [function (u) {
          self.drawn(u);
          u.over.addEventListener("click", function () {
            if (u.cursor.left < 0) { return; }
            self.put(u.posToVal(u.cursor.left, "x"), u.posToVal(u.cursor.top, "y"), 0);
          });
        }]
      }
    };
  };

  Plot.prototype.height = function () {
    return Math.max(240, Math.min(430, Math.round(0.48 * this.place.clientWidth)));
  };

  // Target, limit, times and cursors, each with its name.
  Plot.prototype.lines = function (u, found) {
    var pen = u.ctx, box = u.bbox, ratio = window.devicePixelRatio || 1;
    pen.save();
    pen.beginPath(); pen.rect(box.left, box.top, box.width, box.height); pen.clip();
    pen.font = 15 * ratio + "px system-ui";
    pen.fillStyle = pen.strokeStyle = "#10151c";
    pen.textAlign = "left"; pen.textBaseline = "alphabetic";
    function write(text, x, y) { // on white, so that no line runs through it
      var width = pen.measureText(text).width;
      pen.fillStyle = "rgba(255,255,255,0.85)";
      pen.fillRect(x - 2 * ratio, y - 14 * ratio, width + 4 * ratio, 17 * ratio);
      pen.fillStyle = "#10151c";
      pen.fillText(text, x, y);
    }
    function upright(at, name, dash, width) {
      var x = Math.round(u.valToPos(at, "x", true));
      pen.setLineDash(dash); pen.lineWidth = width * ratio;
      pen.beginPath(); pen.moveTo(x, box.top); pen.lineTo(x, box.top + box.height); pen.stroke();
      write(name, x + 4 * ratio, box.top + box.height - 8 * ratio);
    }
    found.levels.forEach(function (one) {
      var y = Math.round(u.valToPos(one.at, "y", true));
      pen.setLineDash(one.name.indexOf("limit") === 0 ? [10 * ratio, 4 * ratio, 2 * ratio, 4 * ratio] : [8 * ratio, 5 * ratio]);
      pen.lineWidth = 2 * ratio;
      pen.beginPath(); pen.moveTo(box.left, y); pen.lineTo(box.left + box.width, y); pen.stroke();
      var width = pen.measureText(one.name).width;
      // The limit is told above its line and the target below: they may lie close together.
      write(one.name, box.left + box.width - width - 6 * ratio, y + (one.name.indexOf("limit") === 0 ? -6 : 18) * ratio);
    });
    if (found.curves.filter(function (one) { return one.tag; }).length > 1) {
      found.curves.forEach(function (one, place) {
        if (!one.tag) { return; }
        var x = u.valToPos(one.tag[0], "x", true), y = u.valToPos(one.tag[1], "y", true);
        pen.setLineDash([]); pen.lineWidth = 2 * ratio;
        pen.fillStyle = "#fff";
        pen.beginPath(); pen.arc(x, y, 10 * ratio, 0, 7); pen.fill(); pen.stroke();
        pen.fillStyle = "#10151c";
        pen.textAlign = "center"; pen.textBaseline = "middle";
        pen.fillText(String(place + 1), x, y + ratio);
        pen.textAlign = "left"; pen.textBaseline = "alphabetic";
      });
    }
    found.times.forEach(function (one) { upright(one.at, one.name, [2 * ratio, 4 * ratio], 1); });
    var cursors = this.cursors;
    ["a", "b"].forEach(function (name) {
      var at = cursors[name];
      if (!at) { return; }
      upright(at.x, name.toUpperCase(), [], 2);
      if (at.y !== null) {
        pen.beginPath();
        pen.arc(u.valToPos(at.x, "x", true), u.valToPos(at.y, "y", true), 6 * ratio, 0, 7); pen.stroke();
      }
    });
    pen.restore();
  };

  Plot.prototype.look = function (from, to) {
    this.seen = [from, to];
    this.load();
  };

  Plot.prototype.zoom = function (factor) {
    if (!this.plot) { return; }
    var scale = this.plot.scales.x, half = 0.5 * factor * (scale.max - scale.min);
    var at = this.cursors[this.active], middle = 0.5 * (scale.max + scale.min);
    if (at && at.x > scale.min && at.x < scale.max) { middle = at.x; }
    var from = middle - half, to = middle + half;
    if (this.whole && to - from >= this.whole[1] - this.whole[0]) { this.seen = null; this.load(); return; }
    this.look(from, to);
  };

  // Puts the active cursor at a place, or moves it by some samples; the desk says where it sits.
  Plot.prototype.put = function (x, y, by) {
    var self = this, query = this.query(), active = this.active, other = active === "a" ? "b" : "a";
    query.set(active, x); query.set(active + "y", y); query.set(active + "by", by);
    if (this.cursors[other]) { query.set(other, this.cursors[other].x); query.set(other + "y", this.cursors[other].y || 0); }
    this.get("/readings", query).then(function (found) {
      if (found.problem) { return; }
      self.cursors.a = found.a; self.cursors.b = found.b;
      self.say("a", found.a ? found.a.text : "-");
      self.say("b", found.b ? found.b.text : "-");
      self.say("between", found.between || "-");
      if (self.plot) { self.plot.redraw(false); }
    });
  };

  Plot.prototype.say = function (name, text) {
    this.section.querySelector('[data-cursor="' + name + '"]').textContent = text;
  };

  Plot.prototype.step = function (way, fine) {
    if (!this.plot) { return; }
    var scale = this.plot.scales.x, at = this.cursors[this.active];
    if (!at) { this.put(0.5 * (scale.min + scale.max), 0, 0); return; }
    if (fine) { this.put(at.x, at.y || 0, way); return; }
    this.put(at.x + way * (scale.max - scale.min) / 100, at.y || 0, 0);
  };

  Plot.prototype.choose = function (name) {
    this.active = name;
    this.press("a", name === "a"); this.press("b", name === "b");
  };

  Plot.prototype.press = function (name, on) {
    var button = this.section.querySelector('[data-do="' + name + '"]');
    if (button) { button.setAttribute("aria-pressed", String(on)); }
  };

  Plot.prototype.act = function (what) {
    if (what === "in") { this.zoom(0.5); }
    if (what === "out") { this.zoom(2); }
    if (what === "all") { this.seen = null; this.load(); }
    if (what === "a" || what === "b") { this.choose(what); }
    if (what === "none") {
      this.cursors = { a: null, b: null };
      this.say("a", "-"); this.say("b", "-"); this.say("between", "-");
      if (this.plot) { this.plot.redraw(false); }
    }
    if (what === "contact" || what === "drop") {
      this.page = what; this.seen = null; this.act("none");
      this.press("contact", what === "contact"); this.press("drop", what === "drop");
      this.load();
    }
  };

  Plot.prototype.listen = function () {
    var self = this, keys = { "+": "in", "=": "in", "-": "out", "0": "all", a: "a", b: "b", Escape: "none" };
    this.section.addEventListener("click", function (event) {
      var button = event.target.closest("button[data-do]");
      if (button) { self.act(button.dataset.do); }
    });
    this.place.addEventListener("keydown", function (event) {
      if (event.ctrlKey || event.metaKey || event.altKey) { return; }
      if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
        event.preventDefault();
        self.step(event.key === "ArrowLeft" ? -1 : 1, event.shiftKey);
      } else if (keys[event.key.length === 1 ? event.key.toLowerCase() : event.key]) {
        event.preventDefault();
        self.act(keys[event.key.length === 1 ? event.key.toLowerCase() : event.key]);
      }
    });
    var waiting = 0;
    window.addEventListener("resize", function () {
      window.clearTimeout(waiting);
      waiting = window.setTimeout(function () {
        if (self.plot) { self.plot.setSize({ width: Math.max(280, self.place.clientWidth), height: self.height() }); }
      }, 120);
    });
  };

  window.tautlogPlots = Array.prototype.map.call(
    document.querySelectorAll("section.curve"), function (section) { return new Plot(section); });
}());
