"use strict";
// The door: a code behind the # of the address fills the field, and leaves the address bar.
const field = document.querySelector("#code");
function fillIn() {
  if (!field || location.hash.length < 2) return;
  field.value = decodeURIComponent(location.hash.slice(1));
  history.replaceState(null, "", location.pathname);
}
addEventListener("hashchange", fillIn); // a second code, where the door is open already
fillIn();
