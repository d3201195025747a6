/* Swing page: the slider, the moving line over the curves, and arm and club in space. All of it
   runs here, so that it follows the hand; the canvas needs no graphics card. */
window.dash_clientside = window.dash_clientside || {};

(function () {
  const VIEWS = {
    face: { turn: 0, lift: 0.06 },
    line: { turn: Math.PI / 2, lift: 0.06, sided: true },
    above: { turn: 0, lift: 1.35 },
  };
  const state = { frames: null, moment: 0, speed: 0.25, playing: 0, turn: 0, lift: 0.06 };

  function element(id) {
    return document.getElementById(id);
  }

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  }

  function span() {
    const events = state.frames.events;
    const time = state.frames.time;
    const first = events.takeaway === undefined ? time[0] : Math.max(events.takeaway - 0.1, time[0]);
    const last = time[time.length - 1];
    return [first, events.finish === undefined ? last : Math.min(events.finish + 0.05, last)];
  }

  function indexAt(moment) {
    const time = state.frames.time;
    let low = 0;
    let high = time.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (time[middle] <= moment) {
        low = middle;
      } else {
        high = middle;
      }
    }
    return moment - time[low] < time[high] - moment ? low : high;
  }

  /* World to screen. Face on looks from in front of the player; turning goes round the player
     towards down the line. */
  function projector(canvas) {
    const turn = state.turn;
    const lift = state.lift;
    const middle = [0, 0, state.frames.ground + 1.02];
    const scale = Math.min(canvas.clientWidth / 3.5, canvas.clientHeight / 3.1);
    const look = [
      Math.sin(turn) * Math.cos(lift),
      Math.cos(turn) * Math.cos(lift),
      -Math.sin(lift),
    ];
    const right = [Math.cos(turn), -Math.sin(turn), 0];
    const up = [
      right[1] * look[2] - right[2] * look[1],
      right[2] * look[0] - right[0] * look[2],
      right[0] * look[1] - right[1] * look[0],
    ];
    return function (point) {
      const p = [point[0] - middle[0], point[1] - middle[1], point[2] - middle[2]];
      const depth = p[0] * look[0] + p[1] * look[1] + p[2] * look[2];
      const near = 7 / (7 + depth);
      const x = p[0] * right[0] + p[1] * right[1] + p[2] * right[2];
      const y = p[0] * up[0] + p[1] * up[1] + p[2] * up[2];
      return [
        canvas.clientWidth / 2 + x * scale * near,
        canvas.clientHeight / 2 - y * scale * near,
      ];
    };
  }

  function stroke(context, points, project, style) {
    context.beginPath();
    points.forEach(function (point, index) {
      const at = project(point);
      if (index === 0) {
        context.moveTo(at[0], at[1]);
      } else {
        context.lineTo(at[0], at[1]);
      }
    });
    context.strokeStyle = style.colour;
    context.globalAlpha = style.alpha === undefined ? 1 : style.alpha;
    context.lineWidth = style.width;
    context.setLineDash(style.dash || []);
    context.stroke();
    context.setLineDash([]);
    context.globalAlpha = 1;
  }

  function dot(context, point, project, size, fill) {
    const at = project(point);
    context.beginPath();
    context.arc(at[0], at[1], size, 0, 2 * Math.PI);
    context.fillStyle = fill;
    context.fill();
  }

  function draw() {
    const canvas = element("swing-space");
    const frames = state.frames;
    if (!canvas || !frames || !frames.time.length) {
      return;
    }
    const ratio = window.devicePixelRatio || 1;
    if (canvas.width !== Math.round(canvas.clientWidth * ratio)) {
      canvas.width = Math.round(canvas.clientWidth * ratio);
      canvas.height = Math.round(canvas.clientHeight * ratio);
    }
    const context = canvas.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, canvas.clientWidth, canvas.clientHeight);
    context.lineCap = context.lineJoin = "round";
    const project = projector(canvas);
    const ink = colour("--ink");
    const quiet = colour("--quiet");
    const arm = colour("--pick-2");
    const club = colour("--pick-1");
    const ground = frames.ground;
    for (let step = -4; step <= 4; step += 1) {
      const at = step * 0.4;
      const rule = { colour: quiet, width: 1, alpha: 0.28 };
      stroke(context, [[at, -1.6, ground], [at, 1.6, ground]], project, rule);
      stroke(context, [[-1.6, at, ground], [1.6, at, ground]], project, rule);
    }
    const impact = indexAt(0);
    const ball = frames.head[impact];
    stroke(context, [[-1.6, ball[1], ground], [1.6, ball[1], ground]], project, {
      colour: quiet, width: 2, dash: [8, 7], alpha: 0.9,
    });
    if (frames.plane.length) {
      context.beginPath();
      frames.plane.forEach(function (corner, index) {
        const at = project(corner);
        context[index ? "lineTo" : "moveTo"](at[0], at[1]);
      });
      context.closePath();
      context.fillStyle = colour("--accent");
      context.globalAlpha = 0.13;
      context.fill();
      context.globalAlpha = 1;
    }
    const now = indexAt(state.moment);
    const first = indexAt(span()[0]);
    const top = frames.events.club_top === undefined ? first : indexAt(frames.events.club_top);
    const back = frames.head.slice(first, Math.min(now, top) + 1);
    stroke(context, back, project, { colour: quiet, width: 2, dash: [3, 6], alpha: 0.9 });
    if (now > top) {
      const down = frames.head.slice(top, now + 1);
      stroke(context, down, project, { colour: club, width: 3, alpha: 0.75 });
    }
    ["club_top", "release", "impact"].forEach(function (event) {
      if (frames.events[event] !== undefined && state.moment > frames.events[event] + 0.004) {
        const at = indexAt(frames.events[event]);
        const ghost = [[0, 0, 0], frames.wrist[at], frames.head[at]];
        stroke(context, ghost, project, { colour: quiet, width: 2, alpha: 0.6 });
      }
    });
    dot(context, [ball[0], ball[1], ground], project, 5, quiet);
    stroke(context, [[0, 0, 0], frames.wrist[now]], project, { colour: arm, width: 11 });
    stroke(context, [frames.grip[now], frames.head[now]], project, { colour: club, width: 5 });
    dot(context, [0, 0, 0], project, 9, arm);
    dot(context, frames.wrist[now], project, 8, ink);
    dot(context, frames.head[now], project, 8, club);
    context.font = "600 15px " + getComputedStyle(document.body).fontFamily;
    context.fillStyle = quiet;
    const target = project([1.5 * frames.target, ball[1], ground]);
    context.textAlign = "center";
    context.fillText("target", Math.max(36, Math.min(target[0], canvas.clientWidth - 36)), target[1] + 22);
  }

  /* The line over the curves at the moment shown. */
  function cursor() {
    const box = element("swing-figure");
    const graph = box && box.querySelector(".js-plotly-plot");
    if (!graph || !graph._fullLayout || !graph._fullLayout.xaxis) {
      return;
    }
    let mark = graph.querySelector(".moment-line");
    if (!mark) {
      mark = document.createElement("div");
      mark.className = "moment-line";
      graph.appendChild(mark);
    }
    const layout = graph._fullLayout;
    const x = layout.xaxis.d2p(1000 * state.moment);
    mark.style.display = x < 0 || x > layout.xaxis._length ? "none" : "block";
    mark.style.left = layout.xaxis._offset + x + "px";
    mark.style.top = layout._size.t + "px";
    mark.style.height = layout._size.h + "px";
  }

  /* Lays the line again whenever the curves are drawn: their place on the page may have moved. */
  function attend(graph) {
    if (!graph.momentLine) {
      graph.momentLine = true;
      graph.on("plotly_afterplot", cursor);
    }
    cursor();
  }

  function show(moment) {
    const ends = span();
    state.moment = Math.min(Math.max(moment, ends[0]), ends[1]);
    const slider = element("swing-moment");
    const place = Math.round((1000 * (state.moment - ends[0])) / (ends[1] - ends[0]));
    if (slider && Number(slider.value) !== place) {
      slider.value = place;
    }
    const clock = element("swing-clock");
    const ms = Math.round(1000 * state.moment);
    const words = (ms < 0 ? "−" + -ms : ms) + " ms";
    if (clock) {
      clock.textContent = words;
    }
    if (slider) {
      slider.setAttribute("aria-valuetext", words + " from impact");
    }
    draw();
    cursor();
  }

  function stop() {
    window.cancelAnimationFrame(state.playing);
    state.playing = 0;
    const button = element("swing-play");
    if (button) {
      button.querySelector(".mantine-Button-label").textContent = "Play";
    }
  }

  function play() {
    if (state.playing) {
      stop();
      return;
    }
    const ends = span();
    let from = state.moment >= ends[1] - 0.01 ? ends[0] : state.moment;
    let begun = null;
    element("swing-play").querySelector(".mantine-Button-label").textContent = "Pause";
    function step(now) {
      if (!element("swing-space")) {
        state.playing = 0;
        return;
      }
      if (begun === null) {
        begun = now;
      }
      const moment = from + ((now - begun) / 1000) * state.speed;
      show(moment);
      if (moment >= ends[1]) {
        stop();
      } else {
        state.playing = window.requestAnimationFrame(step);
      }
    }
    state.restart = function () {
      from = state.moment;
      begun = null;
    };
    state.playing = window.requestAnimationFrame(step);
  }

  function turnBy(across, down) {
    state.turn += across;
    state.lift = Math.max(-0.3, Math.min(1.5, state.lift + down));
    draw();
  }

  function listen() {
    const canvas = element("swing-space");
    const box = element("swing-scrub");
    if (!box || box.firstChild) {
      return;
    }
    const slider = document.createElement("input");
    Object.assign(slider, { type: "range", id: "swing-moment", className: "scrub", min: 0, max: 1000 });
    slider.setAttribute("aria-label", "Moment of the swing");
    box.appendChild(slider);
    slider.addEventListener("input", function () {
      stop();
      const ends = span();
      show(ends[0] + (Number(slider.value) / 1000) * (ends[1] - ends[0]));
    });
    element("swing-play").addEventListener("click", play);
    document.querySelectorAll(".event").forEach(function (button) {
      button.addEventListener("click", function () {
        stop();
        show(state.frames.events[JSON.parse(button.id).event]);
      });
    });
    let held = null;
    canvas.addEventListener("pointerdown", function (event) {
      held = [event.clientX, event.clientY];
      canvas.setPointerCapture(event.pointerId);
    });
    canvas.addEventListener("pointermove", function (event) {
      if (held) {
        turnBy((event.clientX - held[0]) / 160, (event.clientY - held[1]) / 220);
        held = [event.clientX, event.clientY];
      }
    });
    canvas.addEventListener("pointerup", () => { held = null; });
    canvas.addEventListener("keydown", function (event) {
      const moves = {
        ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1],
      };
      if (moves[event.key]) {
        turnBy(moves[event.key][0], moves[event.key][1]);
        event.preventDefault();
      }
    });
    new ResizeObserver(() => draw()).observe(canvas);
  }

  window.dash_clientside.swing = {
    begin: function (frames) {
      if (!frames || !element("swing-space")) {
        return window.dash_clientside.no_update;
      }
      const fresh = state.frames !== frames;
      state.frames = frames;
      if (!frames.time.length) {
        return false;
      }
      listen();
      if (fresh) {
        stop();
        if (state.view === "line") {
          state.turn = VIEWS.line.turn * frames.target;
        }
        state.moment = frames.events.club_top === undefined ? 0 : frames.events.club_top;
      }
      window.requestAnimationFrame(() => show(state.moment));
      window.swingspread.onceDrawn("swing-figure", attend);
      return true;
    },

    look: function (view, speed) {
      const seen = VIEWS[view] || VIEWS.face;
      if (state.view !== view) {
        state.turn = seen.turn * (seen.sided && state.frames ? state.frames.target : 1);
        state.lift = seen.lift;
        state.view = view;
      }
      state.speed = Number(speed) || 0.25;
      if (state.playing && state.restart) {
        state.restart();
      }
      if (state.frames) {
        draw();
      }
      return "Drag to turn";
    },
  };
})();
