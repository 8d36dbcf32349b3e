/* Asks how far a look is, and shows the page anew when it is done. */
"use strict";

(async () => {
  const told = document.querySelector("[data-look]");
  const bar = document.querySelector("progress");
  for (;;) {
    try {
      const { done, progress } = await (await fetch(told.dataset.look)).json();
      if (done) break;
      if (progress) {
        [bar.value, bar.max] = [0, Math.max(progress[1], 1)];
        bar.value = progress[0];
        told.textContent = `${progress[0]} of ${progress[1]} runs are judged.`;
      }
    } catch (error) {
      told.textContent = `The book does not answer (${error.message}).`;
    }
    await new Promise((go) => setTimeout(go, 500));
  }
  const address = new URL(location.href);
  address.searchParams.delete("anew");
  location.replace(address);
})();
