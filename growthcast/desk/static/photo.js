// Heights from taps on a photo, by the steps of growthcast/growth/photo.py; and the tapping itself.
"use strict";

const photo = (() => {
  const INDEX = 1.333, FILM = 43.27, MAGNIFIED = 0.00145, CORNER = 0.00055;
  const FOCAL_ERROR = 0.05, BASE_ERROR = 0.7, RANGE = [0.3, 6], STEPS = 25, CLOSE = 1e-8, AGREES = 1e-6;
  const DISAGREES = 0.05, LEAST_SD = 0.1, LEAST_FILL = 0.5, TOO_SMALL = 0.2, RISE = [6, 6], LUMPS = 2.5;
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

  // Rows of the inverse of a matrix given by its columns.
  function inverse(a, b, c) {
    const whole = dot(a, cross(b, c));
    return [cross(b, c), cross(c, a), cross(a, b)].map((row) => row.map((one) => one / whole));
  }
  const through = (rows, x, y) => {
    const [u, v, w] = rows.map((row) => row[0] * x + row[1] * y + row[2]);
    return [u / w, v / w];
  };

  // Columns of the homography from the unit square to a quadrilateral.
  function squareTo([a, b, c, d]) {
    const across = [b[0] - c[0], b[1] - c[1]], up = [d[0] - c[0], d[1] - c[1]];
    const rest = [a[0] - b[0] + c[0] - d[0], a[1] - b[1] + c[1] - d[1]];
    const whole = across[0] * up[1] - up[0] * across[1];
    const g = (rest[0] * up[1] - up[0] * rest[1]) / whole, h = (across[0] * rest[1] - rest[0] * across[1]) / whole;
    return [[b[0] - a[0] + g * b[0], b[1] - a[1] + g * b[1], g], [d[0] - a[0] + h * d[0], d[1] - a[1] + h * d[1], h], [a[0], a[1], 1]];
  }

  function viewWith(corners, size, focal, centre) {
    const columns = squareTo(corners);
    const scaled = [columns[0].map((v) => v / size[0]), columns[1].map((v) => v / size[2]), columns[2]];
    const [across, up, corner] = scaled.map(([x, y, w]) => [(x - centre[0] * w) / focal, (y - centre[1] * w) / focal, w]);
    const wide = Math.hypot(...across), high = Math.hypot(...up), root = Math.sqrt(wide * high);
    const rows = inverse(across, up, cross(across, up).map((v) => v / root));
    return {
      toPane: inverse(...scaled), toPicture: scaled, camera: rows.map((row) => -dot(row, corner)),
      stretch: Math.log(wide / high), skew: dot(across, up) / (wide * high),
    };
  }

  function behind([x, y], depth, [footX, footY, distance]) {
    const dx = x - footX, dy = y - footY;
    const flatter = 1 / Math.sqrt(INDEX ** 2 + (INDEX ** 2 - 1) * (dx * dx + dy * dy) / distance ** 2);
    const further = 1 + depth * flatter / distance;
    return [footX + dx * further, footY + dy * further];
  }

  function focalFrom(told, width) {
    const low = Math.log(RANGE[0] * width), high = Math.log(RANGE[1] * width);
    let at = Math.log(0.75 * width), was = Math.log(0.9 * width);
    let off = told(Math.exp(at)), offWas = told(Math.exp(was));
    for (let step = 0; step < STEPS && Math.abs(off) >= CLOSE && off !== offWas; step++) {
      const next = clamp(at - off * (at - was) / (off - offWas), low, high);
      [was, offWas, at] = [at, off, next];
      off = told(Math.exp(at));
    }
    return Math.abs(off) < AGREES ? Math.exp(at) : NaN;
  }

  // `given`: corners, back or null, size [length, width, water], centre, focal or NaN.
  function viewOf(given) {
    const { corners, back, size, centre } = given;
    let focal = given.focal;
    if (!Number.isFinite(focal)) {
      focal = focalFrom((tried) => {
        const view = viewWith(corners, size, tried, centre);
        const [left, right] = back.map(([u, v]) => behind(through(view.toPane, u, v), size[1], view.camera)[0]);
        return Math.log(Math.max(right - left, 1e-9) / size[0]);
      }, 2 * centre[0]);
    }
    return viewWith(corners, size, focal, centre);
  }

  // `area`: base or null, top, depth, sd, ground (base measured once, or null).
  const placeOf = (view, tap, depth) => behind(through(view.toPane, tap[0], tap[1]), depth, view.camera);
  function heightIn(view, area) {
    const ground = area.base ? placeOf(view, area.base, area.depth)[1] : area.ground ?? NaN;
    return placeOf(view, area.top, area.depth)[1] - ground;
  }

  // Areas with depths by place and base together: what stands deeper on rising ground is seen higher up.
  function settled(given, areas) {
    const view = viewOf(given), [usual, doubt] = RISE.map((one) => one / given.size[1]);
    const seen = areas.map(({ base, depth }) => {
      if (!base) return null;
      const y = placeOf(view, base, depth)[1];
      return { y, slope: placeOf(view, base, depth + 1)[1] - y };
    });
    let known = doubt ** -2, told = usual * known;
    seen.forEach((one, n) => {
      if (!one) return;
      const { depth, sd } = areas[n], weight = 1 / (LUMPS ** 2 + ((usual - one.slope) * sd) ** 2);
      known += weight * depth ** 2;
      told += weight * depth * one.y;
    });
    const rise = told / known;
    return areas.map((area, n) => {
      if (!seen[n]) return area;
      const { depth, sd } = area, { y, slope } = seen[n], by = rise - slope;
      const gain = sd ** 2 * by / ((sd * by) ** 2 + LUMPS ** 2 + depth ** 2 / known);
      return { ...area, depth: clamp(depth + gain * (y - rise * depth), 0, given.size[1]), sd: sd * Math.sqrt(1 - gain * by) };
    });
  }

  // The height of an area and its standard error, each of what goes in moved by its own.
  function heightOf(given, area) {
    const view = viewOf(given), height = heightIn(view, area), moved = [];
    const plant = MAGNIFIED * 2 * given.centre[0], corner = CORNER * 2 * given.centre[0];
    const shifted = (pairs, place, by) => pairs.map((pair, n) => pair.map((one, m) => one + (2 * n + m === place ? by : 0)));
    for (const name of ["base", "top"]) {
      if (!area[name]) continue;
      for (const place of [0, 1]) moved.push(heightIn(view, { ...area, [name]: shifted([area[name]], place, plant)[0] }));
    }
    for (const name of ["corners", "back"]) {
      for (let place = 0; given[name] && place < 2 * given[name].length; place++) {
        moved.push(heightIn(viewOf({ ...given, [name]: shifted(given[name], place, corner) }), area));
      }
    }
    if (Number.isFinite(given.focal)) moved.push(heightIn(viewOf({ ...given, focal: given.focal * (1 + FOCAL_ERROR) }), area));
    moved.push(heightIn(view, { ...area, depth: area.depth + area.sd }));
    if (!area.base) moved.push(height - BASE_ERROR);
    const sd = Math.sqrt(moved.reduce((sum, other) => sum + (other - height) ** 2, 0));
    return { height, sd: Math.max(sd, LEAST_SD) };
  }

  // Where the top of an area of some height would be seen: the pane's place whose ray reaches it.
  function seenAt(given, area, height) {
    const view = viewOf(given), start = area.base || area.top;
    const aim = start ? placeOf(view, start, area.depth) : null;
    if (!aim) return null;
    const wanted = [aim[0], (area.base ? aim[1] : area.ground ?? NaN) + height];
    let entry = [...wanted];
    for (let step = 0; step < 30; step++) {
      const reached = behind(entry, area.depth, view.camera);
      entry = entry.map((one, axis) => one + wanted[axis] - reached[axis]);
    }
    const rows = [0, 1, 2].map((n) => view.toPicture.map((column) => column[n]));
    return through(rows, entry[0], entry[1]);
  }

  const fillOf = ({ corners, centre }) => (Math.max(...corners.map(([x]) => x)) - Math.min(...corners.map(([x]) => x))) / (2 * centre[0]);

  // Why a pane is refused: "tiny", "tank", "lens", or "" where it fits.
  function refusal(given) {
    if (fillOf(given) < TOO_SMALL) return "tiny";
    const view = viewOf(given), off = Math.max(Math.abs(view.stretch), Math.abs(view.skew));
    if (!(off <= 0.2) || !(view.camera[2] > 0)) return "tank";
    return off > DISAGREES ? "lens" : "";
  }

  // Focal length for 35 mm film out of the bytes of a JPEG, and the size the camera gave it; 0 for none.
  function exif(buffer) {
    const told = { focal: 0, width: 0, height: 0 }, data = new DataView(buffer), end = data.byteLength;
    try {
      let at = 2;
      if (data.getUint16(0) !== 0xffd8) return told;
      while (at + 10 < end && data.getUint16(at) !== 0xffe1) at += 2 + data.getUint16(at + 2);
      if (data.getUint32(at + 4) !== 0x45786966) return told;
      const start = at + 10, little = data.getUint16(start) === 0x4949;
      const short = (place) => data.getUint16(place, little), long = (place) => data.getUint32(place, little);
      const read = (place, found) => {
        for (let n = 0; n < short(place); n++) {
          const entry = place + 2 + 12 * n;
          found(short(entry), short(entry + 2) === 3 ? short(entry + 8) : long(entry + 8));
        }
      };
      read(start + long(start + 4), (tag, value) => {
        if (tag !== 0x8769) return;
        read(start + value, (inner, what) => {
          if (inner === 0xa405) told.focal = what;
          if (inner === 0xa002) told.width = what;
          if (inner === 0xa003) told.height = what;
        });
      });
    } catch { /* what could be read is told */ }
    return told;
  }

  function focalPx(told, width, height) {
    const long = Math.max(told.width, told.height), short = Math.min(told.width, told.height);
    const cropped = short > 0 && Math.abs(Math.log(long / short * Math.min(width, height) / Math.max(width, height))) > 0.01;
    return told.focal > 0 && !cropped ? told.focal / FILM * Math.hypot(width, height) : NaN;
  }

  // A small grey picture of a picture, of mean 0 and length 1: the product of two tells how alike they are.
  const LOOK = [32, 24], ALIKE = 0.97; // on simulated photos corners are then within 2 % of the width
  function lookOf(picture) {
    const small = document.createElement("canvas"), [wide, high] = LOOK;
    [small.width, small.height] = LOOK;
    const pen = small.getContext("2d", { willReadFrequently: true });
    pen.imageSmoothingQuality = "high";
    pen.drawImage(picture, 0, 0, wide, high);
    const bytes = pen.getImageData(0, 0, wide, high).data;
    const grey = Array.from({ length: wide * high }, (_, n) => bytes[4 * n] + bytes[4 * n + 1] + bytes[4 * n + 2]);
    const mean = grey.reduce((sum, one) => sum + one, 0) / grey.length;
    const length = Math.hypot(...grey.map((one) => one - mean)) || 1;
    return grey.map((one) => (one - mean) / length);
  }
  const alike = (a, b) => a.reduce((sum, one, n) => sum + one * b[n], 0) > ALIKE;

  // The tapping. `tank`: size, areas [{id, label, depth, sd, ground, expected, low}]; `last`: corners and look of
  // the tank's last photo, whose corners are offered again where the picture looks the same.
  function tapping(root, picture, tank, focal, say, last = null) {
    const part = (name) => root.querySelector(`[data-photo="${name}"]`);
    const canvas = part("picture"), glass = part("glass"), pen = canvas.getContext("2d");
    const wide = picture.naturalWidth, high = picture.naturalHeight;
    const back = !Number.isFinite(focal);
    const asked = ["photo_corner1", "photo_corner2", "photo_corner3", "photo_corner4"].map((name) => ({ kind: "corners", text: say(name) }));
    if (back) ["photo_back1", "photo_back2"].forEach((name) => asked.push({ kind: "back", text: say(name) }));
    for (const area of tank.areas) {
      if (area.low) continue;
      asked.push({ kind: "base", area, text: say("photo_base", { area: area.label }) });
      asked.push({ kind: "top", area, text: say("photo_top", { area: area.label }) });
    }
    const taps = asked.map(() => null); // a pair of pixels, "hidden" or "skip"
    const look = lookOf(picture), again = last !== null && alike(look, last.look);
    if (again) last.corners.forEach(([x, y], n) => { taps[n] = [x * wide, y * high]; });
    let step = again ? 4 : 0, held = -1, scale = 1;

    const placed = (kind, area) => {
      const found = asked.map((one, n) => [one, taps[n]]).filter(([one]) => one.kind === kind && (!area || one.area === area));
      return found.map(([, tap]) => tap);
    };
    const isPair = (tap) => Array.isArray(tap);
    const given = () => ({ corners: placed("corners"), back: back ? placed("back") : null, size: tank.size, centre: [wide / 2, high / 2], focal });
    const ready = () => placed("corners").every(isPair) && (!back || placed("back").every(isPair));
    const tapped = (area) => {
      const [base, top] = [placed("base", area)[0], placed("top", area)[0]];
      return { ...area, base: isPair(base) ? base : null, top: isPair(top) ? top : null };
    };
    const standing = (area) => (ready() ? settled(given(), tank.areas.map(tapped)) : tank.areas.map(tapped)).find((one) => one.id === area.id);
    function result() {
      const areas = {}, heights = [];
      for (const area of tank.areas) {
        const { base, top } = tapped(area);
        if (!area.low && placed("top", area)[0] === "skip") areas[area.id] = "skip";
        if (area.low || !top) continue;
        areas[area.id] = base ? { base, top } : { top };
        heights.push({ id: area.id, ...heightOf(given(), standing(area)) });
      }
      const told = { width: wide, height: high, magnified: true, corners: placed("corners"), areas };
      if (back) told.back = placed("back");
      else told.focal = focal;
      const corners = told.corners.map(([x, y]) => [x / wide, y / high]);
      return { taps: told, heights, last: { corners, look } };
    }

    function draw() {
      scale = canvas.width / wide;
      pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
      const line = (points, colour, thick = 2) => {
        pen.strokeStyle = colour; pen.lineWidth = thick; pen.beginPath();
        points.forEach(([x, y], n) => (n ? pen.lineTo(x * scale, y * scale) : pen.moveTo(x * scale, y * scale)));
        pen.stroke();
      };
      const corners = placed("corners").filter(isPair);
      line(corners.length === 4 ? [...corners, corners[0]] : corners, "#0072b2");
      for (const area of tank.areas) {
        if (area.low) continue;
        const { base, top } = tapped(area);
        if (base && top) line([base, top], "#d55e00");
      }
      const now = asked[step];
      if (now && now.kind === "top" && ready()) {
        const at = seenAt(given(), standing(now.area), now.area.expected);
        const mark = at && [[at[0] - wide / 25, at[1]], [at[0] + wide / 25, at[1]]];
        if (at && at.every(Number.isFinite)) { line(mark, "#fff", 10); line(mark, "#777", 6); }
      }
      for (const tap of taps.filter(isPair)) {
        pen.strokeStyle = "#fff"; pen.lineWidth = 3; pen.beginPath(); pen.arc(tap[0] * scale, tap[1] * scale, 7, 0, 7); pen.stroke();
        pen.strokeStyle = "#d55e00"; pen.lineWidth = 1.5; pen.stroke();
      }
      magnify();
    }
    function magnify() {
      glass.hidden = held < 0;
      if (held < 0 || !isPair(taps[held])) return;
      const [x, y] = taps[held], lens = glass.getContext("2d"), part = glass.width / (4 * scale);
      lens.fillRect(0, 0, glass.width, glass.height);
      lens.drawImage(picture, x - part / 2, y - part / 2, part, part, 0, 0, glass.width, glass.height);
      lens.strokeStyle = "#d55e00"; lens.beginPath();
      lens.moveTo(glass.width / 2, 0); lens.lineTo(glass.width / 2, glass.height);
      lens.moveTo(0, glass.height / 2); lens.lineTo(glass.width, glass.height / 2); lens.stroke();
      glass.style.left = x * scale < canvas.width / 2 ? "auto" : "0"; // beside the finger, never under it
      glass.style.right = x * scale < canvas.width / 2 ? "0" : "auto";
    }
    function tell() {
      const now = asked[step], last = [...asked.slice(0, step)].reverse().find((one) => one.kind === "top");
      const why = ready() && refusal(given());
      const small = ready() && fillOf(given()) < LEAST_FILL;
      part("asked").textContent = why ? say("photo_off") : now ? now.text : say("photo_all");
      part("height").classList.toggle("trouble", Boolean(why));
      let said = why ? say("photo_" + why) : again && step === 4 ? say("photo_again") : small ? say("photo_small") : "";
      if (!why && last && ready() && tapped(last.area).top) {
        const { height, sd } = heightOf(given(), standing(last.area));
        const wild = !(height > 0) || Math.abs(height - last.area.expected) > 3 * Math.hypot(sd, 0.2 * last.area.expected);
        if (Number.isFinite(height)) said = `${last.area.label}: ${height.toFixed(1)} ± ${sd.toFixed(1)} cm${wild ? " ? " + say("photo_wild") : ""}`;
        else said = `${last.area.label}: ${say("photo_no_ground")}`;
      }
      part("height").textContent = said;
      part("hidden").hidden = !now || now.kind !== "base" || now.area.ground === null;
      part("skip").hidden = !now || !now.area;
      part("take").hidden = Boolean(why) || !ready() || !tank.areas.some((area) => tapped(area).top);
    }
    const at = (event) => {
      const box = canvas.getBoundingClientRect();
      const share = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
      return share.map((one, axis) => Math.round(10 * clamp(one, 0, 1) * [wide, high][axis]) / 10);
    };
    canvas.onpointerdown = (event) => {
      event.preventDefault();
      // While taps are asked for, only the last one is dragged, and corners that are offered: areas stand close together.
      const here = at(event), asking = step < asked.length && !(ready() && refusal(given()));
      const near = (asking ? 14 : 22) / canvas.getBoundingClientRect().width * wide;
      const free = (n) => !asking || n === step - 1 || (again && step === 4);
      const off = taps.map((tap, n) => (isPair(tap) && free(n) ? Math.hypot(tap[0] - here[0], tap[1] - here[1]) : Infinity));
      held = off.indexOf(Math.min(...off));
      if (off[held] >= near) held = -1;
      if (held < 0 && asking) { held = step; taps[held] = here; }
      if (held >= 0) canvas.setPointerCapture(event.pointerId);
      draw();
    };
    canvas.onpointermove = (event) => { if (held >= 0) { taps[held] = at(event); draw(); } };
    canvas.onpointerup = canvas.onpointercancel = () => {
      if (held < 0) return;
      if (held === step) step++;
      held = -1;
      draw(); tell();
    };
    const put = (word, steps) => { for (let n = 0; n < steps; n++) taps[step++] = word; draw(); tell(); };
    part("hidden").onclick = () => put("hidden", 1);
    part("skip").onclick = () => {
      if (asked[step].kind === "top") step--;
      put("skip", 2);
    };
    part("undo").onclick = () => {
      if (!step) return;
      taps[--step] = null;
      if (asked[step].kind === "top" && !isPair(taps[step - 1])) taps[--step] = null;
      draw(); tell();
    };
    canvas.width = Math.min(wide, 2 * root.clientWidth || 800);
    canvas.height = canvas.width * high / wide;
    draw(); tell();
    return { result };
  }

  return { viewOf, settled, heightOf, exif, focalPx, tapping };
})();
if (typeof module !== "undefined") module.exports = photo;
