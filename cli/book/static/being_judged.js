/* Runs whose verdict is out of date: it is asked for, one after the other. In a list the sentence is put in its place; on
a run's own page all is shown anew. */
"use strict";

let leaving = false; // a page that was asked for comes, whatever verdict comes meanwhile
addEventListener("beforeunload", () => { leaving = true; });
addEventListener("pageshow", () => { leaving = false; });

(async () => {
  let done = false;
  for (const element of document.querySelectorAll("[data-judged]")) {
    const listed = "here" in element.dataset;
    try {
      const answer = await fetch(element.dataset.judged);
      const said = await answer.json();
      if (!answer.ok) element.textContent = listed ? element.textContent : `Not judged: ${said.refused}`;
      else if (!listed) done = true;
      else {
        const tag = document.createElement("span");
        tag.className = `tag ${{ pass: "good", fail: "bad" }[said.verdict] || "wait"}`;
        tag.textContent = said.verdict;
        element.textContent = said.says;
        const side = element.closest("li").querySelector(".side");
        side.querySelectorAll(".tag").forEach((old) => old.remove());
        side.prepend(tag);
      }
    } catch (error) {
      if (!listed) element.textContent = `Not judged: the book does not answer (${error.message}).`;
    }
  }
  const asked = "soakwitness judged";
  if (done && !leaving && sessionStorage.getItem(asked) !== location.href) {
    sessionStorage.setItem(asked, location.href); // once: what stays out of date is not asked for again and again
    location.reload();
  } else if (!done) sessionStorage.removeItem(asked);
})();
