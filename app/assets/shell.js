/* Theme, navigation marks and focus: what the shell does in the browser. */
window.dash_clientside = window.dash_clientside || {};

window.dash_clientside.shell = {
  toggleTheme: function (clicks, shown) {
    return shown === "dark" ? "light" : "dark";
  },

  /* The upload component gives its hidden field no name to hear. */
  nameUpload: function (id) {
    let tries = 0;
    function name() {
      const box = document.getElementById(id);
      const field = box && box.querySelector("input[type=file]");
      if (!field) {
        tries += 1;
        if (tries < 100) {
          window.setTimeout(name, 50);
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
    name();
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
  const text = query.toString().replace(/%2C/g, ",");
  const next = window.location.pathname + (text ? "?" + text : "");
  if (next !== window.location.pathname + window.location.search) {
    window.history.replaceState(window.history.state, "", next);
  }
};

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
