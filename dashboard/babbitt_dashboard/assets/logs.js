/* The page of logs: sends files piece by piece, and hands what is done to the server one by one and
   in order, each after the outcome of the one before. */
(function () {
  "use strict";

  const PIECE_BYTES = 8 << 20;
  const TRIES = 4;
  const WAIT_MS = 1500;
  const PATIENCE_MS = 15 * 60000;
  const LOG = /^[^.~].*\.(csv|tsv|txt|log)(\.(gz|zst|zip))?$|^[^.~][^.]*\.zip$/i;

  const queue = [];
  let number = 0;
  let waitingFor = null;
  let waitingSince = 0;

  let inHand = null;

  /* What is asked for a second time, while the first is not done, is asked for once. */
  function hand(action) {
    const same = (other) =>
      other && action.do !== "fill" && other.do === action.do && other.to === action.to;
    if (!queue.some(same) && !(waitingFor !== null && same(inHand))) {
      queue.push(action);
    }
    next();
  }

  function next() {
    count();
    if (queue.length === 0 || (waitingFor !== null && Date.now() - waitingSince < PATIENCE_MS)) {
      return;
    }
    number += 1;
    waitingFor = number;
    waitingSince = Date.now();
    document.querySelectorAll("#logs-waiting, #logs-preview, #logs-refused").forEach(function (each) {
      each.setAttribute("aria-busy", "true");
    });
    inHand = queue.shift();
    window.dash_clientside.set_props("logs-action", {
      data: Object.assign({ number: number }, inHand),
    });
  }

  /* How much of what was asked for with one press is left. */
  function count() {
    const place = document.getElementById("logs-count");
    const left = queue.filter((each) => each.do === "take").length;
    if (place) {
      place.textContent = left ? left + " to go" : "";
    }
  }

  window.babbitt.logsDone = function (done) {
    if (done === undefined || done === null) {
      queue.length = 0; // the page was just opened
      waitingFor = null;
    } else if (done === waitingFor) {
      waitingFor = null;
    }
    document.querySelectorAll("#logs-waiting, #logs-preview, #logs-refused").forEach(function (each) {
      each.removeAttribute("aria-busy");
    });
    window.setTimeout(showChosen, 50); // once it is drawn
    next();
    return window.dash_clientside.no_update;
  };

  /* A choice that was refused goes back to what holds. */
  function showChosen() {
    document.querySelectorAll("select[data-chosen]").forEach(function (each) {
      if (each !== document.activeElement || waitingFor === null) {
        each.value = each.dataset.chosen;
      }
    });
  }

  document.addEventListener("click", function (event) {
    const pick = event.target.closest("[data-logs-pick]");
    if (pick) {
      choose(pick.dataset.logsPick === "folder");
      return;
    }
    const button = event.target.closest("[data-logs]");
    if (!button) {
      return;
    }
    const { logs: what, to } = button.dataset;
    if (what === "take-all") {
      document
        .querySelectorAll('.logs-waiting [data-logs="take"].strong')
        .forEach((each) => hand({ do: "take", to: each.dataset.to }));
    } else if (what === "keep-profile") {
      const name = button.closest(".logs-line").querySelector("input").value;
      hand({ do: what, to: to, value: name });
    } else {
      hand({ do: what, to: to, value: JSON.parse(button.dataset.value) });
    }
  });

  document.addEventListener("change", function (event) {
    const field = event.target.closest("[data-logs-field]");
    if (field) {
      const { logsField: name, to, key } = field.dataset;
      hand({ do: "fill", field: name, to: to, key: key, value: event.target.value });
    }
  });

  function choose(folder) {
    const input = document.createElement("input");
    input.type = "file";
    input.multiple = true;
    input.webkitdirectory = folder;
    input.addEventListener("change", () => sendAll(Array.from(input.files), folder));
    input.click();
  }

  /* One after the other: a car park's network is slow, and the first is there to be looked at. */
  let sending = Promise.resolve();

  function sendAll(files, folder) {
    const logs = folder ? files.filter((file) => LOG.test(file.name)) : files;
    if (logs.length < files.length) {
      const left = files.length - logs.length;
      const these = left === 1 ? "1 file that is no log was" : left + " files that are no logs were";
      tell(these + " left out.", false);
    }
    logs.sort((a, b) => a.name.localeCompare(b.name));
    logs.forEach(function (file) {
      const line = progressLine(file.name);
      sending = sending.then(() => send(file, line));
    });
  }

  async function send(file, line) {
    let token = null;
    let at = 0;
    try {
      do {
        const piece = file.slice(at, at + PIECE_BYTES);
        const answer = await patiently(() => post(file, token, at, piece, line));
        token = answer.token;
        at = answer.came;
      } while (at < file.size);
      line.remove();
      hand({ do: "arrived", to: token });
    } catch (error) {
      line.remove();
      tell(error.message, true);
    }
  }

  /* A piece that the network lost is sent again; what the server refused is not. */
  async function patiently(work) {
    for (let tries = 1; ; tries += 1) {
      try {
        return await work();
      } catch (error) {
        if (error.refused || tries === TRIES) {
          throw error;
        }
        await new Promise((resolve) => setTimeout(resolve, WAIT_MS));
      }
    }
  }

  function post(file, token, at, piece, line) {
    const query = new URLSearchParams({ at: at });
    if (token) {
      query.set("token", token);
    } else {
      query.set("name", file.name);
      query.set("size", file.size);
      query.set("modified", Math.max(0, Math.floor(file.lastModified)));
    }
    return new Promise(function (resolve, reject) {
      const request = new XMLHttpRequest();
      request.open("POST", "/upload?" + query);
      request.responseType = "json";
      request.setRequestHeader("Content-Type", "application/octet-stream");
      request.upload.addEventListener("progress", function (event) {
        line.querySelector("progress").value = (at + event.loaded) / file.size;
      });
      request.addEventListener("load", function () {
        if (request.status === 200) {
          resolve(request.response);
          return;
        }
        const said = request.response && request.response.error;
        const error = new Error(said || file.name + " could not be sent: load the page again.");
        error.refused = true;
        reject(error);
      });
      request.addEventListener("error", function () {
        reject(new Error(file.name + " could not be sent: Babbitt does not answer. Try again."));
      });
      request.send(piece);
    });
  }

  function progressLine(name) {
    const line = document.createElement("p");
    const bar = document.createElement("progress");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", "How much of " + name + " has come");
    line.append(bar, " ", name);
    document.getElementById("logs-progress").append(line);
    return line;
  }

  function tell(sentence, refused) {
    const line = document.createElement("p");
    line.textContent = sentence;
    line.className = refused ? "refusal" : "secondary";
    document.getElementById("logs-progress").append(line);
  }

  function zone(event) {
    return event.target.closest ? event.target.closest("#logs-drop") : null;
  }

  document.addEventListener("dragover", function (event) {
    const drop = document.getElementById("logs-drop");
    if (drop) {
      event.preventDefault(); // a log that misses the zone must not open in place of the page
      drop.classList.toggle("over", zone(event) !== null);
    }
  });

  document.addEventListener("drop", function (event) {
    const drop = document.getElementById("logs-drop");
    if (!drop) {
      return;
    }
    event.preventDefault();
    drop.classList.remove("over");
    if (zone(event) === null) {
      return;
    }
    const entries = Array.from(event.dataTransfer.items)
      .map((item) => (item.webkitGetAsEntry ? item.webkitGetAsEntry() : null))
      .filter(Boolean);
    const folders = entries.some((entry) => entry.isDirectory);
    const files = entries.length
      ? Promise.all(entries.map(filesOf)).then((found) => found.flat())
      : Promise.resolve(Array.from(event.dataTransfer.files));
    files.then((all) => sendAll(all, folders));
  });

  async function filesOf(entry) {
    if (entry.isFile) {
      return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
    }
    if (entry.name.startsWith(".")) {
      return [];
    }
    const reader = entry.createReader();
    const within = [];
    for (;;) {
      const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
      if (some.length === 0) {
        return (await Promise.all(within.map(filesOf))).flat();
      }
      within.push(...some);
    }
  }
})();
