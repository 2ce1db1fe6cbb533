"use strict";
// When the whole page is read: the curves of later sections follow the time, too
document.addEventListener("DOMContentLoaded", () => {
  const data = JSON.parse(document.getElementById("replay-data").textContent);
  const part = (name) => document.getElementById("replay-" + name);
  const stage = part("stage"), slider = part("time"), playButton = part("play"), now = part("now");
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const last = data.times.length - 1;
  // Turned about the upright axis, then tipped towards the eye [degrees]
  const views = { right: [90, 0], behind: [0, 0], above: [0, 90], corner: [42, 16] };
  const stillsOfACalmReplay = 10, aKeyTurns = 6, aPixelTurns = 0.4;
  let frame = null, playing = false, turned = views.right, scale = 1, centre = [0, 0];

  // Where there is room, copies of the curves stand beside the stage
  if (window.matchMedia("(min-width: 60rem)").matches) {
    const titled = (title) => [...document.querySelectorAll(".panel")].find((panel) => panel.querySelector(".told b").textContent === title);
    const copy = (panel) => {
      const made = panel.cloneNode(true);
      made.style.setProperty("--margin", getComputedStyle(panel).getPropertyValue("--margin"));
      return made;
    };
    document.querySelector(".followed").append(...data.followed.map(titled).filter(Boolean).map(copy));
  }

  // Picture: one SVG path a line, its marks and its force; the page's colours, so that a dark screen has its own
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  function path(look, colour, name) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", "path");
    made.setAttribute("class", look + " c-" + colour);
    if (name) made.appendChild(document.createElementNS("http://www.w3.org/2000/svg", "title")).textContent = name;
    return made;
  }
  function group(...paths) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", "g");
    made.append(...paths);
    svg.append(made);
    return made;
  }
  const grounds = data.grounds.map((ground) => {
    const area = path("ground", "soft", ground.name);
    group(area);
    return { ...ground, area };
  });
  const lines = data.lines.map((line) => {
    const stroke = path(line.ghost ? "ghost" : line.symbol ? "limb" : "edge", line.colour, line.name), dots = path("dots " + line.symbol, line.colour, line.name);
    return { ...line, stroke, dots, group: group(stroke, dots) };
  });
  const forces = data.forces.map((force) => {
    const way = path("way", "force", "where the force acted, " + force.name), arrow = path("arrow", "force", "force on the " + force.name + " foot");
    const head = path("head", "force", "");
    return { ...force, way, arrow, head, group: group(way, arrow, head) };
  });

  // From places [mm]: to the right, forward, up; to the picture: across, down, and depth towards the eye
  function projection() {
    const [turn, tip] = turned.map((degrees) => (degrees * Math.PI) / 180);
    const c = Math.cos(turn), s = Math.sin(turn), ct = Math.cos(tip), st = Math.sin(tip);
    return (x, y, z) => {
      const across = c * x + s * y, away = -s * x + c * y;
      return [scale * across + centre[0], centre[1] - scale * (z * ct + away * st), z * st - away * ct];
    };
  }
  const spot = (p) => p[0].toFixed(1) + " " + p[1].toFixed(1);
  function points(places, put) {
    const [x, y, z] = places;
    return x.map((v, i) => (v === null || y[i] === null || z[i] === null ? null : put(v, y[i], z[i])));
  }
  function joined(seen) {
    let text = "", open = false;
    seen.forEach((p) => {
      text += p === null ? "" : (open ? "L" : "M") + spot(p);
      open = p !== null;
    });
    return text;
  }
  function marks(seen, symbol) {
    const r = 4.5;
    return seen.filter((p) => p !== null).map((p) => (symbol === "square"
      ? "M" + spot([p[0] - r, p[1] - r]) + "h" + 2 * r + "v" + 2 * r + "h-" + 2 * r + "z"
      : "M" + spot([p[0] - r, p[1]]) + "a" + r + " " + r + " 0 1 0 " + 2 * r + " 0a" + r + " " + r + " 0 1 0-" + 2 * r + " 0z")).join("");
  }
  function forceAt(force, k) {
    const from = force.point.map((row) => row[k]), load = force.force.map((row) => row[k]);
    return from.includes(null) || load.includes(null) ? null : { from, tip: from.map((v, i) => v + (load[i] * data.perBodyWeight) / 100) };
  }
  function drawForce(force, put) {
    const found = forceAt(force, frame);
    let shaft = "", head = "";
    if (found) {
      const a = put(...found.from), b = put(...found.tip), length = Math.hypot(b[0] - a[0], b[1] - a[1]);
      if (length > 2) {
        const [dx, dy] = [(b[0] - a[0]) / length, (b[1] - a[1]) / length], size = Math.min(14, 0.5 * length);
        const neck = [b[0] - size * dx, b[1] - size * dy];
        shaft = "M" + spot(a) + "L" + spot(neck);
        head = "M" + spot(b) + "L" + spot([neck[0] - 0.45 * size * dy, neck[1] + 0.45 * size * dx]) + "L" + spot([neck[0] + 0.45 * size * dy, neck[1] - 0.45 * size * dx]) + "z";
      }
    }
    force.arrow.setAttribute("d", shaft);
    force.head.setAttribute("d", head);
    force.way.setAttribute("d", joined(points(force.point.map((row) => row.slice(0, frame + 1)), put)));
  }
  function draw() {
    const put = projection();
    const depth = new Map();
    grounds.forEach((ground) => ground.area.setAttribute("d", joined(points(ground.corners, put)) + "z"));
    lines.forEach((line) => {
      const seen = points(line.places[frame], put), known = seen.filter((p) => p !== null);
      line.stroke.setAttribute("d", joined(seen));
      line.dots.setAttribute("d", line.symbol ? marks(seen, line.symbol) : "");
      depth.set(line.group, known.reduce((sum, p) => sum + p[2], 0) / (known.length || 1));
    });
    [...depth.keys()].sort((a, b) => depth.get(a) - depth.get(b)).forEach((each, i) => {
      const place = svg.children[grounds.length + i];
      if (place !== each) svg.insertBefore(each, place);
    });
    forces.forEach((force) => drawForce(force, put));
    stage.dataset.ready = "true";
  }
  // Every place of the body and of the forces, at all times: what a view is fitted to
  const everything = [];
  data.lines.forEach((line) => line.places.forEach(([x, y, z]) => x.forEach((v, i) => {
    if (v !== null && y[i] !== null && z[i] !== null) everything.push([v, y[i], z[i]]);
  })));
  data.forces.forEach((force) => data.times.forEach((_, k) => {
    const found = forceAt(force, k);
    if (found) everything.push(found.from, found.tip);
  }));
  function fit() {
    const width = stage.clientWidth, height = stage.clientHeight;
    if (!width || !height || !everything.length) return;
    svg.setAttribute("viewBox", "0 0 " + width + " " + height);
    [scale, centre] = [1, [0, 0]];
    const put = projection(), low = [Infinity, Infinity], high = [-Infinity, -Infinity];
    everything.forEach((place) => put(...place).slice(0, 2).forEach((v, i) => {
      low[i] = Math.min(low[i], v);
      high[i] = Math.max(high[i], v);
    }));
    scale = 0.94 * Math.min(width / (high[0] - low[0]), height / (high[1] - low[1]));
    centre = [0.5 * (width - scale * (low[0] + high[0])), 0.5 * (height - scale * (low[1] + high[1]))];
    draw();
  }
  function turnBy(across, down) {
    turned = [turned[0] - across, Math.max(-90, Math.min(90, turned[1] + down))];
    pressed("");
    fit();
  }

  // Time
  function words(k) {
    const size = (f) => {
      const load = f.force.map((row) => row[k]);
      return load.includes(null) ? "none or unknown" : (Math.hypot(...load) / 100).toFixed(2) + " BW";
    };
    const time = Math.round(data.times[k]), side = time < 0 ? -time + " ms before touch-down" : time + " ms after touch-down";
    return side + "; force on the " + data.forces.map((f) => f.name + " foot " + size(f)).join(", ");
  }
  const zeros = [...new Set(data.zeros)];
  const cursors = [...document.querySelectorAll("[data-timed]")].map((plot) => zeros.map(() => {
    const line = document.createElement("span");
    line.className = "cursor";
    line.hidden = true;
    plot.append(line);
    return line;
  }));
  function moveCursors(time) {
    cursors.forEach((own) => own.forEach((line, i) => {
      const share = (time - zeros[i] - data.span[0]) / (data.span[1] - data.span[0]);
      line.hidden = share < 0 || share > 1;
      line.style.left = 100 * share + "%";
    }));
  }
  function show(k) {
    const first = frame === null;
    frame = Math.max(0, Math.min(last, k));
    slider.value = String(frame);
    const text = words(frame);
    slider.setAttribute("aria-valuetext", text);
    now.textContent = text;
    stage.dataset.frame = String(frame);
    if (!first) { moveCursors(data.times[frame]); draw(); }
  }
  function pause() {
    playing = false;
    playButton.textContent = "Play";
    now.setAttribute("aria-live", "polite");
  }
  async function play() {
    playing = true;
    playButton.textContent = "Pause";
    now.setAttribute("aria-live", "off");
    if (frame === last) show(0);
    if (calm.matches) {
      const stride = Math.max(1, Math.ceil(last / stillsOfACalmReplay));
      while (playing && frame < last) {
        await new Promise((done) => setTimeout(done, 1000));
        if (playing) show(frame + stride);
      }
    } else {
      let time = data.times[frame], before = performance.now();
      while (playing && frame < last) {
        const at = await new Promise((done) => requestAnimationFrame(done));
        time += Math.max(0, at - before) * Number(part("speed").value);
        before = at;
        let next = frame;
        while (next < last && data.times[next + 1] <= time) next += 1;
        if (playing && next > frame) show(next);
      }
    }
    pause();
  }
  function pressed(name) {
    document.querySelectorAll("[data-view]").forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.view === name)));
  }
  function turn(name) {
    turned = views[name];
    pressed(name);
    fit();
  }

  slider.max = String(last);
  playButton.addEventListener("click", () => (playing ? pause() : play()));
  part("back").addEventListener("click", () => { pause(); show(frame - 1); });
  part("step").addEventListener("click", () => { pause(); show(frame + 1); });
  slider.addEventListener("input", () => { pause(); show(Number(slider.value)); });
  document.querySelectorAll("[data-view]").forEach((b) => b.addEventListener("click", () => turn(b.dataset.view)));
  document.querySelectorAll("[data-timed]").forEach((plot) => plot.addEventListener("click", (event) => {
    const box = plot.getBoundingClientRect(), share = (event.clientX - box.left) / box.width;
    const time = data.span[0] + share * (data.span[1] - data.span[0]) + data.zeros[0];
    pause();
    show(data.times.reduce((best, t, k) => (Math.abs(t - time) < Math.abs(data.times[best] - time) ? k : best), 0));
  }));
  stage.addEventListener("pointermove", (event) => {
    if (event.buttons & 1) turnBy(aPixelTurns * event.movementX, aPixelTurns * event.movementY);
  });
  stage.addEventListener("pointerdown", (event) => stage.setPointerCapture(event.pointerId));
  stage.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (way) { event.preventDefault(); turnBy(aKeyTurns * way[0], aKeyTurns * way[1]); }
  });
  // The whole page plays and steps while the stage is in view, but never takes a key from what is chosen
  let inView = false;
  new IntersectionObserver((seen) => { inView = seen[seen.length - 1].isIntersecting; }, { threshold: 0.5 }).observe(stage);
  document.addEventListener("keydown", (event) => {
    const chosen = document.activeElement, free = !chosen || chosen === document.body || chosen === stage;
    if (!inView || !free || event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
    if (event.key === " ") {
      event.preventDefault();
      (playing ? pause : play)();
    } else if (chosen !== stage && (event.key === "ArrowLeft" || event.key === "ArrowRight")) {
      event.preventDefault();
      pause();
      show(frame + (event.key === "ArrowLeft" ? -1 : 1));
    }
  });
  part("note").remove();
  stage.append(svg);
  show(Math.max(0, data.times.findIndex((t) => t >= 0)));
  pressed("right");
  fit();
  new ResizeObserver(fit).observe(stage);
});
