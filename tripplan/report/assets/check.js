/* Draws a checked way on the map: what was brought, and each stretch that asks for attention. */
var check = (function () {
  "use strict";
  var data = JSON.parse(document.getElementById("map-data").textContent), map = null;

  /* Undoes thin.pack: counts, then steps of 1e-5 degree. */
  function lines(packed) {
    var out = [], at = 0, x = 0, y = 0;
    while (at < packed.length) {
      var n = packed[at++], line = [];
      for (var i = 0; i < n; i++) {
        x += packed[at++]; y += packed[at++];
        line.push([y / 1e5, x / 1e5]);
      }
      out.push(line);
    }
    return out;
  }

  function drawn(packed, look) {
    look.interactive = false;
    look.lineCap = "butt";
    return L.polyline(lines(packed), look);
  }

  function show(key) {
    var mark = data.check.marks.filter(function (m) { return m.key === key; })[0], entry = document.getElementById(key);
    if (!mark || !entry) { return; }
    var copy = document.createElement("div");
    copy.className = "copy";
    Array.prototype.forEach.call(entry.childNodes, function (node) { copy.appendChild(node.cloneNode(true)); });
    Array.prototype.forEach.call(copy.querySelectorAll("button"), function (b) {
      var head = document.createElement("strong");
      while (b.firstChild) { head.appendChild(b.firstChild); }
      b.parentNode.replaceChild(head, b);
    });
    L.popup({maxWidth: 270, maxHeight: 260, autoPanPadding: [12, 12]}).setLatLng(mark.at).setContent(copy).openOn(map);
  }

  function start() {
    map = L.map("check-map", {maxZoom: 17, zoomSnap: 0.5});
    map.setView([(data.bounds[0][0] + data.bounds[1][0]) / 2, (data.bounds[0][1] + data.bounds[1][1]) / 2], 9);
    tripplan.panes(map);
    tripplan.layer("base").addTo(map);
    var found = data.check, over = {};
    drawn(found.way, {color: "#fff", weight: 8, opacity: 0.9, className: "casing"}).addTo(map);
    found.bands.forEach(function (band) {
      if (band.line.length) { over[band.title] = drawn(band.line, {color: band.colour, weight: band.wide, dashArray: band.dash || null, opacity: 1, className: "band " + band.key}).addTo(map); }
    });
    over[found.words.way] = drawn(found.way, {color: "#0068a8", weight: 4, opacity: 1, className: "way"}).addTo(map);
    found.bands.forEach(function (band) { if (band.above && over[band.title]) { over[band.title].bringToFront(); } });
    if (found.recorded.length) { over[found.words.recorded] = drawn(found.recorded, {color: "#1c1c1c", weight: 1.4, dashArray: "2 4", opacity: 0.9, className: "recorded"}).addTo(map); }
    var signs = L.layerGroup().addTo(map), all = [];
    found.marks.forEach(function (m) {
      if (!m.label) { return; }
      var box = document.createElement("span");
      box.className = "sign night " + m.sign;
      box.textContent = m.label;
      var wide = 26 + 8 * Math.max(0, m.label.length - 2);
      var marker = L.marker(m.at, {icon: L.divIcon({html: box, className: "sign-box", iconSize: [wide, 30], iconAnchor: [wide / 2, 30]}), keyboard: true, title: "", alt: m.key, riseOnHover: true})
        .on("click", function () { show(m.key); })
        .on("keypress", function (e) { if (e.originalEvent.key === "Enter") { show(m.key); } });
      all.push({marker: marker, at: m.at, wide: wide, last: m.sign === "fast"});
    });
    /* Numbers that would hide another wait until one comes nearer; those of the roads come before those of speeds. */
    all.sort(function (a, b) { return a.last - b.last; });
    function place() {
      var taken = [];
      all.forEach(function (s) {
        var p = map.latLngToLayerPoint(s.at), box = [p.x - s.wide / 2, p.y - 30, p.x + s.wide / 2, p.y];
        var hidden = taken.some(function (t) { return box[0] < t[2] && box[2] > t[0] && box[1] < t[3] && box[3] > t[1]; });
        if (!hidden) { taken.push(box); signs.addLayer(s.marker); } else { signs.removeLayer(s.marker); }
      });
    }
    map.on("zoomend", place);
    map.whenReady(place);
    over[found.words.numbers] = signs;
    L.control.layers(null, over, {collapsed: true}).addTo(map);
    document.addEventListener("click", function (e) {
      var b = e.target.closest && e.target.closest("button.go[data-mark]"), key = b && b.getAttribute("data-mark");
      var mark = key && found.marks.filter(function (m) { return m.key === key; })[0];
      if (mark) { map.setView(mark.at, Math.max(map.getZoom(), 14), {animate: false}); show(key); }
    });
    tripplan.start();
  }

  return {start: start};
})();
