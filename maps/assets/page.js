// The page's own script: styles, symbols, labels that keep out of each other's way, a scale in nautical miles.
// Texts arrive as HTML entities; nothing here builds markup out of anything else.
"use strict";
const drawing = (() => {
  const METRES_PER_NMI = 1852; // exact by definition (International Extraordinary Hydrographic Conference, Monaco 1929)
  const symbols = {};
  const items = []; // what has a symbol or a label: {marker, rank, width, half, must}
  const lines = []; // the track and the rings, whose labels move with the view
  const themes = [];
  const boxed = ["stop-mark", "turn-mark"]; // marks whose label may stand off, joined by a line
  const curves = { ring: "rings", reach: "limits", "data-edge": "limits", party: "casing" }; // lines whose label slides along them, and the sheet of each

  const number = (value) => (typeof value === "number" ? value : 0);

  function open(id, settings) {
    Object.assign(symbols, settings.symbols);
    const map = L.map(id, {
      attributionControl: false, zoomControl: false, minZoom: 5, maxZoom: 16, zoomSnap: 0.1, zoomDelta: 1, wheelPxPerZoomLevel: 90,
      maxBounds: L.latLngBounds(settings.extent).pad(1), tapTolerance: 20,
    });
    L.control.zoom({ position: "bottomright", zoomInTitle: "Closer", zoomOutTitle: "Farther" }).addTo(map);
    north().addTo(map);
    scale().addTo(map);
    const phone = map.getSize().x < 600;
    const view = L.latLngBounds(settings.view);
    map.fitBounds(view, { paddingTopLeft: phone ? [26, 64] : [70, 60], paddingBottomRight: phone ? [26, 64] : [70, 70], maxZoom: 14 });
    map.on("contextmenu", (event) => L.popup().setLatLng(event.latlng).setContent(position(event.latlng)).openOn(map));
    return map;
  }

  // Layers

  function style(feature) {
    return { className: `shape ${feature.properties.k || ""}` };
  }

  function icon(p) {
    const letter = p.n ? `<text class="count${p.n.length > 2 ? " long" : ""}" y="6">${p.n}</text>` : "";
    const turned = p.a ? ` transform="rotate(${number(p.a)})"` : "";
    const symbol = p.i ? `<svg viewBox="-18 -18 36 36" aria-hidden="true"><g${turned}>${p.i.split(" ").map((name) => symbols[name]).join("")}</g>${letter}</svg>` : "";
    const leader = p.r >= 7 && p.i ? '<i class="leader"></i>' : "";
    const label = p.l ? `${leader}<span class="label"><bdi>${p.l}</bdi></span>` : "";
    const side = p.i ? 44 : 0;
    return L.divIcon({
      className: `mark ${p.k}${p.i ? "" : " plain-label"}`, html: symbol + label, iconSize: [side, side], iconAnchor: [side / 2, side / 2],
      popupAnchor: [0, -12], tooltipAnchor: [14, 0],
    });
  }

  function point(feature, latlng) {
    const p = feature.properties;
    const touched = Boolean(p.p);
    const marker = L.marker(latlng, { icon: icon(p), interactive: touched, keyboard: touched, zIndexOffset: 1000 * number(p.r), riseOnHover: touched });
    const look = p.k.split(" ")[0];
    const ringed = { "dock-mark": 17, "place-mark": 11 };
    const bare = { "stop-mark": 16, "dock-mark": { "dock-unsuited": 8, "dock-apart": 10 }[p.i] || 11, "danger-mark": 9, "place-mark": 6, "turn-mark": 15, "found-mark": 15, "met-mark": 14 };
    const half = (p.k.includes(" in-reach") ? ringed : bare)[look] || (p.i ? 11 : 0);
    items.push({ marker, rank: number(p.r), width: number(p.w), half, must: p.r >= 9, look });
    if (touched) {
      marker.on("add", () => marker.getElement().setAttribute("aria-label", plain(p.t)));
    }
    if (!p.m) return marker;
    const ring = L.circle(latlng, { radius: number(p.m), className: "shape keep-off", interactive: false, pane: "hazards" });
    return L.featureGroup([ring, marker]);
  }

  function each(feature, layer) {
    const p = feature.properties;
    if (p.s) layer.options.pane = p.s;
    if (p.p) layer.bindPopup(p.p, { maxWidth: 280, minWidth: 160, autoPanPadding: [12, 12] });
    if (p.t) layer.bindTooltip(p.t, { sticky: !layer.getLatLng, direction: "auto" });
    if (p.p && p.t) layer.on("popupopen", () => layer.closeTooltip());
    if (!layer.getLatLngs) return;
    if (!p.p) layer.options.interactive = false;
    const kind = p.k.split(" ")[0];
    if (kind === "leg" || kind === "overhead" || kind in curves) lines.push({ layer, p, kind });
  }

  function start(map) {
    map.eachLayer((layer) => {
      if (layer instanceof L.GeoJSON) themes[layer.options.theme] = layer;
    });
    for (const line of lines) underline(line);
    items.sort((one, other) => other.rank - one.rank);
    map.on("moveend zoomend resize layeradd layerremove", soon(() => arrange(map)));
    for (const box of document.querySelectorAll("[data-theme]")) {
      if (!box.checked) themes[Number(box.dataset.theme)].remove();
    }
    panels(map);
    arrange(map);
    document.documentElement.dataset.ready = "yes";
  }

  // A line gets what sets it off from the water, a band to touch, and a label that stays in view. They come and go with it.
  function underline(line) {
    const owner = themes.find((theme) => theme && theme.hasLayer(line.layer));
    const corners = line.layer.getLatLngs();
    const band = L.polyline(corners, { className: "shape hit", pane: line.kind === "overhead" ? "overhead" : "casing" });
    if (line.p.p) band.bindPopup(line.p.p, { maxWidth: 280, minWidth: 160, autoPanPadding: [12, 12] });
    if (line.p.t) band.bindTooltip(line.p.t, { sticky: true });
    const under = L.polyline(corners, { className: `shape ${line.p.k} under`, interactive: false, pane: curves[line.kind] || "casing" });
    owner.addLayer(band);
    if (line.kind !== "overhead") {
      under.on("add", () => under.bringToBack());
      owner.addLayer(under);
    }
    if (!line.p.l) return;
    const leg = line.kind === "leg";
    const mark = { k: leg ? "leg-mark" : `ring-mark ${line.p.k.split(" ").join("-")}`, l: line.p.l, i: leg ? "leg-arrow" : "" };
    line.marker = L.marker(line.layer.getBounds().getCenter(), { icon: icon(mark), interactive: false, keyboard: false, zIndexOffset: 1000 * number(line.p.r) });
    line.item = { marker: line.marker, rank: number(line.p.r), width: 0, half: leg ? 7 : 0, must: false, look: mark.k.split(" ")[0], line: leg ? line : null, ring: leg ? null : line };
    items.push(line.item);
    owner.addLayer(line.marker);
  }

  // Labels

  function soon(work) {
    let waiting = 0;
    return () => {
      cancelAnimationFrame(waiting);
      waiting = requestAnimationFrame(work);
    };
  }

  const meet = (one, other) => one.left < other.right && other.left < one.right && one.top < other.bottom && other.top < one.bottom;
  const around = (x, y, half) => ({ left: x - half, right: x + half, top: y - half, bottom: y + half });

  function arrange(map) {
    const size = map.getSize();
    const frame = { left: 2, right: size.x - 2, top: 2, bottom: size.y - 2 };
    const taken = controls(map);
    const track = [];
    for (const line of lines) {
      const corners = line.layer.getLatLngs();
      const parts = (Array.isArray(corners[0]) ? corners : [corners]).map((part) => part.map((corner) => map.latLngToContainerPoint(corner)));
      line.places = parts.flat();
      line.arc = line.kind in curves && line.marker && line.marker.getElement() ? parts.flatMap((part) => steps(part, frame)) : [];
      if (line.marker) follow(map, line, frame);
      if (line.kind === "leg" || line.kind === "party") track.push(...steps(line.places, frame));
    }
    const far = map.getZoom() < 8; // a phone then shows more than 100 nmi: places would hide the track
    map.getContainer().classList.toggle("far", far);
    const shown = [];
    for (const item of items) {
      const element = item.marker.getElement();
      if (!element || element.style.display === "none") continue; // what isn't shown takes nobody's place
      if (item.line) slide(map, item, taken);
      const at = map.latLngToContainerPoint(item.marker.getLatLng());
      const small = far && (item.look === "dock-mark" || item.look === "danger-mark") ? 0.62 : 1;
      const half = item.half * small;
      const body = around(at.x, at.y, half);
      const crowd = item.half > 0 && crowded(item, at, half, far, taken);
      element.classList.toggle("crowded", crowd);
      if (crowd || !meet(body.left === body.right ? around(at.x, at.y, 1) : body, frame)) {
        hide(element);
        continue;
      }
      const own = { ...body, symbol: true, rank: item.rank, arrow: Boolean(item.line) };
      if (item.half) taken.push(own);
      shown.push({ item, element, at, half, own });
    }
    for (const one of shown) place(map, one, frame, taken, track, far);
  }

  // Stops are never left out, nor is what must be heeded close to the track: arrows on the track give way to both. Docks give way to a stop on the same spot, places to everything, and more so from afar.
  function crowded(item, at, half, far, taken) {
    const symbols = taken.filter((other) => other.symbol);
    if (item.line) return symbols.some((other) => other.rank >= 8 && meet(around(at.x, at.y, half), other));
    if (["turn-mark", "found-mark"].includes(item.look)) return symbols.some((other) => other.rank >= 8 && meet(around(at.x, at.y, half * 0.7), other));
    if (item.rank >= 7) return false;
    if (item.rank < 4) return symbols.some((other) => meet(around(at.x, at.y, half + (far ? 12 : 0)), other));
    if (item.rank < 6 && far) return symbols.some((other) => meet(around(at.x, at.y, half), other));
    return symbols.some((other) => other.rank >= 7 && meet(around(at.x, at.y, half * 0.6), other));
  }

  function controls(map) {
    const outer = map.getContainer().getBoundingClientRect();
    return [...map.getContainer().querySelectorAll(".leaflet-control")].map((control) => {
      const box = control.getBoundingClientRect();
      return { left: box.left - outer.left, right: box.right - outer.left, top: box.top - outer.top, bottom: box.bottom - outer.top };
    });
  }

  function hide(element) {
    for (const part of element.querySelectorAll(".label, .leader")) part.classList.remove("shown");
  }

  function place(map, { item, element, at, half, own }, frame, taken, track, far) {
    const label = element.querySelector(".label");
    if (!label) return;
    hide(element);
    item.size = item.size || { x: label.offsetWidth, y: label.offsetHeight };
    const { x: wide, y: high } = item.size;
    if (item.width && (item.width * map.options.crs.scale(map.getZoom())) / 360 < wide * 0.8) return;
    if (far && !item.must && ["place-mark", "dock-mark", "stop-mark", "turn-mark"].includes(item.look)) return; // then only stops are named
    const others = item.ring ? lines.filter((line) => line !== item.ring).flatMap((line) => line.arc) : [];
    const best = spots(item, wide, high, half, at)
      .map(([dx, dy], order) => {
        const off = dy >= half || dy + high <= -half; // above or below its symbol it can move sideways without covering it
        if (boxed.includes(item.look) && off) dx = Math.min(Math.max(dx, frame.left - at.x), frame.right - at.x - wide);
        const box = { left: at.x + dx, right: at.x + dx + wide, top: at.y + dy, bottom: at.y + dy + high };
        const out = box.left < frame.left || box.right > frame.right || box.top < frame.top || box.bottom > frame.bottom;
        const hits = taken.filter((other) => other !== own && meet(box, other));
        const cost = (out ? 1000 : 0) + hits.reduce((sum, other) => sum + worth(other), 0)
          + (boxed.includes(item.look) ? standing(at, box, half, track) : order + 3 * track.filter((spot) => meet(box, spot)).length)
          + 8 * others.filter((spot) => meet(box, spot)).length; // on another ring it would seem to be that one's
        const light = far && item.ring && item.rank >= 8; // from afar what to count on may cover a dock's or danger's sign
        return { cost, box, dx, dy, free: !out && !hits.some((other) => !(light && other.symbol && other.rank < 7)) };
      })
      .reduce((one, other) => ((other.free || item.must) && (!one || other.cost < one.cost) ? other : one), null);
    const said = label.textContent;
    if ((!item.half || item.look === "turn-mark") && taken.some((other) => other.said === said && Math.hypot(other.left - at.x, other.top - at.y) < 160)) return;
    if (!best || (!item.must && item.rank < 6 && best.cost >= 30)) return;
    taken.push({ ...best.box, rank: item.rank, said });
    const middle = item.half ? 22 : 0;
    label.style.transform = `translate(${Math.round(middle + best.dx)}px, ${Math.round(middle + best.dy)}px)`;
    label.classList.add("shown");
    lead(element, at, best.box, half, middle);
  }

  // Where a label may stand, the best place first, as the offset of its upper left corner.
  function spots(item, wide, high, half, at) {
    const gap = half || item.ring ? half + 3 : 0;
    if (!gap) return [[-wide / 2, -high / 2], [-wide / 2, -high * 1.6], [-wide / 2, high * 0.6]];
    const found = [[gap, -high / 2], [-gap - wide, -high / 2], [-wide / 2, gap], [-wide / 2, -gap - high]];
    const near = gap * 0.8;
    found.push([near, near], [near, -near - high], [-near - wide, near], [-near - wide, -near - high]);
    if (item.ring) found.push(...item.ring.seen.map((spot) => [spot.x - at.x - wide / 2, spot.y - at.y - high / 2]));
    if (!boxed.includes(item.look)) return found;
    for (const across of [-0.65, -0.58, -0.42, -0.35]) found.push([across * wide, gap], [across * wide, -gap - high]);
    if (item.look === "turn-mark") return found; // listed beside the map; far-off labels would hide it
    for (const away of [24, 40, 60, 80, 105, 130, 165, 200, 240]) {
      for (const across of [-1.1, -0.8, -0.5, -0.2, 0.1]) found.push([across * wide, away], [across * wide, -away - high]);
      for (const down of [-1.6, -0.5, 0.6]) found.push([away, down * high], [-away - wide, down * high]);
    }
    return found;
  }

  // What it costs a label to cover something: other labels, controls and what must be heeded most, a dock's symbol least.
  function worth(other) {
    if (other.arrow) return 30;
    if (other.rank >= 7 || !other.rank) return 300;
    return other.symbol ? 20 : 60;
  }

  // What it costs a stop's label to stand where it does: far from its stop, over the track, or with its leader across it.
  function standing(at, box, half, track) {
    const { x, y, length } = reach(at, box);
    const over = track.filter((spot) => meet(box, spot)).length;
    if (length < half + 14) return length * 0.3 + 14 * over;
    let crossed = 0;
    for (let far = half + 16; far < length; far += 6) {
      const spot = around(at.x + (x * far) / length, at.y + (y * far) / length, 3);
      crossed += track.some((other) => meet(spot, other)) ? 1 : 0;
    }
    return 10 + length * 0.5 + 14 * over + 8 * crossed;
  }

  // From a stop to the nearest point of its label.
  function reach(at, box) {
    const x = Math.min(Math.max(at.x, box.left + 4), box.right - 4) - at.x;
    const y = Math.min(Math.max(at.y, box.top + 4), box.bottom - 4) - at.y;
    return { x, y, length: Math.hypot(x, y) };
  }

  // A line from a stop to its label where the label had to stand off.
  function lead(element, at, box, half, middle) {
    const leader = element.querySelector(".leader");
    if (!leader) return;
    const { x, y, length } = reach(at, box);
    if (length < half + 14) return;
    leader.style.width = `${length}px`;
    leader.style.transform = `translate(${middle}px, ${middle}px) rotate(${Math.atan2(y, x)}rad)`;
    leader.classList.add("shown");
  }

  // Points along a line, every 12 px, in view.
  function steps(places, frame) {
    const found = [];
    for (let index = 1; index < places.length; index += 1) {
      const [from, to] = [places[index - 1], places[index]];
      const parts = Math.min(400, Math.max(1, Math.round(from.distanceTo(to) / 12)));
      for (let part = 0; part < parts; part += 1) {
        const spot = around(from.x + ((to.x - from.x) * part) / parts, from.y + ((to.y - from.y) * part) / parts, 3);
        if (meet(spot, frame)) found.push(spot);
      }
    }
    return found;
  }

  // A leg's arrow stands half-way along it, or as near to that as stops and dangers let it.
  function slide(map, item, taken) {
    const heeded = taken.filter((other) => other.symbol && other.rank >= 8);
    for (const share of [0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.5]) {
      const at = along(map, item.line, share);
      if (!heeded.some((other) => meet(around(at.x, at.y, item.half), other))) return;
    }
  }

  // Leg lengths and arrows where a leg is long enough for them; a ring's label where the ring is highest in view.
  function follow(map, line, frame) {
    const { places } = line;
    if (line.kind in curves) {
      const inner = { left: 60, right: frame.right - 60, top: 72, bottom: frame.bottom - 60 };
      const seen = line.arc.map((box) => L.point(box.left + 3, box.top + 3)).filter((spot) => meet(around(spot.x, spot.y, 1), inner));
      const pool = seen.length ? seen : places;
      const middle = (frame.left + frame.right) / 2;
      const best = pool.reduce((one, other) => (other.y + Math.abs(other.x - middle) / 2 < one.y + Math.abs(one.x - middle) / 2 ? other : one));
      line.marker.setLatLng(map.containerPointToLatLng(best));
      const every = Math.max(1, Math.ceil(seen.length / 40));
      line.seen = seen.filter((_, index) => index % every === 0).sort((one, other) => one.distanceTo(best) - other.distanceTo(best));
      return;
    }
    const element = line.marker.getElement();
    const whole = places.slice(1).reduce((sum, spot, index) => sum + spot.distanceTo(places[index]), 0);
    if (element) element.style.display = whole < 60 ? "none" : "";
    along(map, line, 0.5);
  }

  // Puts a leg's arrow at a share of the leg's length and turns it that way.
  function along(map, { marker, places }, part) {
    const lengths = places.slice(1).map((spot, index) => spot.distanceTo(places[index]));
    let rest = lengths.reduce((sum, length) => sum + length, 0) * part;
    const index = Math.max(0, lengths.findIndex((length) => (rest -= length) <= 0));
    const [from, to] = [places[index], places[index + 1] || places[index]];
    const share = lengths[index] ? (rest + lengths[index]) / lengths[index] : 0;
    const spot = L.point(from.x + (to.x - from.x) * share, from.y + (to.y - from.y) * share);
    marker.setLatLng(map.containerPointToLatLng(spot));
    const element = marker.getElement();
    const turned = element && element.querySelector("g");
    if (turned) turned.setAttribute("transform", `rotate(${(Math.atan2(to.x - from.x, from.y - to.y) * 180) / Math.PI})`);
    return spot;
  }

  // Controls

  function scale() {
    const control = L.control({ position: "bottomleft" });
    control.onAdd = (map) => {
      const box = L.DomUtil.create("div", "scale");
      const text = L.DomUtil.create("span", "text", box);
      const bar = L.DomUtil.create("span", "bar", box);
      const update = () => {
        const middle = map.getSize().divideBy(2);
        const metres = map.distance(map.containerPointToLatLng(middle.subtract([50, 0])), map.containerPointToLatLng(middle.add([50, 0])));
        const most = metres / METRES_PER_NMI; // what 100 px are worth in the middle of the view
        const power = 10 ** Math.floor(Math.log10(most));
        const round = [5, 2, 1].find((step) => step * power <= most) * power;
        const places = Math.max(0, -Math.floor(Math.log10(round)));
        text.textContent = `${round.toFixed(places)} nmi`;
        bar.style.width = `${((round / most) * 100).toFixed(1)}px`;
        bar.dataset.nmi = String(round);
      };
      map.on("move zoomend resize", update);
      map.whenReady(update);
      return box;
    };
    return control;
  }

  function north() {
    const control = L.control({ position: "topright" });
    control.onAdd = () => {
      const box = L.DomUtil.create("div", "north");
      box.setAttribute("role", "img");
      box.setAttribute("aria-label", "True north is up");
      box.innerHTML = '<svg width="20" height="24" viewBox="-10 -12 20 24" aria-hidden="true"><path d="M0 -11L8 11L0 6L-8 11Z" fill="currentColor"/></svg>N';
      return box;
    };
    return control;
  }

  function panels(map) {
    const all = [...document.querySelectorAll(".panel")];
    const wide = window.matchMedia("(min-width: 900px)");
    const first = document.getElementById("panel-findings") ? ["panel-findings"] : document.getElementById("panel-reach") ? ["panel-reach"] : ["panel-route", "panel-key"];
    const fit = () => all.forEach((panel) => { panel.open = wide.matches && first.includes(panel.id); });
    fit();
    wide.addEventListener("change", fit);
    let printing = false;
    window.addEventListener("beforeprint", () => { printing = true; all.forEach((panel) => { panel.open = true; }); });
    window.addEventListener("afterprint", () => { printing = false; fit(); });
    const narrow = () => !printing && getComputedStyle(document.querySelector(".panel .long")).display === "none";
    for (const panel of all) {
      panel.addEventListener("toggle", () => {
        if (panel.open && narrow()) all.filter((other) => other !== panel).forEach((other) => { other.open = false; });
      });
    }
    map.on("click", () => { if (narrow()) all.forEach((panel) => { panel.open = false; }); });
    document.addEventListener("keydown", (event) => { if (event.key === "Escape" && narrow()) all.forEach((panel) => { panel.open = false; }); });
    for (const button of document.querySelectorAll("[data-opens]")) {
      button.addEventListener("click", () => {
        const panel = document.getElementById(button.dataset.opens);
        panel.open = narrow() ? !panel.open : true;
        if (panel.open) panel.scrollIntoView({ block: "nearest" });
      });
    }
    for (const button of document.querySelectorAll("[data-at]")) {
      button.addEventListener("click", () => {
        if (narrow()) all.forEach((panel) => { panel.open = false; });
        map.setView(button.dataset.at.split(",").map(Number), Math.max(map.getZoom(), 11));
      });
    }
    for (const box of document.querySelectorAll("[data-theme]")) {
      box.addEventListener("change", () => {
        const theme = themes[Number(box.dataset.theme)];
        if (box.checked) theme.addTo(map); else theme.remove();
      });
    }
  }

  // Texts

  function position(latlng) {
    const half = (angle, width, letters) => {
      const hundredths = Math.round(Math.abs(angle) * 6000);
      const minutes = ((hundredths % 6000) / 100).toFixed(2).padStart(5, "0");
      return `${String(Math.floor(hundredths / 6000)).padStart(width, "0")} ${minutes}${letters[angle < 0 && hundredths ? 1 : 0]}`;
    };
    return `<p class="at">${half(latlng.lat, 2, "NS")} ${half(latlng.wrap().lng, 3, "EW")}</p>`;
  }

  // Markup to text, for attributes that readers speak.
  function plain(markup) {
    const held = document.createElement("template");
    held.innerHTML = (markup || "").replaceAll("<br>", ", ");
    return held.content.textContent;
  }

  return { open, style, point, each, start };
})();
