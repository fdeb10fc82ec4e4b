// The page for tapping on one photo at the desk: what was tapped, as text.
"use strict";
(() => {
  const given = JSON.parse(document.getElementById("given").textContent);
  const say = (key, blanks = {}) => given.words[key].replace(/\{(\w+)\}/g, (_, name) => blanks[name] ?? "");
  const $ = (id) => document.getElementById(id), root = $("photo"), picture = $("shown");
  const low = given.task.areas.filter((area) => area.low).map((area) => area.label).join(", ");
  const part = (name) => root.querySelector(`[data-photo="${name}"]`);
  picture.decode().then(() => {
    root.hidden = false;
    part("low").textContent = low && say("photo_low", { areas: low });
    const session = photo.tapping(root, picture, given.task, (given.focal ?? NaN) * picture.naturalWidth, say);
    part("take").onclick = () => {
      const { taps } = session.result();
      $("text").value = JSON.stringify(taps);
      $("file").href = URL.createObjectURL(new Blob([$("text").value + "\n"], { type: "application/json" }));
      $("out").hidden = false;
      $("text").select();
    };
  });
})();
