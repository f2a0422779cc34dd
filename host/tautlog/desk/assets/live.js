// Shows what the desk reads at the board; it works nothing out. What a form holds stays as it is.
(function () {
  "use strict";
  var live = document.getElementById("live"), news = document.getElementById("news");
  if (news) { news.remove(); } // this page draws itself anew
  if (!live || !window.EventSource) { return; }
  var feed = new EventSource("/events"), asking = false, newest = live.dataset.number;

  function draw() {
    if (asking || newest === live.dataset.number) { return; }
    asking = true;
    var number = newest;
    fetch(live.dataset.piece).then(function (answer) {
      if (!answer.ok) { throw new Error(answer.status); }
      return answer.text();
    }).then(function (text) {
      document.getElementById("piece").innerHTML = text; // escaped by the desk
      live.dataset.number = number;
    }).catch(function () {}).then(function () { // the next reading asks again
      asking = false;
    });
  }

  feed.addEventListener("standing", function (event) {
    var told = JSON.parse(event.data);
    var here = told.kind === live.dataset.kind && told.under_way;
    if (here !== (live.dataset.underWay === "yes")) {
      window.location.replace(window.location.pathname);
      return;
    }
    if (!here) { return; }
    document.querySelectorAll("[data-live]").forEach(function (place) {
      var text = told.live[place.dataset.live];
      if (text !== undefined && place.textContent !== text) { place.textContent = text; }
    });
    live.dataset.may = told.live.may || "";
    newest = String(told.number);
    draw();
  });
  window.addEventListener("pagehide", function () { feed.close(); });
  window.addEventListener("pageshow", function (event) {
    if (event.persisted) { window.location.reload(); }
  });
}());
