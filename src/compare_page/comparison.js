(() => {
  "use strict";
  const by = id => document.getElementById(id);
  const stage = by("stage");
  const cut = by("cut");
  const layers = Array.from(stage.querySelectorAll(".layer"));
  const place = () => {
    stage.style.setProperty("--cut", cut.value + "%");
    cut.setAttribute("aria-valuetext", cut.value + " % left photograph, " + (100 - cut.value) + " % right");
  };
  const choose = () => {
    for (const layer of layers) {
      layer.classList.toggle("is-left", layer.dataset.index === by("left").value);
      layer.classList.toggle("is-right", layer.dataset.index === by("right").value);
    }
    const same = by("left").value === by("right").value;
    stage.style.setProperty("--cut", same ? "100%" : cut.value + "%");
  };
  cut.addEventListener("input", place);
  by("left").addEventListener("change", choose);
  by("right").addEventListener("change", choose);
  by("marks").addEventListener("change", () => stage.classList.toggle("no-marks", !by("marks").checked));
  choose();
  place();
})();
