/* Compare, progress and plan pages: the address bar holds what is shown. */
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.compare = {
  remember: function (curve, align, metric, limit, sides) {
    window.swingspread.address({
      a: sides.a.join(","),
      b: sides.b.join(","),
      curve: curve === "hinge_deg" ? "" : curve,
      align: align === "impact" ? "" : align,
      metric: metric === "release_ms" ? "" : metric,
      limit: sides.plan || Number(limit) === 1.5 ? "" : limit,
    });
    return window.dash_clientside.no_update;
  },

  rememberPlan: function (see, ratio, shift, power, block, session, a, b, kept) {
    const spread = see === "spread";
    if (!kept) {
      window.swingspread.address({
        see: spread ? "" : see,
        ratio: spread && Number(ratio) !== 1.5 ? ratio : "",
        shift: !spread && Number(shift) !== 0.5 ? shift : "",
        power: power === "0.8" ? "" : power,
        block: Number(block) === 10 ? "" : block,
        session: Number(session) === 60 ? "" : session,
        a: a === "practice" ? "" : a,
        b: b === "pressure" ? "" : b,
      });
    }
    return window.dash_clientside.no_update;
  },

  rememberProgress: function (metric, who) {
    window.swingspread.address({ who: who, metric: metric === "release_ms" ? "" : metric });
    return window.dash_clientside.no_update;
  },
};
