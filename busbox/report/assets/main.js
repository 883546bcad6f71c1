// Puts the parts of the page together.

import { Stories } from "./causes.js";
import { unpack } from "./data.js";
import { made } from "./elements.js";
import { Lamps } from "./lamps.js";
import { linesOf } from "./lines.js";
import { Run } from "./run.js";
import { asCanvas, asSvg, save } from "./saving.js";
import { search, SHOWN } from "./search.js";
import { Slip } from "./slip.js";
import { Strip } from "./strip.js";
import { Table } from "./table.js";
import { measured, Timetable } from "./timetable.js";
import { View } from "./view.js";
import { counted, grouped, showTime } from "./words.js";

/** @param {string} id @returns {HTMLElement} */
function part(id) {
  const element = document.getElementById(id);
  if (!element) throw new Error(`the page has no part ${id}`);
  return element;
}

/** @param {string} id @param {() => void} act */
function onClick(id, act) {
  part(id).addEventListener("click", act);
}

async function start() {
  const { facts, columns } = await unpack(part("data").textContent ?? "");
  const run = new Run(facts, columns);
  const view = new View(run.cycles);
  const groups = linesOf(run);
  const lines = groups.flatMap((group) => group.lines);
  const slip = new Slip(part("cause"), new Stories(run), (asked) => ask(asked));
  document.body.classList.add("ready");

  const timetable = new Timetable(part("rows"), groups, view, run.clock, ask);
  if (!lines.length) part("rows").append(made("p", "Nothing moved, and the bus was not used.", "quiet"));
  new Strip(part("strip"), run, view);
  new Table(part("events"), lines, view, run.clock, ask);
  if (run.frames.length) {
    part("lamps").hidden = false;
    new Lamps(part("lamps"), run, ask);
  }
  const [summary, names] = part("still").children;
  part("still").hidden = !facts.still.length;
  summary.textContent = `${counted(facts.still.length, "pin")} stayed low or released, and ${facts.still.length === 1 ? "has" : "have"} no line`;
  names.textContent = facts.still.join(", ");

  /** Show the cause of something, and where it is. @param {string} asked @param {string} [_row] */
  function ask(asked, _row) {
    const story = slip.show(asked);
    view.asked = story ? asked : "";
    timetable.marked = story ? story.cycle : null;
    if (story) view.goTo(story.cycle);
    view.changed();
  }

  /** Ask for a finding or a hit from elsewhere on the page: go there. @param {string} asked */
  function jump(asked) {
    ask(asked);
    if (timetable.marked !== null && view.to - view.from > 4000) {
      view.show(timetable.marked - 1000, timetable.marked + 1000);
    }
    part("timetable").scrollIntoView();
    part("slip").focus({ preventScroll: true });
  }
  for (const button of document.querySelectorAll("[data-ask]")) {
    button.addEventListener("click", () => jump(button.getAttribute("data-ask") ?? ""));
  }
  listenToSearch(run, lines, jump);
  listenToTools(timetable, view, facts.bench);
  view.onChange(() => showMeasure(view, run.clock));
  // Browsers refuse an address that changes with every frame.
  let timer = 0;
  view.onChange(() => {
    clearTimeout(timer);
    timer = window.setTimeout(() => {
      const address = view.address ? `#${view.address}` : location.pathname + location.search;
      history.replaceState(null, "", address);
    }, 150);
  });

  function fromAddress() {
    view.take(location.hash);
    const window = { from: view.from, to: view.to };
    if (view.asked) ask(view.asked);
    if (/from=/.test(location.hash)) view.show(window.from, window.to);
  }
  window.addEventListener("hashchange", fromAddress);
  for (const query of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) {
    matchMedia(query).addEventListener("change", () => view.changed());
  }
  window.addEventListener("beforeprint", () => timetable.draw(true));
  matchMedia("print").addEventListener("change", () => timetable.draw(true));
  fromAddress();
  Object.assign(window, { busbox: { run, view, timetable, slip, ask } });
}

/** @param {Run} run @param {import("./lines.js").Line[]} lines @param {(asked: string) => void} jump */
function listenToSearch(run, lines, jump) {
  const field = /** @type {HTMLInputElement} */ (part("search"));
  const list = part("hits");
  let timer = 0;
  function look() {
    const { hits, count } = search(run, lines, field.value);
    const some = count > hits.length ? `; the first ${SHOWN} are listed` : "";
    part("found").textContent = field.value.trim() ? `${counted(count, "hit")}${some}.` : "";
    list.hidden = !hits.length;
    list.replaceChildren(...hits.map((hit) => {
      const item = document.createElement("li");
      const button = /** @type {HTMLButtonElement} */ (made("button", showTime(hit.cycle, run.clock), "jump"));
      button.type = "button";
      button.addEventListener("click", () => jump(hit.ask));
      item.append(button, " ", hit.text);
      return item;
    }));
  }
  field.addEventListener("input", () => {
    clearTimeout(timer);
    timer = window.setTimeout(look, 120);
  });
}

/** @param {Timetable} timetable @param {View} view @param {string} name */
function listenToTools(timetable, view, name) {
  const about = () => timetable.marked ?? undefined;
  onClick("nearer", () => view.zoom(0.5, about()));
  onClick("farther", () => view.zoom(2, about()));
  onClick("whole", () => view.show(0, view.cycles));
  onClick("earlier", () => view.pan(-0.5));
  onClick("later", () => view.pan(0.5));
  onClick("moment1", () => timetable.setMoment(0));
  onClick("moment2", () => timetable.setMoment(1));
  onClick("close", () => {
    part("slip").classList.remove("asked");
    view.asked = "";
    timetable.marked = null;
    view.changed();
  });
  onClick("forget", () => {
    view.moments = [null, null];
    view.changed();
  });
  const stem = name.replace(/[^\w.-]+/g, "-");
  const title = () => `${name}: ${shownTimes(view, timetable.clock)}`;
  onClick("svg", () => {
    save(new Blob([asSvg(timetable, title())], { type: "image/svg+xml" }), `${stem}.svg`);
  });
  onClick("png", () => asCanvas(timetable, title()).toBlob((blob) => blob && save(blob, `${stem}.png`)));
}

/** @param {View} view @param {number} clock */
function showMeasure(view, clock) {
  const [one, two] = view.moments;
  const of = (/** @type {number} */ cycle) => `${showTime(cycle, clock)} (cycle ${grouped(cycle)})`;
  let text = "";
  if (one !== null && two !== null) text = `From ${of(one)} to ${of(two)}: ${measured(one, two, clock)}.`;
  else if (one !== null) text = `From ${of(one)} to ...`;
  else if (two !== null) text = `From ... to ${of(two)}`;
  part("measure").textContent = text;
  part("forget").hidden = one === null && two === null;
  part("window").textContent = `Shown: ${shownTimes(view, clock)}`;
}

/** The window in words. @param {View} view @param {number} clock */
function shownTimes(view, clock) {
  const [from, to] = [Math.round(view.from), Math.min(view.run, Math.round(view.to))];
  return `${showTime(from, clock)} to ${showTime(to, clock)}, cycles ${grouped(from)} to ${grouped(to)}`;
}

start().catch((error) => {
  part("trouble").hidden = false;
  part("trouble").textContent = `The timetable cannot be shown: ${error.message}`;
});
