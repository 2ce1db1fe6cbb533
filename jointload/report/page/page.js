"use strict";
document.addEventListener("DOMContentLoaded", () => {
  // A wide screen has room for every table; a narrow one opens them by hand
  if (window.matchMedia("(min-width: 60rem)").matches) {
    document.querySelectorAll("details.numbers").forEach((fold) => { fold.open = true; });
  }

  // The contents close once they have led somewhere
  const contents = document.getElementById("contents");
  if (contents && contents.hidePopover) {
    contents.addEventListener("click", (event) => { if (event.target.closest("a")) contents.hidePopover(); });
  }

  // A link to a term shows the term's words where it stands; without popovers it leads to the glossary
  const card = document.createElement("div");
  if (!card.showPopover) return;
  card.popover = "auto";
  card.id = "term";
  card.setAttribute("role", "note");
  document.body.append(card);
  const line = (name, text) => {
    const made = document.createElement("p"), key = document.createElement("b");
    key.textContent = name ? name + ": " : "";
    made.append(key, text);
    return made;
  };
  function fill(row, link) {
    const [name, ...cells] = row.cells;
    const more = document.createElement("a");
    more.href = link.hash;
    more.textContent = "In the glossary";
    more.addEventListener("click", () => card.hidePopover());
    const title = document.createElement("p");
    title.append(Object.assign(document.createElement("b"), { textContent: name.textContent }));
    const told = cells.filter((cell) => cell.textContent && !["nothing", "none"].includes(cell.textContent));
    card.replaceChildren(title, ...told.map((cell) => line(cell.dataset.head, cell.textContent)), more);
  }
  function place(link) {
    const at = link.getBoundingClientRect(), size = card.getBoundingClientRect(), edge = 8;
    const left = Math.min(Math.max(edge, at.left), document.documentElement.clientWidth - size.width - edge);
    const below = at.bottom + 4, room = window.innerHeight - size.height - edge;
    card.style.left = Math.max(edge, left) + "px";
    card.style.top = Math.max(edge, below > room && at.top > size.height ? at.top - size.height - 4 : Math.min(below, room)) + "px";
  }
  document.addEventListener("click", (event) => {
    const link = event.target.closest('a[href^="#q-"]'), term = link && document.getElementById(link.hash.slice(1));
    if (!term || card.contains(link)) return;
    event.preventDefault();
    fill(term.closest("tr"), link);
    card.showPopover();
    place(link);
  });
});
