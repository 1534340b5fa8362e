"use strict";
(() => {
  const by = (id) => document.getElementById(id);
  const form = by("find"), words = by("words"), found = by("found"), all = by("all");
  const choices = ["verdict", "species", "batch", "place"].map((name) => [name, by("by-" + name)]);
  const plain = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  const boards = [...document.querySelectorAll("#today .act[data-word]")].map((board) => {
    const many = board.querySelector(".many");
    return { board, many, total: many.textContent, fold: board.querySelector(".rest") };
  });
  const rows = boards.flatMap(({ board }) => [...board.querySelectorAll(".rows li")].map((row) => {
    const { species = "", batch = "", place = "" } = row.dataset;
    return { row, board, verdict: board.dataset.word, species, batch, place, text: "", shown: true };
  }));
  let filled = false, opened = [];

  // The texts of five hundred jars are gathered when somebody begins to look for one.
  const prepare = () => {
    if (filled) return;
    filled = true;
    for (const one of rows)
      one.text = plain([one.row.textContent, one.verdict, one.species, one.batch, one.place].join(" "));
    for (const [name, select] of choices) {
      const kinds = name === "verdict"
        ? boards.map(({ board }) => board.dataset.word)
        : [...new Set(rows.map((one) => one[name]).filter(Boolean))]
          .sort((a, b) => a.localeCompare(b, "en", { numeric: true }));
      select.append(...kinds.map((kind) => new Option(kind)));
      select.parentElement.hidden = kinds.length < 2;
    }
  };

  const show = () => {
    prepare();
    const asked = plain(words.value).split(/\s+/).filter(Boolean);
    const chosen = choices.filter(([, select]) => select.value);
    const every = !asked.length && !chosen.length;
    const counts = new Map(boards.map(({ board }) => [board, 0]));
    for (const one of rows) {
      const fits = asked.every((word) => one.text.includes(word))
        && chosen.every(([name, select]) => one[name] === select.value);
      if (fits) counts.set(one.board, counts.get(one.board) + 1);
      if (fits !== one.shown) one.row.hidden = !(one.shown = fits);
    }
    let number = 0;
    for (const { board, many, total, fold } of boards) {
      const own = counts.get(board);
      number += own;
      board.hidden = !own;
      many.textContent = every ? total : `${own} of ${total}`;
      if (!fold) continue;
      if (every && opened.includes(fold)) fold.open = false;
      else if (!every && !fold.open && own) { opened.push(fold); fold.open = true; }
    }
    if (every) opened = [];
    all.hidden = every;
    by("chosen").textContent = chosen.length ? ` (${chosen.length})` : "";
    const what = chosen.map(([, select]) => select.value).concat(asked.length ? [`“${words.value.trim()}”`] : []);
    found.textContent = every ? "" : `${number || "No"} of ${rows.length} jars: ${what.join(", ")}`;
    const kept = { words: words.value, choices: chosen.map(([name, select]) => [name, select.value]) };
    history.replaceState(every ? null : kept, "");
  };

  form.addEventListener("input", show);
  form.addEventListener("reset", () => setTimeout(show));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const first = rows.find((one) => one.shown);
    if (first) first.row.querySelector("a").focus();
  });
  by("choices").addEventListener("toggle", prepare);
  words.addEventListener("focus", prepare, { once: true });

  // Paper cannot be opened: all folds are, until it is printed.
  let unfolded = [];
  addEventListener("beforeprint", () => {
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

  // Back from a jar, the list is as it was.
  form.hidden = false;
  const kept = history.state;
  if (kept && kept.choices) {
    prepare();
    words.value = kept.words;
    for (const [name, value] of kept.choices) by("by-" + name).value = value;
    show();
  } else if (words.value) show();
  unfold();
})();
