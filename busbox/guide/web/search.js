"use strict";
const box = document.getElementById("search");
const matches = document.getElementById("matches");
const contents = document.getElementById("contents");
const plain = (node) => node.textContent.toLowerCase();
const topics = [...document.querySelectorAll(".topic")].map((topic) => ({
  topic,
  link: document.querySelector(`nav a[href="#${topic.id}"]`),
  title: plain(topic.querySelector("h2")),
  parts: [...topic.querySelectorAll(".part")].map((part) => ({ part, text: plain(part) })),
}));

if (matchMedia("(max-width: 52rem)").matches) contents.open = false;

function search() {
  const words = box.value.toLowerCase().split(/\s+/).filter(Boolean);
  let count = 0;
  for (const { topic, link, title, parts } of topics) {
    const named = words.every((word) => title.includes(word));
    let shown = 0;
    for (const { part, text } of parts) {
      part.hidden = !named && !words.every((word) => text.includes(word) || title.includes(word));
      shown += part.hidden ? 0 : 1;
    }
    topic.hidden = !shown;
    link.parentElement.hidden = !shown;
    count += shown;
  }
  for (const group of document.querySelectorAll("nav .group")) {
    group.hidden = !group.querySelector("li:not([hidden])");
  }
  matches.textContent = words.length ? `${count} ${count === 1 ? "section matches" : "sections match"}` : "";
  highlight(words);
}

function highlight(words) {
  if (!window.Highlight || !CSS.highlights) return;
  CSS.highlights.delete("found");
  if (!words.some((word) => word.length > 1)) return;
  const ranges = [];
  const walker = document.createTreeWalker(document.getElementById("text"), NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode.data.toLowerCase();
    for (const word of words) {
      for (let at = text.indexOf(word); at >= 0; at = text.indexOf(word, at + word.length)) {
        const range = new Range();
        range.setStart(walker.currentNode, at);
        range.setEnd(walker.currentNode, at + word.length);
        ranges.push(range);
      }
    }
  }
  CSS.highlights.set("found", new Highlight(...ranges));
}

box.addEventListener("input", search);
box.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    box.value = "";
    search();
  }
});
window.addEventListener("hashchange", () => {
  const target = document.getElementById(location.hash.slice(1));
  if (target && target.closest("[hidden]")) {
    box.value = "";
    search();
    target.scrollIntoView();
  }
});
