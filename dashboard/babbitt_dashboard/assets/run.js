/* The page of a run by keyboard: each key presses a button that is on the page. */
(function () {
  "use strict";

  const BUTTONS = {
    j: "run-next",
    k: "run-previous",
    c: "run-confirmed",
    f: "run-sensor_fault",
    h: "run-harmless",
    z: "run-whole",
    "+": "run-closer",
    "-": "run-wider",
    "[": "run-before",
    "]": "run-after",
    ArrowLeft: "run-earlier",
    ArrowRight: "run-later",
  };
  const root = document.documentElement;

  function keys(state) {
    root.dataset.keys = state;
    window.localStorage.setItem("run-keys", state);
  }
  keys(window.localStorage.getItem("run-keys") || "on");

  document.addEventListener("click", function (event) {
    if (event.target.closest("#run-keys")) {
      keys(root.dataset.keys === "off" ? "on" : "off");
    }
  });

  document.addEventListener("keydown", function (event) {
    if (!document.getElementById("run-page")) {
      return;
    }
    const note = document.getElementById("run-note");
    if (event.key === "Escape" && document.activeElement === note) {
      note.blur();
      return;
    }
    const writing = event.target.closest("input, select, textarea, [role=listbox], [role=combobox]");
    if (writing || event.ctrlKey || event.altKey || event.metaKey || root.dataset.keys === "off") {
      return;
    }
    if (event.key === "n" && note) {
      note.focus();
      event.preventDefault();
      return;
    }
    const button = document.getElementById(BUTTONS[event.key]);
    if (button) {
      button.click();
      event.preventDefault();
    }
  });

  window.babbittRun = {
    /* Brings the chosen event into sight in its list. */
    showChosen: function () {
      window.requestAnimationFrame(function () {
        const list = document.getElementById("run-list");
        const chosen = list && list.querySelector("[aria-current]");
        if (chosen) {
          const place = chosen.parentElement;
          const above = place.offsetTop - list.offsetTop;
          if (above < list.scrollTop) {
            list.scrollTop = above;
          } else if (above + place.offsetHeight > list.scrollTop + list.clientHeight) {
            list.scrollTop = above + place.offsetHeight - list.clientHeight;
          }
        }
      });
      return window.dash_clientside.no_update;
    },
  };
})();
