/* Runs whose verdict is out of date, or comes when they are over: it is asked for, one after the other. In a list the
sentence is put in its place; on a page of its own all is shown anew, unless somebody is about to fill something in. */
"use strict";

const AGAIN_MS = 5000; // a run that is being recorded is asked after so often
let leaving = false; // a page that was asked for comes, whatever verdict comes meanwhile
addEventListener("beforeunload", () => { leaving = true; });
addEventListener("pageshow", () => { leaving = false; });
let touched = false; // nothing moves under a finger
addEventListener("pointerdown", () => { touched = true; }, true);
for (const name of ["pointerup", "pointercancel"]) addEventListener(name, () => setTimeout(() => { touched = false; }, 400), true);

const wait = (ms) => new Promise((go) => setTimeout(go, ms));

const changed = (field) => {
  if (field.options) return [...field.options].some((one, k) => one.selected !== one.defaultSelected && (one.defaultSelected || k > 0));
  if (["radio", "checkbox"].includes(field.type)) return field.checked !== field.defaultChecked;
  return field.type !== "hidden" && "defaultValue" in field && field.value !== field.defaultValue;
};

const inUse = () => Boolean(document.querySelector("dialog[open]"))
  || (document.activeElement?.matches("input, textarea, select") ?? false)
  || [...document.forms].some((form) => [...form.elements].some(changed));

function putInPlace(element, said) {
  const tag = document.createElement("span");
  tag.className = `tag ${{ pass: "good", fail: "bad" }[said.verdict] || "wait"}`;
  tag.textContent = said.verdict;
  element.textContent = said.says;
  const around = element.closest("li, section"), side = around.querySelector(".side");
  around.querySelectorAll(".side .tag, .where .tag").forEach((old) => old.remove());
  if (side) side.prepend(tag);
  else around.querySelector(".where").append(tag);
  if (element.dataset.here === "next" && said.next) {
    const next = document.createElement("small");
    next.textContent = said.next;
    element.after(next);
  }
}

async function ask(element) { // done: the page is to be shown anew; recorded: to be asked for again
  const listed = "here" in element.dataset;
  try {
    const answer = await fetch(element.dataset.judged);
    const said = await answer.json();
    if (said.recorded) return "recorded";
    while (touched) await wait(100);
    if (!answer.ok) element.textContent = `Not compared: ${said.refused}`;
    else if (!listed) return "done";
    else putInPlace(element, said);
  } catch (error) {
    if (!listed) element.textContent = `Not compared: the book does not answer (${error.message}).`;
  }
  return "";
}

function offer() { // what is filled in stays: whoever fills it in says when
  for (const element of document.querySelectorAll("[data-judged]:not([data-here])")) {
    const link = document.createElement("a");
    link.href = location.href;
    link.textContent = "Show it";
    element.replaceChildren("The verdict is there. ", link);
  }
}

async function pass(elements) {
  const recorded = [];
  let done = false;
  for (const element of elements) {
    const came = await ask(element);
    if (came === "recorded") recorded.push(element);
    done ||= came === "done";
  }
  const asked = "soakwitness judged";
  if (done && inUse()) offer();
  else if (done && !leaving && sessionStorage.getItem(asked) !== location.href) {
    sessionStorage.setItem(asked, location.href); // once: what stays out of date is not asked for again and again
    location.reload();
  } else if (!done) sessionStorage.removeItem(asked);
  return recorded;
}

(async () => {
  let open = await pass(document.querySelectorAll("[data-judged]"));
  while (open.length) {
    await wait(AGAIN_MS);
    open = await pass(open);
  }
})();
