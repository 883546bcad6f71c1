// Puts the parts of the page together.

import { Board } from "./board.js";
import { Cells } from "./cells.js";
import { unpack } from "./data.js";
import { Editor } from "./editor.js";
import { MapStrip } from "./mapstrip.js";
import { Result } from "./result.js";
import { Tasks } from "./tasks.js";
import { NumberEntry } from "./typed.js";
import { hex } from "./words.js";

/** @param {string} id @returns {HTMLElement} */
function part(id) {
  const element = document.getElementById(id);
  if (!element) throw new Error(`the page has no part ${id}`);
  return element;
}

/** The field above the cells. @param {Board} board */
function addressField(board) {
  const field = new NumberEntry("Address", hex(board.address, 8), { asks: true });
  field.act = () => {
    const value = field.read();
    if (value !== null && Number(value) !== board.address) board.goTo(Number(value));
  };
  board.onChange(() => {
    if (document.activeElement === field.input && field.read() === BigInt(board.address)) return;
    field.input.value = hex(board.address, 8);
    field.say("");
  });
  part("address").append(field.box);
}

/** Keep the address bar and the board the same. @param {Board} board @param {Tasks | null} tasks */
function followAddress(board, tasks) {
  let written = "";
  function read() {
    if (location.hash.slice(1) === written) return;
    const unused = board.read(location.hash);
    if (tasks) unused.push(...tasks.unknown(new URLSearchParams(location.hash.slice(1))));
    part("trouble").hidden = !unused.length;
    part("trouble").textContent = unused.length ? `Of the address bar, ${unused.join(" and ")} could not be used.` : "";
  }
  // Browsers refuse an address that changes with every key.
  let timer = 0;
  board.onChange(() => {
    clearTimeout(timer);
    timer = window.setTimeout(() => {
      written = board.text;
      history.replaceState(null, "", `#${written}`);
    }, 150);
  });
  window.addEventListener("hashchange", read);
  if (location.hash.length > 1) read();
  else if (tasks) tasks.begin();
  else board.changed();
}

async function start() {
  const { facts } = await unpack(part("data").textContent ?? "");
  const board = new Board(facts.slots, facts.models);
  board.address = facts.address;
  addressField(board);
  const cells = new Cells(part("cells"), board);
  new Result(part("result"), board);
  new MapStrip(part("map"), board);
  new Editor(part("editor"), board);
  const tasks = facts.lessons.length ? new Tasks(part("tasks"), board, facts) : null;
  part("lessons").hidden = !tasks;
  followAddress(board, tasks);
  document.body.classList.add("ready");
  Object.assign(window, { busbox: { board, cells, tasks } });
}

start().catch((error) => {
  part("trouble").hidden = false;
  part("trouble").textContent = `This page cannot be shown: ${error.message}`;
  throw error;
});
