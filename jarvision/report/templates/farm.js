"use strict";
(() => {
  const by = (id) => document.getElementById(id);
  const form = by("find"), words = by("words"), found = by("found"), all = by("all");
  const filter = by("filter"), shelf = by("choices"), again = document.querySelector("#today .act.photo");
  const choices = ["verdict", "species", "batch", "place"].map((name) => [name, by("by-" + name)]);
  const plain = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  const boards = [...document.querySelectorAll("#today .act[data-word]")].map((board) => {
    const many = board.querySelector(".many");
    return { board, many, total: many.textContent, fold: board.querySelector(".rest") };
  });
  const rows = boards.flatMap(({ board }) => [...board.querySelectorAll(".rows li")].map((row) => {
    const { species = "", batch = "", place = "", spawn = "" } = row.dataset;
    return { row, board, verdict: board.dataset.word, species, batch, place, spawn, name: "", text: "", shown: true };
  }));
  const AT_ONCE = 60;
  let offered = false, filled = false, opened = [], late = [], keeping = 0, showing = 0;

  // The texts of five hundred jars are gathered when there is time, or somebody looks for one.
  const prepare = () => {
    if (filled) return;
    filled = true;
    for (const one of rows) {
      const told = [one.row.textContent, one.verdict, one.species, one.batch, one.place, one.spawn];
      one.text = plain(told.join(" ")) + " ";
      one.name = plain(one.row.querySelector(".id").textContent);
    }
  };

  const offer = () => {
    prepare();
    if (offered) return;
    offered = true;
    for (const [name, select] of choices) {
      const kinds = name === "verdict"
        ? boards.map(({ board }) => board.dataset.word)
        : [...new Set(rows.map((one) => one[name]).filter(Boolean))]
          .sort((a, b) => a.localeCompare(b, "en", { numeric: true }));
      select.append(...kinds.map((kind) => new Option(kind)));
      select.parentElement.hidden = kinds.length < 2;
    }
  };

  // A number belongs to the word before it, where any jar has the two so: "rack 3" is no other rack.
  const wordsOf = (text) => text.split(/\s+/).filter(Boolean).reduce((found, word) => {
    const pair = `${found.at(-1)} ${word} `;
    const together = /^\d+$/.test(word) && rows.some((one) => one.text.includes(pair));
    return together ? [...found.slice(0, -1), pair] : [...found, word];
  }, []);

  // What lies below the screen is shown once the answer is.
  const showLate = () => {
    clearTimeout(showing);
    for (const one of late) one.row.hidden = !(one.shown = true);
    for (const fold of opened) fold.open = true;
    late = [];
  };

  const show = () => {
    prepare();
    const asked = wordsOf(plain(words.value));
    const chosen = choices.filter(([, select]) => select.value);
    const every = !asked.length && !chosen.length;
    const counts = new Map(boards.map(({ board }) => [board, 0]));
    let number = 0;
    clearTimeout(showing);
    late = [];
    for (const one of rows) {
      const fits = asked.every((word) => one.text.includes(word))
        && chosen.every(([name, select]) => one[name] === select.value);
      if (fits) counts.set(one.board, counts.get(one.board) + 1);
      if (fits && (number += 1) > AT_ONCE) late.push(one);
      else if (fits !== one.shown) one.row.hidden = !(one.shown = fits);
    }
    late = late.filter((one) => !one.shown);
    let before = 0;
    for (const { board, many, total, fold } of boards) {
      const own = counts.get(board);
      before += own;
      board.hidden = !own;
      many.textContent = every ? total : `${own} of ${total}`;
      if (!fold) continue;
      if (every && opened.includes(fold)) fold.open = false;
      else if (!every && !fold.open && own) {
        opened.push(fold);
        if (before - own < AT_ONCE) fold.open = true;
      }
    }
    if (every) opened = [];
    all.hidden = every;
    if (again) again.hidden = !every;
    by("chosen").textContent = chosen.length ? ` (${chosen.length})` : "";
    const what = chosen.map(([, select]) => select.value).concat(asked.length ? [`“${words.value.trim()}”`] : []);
    found.textContent = every ? "" : `${number || "None"} of ${rows.length} jars: ${what.join(", ")}`;
    found.parentElement.hidden = every;
    showing = setTimeout(showLate, 30);
    clearTimeout(keeping);
    keeping = setTimeout(keep, 300);
  };

  // Kept with the page in the browser's history: back from a jar, the list is as it was.
  const keep = () => {
    clearTimeout(keeping);
    const chosen = choices.map(([name, select]) => [name, select.value]);
    history.replaceState({ words: words.value, choices: chosen }, "");
  };

  form.addEventListener("input", show);
  form.addEventListener("reset", () => setTimeout(show));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    showLate();
    const name = plain(words.value).trim();
    const first = rows.find((one) => one.shown && one.name === name)
      || rows.find((one) => one.shown && one.name.startsWith(name)) || rows.find((one) => one.shown);
    if (first) first.row.querySelector("a").focus();
  });
  filter.addEventListener("click", () => {
    offer();
    shelf.hidden = !shelf.hidden;
    filter.setAttribute("aria-expanded", String(!shelf.hidden));
  });
  words.addEventListener("focus", prepare, { once: true });
  if ("requestIdleCallback" in window) requestIdleCallback(prepare);
  addEventListener("click", (event) => { if (filled && event.target.closest("a")) keep(); });

  // Paper cannot be opened: all folds are, until it is printed.
  let unfolded = [];
  addEventListener("beforeprint", () => {
    showLate();
    unfolded = [...document.querySelectorAll("details:not([open])")];
    for (const fold of unfolded) fold.open = true;
  });
  addEventListener("afterprint", () => {
    for (const fold of unfolded) fold.open = false;
  });

  const unfold = () => {
    const goal = location.hash.length > 1 && by(decodeURIComponent(location.hash.slice(1)));
    const fold = goal && goal.closest("details:not([open])");
    if (fold) { fold.open = true; goal.scrollIntoView(); }
  };
  addEventListener("hashchange", unfold);

  form.hidden = false;
  const kept = history.state;
  if (kept && (kept.words || kept.choices.some(([, value]) => value))) {
    offer();
    words.value = kept.words;
    for (const [name, value] of kept.choices) by("by-" + name).value = value;
    show();
  } else if (words.value) show();
  unfold();
})();
