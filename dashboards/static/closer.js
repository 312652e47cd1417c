/* A button under each drawing that swaps it for a plot that can be zoomed and read; and what is fetched when its heading is opened:
   a year's numbers and folded drawings are several times the page. */
(() => {
  "use strict";
  const { plotly, get, dressed, CONFIG, touchable } = window.fieldfarePlot;
  function withButton(figure) {
    const drawn = figure.querySelector(".drawn");
    if (!drawn.querySelector("svg")) return;
    const button = document.createElement("button");
    button.type = "button"; button.className = "quiet"; button.textContent = "Look closer";
    button.setAttribute("aria-label", `Look closer: ${figure.querySelector("b").textContent}`);
    drawn.after(button);
    button.addEventListener("click", async () => {
      button.disabled = true; button.textContent = "Fetching …";
      try {
        const [lib, doc] = await Promise.all([plotly(), get(figure.dataset.from)]);
        drawn.replaceChildren(); drawn.classList.add("room");
        await lib.newPlot(drawn, doc.data, { ...dressed(doc.layout), height: 400 }, CONFIG);
        touchable(drawn, doc.layout.xaxis.type === "date", (a, b) => lib.relayout(drawn, { "xaxis.range": [a, b] }));
        /* the button goes away, and the reader's place must not go with it */
        drawn.tabIndex = -1;
        drawn.setAttribute("role", "group");
        drawn.setAttribute("aria-label", figure.querySelector("b").textContent);
        if (document.activeElement === button || document.activeElement === document.body) drawn.focus({ preventScroll: true });
        button.remove();
      } catch (e) { button.disabled = false; button.textContent = `Look closer (${e.message})`; }
    });
  }
  function fetchedOnOpening(folded) {
    const address = folded.dataset.later, line = folded.querySelector(".later");
    let asked = false;
    folded.addEventListener("toggle", async () => {
      if (!folded.open || asked) return;
      asked = true;
      try {
        const answer = await fetch(`${address}${address.includes("?") ? "&" : "?"}part=1`, { headers: { Accept: "text/html" } });
        if (!answer.ok) throw new Error(String(answer.status));
        line.insertAdjacentHTML("afterend", await answer.text());
        line.hidden = true;
        dress(line.parentElement);
      } catch (e) { asked = false; line.dataset.state = "could not be fetched"; }
    });
  }
  function dress(part) {
    part.querySelectorAll("figure[data-from]").forEach(withButton);
    part.querySelectorAll("details[data-later]").forEach(fetchedOnOpening);
  }
  /* a link into a folded part: browsers of before 2025 don't open it by themselves */
  function opened() {
    const at = document.getElementById(location.hash.slice(1));
    let folded = at?.closest("details:not([open])");
    if (!folded) return;
    for (; folded; folded = folded.parentElement.closest("details:not([open])")) folded.open = true;
    at.scrollIntoView();
  }
  addEventListener("hashchange", opened);
  dress(document);
  opened();
})();
