// Undo and redo of one's own marks and corrections. What is undone is taken back on record, what is
// redone is made anew: nothing is ever erased.
export class Undo {
  /** place: names the recording; the steps outlive a reload of the page. */
  constructor(place, perform) {
    this.place = `ebbline.undo.${place}`;
    this.perform = perform;
    const kept = JSON.parse(sessionStorage.getItem(this.place) || "null");
    this.done = kept?.done || [];
    this.undone = kept?.undone || [];
    /** @type {(() => void) | null} told when there is something else to undo or redo */
    this.onChange = null;
  }

  /** A step: { kind: "mark" or "correction", id, data }, standing or (taken) taken back. */
  add(step) {
    this.done.push(step);
    this.undone = [];
    this.save();
  }

  async undo() {
    const step = this.done.at(-1);
    if (!step) return null;
    const turned = await this.perform(step, !step.taken);
    this.done.pop();
    this.undone.push({ ...step, ...turned });
    this.save();
    return step;
  }

  async redo() {
    const step = this.undone.at(-1);
    if (!step) return null;
    const turned = await this.perform(step, Boolean(step.taken));
    this.undone.pop();
    this.done.push({ ...step, ...turned });
    this.save();
    return step;
  }

  save() {
    sessionStorage.setItem(this.place, JSON.stringify({ done: this.done.slice(-50), undone: this.undone.slice(-50) }));
    this.onChange?.();
  }
}
