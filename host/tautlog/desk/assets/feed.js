// Tells an open page that something was entered by another one.
(function () {
  "use strict";
  var news = document.getElementById("news");
  if (!news || !window.EventSource) { return; }
  var feed = new EventSource("/events");
  feed.addEventListener("entered", function () { news.hidden = false; });
  window.addEventListener("pagehide", function () { feed.close(); });
  window.addEventListener("pageshow", function (event) {
    if (event.persisted) { window.location.reload(); } // it may be old
  });
}());
