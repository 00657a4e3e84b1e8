// Keys go to the terminal as soon as it stands and whenever the window comes back.
"use strict";
function toTheTerminal() {
  const keys = document.querySelector(".xterm-helper-textarea");
  if (keys) keys.focus();
}
window.addEventListener("load", () => setTimeout(toTheTerminal, 0));
window.addEventListener("focus", toTheTerminal);
