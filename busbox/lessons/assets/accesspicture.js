// One access as it is on the bus, cycle by cycle: a table with a column a cycle, so that it can be read aloud.

import { decode } from "./decoder.js";
import { made } from "./elements.js";
import { evaluate } from "./trees.js";
import { counted, hex } from "./words.js";

/** Cycles that are drawn at the most; those between are told in words. */
const MOST = 6;

/**
 * Return the picture of a step.
 * @param {any[]} step operation, address, data, lanes, times, tag
 * @param {import("./decoder.js").Slot[]} slots
 */
export function accessPicture(step, slots) {
  const [address, data, lanes] = step.slice(1, 4).map((tree) => Number(evaluate(tree, new Map()) & 0xffff_ffffn));
  const write = step[0] === "write";
  const { slot } = decode(slots, address);
  const cycles = slot ? slot.wait + 1 : 2;
  const shown = Math.min(cycles, MOST);
  const table = made("table", "", "access");
  const name = `${step[0]} ${hex(address, 8)}${write ? ` ${hex(data)}` : ""}`;
  const wait = slot ? `, with ${counted(slot.wait, "wait state")}` : "";
  table.append(made("caption", `An example${wait}: ${name}, ${counted(cycles, "cycle")}${cycles > shown ? `, the last ${shown} of them` : ""}`));
  const selected = (lanes & 15).toString(2).padStart(4, "0");
  const end = slot ? "ACK" : "ERR";
  /** @type {[string, (last: boolean) => string][]} */
  const rows = [
    ["STB", () => "1"], ["WE", () => (write ? "1" : "0")], ["ADR", () => hex(address, 8)], ["SEL", () => selected],
    ["data", (last) => (write ? hex(data, 8) : last ? "read" : "")],
    [end, (last) => (last ? "1" : "wait")],
  ];
  const head = made("tr", "");
  const corner = made("th", "cycle");
  corner.setAttribute("scope", "row");
  head.append(corner);
  for (let cycle = cycles - shown + 1; cycle <= cycles; cycle++) {
    const cell = made("th", String(cycle));
    cell.setAttribute("scope", "col");
    head.append(cell);
  }
  table.append(head);
  for (const [signal, of] of rows) {
    const row = made("tr", "");
    const first = made("th", signal);
    first.setAttribute("scope", "row");
    row.append(first);
    for (let cycle = cycles - shown + 1; cycle <= cycles; cycle++) {
      const text = of(cycle === cycles);
      row.append(made("td", text, text === "wait" ? "waiting" : ""));
    }
    table.append(row);
  }
  const holder = made("div", "", "still");
  holder.tabIndex = 0;
  holder.setAttribute("role", "group");
  holder.setAttribute("aria-label", `One access: ${name}`);
  holder.append(table);
  return holder;
}
