// Every change of the board kept on the device at once and sent by itself; mixed into the board.
import { put } from "./entry-store.js";
import { flush } from "./tuft-sender.js";

export const keeping = {
  async keep(change) {
    this.show();
    await put("marks", { url: this.area.dataset.marks, reader: this.state.reader, change });
    flush((how) => this.tellKept(how));
  },

  tellKept({ waiting: open, refused, trouble }) {
    this.area.dataset.waiting = open;
    const lost = refused.map((one) => ` One change was not taken: ${one.refused}`).join("");
    const kept = open ? `${open} change${open === 1 ? "" : "s"} on the way.` : `${this.marks.size} mark${this.marks.size === 1 ? "" : "s"}, all kept.`;
    this.area.querySelector("[data-board-kept]").textContent = `${trouble} ${kept}${lost}`.trim();
  },
};
