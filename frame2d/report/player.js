"use strict";
/* The player of an animation: moves the still picture that is already on the page. No libraries, no network. */
(function () {
  const RAMP = [[255, 243, 214], [245, 166, 35], [192, 65, 10], [92, 18, 0]];

  function numbers(text, step) {
    const raw = atob(text), count = raw.length / 2, out = new Float32Array(count);
    for (let i = 0; i < count; i++) {
      let v = raw.charCodeAt(2 * i) | (raw.charCodeAt(2 * i + 1) << 8);
      if (v > 32767) v -= 65536;
      out[i] = v * step;
    }
    return out;
  }

  function colour(share) {
    const at = Math.min(Math.max(share, 0), 1) * (RAMP.length - 1), k = Math.min(Math.floor(at), RAMP.length - 2);
    return "rgb(" + RAMP[k].map((v, i) => Math.round(v + (at - k) * (RAMP[k + 1][i] - v))).join(",") + ")";
  }

  function start(box) {
    const data = JSON.parse(box.querySelector("script").textContent);
    const times = data.times, count = data.points.length, end = times[times.length - 1];
    const moves = numbers(data.moves, data.move_step);
    const devices = data.devices.map(d => ({
      u: d.deformation && numbers(d.deformation, d.deformation_step), f: d.force && numbers(d.force, d.force_step),
      lost: d.lost, point: d.point,
    }));
    const most = Math.max(1e-9, ...data.devices.map(d => d.lost[d.lost.length - 1]));
    const paths = [...box.querySelectorAll(".moving")].map(p => ({
      p, lines: data.lines.filter(l => l.kind === p.dataset.kind).map(l => l.points),
    }));
    const spots = [...box.querySelectorAll(".spot")];
    const loops = [...box.querySelectorAll(".loop")].map(s => ({
      d: devices[+s.dataset.device], place: data.loop_places[s.dataset.device],
      past: s.querySelector(".past"), now: s.querySelector(".now"),
    }));
    const cursor = box.querySelector(".cursor"), clock = box.querySelector(".clock");
    const button = box.querySelector(".play"), scrub = box.querySelector(".scrub");
    const speed = box.querySelector(".speed"), scale = box.querySelector(".scale");
    const x = new Float32Array(count), y = new Float32Array(count);
    let now = times[data.peak], playing = false, last = 0;

    function draw() {
      let k = 0, high = times.length - 1;
      while (high - k > 1) { const m = (k + high) >> 1; if (times[m] <= now) k = m; else high = m; }
      const t = Math.min(Math.max((now - times[k]) / (times[high] - times[k] || 1), 0), 1), s = +scale.value;
      const a = 2 * count * k, b = 2 * count * high, place = data.place;
      for (let i = 0; i < count; i++) {
        const ux = (1 - t) * moves[a + 2 * i] + t * moves[b + 2 * i];
        const uy = (1 - t) * moves[a + 2 * i + 1] + t * moves[b + 2 * i + 1];
        x[i] = place.x0 + place.per * (data.points[i][0] + s * ux);
        y[i] = place.y0 - place.per * (data.points[i][1] + s * uy);
      }
      for (const { p, lines } of paths) {
        let d = "";
        for (const line of lines) line.forEach((i, n) => { d += (n ? "L" : "M") + x[i].toFixed(1) + " " + y[i].toFixed(1); });
        p.setAttribute("d", d);
      }
      spots.forEach((c, n) => {
        const device = devices[n];
        c.setAttribute("cx", x[device.point].toFixed(1));
        c.setAttribute("cy", y[device.point].toFixed(1));
        c.setAttribute("fill", colour(device.lost[k] / most));
      });
      const sample = Math.round(now / data.loop_dt);
      for (const { d, place, past, now: dot } of loops) {
        const stop = Math.min(sample, d.u.length - 1);
        let line = "", px = 0, py = 0;
        for (let i = 0; i <= stop; i++) {
          const qx = place.ax + place.bx * d.u[i], qy = place.ay + place.by * d.f[i];
          if (i && i < stop && Math.abs(qx - px) + Math.abs(qy - py) < 0.7) continue;
          line += (i ? "L" : "M") + qx.toFixed(1) + " " + qy.toFixed(1);
          px = qx; py = qy;
        }
        past.setAttribute("d", line);
        dot.setAttribute("cx", px.toFixed(1));
        dot.setAttribute("cy", py.toFixed(1));
      }
      cursor.setAttribute("transform", "translate(" + (data.strip_place.ax + data.strip_place.bx * now).toFixed(1) + " 0)");
      clock.textContent = now.toFixed(2) + " s";
      scrub.value = now;
      box.dataset.time = now.toFixed(3);
    }

    function tick(stamp) {
      if (!playing) return;
      if (last) now += Math.min(stamp - last, 100) / 1000 * +speed.value;
      last = stamp;
      if (now >= end) { now = end; pause(); }
      draw();
      if (playing) requestAnimationFrame(tick);
    }
    function pause() {
      playing = false;
      button.textContent = "Play";
      button.setAttribute("aria-pressed", "false");
    }
    button.addEventListener("click", () => {
      if (playing) return pause();
      if (now >= end || box.dataset.begun === undefined) now = 0;
      box.dataset.begun = "";
      playing = true;
      last = 0;
      button.textContent = "Pause";
      button.setAttribute("aria-pressed", "true");
      requestAnimationFrame(tick);
    });
    scrub.addEventListener("input", () => { now = +scrub.value; box.dataset.begun = ""; draw(); });
    scale.addEventListener("change", draw);
    box.querySelector(".controls").hidden = false;
    scrub.value = now;
  }

  document.querySelectorAll(".player").forEach(start);

  /* Mark the section in view in the table of contents. */
  const links = new Map([...document.querySelectorAll("nav a")].map(a => [a.getAttribute("href").slice(1), a]));
  if (links.size && "IntersectionObserver" in window) {
    const watch = new IntersectionObserver(seen => {
      for (const entry of seen) {
        const link = links.get(entry.target.id);
        if (link && entry.isIntersecting) {
          links.forEach(a => a.removeAttribute("aria-current"));
          link.setAttribute("aria-current", "true");
        }
      }
    }, { rootMargin: "-10% 0px -80% 0px" });
    links.forEach((a, id) => { const there = document.getElementById(id); if (there) watch.observe(there); });
  }
})();
