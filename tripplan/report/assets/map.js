/* Draws a trip on the map: own data only, texts as text nodes, nothing is fetched. */
var tripplan = (function () {
  "use strict";
  var data = JSON.parse(document.getElementById("map-data").textContent);
  var words = data.words || {};
  var map = null, days = {}, marks = {}, arrows = null, names = null, others = {}, renderer = null, chosen = 0, framed = null, framing = false, SIDE = 2;

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

  function panes(m) {
    map = m;
    [["base", 150], ["kept", 360], ["band", 380], ["other", 390], ["walk", 450], ["names", 560]].forEach(function (p) {
      var pane = map.createPane(p[0]);
      pane.style.zIndex = p[1];
      if (p[0] !== "kept") { pane.style.pointerEvents = "none"; }
    });
    renderer = L.canvas({pane: "base", padding: 0.6});
    map.getContainer().classList.toggle("sea", !!data.sea);
  }

  function plain(packed, options) {
    options.interactive = false;
    options.renderer = renderer;
    options.pane = "base";
    return (options.fill ? L.polygon : L.polyline)(lines(packed), options);
  }

  function baseLayer() {
    var group = L.layerGroup(), base = data.base, roads = data.roads;
    function area(key, colour, edge) {
      if (!base[key]) { return; }
      /* One polygon an area, so that no outline is taken for a hole of another. */
      lines(base[key]).forEach(function (ring) {
        L.polygon(ring, {stroke: !!edge, color: edge || colour, weight: 1.2, fill: true, fillColor: colour, fillOpacity: 1,
          interactive: false, renderer: renderer, pane: "base"}).addTo(group);
      });
    }
    area("land", LOOKS.land, "#8aa0ad");
    area("sea", LOOKS.water, "#8aa0ad");
    area("wood", "#e6ecdc");
    area("water", LOOKS.water, "#a9bcc8");
    if (base.coast) { plain(base.coast, {color: "#5f7f92", weight: 1.6, fill: false}).addTo(group); }
    if (base.river) { plain(base.river, {color: "#a9c3d2", weight: 1.3, fill: false}).addTo(group); }
    if (base.border) { plain(base.border, {color: "#8d8496", weight: 1.4, dashArray: "8 4 1 4", fill: false}).addTo(group); }
    ["small", "middle", "main"].forEach(function (key) {
      if (!roads[key]) { return; }
      var look = LOOKS.roads[key], layer = plain(roads[key], {color: look[1], weight: look[0], fill: false});
      if (key === "small") { fromZoom(layer, group, 12); } else { layer.addTo(group); }
    });
    return group;
  }

  /* Keeps a layer in its group from a zoom on. */
  function fromZoom(layer, group, zoom) {
    function look() {
      if (map.getZoom() >= zoom) { if (!group.hasLayer(layer)) { group.addLayer(layer); } }
      else if (group.hasLayer(layer)) { group.removeLayer(layer); }
    }
    map.on("zoomend", look);
    map.whenReady(look);
  }

  /* A way drawn a little to the right of the road's middle: out and back lie side by side. */
  var SideLine = L.Polyline.extend({
    _projectLatlngs: function (latlngs, result, bounds) {
      var own = [];
      L.Polyline.prototype._projectLatlngs.call(this, latlngs, own, bounds);
      var side = this.options.side || 0;
      /* Wiggles smaller than the line is wide would fold over themselves. */
      own.forEach(function (ring) { result.push(side ? shifted(L.LineUtil.simplify(ring, 1.6), side) : ring); });
    }
  });

  function shifted(ring, side) {
    var points = ring.filter(function (p, i) { return !i || Math.abs(p.x - ring[i - 1].x) + Math.abs(p.y - ring[i - 1].y) >= 1; });
    if (points.length < 2) { return ring; }
    function normal(a, b) {
      var dx = b.x - a.x, dy = b.y - a.y, d = Math.sqrt(dx * dx + dy * dy) || 1;
      return [-dy / d, dx / d];
    }
    return points.map(function (p, i) {
      var n = normal(points[Math.max(0, i - 1)], points[Math.max(1, i)]), m = normal(points[Math.min(points.length - 2, i)], points[Math.min(points.length - 1, i + 1)]);
      var x = n[0] + m[0], y = n[1] + m[1], q = x * x + y * y;
      /* Half the sum of both normals, stretched to keep its distance in a bend, but not into a spike. */
      var f = q < 0.6 ? side : 2 * side / q;
      return L.point(p.x + x * f, p.y + y * f);
    });
  }

  function dayLayer(n) {
    var day = data.days.filter(function (d) { return d.n === n; })[0], group = L.featureGroup();
    var van = lines(day.van), car = lines(day.car);
    if (van.length) {
      new SideLine(van, {side: SIDE, color: "#fff", weight: 8, opacity: 0.9, interactive: false, className: "casing"}).addTo(group);
      new SideLine(van, {side: SIDE, color: day.c, weight: 4.5, opacity: 1, dashArray: day.d || null, lineCap: "butt", className: "way way-" + n}).addTo(group);
    }
    if (car.length) {
      new SideLine(car, {side: SIDE, color: "#fff", weight: 5, opacity: 0.8, interactive: false, className: "casing"}).addTo(group);
      new SideLine(car, {side: SIDE, color: day.c, weight: 2.4, opacity: 1, dashArray: "3 4", lineCap: "butt", className: "way car way-" + n}).addTo(group);
    }
    /* Wide enough for a finger, though nothing of it is seen. */
    if (van.length || car.length) { L.polyline(van.concat(car), {weight: 24, opacity: 0, lineCap: "butt", className: "hit"}).addTo(group); }
    group.on("click", function (e) { choose(n, true); show("day-" + n, e.latlng); });
    days[n] = {group: group, van: van, car: car, colour: day.c};
    return group;
  }

  /* Another plan's way runs beside the trip's, so that one sees where both take the same road. */
  function otherLayer(n) {
    var other = data.others[n], way = lines(other.van), group = L.layerGroup(), side = 6 + 2.6 * n;
    new SideLine(way, {side: side, color: "#fff", weight: 5, opacity: 0.9, interactive: false, pane: "other", className: "casing"}).addTo(group);
    new SideLine(way, {side: side, color: other.c, weight: 2.4, dashArray: other.d, lineCap: "butt", interactive: false, pane: "other", className: "other"}).addTo(group);
    group.on("add remove", function () { pressed("other", n, map.hasLayer(group)); });
    others[n] = {group: group, way: way};
    return group;
  }

  function pressed(kind, n, on) {
    Array.prototype.forEach.call(document.querySelectorAll("button[data-" + kind + "='" + n + "']"), function (b) { b.setAttribute("aria-pressed", String(on)); });
  }

  function showOther(n) {
    var other = others[n];
    if (map.hasLayer(other.group)) { map.removeLayer(other.group); return; }
    map.addLayer(other.group);
    var bounds = L.latLngBounds(data.bounds);
    other.way.forEach(function (line) { bounds.extend(line); });
    frame(bounds, 15);
  }

  function bandLayer(key) {
    var look = key === "presumed" ? {color: "#f2cf66", weight: 13, opacity: 0.9} : {color: "#000", weight: 12, opacity: 0.85, dashArray: "2 4"};
    look.pane = "band"; look.interactive = false; look.lineCap = "butt"; look.className = "band " + key; look.side = SIDE;
    return new SideLine(lines(data[key]), look);
  }

  function keptOffLayer() {
    return L.polyline(lines(data.off), {pane: "kept", color: "#7a4a1d", weight: 2.6, dashArray: "1 4", opacity: 0.95, className: "off"})
      .bindTooltip(words.off || "", {sticky: true});
  }

  function signs(kind) {
    var group = L.layerGroup();
    data.marks.filter(function (m) { return (m.sign === "night") === (kind === "nights"); }).forEach(function (m) {
      var box = document.createElement("span");
      box.className = "sign " + m.sign;
      box.textContent = m.label;
      var wide = m.sign === "night" ? 26 + 8 * Math.max(0, m.label.length - 2) : 24;
      /* Nights stand above their point, services below, sights to the right, depots to the left: none hides another. */
      var anchor = {night: [wide / 2, 30], service: [12, -5], sight: [-5, 12], depot: [29, 12]}[m.sign];
      var icon = L.divIcon({html: box, className: "sign-box", iconSize: [wide, m.sign === "night" ? 30 : 24], iconAnchor: anchor});
      var marker = L.marker(m.at, {icon: icon, keyboard: true, title: "", alt: m.key, riseOnHover: true, zIndexOffset: m.sign === "night" ? 500 : 0});
      function open() { if (m.days.length && m.days.indexOf(chosen) < 0) { choose(m.days[0], true); } show(m.key, m.at); tell(m.key); }
      marker.on("click", open);
      marker.on("add", function () {
        var entry = document.getElementById(m.key), own = marker.getElement();
        own.setAttribute("role", "button");
        own.setAttribute("aria-label", entry ? entry.querySelector("button").textContent : m.label);
        own.onkeydown = function (e) { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); open(); } };
      });
      marker.addTo(group);
      marks[m.key] = {at: m.at, sign: m.sign, wide: wide, marker: marker};
    });
    return group;
  }

  /* A popup is a copy of the list's entry: what the map says is what the list says. */
  function show(key, at) {
    var entry = document.getElementById(key);
    if (!entry) { return; }
    var copy = document.createElement("div");
    copy.className = "copy";
    Array.prototype.forEach.call(entry.childNodes, function (node) { copy.appendChild(node.cloneNode(true)); });
    Array.prototype.forEach.call(copy.querySelectorAll("button"), function (b) {
      var head = document.createElement("strong");
      while (b.firstChild) { head.appendChild(b.firstChild); }
      b.parentNode.replaceChild(head, b);
    });
    L.popup({maxWidth: 270, maxHeight: 260, autoPanPadding: [12, 12]}).setLatLng(at).setContent(copy).openOn(map);
  }

  /* What a popup shows is told as well: it opens where no focus is. */
  function tell(key) {
    var entry = document.getElementById(key), said = document.getElementById("said");
    if (entry && said) { said.textContent += " " + Array.prototype.map.call(entry.childNodes, function (node) { return node.textContent; }).join(" "); }
  }

  /* Shows a part of the map, at once: what moves by itself helps nobody; kept when the window changes, until somebody moves the map. */
  function frame(bounds, most) {
    framing = true;
    map.fitBounds(bounds, {paddingTopLeft: [52, 44], paddingBottomRight: [48, 36], maxZoom: most, animate: false});
    framing = false;
    framed = [bounds, most];
  }

  /* Selects a day, or none; ``stay`` leaves the map where it is, for who points at something on it. */
  function choose(n, stay) {
    chosen = n;
    Array.prototype.forEach.call(document.querySelectorAll("button[data-day]"), function (b) {
      b.setAttribute("aria-pressed", String(Number(b.getAttribute("data-day")) === n));
    });
    Object.keys(days).forEach(function (key) {
      days[key].group.eachLayer(function (layer) {
        var casing = layer.options.className === "casing";
        if (layer.options.className === "hit") { return; }
        layer.setStyle({opacity: n && Number(key) !== n ? 0.25 : (casing ? 0.9 : 1)});
      });
      if (n && Number(key) === n) { days[key].group.bringToFront(); }
    });
    data.marks.forEach(function (m) {
      marks[m.key].marker.setOpacity(n && m.days.indexOf(n) < 0 ? 0.4 : 1);
    });
    tellStores(n);
    /* Beside the map the list goes along; below it, it would take the map away. */
    var entry = document.getElementById("day-" + n);
    if (entry && window.matchMedia("(min-width: 800px)").matches) { entry.scrollIntoView({block: "nearest"}); }
    map.invalidateSize({pan: false});
    if (stay) { drawArrows(); return; }
    if (!n) { frame(data.bounds, 15); drawArrows(); return; }
    var bounds = L.latLngBounds([]);
    /* A day on which nothing drives has no line. */
    if (days[n]) { days[n].van.concat(days[n].car).forEach(function (line) { line.forEach(function (p) { bounds.extend(p); }); }); }
    data.marks.forEach(function (m) { if (m.days.indexOf(n) >= 0) { bounds.extend(m.at); } });
    if (bounds.isValid()) { frame(bounds, 14); }
    drawArrows();
  }

  /* The charts of the stores follow the day: where it lies, what is left, what is done; once more in a sentence for those who listen. */
  function tellStores(n) {
    var panel = document.getElementById("stores");
    if (!panel) { return; }
    var day = n ? data.stores.days[n] : null;
    document.getElementById("stores-title").textContent = day ? day.title : data.stores.none;
    document.getElementById("said").textContent = day ? day.said : data.stores.whole;
    panel.classList.toggle("chosen", !!day);
    Array.prototype.forEach.call(panel.querySelectorAll(".store"), function (store) {
      var own = day ? day.stores[store.getAttribute("data-store")] : null, band = store.querySelector("rect.day");
      band.setAttribute("x", day ? day.x : 0);
      band.setAttribute("width", day ? day.wide : 0);
      ["leave", "arrive"].forEach(function (name, i) {
        var dot = store.querySelector("circle." + name), at = own && own.at[i];
        dot.setAttribute("r", at ? 2.4 : 0);
        if (at) { dot.setAttribute("cx", at[0]); dot.setAttribute("cy", at[1]); }
      });
      store.querySelector(".level").textContent = own ? own.level : day ? "" : store.getAttribute("data-nearest");
      store.querySelector(".served").textContent = own ? own.served : "";
    });
  }

  /* One day on or back; beyond the last and before the first lies the whole trip. */
  function step(by) {
    var numbers = data.days.map(function (d) { return d.n; }), at = numbers.indexOf(chosen);
    var next = chosen ? at + by : (by > 0 ? 0 : numbers.length - 1);
    choose(next >= 0 && next < numbers.length ? numbers[next] : 0);
  }

  function hit(box, taken) {
    return taken.some(function (t) { return box[0] < t[2] && box[2] > t[0] && box[1] < t[3] && box[3] > t[1]; });
  }

  function signBoxes() {
    return Object.keys(marks).map(function (key) {
      var p = map.latLngToLayerPoint(marks[key].at), m = marks[key];
      if (m.sign === "night") { return [p.x - m.wide / 2, p.y - 30, p.x + m.wide / 2, p.y]; }
      if (m.sign === "service") { return [p.x - 12, p.y + 5, p.x + 12, p.y + 29]; }
      return m.sign === "sight" ? [p.x + 5, p.y - 12, p.x + 29, p.y + 12] : [p.x - 29, p.y - 12, p.x - 5, p.y + 12];
    });
  }

  /* Small boxes along the ways, for names to keep off. */
  function wayBoxes() {
    var boxes = [];
    Object.keys(days).forEach(function (key) {
      days[key].van.concat(days[key].car).forEach(function (line) {
        var last = null;
        line.forEach(function (at) {
          var p = map.latLngToLayerPoint(at), n = last ? Math.min(60, Math.ceil(last.distanceTo(p) / 9)) : 1;
          for (var i = n > 0 ? 1 : 2; i <= n; i++) {
            var x = last ? last.x + (p.x - last.x) * i / n : p.x, y = last ? last.y + (p.y - last.y) * i / n : p.y;
            boxes.push([x - 4, y - 4, x + 4, y + 4]);
          }
          if (n > 0) { last = p; }
        });
      });
    });
    return boxes;
  }

  /* An arrow every 150 px along the ways, at least one on each that is long enough. */
  function drawArrows() {
    arrows.clearLayers();
    var view = map.getBounds().pad(0.1), taken = signBoxes();
    Object.keys(days).forEach(function (key) {
      var day = days[key];
      if (!map.hasLayer(day.group) || (chosen && Number(key) !== chosen)) { return; }
      day.van.concat(day.car).forEach(function (line) {
        var points = L.LineUtil.simplify(line.map(function (at) { return map.latLngToLayerPoint(at); }), 1.6), whole = 0, since = 0, want, i;
        for (i = 1; i < points.length; i++) { whole += points[i].distanceTo(points[i - 1]); }
        if (whole < 24) { return; }
        want = Math.min(75, whole / 2);
        for (i = 1; i < points.length; i++) {
          var a = points[i - 1], b = points[i], length = a.distanceTo(b), angle = Math.atan2(b.y - a.y, b.x - a.x);
          /* Where something stands, a little further on is tried. */
          for (var done = 0; since + length - done >= want && length > 0; ) {
            done += Math.max(0, want - since);
            var q = L.point(a.x + (b.x - a.x) * done / length - SIDE * Math.sin(angle), a.y + (b.y - a.y) * done / length + SIDE * Math.cos(angle));
            var at = map.layerPointToLatLng(q), box = [q.x - 10, q.y - 10, q.x + 10, q.y + 10], free = view.contains(at) && !hit(box, taken);
            if (free) { taken.push(box); arrow(at, angle); }
            since = 0;
            want = free ? 150 : 12;
          }
          since += length - done;
        }
      });
    });
  }

  /* Black on white: seen on every line, in every light and on every printer. */
  function arrow(at, angle) {
    var ns = "http://www.w3.org/2000/svg", svg = document.createElementNS(ns, "svg"), path = document.createElementNS(ns, "path");
    svg.setAttribute("viewBox", "-9 -9 18 18"); svg.setAttribute("width", "22"); svg.setAttribute("height", "22"); svg.setAttribute("aria-hidden", "true");
    path.setAttribute("d", "M7 0L-5 -6L-2 0L-5 6Z"); path.setAttribute("fill", "#1c1c1c"); path.setAttribute("stroke", "#fff"); path.setAttribute("stroke-width", "1.3");
    path.setAttribute("transform", "rotate(" + (angle * 180 / Math.PI).toFixed(0) + ")");
    svg.appendChild(path);
    var box = document.createElement("span");
    box.appendChild(svg);
    L.marker(at, {pane: "walk", interactive: false, keyboard: false, icon: L.divIcon({html: box, className: "arrow", iconSize: [22, 22], iconAnchor: [11, 11]})}).addTo(arrows);
  }

  /* Town names, most important first, where they hide nothing; smaller places as one comes nearer. */
  function drawNames() {
    names.clearLayers();
    var zoom = map.getZoom(), most = zoom < 7 ? 0 : zoom < 9 ? 1 : zoom < 11 ? 2 : 9, view = map.getBounds(), taken = signBoxes(), shown = 0, ways = wayBoxes();
    var corner = map.containerPointToLayerPoint([0, 0]), size = map.getSize();
    var pen = document.createElement("canvas").getContext("2d");
    data.towns.forEach(function (t) {
      if (t[1] > most || shown >= 60 || !view.contains([t[2], t[3]])) { return; }
      pen.font = (t[1] === 0 ? "600 14px " : t[1] === 1 ? "600 12px " : "11px ") + "system-ui, sans-serif";
      var wide = Math.min(150, pen.measureText(t[0]).width) + 6, p = map.latLngToLayerPoint([t[2], t[3]]);
      var sides = [[p.x + 6, p.y - 8], [p.x - 6 - wide, p.y - 8], [p.x - wide / 2, p.y + 5], [p.x - wide / 2, p.y - 22], [p.x + 8, p.y + 3],
        [p.x - 8 - wide, p.y + 3], [p.x + 15, p.y - 3], [p.x - 15 - wide, p.y - 3], [p.x - wide / 2, p.y + 30]];
      /* First where no way runs either, then at least where nothing stands. */
      for (var i = 0; i < 2 * sides.length; i++) {
        var s = sides[i % sides.length], box = [s[0], s[1], s[0] + wide, s[1] + 16];
        if (box[0] < corner.x + 2 || box[2] > corner.x + size.x - 2 || box[1] < corner.y || box[3] > corner.y + size.y) { continue; }
        if (hit(box, taken) || (i < sides.length && hit(box, ways))) { continue; }
        taken.push(box); shown += 1;
        var el = document.createElement("span");
        el.className = "town rank-" + t[1]; el.textContent = t[0]; el.style.width = wide + "px";
        L.marker([t[2], t[3]], {pane: "names", interactive: false, keyboard: false,
          icon: L.divIcon({html: el, className: "town-box", iconSize: [wide, 16], iconAnchor: [p.x - s[0], p.y - s[1]]})}).addTo(names);
        L.circleMarker([t[2], t[3]], {renderer: renderer, pane: "base", interactive: false, radius: 2.2, weight: 1, color: "#555", fillColor: "#fff", fillOpacity: 1}).addTo(names);
        break;
      }
    });
  }

  function layer(key) {
    var parts = key.split("-");
    if (parts[0] === "day") { return dayLayer(Number(parts[1])); }
    if (parts[0] === "other") { return otherLayer(Number(parts[1])); }
    return {base: baseLayer, presumed: function () { return bandLayer("presumed"); }, unknown: function () { return bandLayer("unknown"); },
      off: keptOffLayer, nights: function () { return signs("nights"); }, stops: function () { return signs("stops"); }}[key]();
  }

  /* Gives a sign of the map's library its name in the page's language. */
  function named(which, name) {
    if (!name) { return; }
    Array.prototype.forEach.call(map.getContainer().querySelectorAll(which), function (sign) { sign.title = name; sign.setAttribute("aria-label", name); });
  }

  function start() {
    arrows = L.layerGroup().addTo(map);
    names = L.layerGroup().addTo(map);
    var credit = document.createElement("span");
    credit.textContent = data.credit;
    map.attributionControl.setPrefix(false).addAttribution(credit.innerHTML);
    L.control.scale({metric: !data.imperial, imperial: Boolean(data.imperial)}).addTo(map);
    named(".leaflet-control-zoom-in", words["in"]);
    named(".leaflet-control-zoom-out", words.out);
    named(".leaflet-control-layers-toggle", words.layers);
    map.on("popupopen", function () { named(".leaflet-popup-close-button", words.close); });
    frame(data.bounds, 15);
    map.on("dragstart zoomstart", function () { if (!framing) { framed = null; } });
    map.setMaxBounds(L.latLngBounds(data.frame).pad(0.5));
    map.setMinZoom(Math.max(3, map.getBoundsZoom(data.frame) - 1));
    map.on("moveend overlayadd overlayremove", drawArrows);
    map.on("moveend", drawNames);
    drawArrows(); drawNames();
    document.addEventListener("click", function (e) {
      var b = e.target.closest && e.target.closest("button.go, button.step");
      if (!b) { return; }
      if (b.hasAttribute("data-step")) { step(Number(b.getAttribute("data-step"))); return; }
      if (b.hasAttribute("data-other")) { showOther(Number(b.getAttribute("data-other"))); }
      else if (b.hasAttribute("data-all")) { choose(0); }
      else if (b.hasAttribute("data-day")) { choose(chosen === Number(b.getAttribute("data-day")) ? 0 : Number(b.getAttribute("data-day"))); }
      else {
        var m = marks[b.getAttribute("data-mark")];
        if (m) { map.setView(m.at, Math.max(map.getZoom(), 12), {animate: false}); framed = null; show(b.getAttribute("data-mark"), m.at); }
      }
      if (window.matchMedia("(max-width: 799px)").matches) { document.getElementById("map").scrollIntoView(); }
    });
    /* Printed, the map is of another size: it is fitted to that and drawn at once, since nothing waits for a frame. */
    var before = null;
    function paper(on) {
      if (on === !!before) { return; }
      if (on) { before = {at: map.getCenter(), zoom: map.getZoom(), framed: framed}; }
      var shown = before.framed ? before.framed[0] : map.getBounds(), most = before.framed ? before.framed[1] : 15;
      document.documentElement.classList.toggle("paper", on);
      map.closePopup();
      map.invalidateSize({pan: false, animate: false});
      if (on) { frame(shown, most); } else { map.setView(before.at, before.zoom, {animate: false}); framed = before.framed; before = null; }
      renderer._update();
      renderer._redraw();
    }
    window.addEventListener("beforeprint", function () { paper(true); });
    window.addEventListener("afterprint", function () { paper(false); });
    window.addEventListener("resize", function () {
      if (before) { return; }
      map.invalidateSize({pan: false});
      if (framed) { frame(framed[0], framed[1]); }
    });
  }

  return {panes: panes, layer: layer, start: start};
})();
