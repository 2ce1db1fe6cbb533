"use strict";
(function () {
  const data = JSON.parse(document.getElementById("replay-data").textContent);
  const part = (name) => document.getElementById("replay-" + name);
  const stage = part("stage"), slider = part("time"), playButton = part("play"), now = part("now");
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const last = data.times.length - 1;
  const views = {
    right: { eye: { x: 1.3, y: 0, z: 0 }, up: { x: 0, y: 0, z: 1 } },
    behind: { eye: { x: 0, y: -1.3, z: 0 }, up: { x: 0, y: 0, z: 1 } },
    above: { eye: { x: 0, y: 0, z: 1.3 }, up: { x: 0, y: 1, z: 0 } },
    corner: { eye: { x: 0.9, y: -0.8, z: 0.35 }, up: { x: 0, y: 0, z: 1 } },
  };
  const stillsOfACalmReplay = 10;
  let frame = null, playing = false, drawn = false, asked = null, view = "right";

  // Traces: the moving ones first, in the order of movingParts()
  function arrow(force, k) {
    const from = force.point.map((row) => row[k]);
    const load = force.force.map((row) => row[k]);
    if (from.includes(null) || load.includes(null)) return { x: [null], y: [null], z: [null] };
    const way = load.map((v) => (v * data.perBodyWeight) / 100);
    const tip = from.map((v, i) => v + way[i]);
    const length = Math.hypot(...way) || 1, head = Math.min(70, 0.4 * length);
    const back = tip.map((v, i) => v - (head * way[i]) / length);
    const barb = (dx, dy) => [back[0] + dx * head * 0.45, back[1] + dy * head * 0.45, back[2]];
    const path = [from, tip, barb(1, 0), null, tip, barb(-1, 0), null, tip, barb(0, 1), null, tip, barb(0, -1)];
    const axis = (i) => path.map((p) => (p === null ? null : p[i]));
    return { x: axis(0), y: axis(1), z: axis(2) };
  }
  function trail(force, k) {
    const until = (row) => row.slice(0, k + 1);
    return { x: until(force.point[0]), y: until(force.point[1]), z: until(force.point[2]).map((v) => (v === null ? null : v + 3)) };
  }
  const placed = (line, k) => ({ x: line.places[k][0], y: line.places[k][1], z: line.places[k][2] });
  function movingParts(k) {
    return [...data.lines.map((line) => placed(line, k)), ...data.forces.map((f) => arrow(f, k)), ...data.forces.map((f) => trail(f, k))];
  }
  function traces() {
    const parts = movingParts(frame);
    const look = [
      ...data.lines.map((line) => ({
        name: line.name, mode: line.symbol === "none" ? "lines" : "lines+markers",
        line: { color: line.colour, width: line.symbol === "square-open" ? 4 : 6 }, marker: { color: line.colour, size: line.symbol === "square-open" ? 6 : 4, symbol: line.symbol === "none" ? "circle" : line.symbol },
      })),
      ...data.forces.map((f) => ({ name: "force on the " + f.name + " foot", mode: "lines", line: { color: data.arrow, width: 7 } })),
      ...data.forces.map((f) => ({ name: "its way, " + f.name, mode: "lines", line: { color: data.arrow, width: 4 } })),
    ];
    const moving = look.map((style, i) => ({ type: "scatter3d", hoverinfo: "name", showlegend: false, connectgaps: false, ...style, ...parts[i] }));
    const still = data.grounds.flatMap((ground) => {
      const [x, y, z] = ground.corners;
      const round = (row) => [...row, row[0]];
      return [
        { type: "mesh3d", x, y, z, i: [0, 0], j: [1, 2], k: [2, 3], color: "#cfd6d2", opacity: 0.45, hoverinfo: "skip" },
        { type: "scatter3d", mode: "lines", name: ground.name, x: round(x), y: round(y), z: round(z), line: { color: data.soft, width: 3 }, showlegend: false, hoverinfo: "name" },
      ];
    });
    return [...moving, ...still];
  }
  function ranges() {
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    const include = (x, y, z) => [x, y, z].forEach((row, i) => row.forEach((v) => {
      if (v !== null) { low[i] = Math.min(low[i], v); high[i] = Math.max(high[i], v); }
    }));
    for (let k = 0; k <= last; k += 1) movingParts(k).forEach((p) => include(p.x, p.y, p.z));
    data.grounds.forEach((g) => include(...g.corners));
    return low.map((v, i) => [v - 60, high[i] + 60]);
  }
  function filling(spans) {
    const sizes = spans.map(([low, high]) => high - low), scale = 1.65 / Math.max(...sizes);
    return { x: scale * sizes[0], y: scale * sizes[1], z: scale * sizes[2] };
  }
  function layout() {
    const [x, y, z] = ranges();
    const axis = (range) => ({ range, visible: false });
    return {
      width: stage.clientWidth, height: stage.clientHeight, margin: { l: 0, r: 0, t: 0, b: 0 }, paper_bgcolor: "#fff", showlegend: false,
      scene: {
        xaxis: axis(x), yaxis: axis(y), zaxis: axis(z), aspectmode: "manual", aspectratio: filling([x, y, z]),
        camera: { ...views[view], projection: { type: "orthographic" } }, dragmode: "orbit",
      },
    };
  }

  // The drawing library, unpacked from this page when it is first needed
  async function unpack() {
    const packed = Uint8Array.from(atob(part("library").textContent), (c) => c.charCodeAt(0));
    const text = await new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"))).text();
    const script = document.createElement("script");
    script.textContent = text;
    document.head.append(script);
  }
  function start() {
    asked = asked || (async () => {
      try {
        await unpack();
        part("note").remove();
        await Plotly.newPlot(stage, traces(), layout(), { displayModeBar: false, scrollZoom: false });
        drawn = true;
        stage.dataset.ready = "true";
      } catch (problem) {
        const note = part("note") || stage.appendChild(document.createElement("p"));
        note.textContent = "This browser cannot draw the replay (" + problem.message + "). The pictures above and the curves show the same landing.";
      }
    })();
    return asked;
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
  function moveCursors(time) {
    document.querySelectorAll("[data-axes]").forEach((panel) => {
      const [left, top, width, height] = panel.dataset.axes.split(" ").map(Number);
      const zeros = [...new Set(data.zeros)];
      zeros.forEach((zero, i) => {
        let line = panel.querySelectorAll(".cursor")[i];
        if (!line) { line = document.createElement("span"); line.className = "cursor"; panel.append(line); }
        const share = (time - zero - data.span[0]) / (data.span[1] - data.span[0]);
        line.hidden = share < 0 || share > 1;
        line.style.left = left + width * share + "%";
        line.style.top = top + "%";
        line.style.height = height + "%";
      });
    });
  }
  function show(k) {
    const first = frame === null;
    frame = Math.max(0, Math.min(last, k));
    slider.value = String(frame);
    const text = words(frame);
    slider.setAttribute("aria-valuetext", text);
    now.textContent = text;
    stage.dataset.frame = String(frame);
    if (!first) moveCursors(data.times[frame]);
    if (!drawn) return undefined;
    const parts = movingParts(frame), pick = (axis) => parts.map((p) => p[axis]);
    return Plotly.restyle(stage, { x: pick("x"), y: pick("y"), z: pick("z") }, parts.map((_, i) => i));
  }
  function pause() {
    playing = false;
    playButton.textContent = "Play";
    now.setAttribute("aria-live", "polite");
  }
  async function play() {
    await start();
    playing = true;
    playButton.textContent = "Pause";
    now.setAttribute("aria-live", "off");
    if (frame === last) await show(0);
    if (calm.matches) {
      const stride = Math.max(1, Math.ceil(last / stillsOfACalmReplay));
      while (playing && frame < last) {
        await new Promise((done) => setTimeout(done, 1000));
        if (playing) await show(frame + stride);
      }
    } else {
      let time = data.times[frame], before = performance.now();
      while (playing && frame < last) {
        const at = await new Promise((done) => requestAnimationFrame(done));
        time += Math.max(0, at - before) * Number(part("speed").value);
        before = at;
        let next = frame;
        while (next < last && data.times[next + 1] <= time) next += 1;
        if (playing && next > frame) await show(next);
      }
    }
    pause();
  }
  function turn(name) {
    view = name;
    document.querySelectorAll("[data-view]").forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.view === view)));
    if (drawn) Plotly.relayout(stage, { "scene.camera": { ...views[view], projection: { type: "orthographic" } } });
  }

  slider.max = String(last);
  playButton.addEventListener("click", () => (playing ? pause() : play()));
  part("back").addEventListener("click", () => { pause(); start(); show(frame - 1); });
  part("step").addEventListener("click", () => { pause(); start(); show(frame + 1); });
  slider.addEventListener("input", () => { pause(); start(); show(Number(slider.value)); });
  document.querySelectorAll("[data-view]").forEach((b) => b.addEventListener("click", () => { start(); turn(b.dataset.view); }));
  document.querySelectorAll("[data-axes]").forEach((panel) => panel.addEventListener("click", (event) => {
    const [left, , width] = panel.dataset.axes.split(" ").map(Number), box = panel.getBoundingClientRect();
    const share = ((100 * (event.clientX - box.left)) / box.width - left) / width;
    const time = data.span[0] + share * (data.span[1] - data.span[0]) + data.zeros[0];
    pause();
    show(data.times.reduce((best, t, k) => (Math.abs(t - time) < Math.abs(data.times[best] - time) ? k : best), 0));
  }));
  window.addEventListener("resize", () => {
    if (drawn) Plotly.relayout(stage, { width: stage.clientWidth, height: stage.clientHeight });
  });
  turn(view);
  show(data.times.findIndex((t) => t >= 0));
  new IntersectionObserver((seen, watcher) => {
    if (seen.some((entry) => entry.isIntersecting)) { watcher.disconnect(); start(); }
  }, { rootMargin: "200px" }).observe(stage);
})();
