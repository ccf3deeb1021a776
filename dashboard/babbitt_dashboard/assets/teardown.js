/* The teardown page: hands what is done to the server one by one and in order, so that each is
   done to the outcome of the one before; and keeps the focus where it was.
   Keys work only while the drawing or the form has the focus, and never while text is typed. */
(function () {
  "use strict";

  const AREA = ".td-enter, .td-correct, #teardown-entered, #teardown-record";
  const TYPING = "input:not([type=radio]):not([type=checkbox]), textarea, select";
  const PATIENCE_MS = 30000;

  const queue = [];
  let number = 0;
  let waitingFor = null;
  let waitingSince = 0;

  function hand(action) {
    queue.push(action);
    next();
  }

  function next() {
    if (queue.length === 0 || (waitingFor !== null && Date.now() - waitingSince < PATIENCE_MS)) {
      return;
    }
    number += 1;
    waitingFor = number;
    waitingSince = Date.now();
    window.dash_clientside.set_props("teardown-action", {
      data: Object.assign({ number: number }, queue.shift()),
    });
  }

  window.babbitt.teardownDone = function (done) {
    if (done === undefined || done === null) {
      queue.length = 0; // another page
      waitingFor = null;
    } else if (done === waitingFor) {
      waitingFor = null;
      next();
    }
    return window.dash_clientside.no_update;
  };

  window.babbitt.teardownPhotos = function (contents, names) {
    contents.forEach(function (each, at) {
      if (each) {
        const files = each.map((content, n) => ({ name: names[at][n], content: content }));
        hand({ files: files });
      }
    });
    return window.dash_clientside.no_update;
  };

  window.babbitt.teardownCells = function (grids) {
    grids.flat().forEach(function (change) {
      if (change && change.oldValue !== change.value) {
        hand({ row: change.data.id, column: change.colId, value: change.value });
      }
    });
    return window.dash_clientside.no_update;
  };

  /* What a cell of the table may hold: the damage or the measurements of its part. */
  window.dashAgGridFunctions = window.dashAgGridFunctions || {};
  window.dashAgGridFunctions.teardownChoices = (params, of) => ({ values: ["", ...params.data[of]] });

  document.addEventListener("click", function (event) {
    const button = event.target.closest("[data-do]");
    if (button) {
      hand({ do: button.dataset.do, to: button.dataset.to });
    }
    if (event.target.closest("[data-print]")) {
      window.print();
    }
    if (event.target.closest("[data-pick]")) {
      document.querySelector(".td-drop input").click();
    }
  });

  document.addEventListener("change", function (event) {
    const field = event.target.closest("[data-field]");
    if (field) {
      const { field: name, entry } = field.dataset;
      hand({ field: name, entry: entry, value: event.target.value });
    }
  });

  /* Where the focus was, so that it comes back when its button is drawn anew. */
  let kept = null;

  document.addEventListener("focusin", function (event) {
    const button = event.target.closest("[data-do]");
    kept = button && button.closest(AREA) ? [button.dataset.do, button.dataset.to] : null;
  });

  document.addEventListener("mousedown", function (event) {
    if (!event.target.closest("button, a, input, textarea")) {
      kept = null;
    }
  });

  new MutationObserver(function () {
    document.querySelectorAll(".td-drop input:not([aria-label])").forEach(function (input) {
      input.setAttribute("aria-label", "Photos of the part");
    });
    const lost = document.activeElement === null || document.activeElement === document.body;
    if (kept && lost) {
      const [what, to] = kept.map((each) => CSS.escape(each));
      const button = document.querySelector(`[data-do="${what}"][data-to="${to}"]`);
      if (button) {
        button.focus({ preventScroll: true });
      }
    }
  }).observe(document.documentElement, { childList: true, subtree: true });

  function middle(element) {
    const box = element.getBoundingClientRect();
    return [box.left + box.width / 2, box.top + box.height / 2];
  }

  /* The nearest part in a direction; one straight ahead goes before one aside. */
  function nearest(from, spots, [right, down]) {
    const [x, y] = middle(from);
    let best = null;
    let least = Infinity;
    spots.forEach(function (spot) {
      const [spotX, spotY] = middle(spot);
      const ahead = (spotX - x) * right + (spotY - y) * down;
      const aside = Math.abs((spotX - x) * down) + Math.abs((spotY - y) * right);
      const far = ahead + 3 * aside;
      if (ahead > 2 && far < least) {
        best = spot;
        least = far;
      }
    });
    return best;
  }

  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

  document.addEventListener("keydown", function (event) {
    const redrawn = kept && event.target === document.body; // what had the focus is being redrawn
    const area = redrawn
      ? document.querySelector(".td-enter, .td-correct")
      : event.target.closest(".td-enter, .td-correct");
    if (!area || event.ctrlKey || event.metaKey || event.altKey || event.target.matches(TYPING)) {
      return;
    }
    const spot = event.target.closest(".td-spot");
    if (spot && ARROWS[event.key]) {
      const there = nearest(spot, area.querySelectorAll(".td-spot"), ARROWS[event.key]);
      event.preventDefault();
      if (there) {
        there.focus();
        there.click();
      }
      return;
    }
    const button = /^[0-4jk]$/.test(event.key) && area.querySelector(`[data-key="${event.key}"]`);
    if (button) {
      event.preventDefault();
      button.click();
    }
  });

  function read(file) {
    return new Promise(function (resolve, reject) {
      const reader = new FileReader();
      reader.onload = () => resolve({ name: file.name, content: reader.result });
      reader.onerror = reject;
      reader.readAsDataURL(file);
    });
  }

  function over(event) {
    return event.target.closest ? event.target.closest(".td-spot") : null;
  }

  document.addEventListener("dragover", function (event) {
    document.querySelectorAll(".td-spot.over").forEach((each) => each.classList.remove("over"));
    const spot = over(event);
    if (spot) {
      event.preventDefault();
      spot.classList.add("over");
    }
  });

  document.addEventListener("drop", function (event) {
    const spot = over(event);
    if (spot) {
      event.preventDefault();
      spot.classList.remove("over");
      Promise.all(Array.from(event.dataTransfer.files).map(read)).then(function (files) {
        hand({ files: files, to: spot.dataset.to });
      });
    }
  });
})();
