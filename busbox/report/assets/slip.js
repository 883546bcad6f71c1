// The slip: the cause of what was asked, in the words of busbox why.

import { Stories } from "./causes.js";
import { made } from "./elements.js";

/** @typedef {import("./causes.js").Story} Story */

export class Slip {
  /**
   * @param {HTMLElement} box
   * @param {Stories} stories
   * @param {(asked: string) => void} ask
   */
  constructor(box, stories, ask) {
    this.box = box;
    this.stories = stories;
    this.ask = ask;
  }

  /**
   * Show the story of what was asked, and return it.
   * @param {string} asked
   * @returns {Story | null}
   */
  show(asked) {
    const story = this.stories.tell(asked);
    this.box.parentElement?.classList.add("asked");
    if (!story) {
      this.box.replaceChildren(made("p", `This run has no ${asked}.`));
      return null;
    }
    const list = document.createElement("dl");
    let last = "";
    for (const [label, text, place, access] of story.parts) {
      list.append(made("dt", label === last ? "" : label));
      last = label;
      const cell = document.createElement("dd");
      cell.append(text);
      if (place) cell.append(made("div", place, "origin"));
      if (access >= 0 && asked !== `access.${access}`) {
        const button = /** @type {HTMLButtonElement} */ (made("button", `access.${access}`, "jump"));
        button.type = "button";
        button.addEventListener("click", () => this.ask(`access.${access}`));
        cell.append(" ", button);
      }
      list.append(cell);
    }
    const { called } = this.stories.run.facts;
    const note = called ? [made("p", `Who called is not known: ${called}`, "quiet")] : [];
    this.box.replaceChildren(made("h3", story.title), list, ...note, ...this.command(asked));
    return story;
  }

  /** @param {string} asked @returns {HTMLElement[]} */
  command(asked) {
    if (!/@|^(access|event|finding)\./.test(asked)) return [];
    const line = made("p", "At the command line: ", "quiet");
    line.append(made("code", `busbox why ${this.stories.run.facts.bench} ${asked}`));
    return [line];
  }
}
