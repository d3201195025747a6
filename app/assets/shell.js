/* Theme, navigation marks and focus: what the shell does in the browser. */
window.dash_clientside = window.dash_clientside || {};

window.dash_clientside.shell = {
  toggleTheme: function (clicks, shown) {
    return shown === "dark" ? "light" : "dark";
  },

  /* The upload component gives its hidden field no name to hear; its code may come late. */
  nameUpload: function (id) {
    function name(at) {
      const box = document.getElementById(id);
      const field = box && box.querySelector("input[type=file]");
      if (!field) {
        if (window.location.pathname === at) {
          window.setTimeout(name, 50, at);
        }
        return;
      }
      const words = "Choose the files of the forearm and the club sensor";
      field.setAttribute("aria-label", words);
      field.tabIndex = -1;
      const zone = field.closest("[tabindex='0']");
      if (zone) {
        zone.setAttribute("role", "button");
        zone.setAttribute("aria-label", words);
      }
    }
    name(window.location.pathname);
    return window.dash_clientside.no_update;
  },

  chooseTheme: function (wanted, shown) {
    return wanted && wanted !== shown ? wanted : window.dash_clientside.no_update;
  },

  themeChosen: function (shown) {
    return shown || window.dash_clientside.no_update;
  },

  showTheme: function (saved) {
    const dark = saved
      ? saved === "dark"
      : window.matchMedia("(prefers-color-scheme: dark)").matches;
    const name = dark ? "dark" : "light";
    document.documentElement.setAttribute("data-mantine-color-scheme", name);
    document.body.setAttribute("data-ag-theme-mode", name);
    return [name, name, dark ? "Light" : "Dark"];
  },

  arrived: function (path, title) {
    const here = (path || "/").replace(/\/+$/, "") || "/";
    document.querySelectorAll("#navigation a").forEach(function (link) {
      if (link.getAttribute("href") === here) {
        link.setAttribute("aria-current", "page");
      } else {
        link.removeAttribute("aria-current");
      }
    });
    if (title) {
      document.title = title + " · Swingspread";
    }
    return here;
  },
};

/* Writes what is shown into the address bar without loading the page again. */
window.swingspread = window.swingspread || {};
window.swingspread.address = function (choices) {
  const query = new URLSearchParams(window.location.search);
  Object.keys(choices).forEach(function (name) {
    const value = choices[name];
    if (value === null || value === undefined || value === "") {
      query.delete(name);
    } else {
      query.set(name, value);
    }
  });
  const text = query.toString().replace(/%2C/g, ",").replace(/%3A/g, ":");
  const next = window.location.pathname + (text ? "?" + text : "");
  if (next !== window.location.pathname + window.location.search) {
    window.history.replaceState(window.history.state, "", next);
    window.swingspread.shown.search = window.location.search;
  }
};
window.swingspread.shown = { path: window.location.pathname, search: window.location.search };

/* Calls back with the graph in a box, now or as soon as it is drawn for the first time: figures
   arrive later than what is to be laid over them. Asked again meanwhile, the last one counts. */
window.swingspread.onceDrawn = (function () {
  const waiting = {};
  function look(id) {
    const box = document.getElementById(id);
    const graph = box && box.querySelector(".js-plotly-plot");
    if (graph && graph.on && graph._fullLayout && graph._fullLayout.xaxis) {
      const then = waiting[id];
      delete waiting[id];
      then(graph);
    } else if (box) {
      window.requestAnimationFrame(() => look(id));
    } else {
      delete waiting[id];
    }
  }
  return function (id, then) {
    const asked = id in waiting;
    waiting[id] = then;
    if (!asked) {
      look(id);
    }
  };
})();

/* An explanation closes when another is opened, on Escape, and on a press elsewhere. */
(function () {
  function closeAll(but) {
    document.querySelectorAll("details.about[open]").forEach(function (box) {
      if (box !== but) {
        box.open = false;
      }
    });
  }
  document.addEventListener("click", (event) => closeAll(event.target.closest("details.about")));
  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape") {
      const open = document.querySelector("details.about[open] > summary");
      closeAll(null);
      if (open) {
        open.focus();
      }
    }
  });
})();

/* Buttons that save a figure as it stands; nothing leaves the machine. */
document.addEventListener("click", function (event) {
  const button = event.target.closest("[data-picture]");
  const box = button && document.getElementById(button.dataset.picture);
  const graph = box && box.querySelector(".js-plotly-plot");
  if (graph && graph._fullLayout) {
    window.Plotly.downloadImage(graph, {
      format: button.dataset.format,
      filename: button.dataset.name,
      width: graph.clientWidth,
      height: graph.clientHeight,
      scale: button.dataset.format === "png" ? 2 : 1,
    });
  }
});

/* A link to the same page with other choices shows them: the page is asked for again, except
   when it was the page itself that wrote the address. */
(function () {
  const shown = window.swingspread.shown;
  function moved() {
    window.setTimeout(function () {
      const here = window.location;
      if (here.pathname === shown.path && here.search !== shown.search) {
        window.dash_clientside.set_props("refresh", { data: Date.now() });
      }
      shown.path = here.pathname;
      shown.search = here.search;
    }, 0);
  }
  window.addEventListener("_dashprivate_pushstate", moved);
  window.addEventListener("popstate", moved);
})();

/* Prints the page. */
document.addEventListener("click", function (event) {
  if (event.target.closest("[data-print]")) {
    window.print();
  }
});
