/* Compare and progress pages: the address bar holds what is shown. */
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.compare = {
  remember: function (curve, align, metric, limit, sides) {
    window.swingspread.address({
      a: sides.a.join(","),
      b: sides.b.join(","),
      curve: curve === "hinge_deg" ? "" : curve,
      align: align === "impact" ? "" : align,
      metric: metric === "release_ms" ? "" : metric,
      limit: Number(limit) === 1.5 ? "" : limit,
    });
    return window.dash_clientside.no_update;
  },

  rememberProgress: function (metric, who) {
    window.swingspread.address({ who: who, metric: metric === "release_ms" ? "" : metric });
    return window.dash_clientside.no_update;
  },
};
