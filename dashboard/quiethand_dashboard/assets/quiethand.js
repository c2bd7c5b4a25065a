/* What runs in the browser beside Dash: saving a figure, or the data in it, as a file. */
(function () {
  "use strict";

  // A text that a spreadsheet would take for a formula gets a quote before it; commas and quotes are wrapped.
  function cell(value) {
    if (value === null || value === undefined || Number.isNaN(value)) { return ""; }
    let text = typeof value === "number" ? String(Number(value.toPrecision(8))) : String(value);
    if (typeof value !== "number" && /^[=+\-@\t\r]/.test(text)) { text = "'" + text; }
    return /[",\r\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }

  function csv(plot) {
    const lines = ["panel,series,x,y"];
    for (const trace of plot._fullData || []) {
      const x = trace.x || [], y = trace.y || [];
      const panel = (trace.meta || {}).panel || "", series = (trace.meta || {}).series || trace.name || "";
      for (let i = 0; i < Math.min(x.length, y.length); i++) {
        if (x[i] === null && y[i] === null) { continue; }
        lines.push([panel, series, x[i], y[i]].map(cell).join(","));
      }
    }
    return lines.join("\r\n") + "\r\n";
  }

  function give(text, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  // The libraries leave two things unsaid to a screen reader: what the menu's button does (they tell it on a wrapper
  // without a role), and what a field for a file is called.
  new MutationObserver(function () {
    for (const file of document.querySelectorAll(".upload input[type=file]:not([aria-label])")) {
      file.setAttribute("aria-label", file.closest(".upload").textContent);
    }
    for (const wrapper of document.querySelectorAll(".page-menu div[aria-haspopup], .page-menu div[aria-expanded]")) {
      const button = wrapper.querySelector("button");
      for (const name of ["aria-haspopup", "aria-expanded", "aria-controls"]) {
        if (button && wrapper.hasAttribute(name)) {
          button.setAttribute(name, wrapper.getAttribute(name));
          wrapper.removeAttribute(name);
        }
      }
    }
  }).observe(document.documentElement, { subtree: true, childList: true, attributeFilter: ["aria-expanded"] });

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.quiethand = {
    save: function (clicks, id) {
      if (!clicks) { return window.dash_clientside.no_update; }
      const plot = document.getElementById(id.figure).querySelector(".js-plotly-plot");
      const name = "quiethand-" + id.figure;
      if (id.image === "csv") { give(csv(plot), name + ".csv"); }
      else { window.Plotly.downloadImage(plot, { format: id.image, scale: 2, filename: name }); }
      return clicks;
    },

    // The shot's two lines, release first, were dragged: what the fields should say, in ms.
    dragged: function (moved) {
      const none = window.dash_clientside.no_update;
      const at = (i) => {
        const value = (moved || {})["shapes[" + i + "].x0"];
        return value === undefined ? none : Math.round(value * 100) / 100;
      };
      return [at(0), at(1)];
    },

    // The fields were changed: the lines go there.
    placed: function (release, departure, graph) {
      const plot = document.getElementById(graph)?.querySelector(".js-plotly-plot");
      const shapes = plot?.layout?.shapes || [];
      const moves = {};
      [release, departure].forEach((value, i) => {
        if (typeof value === "number" && shapes[i] && shapes[i].editable
            && (Math.abs(shapes[i].x0 - value) > 0.004 || shapes[i].y0 !== 0)) {
          Object.assign(moves, { ["shapes[" + i + "].x0"]: value, ["shapes[" + i + "].x1"]: value,
                                 ["shapes[" + i + "].y0"]: 0, ["shapes[" + i + "].y1"]: 1 });
        }
      });
      if (Object.keys(moves).length) { window.Plotly.relayout(plot, moves); }
      return window.dash_clientside.no_update;
    },

    // The face tells where it was tapped, in mm from its middle. The listener is the document's: the graph's own element
    // is another one once its script has come.
    tappable: function (figure, graph, store) {
      if (!window.quiethandTaps) {
        window.quiethandTaps = 1;
        document.addEventListener("click", function (event) {
          const plot = event.target.closest && event.target.closest("#" + graph + " .js-plotly-plot");
          const layout = plot && plot._fullLayout;
          if (!layout || !layout.xaxis) { return; }
          const box = plot.getBoundingClientRect();
          const right = layout.xaxis.p2d(event.clientX - box.left - layout.xaxis._offset);
          const up = layout.yaxis.p2d(event.clientY - box.top - layout.yaxis._offset);
          window.quiethandTaps += 1;
          window.dash_clientside.set_props(store, { data: { right, up, tap: window.quiethandTaps } });
        });
      }
      return window.dash_clientside.no_update;
    },

    // Told at the start and whenever the window crosses the width.
    width: function () {
      const narrow = window.matchMedia("(max-width: 760px)");
      const told = () => (narrow.matches ? "narrow" : "wide");
      if (!window.quiethandWidth) {
        window.quiethandWidth = narrow;
        narrow.addEventListener("change", () => window.dash_clientside.set_props("width", { data: told() }));
        return told();
      }
      return window.dash_clientside.no_update;
    },
  };
})();
