/* Session page: highlighted swings are repainted here, without asking the server. */
window.dash_clientside = window.dash_clientside || {};

(function () {
  const MOST = 5;
  const DASHES = ["solid", "dash", "dot", "dashdot", "longdash"];
  const SVG_DASH = ["", "9 6", "2 5", "9 5 2 5", "16 6"];

  const SIZES = { i1: Int8Array, u1: Uint8Array, i2: Int16Array, f4: Float32Array, f8: Float64Array };

  /* A trace's numbers, whether plain, typed, or still packed as base64. */
  function values(array) {
    if (array && array._inputArray) {
      return array._inputArray;
    }
    if (array && array.bdata) {
      const text = window.atob(array.bdata);
      const bytes = new Uint8Array(text.length);
      for (let i = 0; i < text.length; i += 1) {
        bytes[i] = text.charCodeAt(i);
      }
      return new SIZES[array.dtype](bytes.buffer);
    }
    return array || [];
  }

  function labels(figure) {
    for (const trace of figure.data) {
      if (trace.meta && trace.meta.role === "swings" && trace.meta.panel === 1) {
        return trace.meta;
      }
    }
    return null;
  }

  /* Numbers of the overlay by panel, unpacked once a figure. */
  function numbersOf(graph) {
    if (graph.swingNumbers && graph.swingNumbers.of === graph.data) {
      return graph.swingNumbers;
    }
    const found = { of: graph.data, meta: labels(graph), lines: {}, moments: [], times: null };
    graph.data.forEach(function (trace) {
      const role = trace.meta && trace.meta.role;
      if (role === "swings") {
        found.lines[trace.meta.panel] = {
          y: values(trace.y),
          stride: trace.meta.stride,
          axis: trace.yaxis || "y",
          unit: trace.meta.unit,
        };
      } else if (role === "median" && !found.times) {
        found.times = Array.from(values(trace.x));
      } else if (role === "events") {
        found.moments.push(trace.meta.moments);
      }
    });
    graph.swingNumbers = found;
    return found;
  }

  function line(numbers, panel, swing) {
    const source = numbers.lines[panel];
    const from = swing * source.stride;
    return Array.from(source.y.slice(from, from + numbers.times.length));
  }

  /* Draws the swings named in picks into the traces kept for them. */
  function paint(graph, picks) {
    const numbers = numbersOf(graph);
    if (!numbers.meta) {
      return;
    }
    const indices = [];
    const xs = [];
    const ys = [];
    graph.data.forEach(function (trace, index) {
      const role = trace.meta && trace.meta.role;
      if (role !== "pick" && role !== "pick-events") {
        return;
      }
      const swing = numbers.meta.labels.indexOf(picks[trace.meta.slot]);
      const drawn = trace.swingDrawn === undefined ? -1 : trace.swingDrawn;
      const empty = !(trace.x && trace.x.length);
      if (swing === drawn && empty === swing < 0) {
        return;
      }
      trace.swingDrawn = swing;
      indices.push(index);
      if (swing < 0) {
        xs.push([]);
        ys.push([]);
      } else if (role === "pick") {
        xs.push(numbers.times);
        ys.push(line(numbers, trace.meta.panel, swing));
      } else {
        xs.push(numbers.moments.map((moments) => moments[swing]));
        ys.push(numbers.moments.map((moments, row) => row));
      }
    });
    if (indices.length) {
      window.Plotly.restyle(graph, { x: xs, y: ys }, indices);
    }
  }

  /* The swing nearest to the pointer, found among the numbers, not among drawn points. */
  function nearest(graph, event) {
    const numbers = numbersOf(graph);
    const layout = graph._fullLayout;
    if (!numbers.meta || !layout || !numbers.times) {
      return null;
    }
    const box = graph.getBoundingClientRect();
    const scale = box.width / graph.offsetWidth || 1;
    /* Whole pixels, as moves of a mouse are told: what was named is what a press chooses. */
    const px = (Math.floor(event.clientX) - box.left) / scale;
    const py = (Math.floor(event.clientY) - box.top) / scale;
    const time = layout.xaxis.p2d(px - layout.xaxis._offset);
    const times = numbers.times;
    if (!(time >= times[0] && time <= times[times.length - 1])) {
      return null;
    }
    let column = 0;
    while (column < times.length - 1 && times[column + 1] < time) {
      column += 1;
    }
    for (const panel of Object.keys(numbers.lines)) {
      const source = numbers.lines[panel];
      const axis = layout[source.axis.replace("y", "yaxis")];
      const inside = py - axis._offset;
      if (inside < 0 || inside > axis._length) {
        continue;
      }
      let best = null;
      const ahead = Math.min(column + 1, times.length - 1);
      const share = ahead > column ? (time - times[column]) / (times[ahead] - times[column]) : 0;
      for (let swing = 0; swing < numbers.meta.labels.length; swing += 1) {
        const start = swing * source.stride;
        const value = source.y[start + column] * (1 - share) + source.y[start + ahead] * share;
        const distance = Math.abs(axis.d2p(value) - inside);
        if (distance <= 14 && (!best || distance < best.distance)) {
          best = { swing: swing, panel: panel, axis: axis, value: value, distance: distance };
        }
      }
      if (best) {
        best.time = time;
        best.px = px;
        best.py = py;
        best.unit = source.unit;
      }
      return best;
    }
    return null;
  }

  const SVG = "http://www.w3.org/2000/svg";

  /* Lays a light line and a label over the graph for the swing under the pointer. */
  function hover(graph, event) {
    let layer = graph.querySelector(".hover-layer");
    let label = graph.querySelector(".hover-label");
    if (!layer) {
      layer = document.createElementNS(SVG, "svg");
      layer.setAttribute("class", "hover-layer");
      layer.setAttribute("aria-hidden", "true");
      layer.appendChild(document.createElementNS(SVG, "path"));
      label = document.createElement("div");
      label.className = "hover-label";
      graph.appendChild(layer);
      graph.appendChild(label);
    }
    const found = event ? nearest(graph, event) : null;
    graph.style.cursor = found ? "pointer" : "";
    layer.style.display = label.style.display = found ? "block" : "none";
    if (!found) {
      return;
    }
    const numbers = numbersOf(graph);
    const horizontal = graph._fullLayout.xaxis;
    const line_ = line(numbers, found.panel, found.swing);
    let path = "";
    numbers.times.forEach(function (time, index) {
      const x = horizontal.d2p(time);
      if (Number.isFinite(line_[index]) && x >= 0 && x <= horizontal._length) {
        const y = found.axis.d2p(line_[index]) + found.axis._offset;
        path += (path ? "L" : "M") + (x + horizontal._offset).toFixed(1) + " " + y.toFixed(1);
      }
    });
    layer.firstChild.setAttribute("d", path);
    const digits = found.unit === "°" ? 1 : 0;
    const gap = found.unit === "°" ? "" : " ";
    label.textContent =
      numbers.meta.names[found.swing] +
      " · " +
      found.value.toFixed(digits).replace("-", "−") +
      gap +
      found.unit +
      " at " +
      Math.round(found.time).toString().replace("-", "−") +
      " ms";
    const left = found.px > graph.offsetWidth - 300;
    label.style.left = left ? "" : found.px + 16 + "px";
    label.style.right = left ? graph.offsetWidth - found.px + 16 + "px" : "";
    label.style.top = Math.max(found.py - 44, 0) + "px";
  }

  /* Pointer over the overlay: show the swing; a press without a drag chooses it. */
  function listen(graph) {
    graph.swingListens = true;
    let down = null;
    let last = null;
    let waiting = false;
    /* Once a frame, for where the pointer is by then. */
    function moved(event) {
      last = event;
      if (!waiting) {
        waiting = true;
        window.requestAnimationFrame(function () {
          waiting = false;
          hover(graph, last);
        });
      }
    }
    graph.addEventListener("mousemove", moved);
    graph.addEventListener("mouseleave", () => moved(null));
    function up(event) {
      const still = Math.hypot(event.clientX - down.clientX, event.clientY - down.clientY) < 4;
      const found = still && graph.isConnected ? nearest(graph, event) : null;
      if (found) {
        window.dash_clientside.set_props("session-clicked", {
          data: { key: numbersOf(graph).meta.labels[found.swing], at: Date.now() },
        });
      }
    }
    graph.addEventListener("pointerdown", function (event) {
      down = event;
      /* Heard at the window, for a press lays a cover over the graph. */
      window.addEventListener("pointerup", up, { capture: true, once: true });
    }, true);
  }

  let picked = [];

  /* Paints what is picked, and again whenever the figure is drawn anew. */
  function attend(graph) {
    if (!graph.swingListens) {
      listen(graph);
      graph.on("plotly_afterplot", () => paint(graph, picked));
    }
    paint(graph, picked);
  }

  function chip(slot, name, recording, swing) {
    return {
      namespace: "dash_core_components",
      type: "Link",
      props: {
        className: "chip chip-" + (slot + 1),
        href: "/swing?recording=" + recording + "&swing=" + swing,
        title: "Open " + name,
        children: [
          {
            namespace: "dash_html_components",
            type: "Span",
            props: { className: "chip-line" },
          },
          name,
        ],
      },
    };
  }

  function chosen(selected) {
    if (!selected) {
      return [];
    }
    const keys = Array.isArray(selected) ? selected.map((row) => row.key) : selected.ids || [];
    return keys.slice(0, MOST);
  }

  window.dash_clientside.session = {
    pick: function (selected, figure, ids) {
      const picks = chosen(selected);
      picked = picks;
      window.swingspread.onceDrawn("session-figure", attend);
      const meta = figure ? labels(figure) : null;
      const chips = picks.map(function (key, slot) {
        const place = meta ? meta.labels.indexOf(key) : -1;
        const name = place >= 0 ? meta.names[place] : "Swing " + key;
        const number = Number(key);
        const position = Math.floor(number / 10000);
        return chip(slot, name, ids[position].slice(0, 12), number - 10000 * position);
      });
      return [picks, chips];
    },

    click: function (clicked, selected) {
      if (!clicked) {
        return window.dash_clientside.no_update;
      }
      const picks = chosen(selected);
      const at = picks.indexOf(clicked.key);
      if (at >= 0) {
        picks.splice(at, 1);
      } else {
        picks.push(clicked.key);
        if (picks.length > MOST) {
          picks.shift();
        }
      }
      return { ids: picks };
    },

    ticked: function (selected) {
      const count = Array.isArray(selected)
        ? selected.length
        : ((selected && selected.ids) || []).length;
      return [
        count ? "ticked" : "ticked off",
        count === 1 ? "Leave this one out, because" : "Leave these " + count + " out, because",
        count ? "Keep the " + count + " ticked" : "Keep all shown",
      ];
    },

    remember: function (align, curves, kind, picks, ids) {
      window.swingspread.address({
        recordings: ids.join(","),
        align: align === "impact" ? "" : align,
        curves: curves === "all" ? "" : curves,
        kind: kind === "ball" ? "" : kind,
        pick: (picks || []).join(","),
      });
      return window.dash_clientside.no_update;
    },
  };
})();

/* Sorts "Swing 2" before "Swing 10". */
window.dashAgGridFunctions = window.dashAgGridFunctions || {};
window.dashAgGridFunctions.swingspread = {
  /* Tab goes on past the table's cells, among which the arrows move. */
  tabOn: function () {
    return false;
  },

  byNumber: function (first, second) {
    return String(first).localeCompare(String(second), undefined, { numeric: true });
  },
};

/* The swing's name in the table opens that swing. */
window.dashAgGridComponentFunctions = window.dashAgGridComponentFunctions || {};
window.dashAgGridComponentFunctions.SwingLink = function (props) {
  return window.React.createElement(
    "a",
    {
      href: props.data.href,
      title: "Open " + props.value,
      onClick: function (event) {
        event.preventDefault();
        window.dash_clientside.set_props("address", { href: props.data.href });
      },
    },
    props.value
  );
};
