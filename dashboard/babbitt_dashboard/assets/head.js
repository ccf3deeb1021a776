/* Loaded before anything is drawn: the light or dark paper, and the switches in the head. */
(function () {
  "use strict";

  function cookie(name) {
    const found = document.cookie.split("; ").find((each) => each.startsWith(name + "="));
    return found ? decodeURIComponent(found.slice(name.length + 1)) : null;
  }

  function setCookie(name, value) {
    document.cookie =
      name + "=" + encodeURIComponent(value) + "; path=/; max-age=31536000; samesite=strict";
  }

  const night = window.matchMedia("(prefers-color-scheme: dark)").matches;
  const theme = cookie("theme") || (night ? "dark" : "light");
  setCookie("theme", theme);
  document.documentElement.dataset.theme = theme;
  document.documentElement.dataset.mantineColorScheme = theme;

  document.addEventListener("click", function (event) {
    const button = event.target.closest("#units-switch, #theme-switch");
    if (!button) {
      return;
    }
    if (button.id === "units-switch") {
      setCookie("units", button.dataset.next);
    } else {
      setCookie("theme", theme === "dark" ? "light" : "dark");
    }
    window.location.reload();
  });

  window.babbitt = {
    /* Puts the state of a view into its address; null leaves a name out. */
    showState: function (state) {
      const address = new URL(window.location);
      Object.entries(state).forEach(function ([name, value]) {
        if (value === null || value === "" || (Array.isArray(value) && value.length === 0)) {
          address.searchParams.delete(name);
        } else {
          address.searchParams.set(name, value);
        }
      });
      window.history.replaceState(window.history.state, "", address);
      return window.dash_clientside.no_update;
    },
  };
})();
